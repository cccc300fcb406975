"""Temperatures on the pages: in the unit a person chose, which the own record remembers.

Entries are kept in degrees Celsius under their key; what is typed in degrees Fahrenheit has a key
of its own, so that turning the unit there and back changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

import streamlit as st

from batterymodel.inputs.temperature_unit import (
    TemperatureUnit,
    entered_row_c,
    entered_temp_c,
    shown_row,
    shown_temp,
    spoken_in,
    temp_words,
)
from batterymodel.pages import kept
from batterymodel.store.settings import choose_temperature_unit

UNIT = kept.TEMPERATURE_UNIT
CHOICE = "Temperatures in"
_AS_TYPED = ".degF"


def unit() -> TemperatureUnit:
    """The unit that was chosen: in this session, else in the own record."""
    return kept.temperature_unit()


def show_choice() -> None:
    """Let the unit be chosen; the choice holds for all pages and is remembered."""
    unit()
    st.radio(
        CHOICE,
        list(TemperatureUnit),
        format_func=lambda chosen: chosen.sign,
        horizontal=True,
        key=UNIT,
        on_change=_remember,
    )


def _remember() -> None:
    store = kept.settings_store()
    if store is not None:
        kept.attempt(lambda: choose_temperature_unit(store, unit()), "")


def shown(temp_c: float) -> str:
    """A temperature in the chosen unit, without it.

    Parameters
    ----------
    temp_c : float
        [degC]

    Returns
    -------
    str
    """
    return f"{shown_temp(temp_c, unit()):.6g}"


def words(temp_c: float) -> str:
    """A temperature in the chosen unit, with its sign.

    Parameters
    ----------
    temp_c : float
        [degC]

    Returns
    -------
    str
    """
    return temp_words(temp_c, unit())


def said(text: str, known_c: Iterable[float] = ()) -> str:
    """Text or HTML with its temperatures in the chosen unit.

    Parameters
    ----------
    text : str
    known_c : iterable of float
        Temperatures that it may speak of, unrounded [degC].

    Returns
    -------
    str
    """
    return spoken_in(text, unit(), known_c)


def show_html(text: str, known_c: Iterable[float] = ()) -> None:
    """Show HTML with its temperatures in the chosen unit.

    Parameters
    ----------
    text : str
        HTML.
    known_c : iterable of float
        Temperatures that it may speak of, unrounded [degC].
    """
    st.html(said(text, known_c))


def number_input(
    place: Any, label: str, key: str, on_change: Callable[[], None] | None = None, **more: Any
) -> float | None:
    """An entry of a temperature in the chosen unit.

    Parameters
    ----------
    place : Streamlit container or module
    label : str
        Names the unit as °C.
    key : str
        Where the entry is kept [degC].
    on_change : callable, optional
        Called when the entry was changed.
    **more : object
        Passed on to ``st.number_input``.

    Returns
    -------
    float or None
        [degC]; None where nothing is entered.
    """
    more = {"value": None, "step": 1.0, "format": "%g", **more}
    if unit() is TemperatureUnit.CELSIUS:
        return place.number_input(label, key=key, on_change=on_change, **more)
    kept_c = st.session_state.get(key)
    st.session_state[key + _AS_TYPED] = None if kept_c is None else shown_temp(kept_c, unit())
    place.number_input(
        said(label), key=key + _AS_TYPED, on_change=partial(_take_number, key, on_change), **more
    )
    return st.session_state.get(key)


def _take_number(key: str, then: Callable[[], None] | None = None) -> None:
    typed = st.session_state[key + _AS_TYPED]
    st.session_state[key] = None if typed is None else entered_temp_c(typed, unit())
    if then is not None:
        then()


def row_input(
    label: str, key: str, placeholder: str, on_change: Callable[[], None] | None = None
) -> None:
    """An entry of a row of temperatures in the chosen unit.

    Parameters
    ----------
    label : str
        Names the unit as °C.
    key : str
        Where the entry is kept, as text [degC].
    placeholder : str
        An example [degC].
    on_change : callable, optional
        Called when the entry was changed.
    """
    if unit() is TemperatureUnit.CELSIUS:
        st.text_input(label, placeholder=placeholder, key=key, on_change=on_change)
        return
    st.session_state[key + _AS_TYPED] = shown_row(st.session_state.get(key) or "", unit())
    st.text_input(
        said(label),
        placeholder=shown_row(placeholder, unit()),
        key=key + _AS_TYPED,
        on_change=partial(_take_row, key, on_change),
    )


def _take_row(key: str, then: Callable[[], None] | None = None) -> None:
    st.session_state[key] = entered_row_c(st.session_state[key + _AS_TYPED], unit())
    if then is not None:
        then()


def slider(label: str, low_c: float, high_c: float, step: float, key: str) -> float:
    """A slider of a temperature in the chosen unit.

    Parameters
    ----------
    label : str
        Names the unit as °C.
    low_c, high_c : float
        Ends of the range [degC].
    step : float
        In the chosen unit.
    key : str
        Where the value is kept [degC]; there already.

    Returns
    -------
    float
        [degC]
    """
    ends = shown_temp(low_c, unit()), shown_temp(high_c, unit())
    if unit() is TemperatureUnit.CELSIUS:
        return st.slider(label, *ends, step=step, key=key, format="%g")
    typed = key + _AS_TYPED
    st.session_state[typed] = shown_temp(st.session_state[key], unit())
    st.slider(
        said(label), *ends, step=step, key=typed, format="%g", on_change=partial(_take_number, key)
    )
    return st.session_state[key]
