"""Battery and supply of a connection in progress, told after its beginning and corrected later."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import streamlit as st

from batterymodel.inputs.entry_faults import Shown
from batterymodel.inputs.records import Chemistry, Supply, record_from
from batterymodel.pages import KEPT, kept, literal
from batterymodel.pages.choices import OWN, own_words
from batterymodel.reference.chemistry import data_for
from batterymodel.say.in_progress import is_battery_told
from batterymodel.say.plate import cells_question, missing_words
from batterymodel.say.record_view import fleet_of
from batterymodel.store import Store
from batterymodel.store.acts import MOST_LABEL, InProgress
from batterymodel.store.former_plates import PLATE
from batterymodel.store.in_progress import tell

OTHER = "Another battery"
IT_IS_THIS = "It is this battery"
USUAL_SUPPLY_A = 60.0
LABELS = {
    "tail": Shown("Name of it"),
    "cells": Shown("Cells"),
    "rated_capacity_ah": Shown("Rated capacity", "Ah"),
    "rated_current_a": Shown("Rated current of the supply", "A"),
}
"""How the page shows what is entered, by the names of the records."""

_LAST_SUPPLY = f"{KEPT}live.supply_a"


def show_choice(store: Store, connection: InProgress) -> None:
    """Ask for the battery and the supply; what was told is shown and may be corrected.

    Parameters
    ----------
    store : Store
    connection : InProgress
    """
    fleet, key = fleet_of(store), _keys(connection)
    _fill(connection, fleet)
    other = own_words(OTHER, fleet.values())
    chosen = st.selectbox(
        "Battery",
        [*fleet, OWN],
        format_func=lambda serial: fleet.get(serial, other),
        placeholder="Choose the battery",
        key=key["battery"],
        on_change=_tell_serial,
        args=(store, connection),
    )
    if chosen == OWN:
        _show_plate(key)
    st.number_input(
        "Rated current of the supply (A)",
        1.0,
        1000.0,
        step=5.0,
        format="%g",
        key=key["supply"],
        on_change=_tell_supply,
        args=(store, connection),
    )
    if chosen == OWN:
        _show_telling(store, connection)


def supply_words(connection: InProgress) -> str:
    """Battery and supply as they were told, for the label of what corrects them.

    Parameters
    ----------
    connection : InProgress

    Returns
    -------
    str
        Markdown.
    """
    told = connection.told
    name = literal(told.serial or told.tail or "not named")
    supply = "not told" if told.supply is None else f"{told.supply.rated_current_a:g} A"
    return f"Battery and supply: {name}, {supply}"


def _keys(connection: InProgress) -> dict[str, str]:
    names = ("battery", "supply", "tail", *PLATE)
    return {name: f"{KEPT}live.{connection.id}.{name}" for name in names}


def _fill(connection: InProgress, fleet: dict[str, str]) -> None:
    """Put into the form what was told, where nothing was entered yet."""
    told, key, state = connection.told, _keys(connection), st.session_state
    other = OWN if is_battery_told(connection) or not fleet else None
    state.setdefault(key["battery"], told.serial if told.serial in fleet else other)
    last_a = state.get(_LAST_SUPPLY, USUAL_SUPPLY_A)
    state.setdefault(key["supply"], told.supply.rated_current_a if told.supply else last_a)
    for name in ("tail", *PLATE):
        state.setdefault(key[name], getattr(told, name))


def _show_plate(key: dict[str, str]) -> None:
    """The plate of a battery that is not on record, in three fields and a name."""
    st.text_input("Name of it", max_chars=MOST_LABEL, key=key["tail"])
    st.selectbox(
        "Kind",
        list(Chemistry),
        format_func=lambda kind: data_for(kind).label,
        placeholder="Choose the kind",
        key=key["chemistry"],
    )
    cells, rated = st.columns(2)
    cells.number_input("Cells", 1, 40, value=None, key=key["cells"])
    rated.number_input(
        "Rated capacity (Ah)", 0.5, 500.0, value=None, format="%g", key=key["rated_capacity_ah"]
    )


def _show_telling(store: Store, connection: InProgress) -> None:
    """What is missing of a plate, or in doubt, and the button that tells it."""
    key = _keys(connection)
    plate = {name: st.session_state.get(key[name]) for name in PLATE}
    missing = missing_words(plate)
    question = cells_question(plate["chemistry"], plate["cells"])
    for words in filter(None, (question, missing)):
        st.markdown(literal(words))
    st.button(
        f"It has {plate['cells']} cells: it is this battery" if question else IT_IS_THIS,
        width="stretch",
        disabled=bool(missing),
        on_click=_tell_plate,
        args=(store, connection),
        key=f"told.{connection.id}",
    )


def _tell_serial(store: Store, connection: InProgress) -> None:
    serial = st.session_state[_keys(connection)["battery"]]
    if serial not in (None, OWN):
        blank = dict.fromkeys(("tail", *PLATE))
        _tell(store, connection, serial=serial, **blank)


def _tell_plate(store: Store, connection: InProgress) -> None:
    key, state = _keys(connection), st.session_state
    plate = {name: state[key[name]] for name in PLATE}
    name = (state[key["tail"]] or "").strip() or "unnamed"
    _tell(store, connection, serial=None, tail=name, **plate)


def _tell_supply(store: Store, connection: InProgress) -> None:
    _tell(store, connection)


def _tell(store: Store, connection: InProgress, **told: Any) -> None:
    """Tell it, with the rated current of the supply as it stands in the form."""
    supply_a = st.session_state[_keys(connection)["supply"]]
    st.session_state[_LAST_SUPPLY] = supply_a

    def write() -> InProgress:
        supply = record_from({"rated_current_a": supply_a}, Supply, "supply")
        return tell(store, connection.id, f"tell-{uuid4().hex}", supply=supply, **told)

    kept.attempt(write, "", LABELS)
