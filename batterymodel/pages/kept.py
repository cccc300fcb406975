"""The record on the pages: opened once, filled with invented data when new, a battery chosen."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import TypeVar

import streamlit as st

from batterymodel import pages
from batterymodel.errors import BatteryModelError
from batterymodel.fade.forecast import FadeForecast
from batterymodel.pages import KEPT, literal
from batterymodel.samples.demo import fill_demo
from batterymodel.say.record_view import fleet_of, forecast_of, timeline_of
from batterymodel.store import Store, open_store
from batterymodel.store.engine import default_url

T = TypeVar("T")
DONE, FAILED = "done", "failed"
SERIAL = f"{KEPT}serial"
NO_BATTERY = (
    "No battery is in the record yet. Add one on the page Battery record, or at the command line "
    "with 'record add battery'."
)


@st.cache_resource(show_spinner="Opening the record")
def _opened(url: str) -> Store:
    store = open_store(url)
    if store.is_empty():
        fill_demo(store)
    return store


def record() -> Store | None:
    """The record; None, with the reason on the page, where it cannot be opened."""
    try:
        store = _opened(default_url())
    except BatteryModelError as error:
        st.error(literal(str(error)))
        return None
    if store.backup is not None:
        st.caption(literal(f"The record was brought up to date; as it was: {store.backup}"))
    return store


def opened(title: str) -> Store | None:
    """The record, below the title of a page that shows it, and what was written last.

    Parameters
    ----------
    title : str
        Put in as markdown.

    Returns
    -------
    Store or None
        None, with the reason on the page, where it cannot be opened.
    """
    st.html(pages.STYLE)
    st.title(title)
    store = record()
    show_done()
    return store


def choose_battery(store: Store) -> str | None:
    """Serial of the battery chosen on this or another page of the record.

    Parameters
    ----------
    store : Store

    Returns
    -------
    str or None
        None, with what to do on the page, where no battery is in the record.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    fleet = fleet_of(store)
    if not fleet:
        st.info(literal(NO_BATTERY))
        return None
    if st.session_state.get(SERIAL) not in fleet:
        st.session_state[SERIAL] = next(iter(fleet))
    return st.selectbox("Battery", list(fleet), format_func=fleet.__getitem__, key=SERIAL)


def attempt(write: Callable[[], T], words: str | Callable[[T], str]) -> T | None:
    """What a write returns, its words shown by `show_done`; None, with the reason, if it fails.

    Parameters
    ----------
    write : callable without arguments
        May raise a `BatteryModelError`; anything else passes through.
    words : str or callable
        Said when it is done, or made from what was written.

    Returns
    -------
    object or None
    """
    try:
        result = write()
    except BatteryModelError as error:
        st.session_state[FAILED] = str(error)
        return None
    st.session_state[DONE] = words if isinstance(words, str) else words(result)
    return result


def show_done() -> None:
    """What was written last, or why it was not, said once."""
    if words := st.session_state.pop(DONE, None):
        st.success(literal(words))
    if reason := st.session_state.pop(FAILED, None):
        st.error(literal(reason))


def forecast(store: Store, serial: str) -> FadeForecast:
    """Forecast of a battery's capacity, computed anew only when its record or the day changes.

    Parameters
    ----------
    store : Store
    serial : str

    Returns
    -------
    FadeForecast
        As of today.

    Raises
    ------
    InputError
        No such battery, or nothing measured of it.
    StoreError
        The record cannot be read.
    """
    on_record = tuple((h.entry_id, h.words) for h in timeline_of(store, serial))
    return _forecast(store, serial, date.today(), on_record)


@st.cache_data(show_spinner="Looking at the capacity checks", max_entries=100)
def _forecast(_store: Store, serial: str, today: date, on_record: object) -> FadeForecast:
    return forecast_of(_store, serial, today)
