"""What servicing found of a battery, noted in two taps on the page of its record."""

from __future__ import annotations

from datetime import date

import streamlit as st

from batterymodel import pages
from batterymodel.basis.text import one_line
from batterymodel.inputs.entry_faults import Shown
from batterymodel.pages import KEPT, kept
from batterymodel.say.record import SERVICING_WORDS
from batterymodel.store import Store
from batterymodel.store.records import ServicingFound
from batterymodel.store.servicing import add_servicing

LABELS = {
    "capacity_ah": Shown("Capacity at 25 °C (Ah)"),
    "on": Shown("Found on"),
    "note": Shown("Note, if any"),
}
FOUND = "found.chosen"
ASKED_FOUND = "What did servicing find? Two taps keep it, and hold the last answer against it."


def show(store: Store, serial: str) -> None:
    """What servicing found, in two taps: which of three, and keep it.

    Parameters
    ----------
    store : Store
    serial : str
        Of the battery.
    """
    st.header("Back from servicing")
    st.html(pages.note(ASKED_FOUND))
    with st.container(key="servicing"):
        for found, words in SERVICING_WORDS.items():
            st.button(
                words.capitalize(),
                key=f"found.{found}",
                on_click=_choose_found,
                args=(serial, found),
                width="stretch",
            )
    chosen_of, found = st.session_state.get(FOUND, (None, None))
    if found is not None and chosen_of == serial:
        _show_found(store, serial, found)


def _choose_found(serial: str, found: ServicingFound) -> None:
    st.session_state[FOUND] = (serial, found)


def _show_found(store: Store, serial: str, found: ServicingFound) -> None:
    st.subheader(SERVICING_WORDS[found].capitalize())
    capacity_ah, again = None, False
    if found is ServicingFound.CAPACITY:
        capacity_ah = st.number_input(
            LABELS["capacity_ah"].title, value=None, min_value=0.0, key=f"{KEPT}found.capacity"
        )
        again = st.checkbox(pages.MEASURED_AGAIN, key=f"{KEPT}found.again")
    on = st.date_input(LABELS["on"].title, value="today", key=f"{KEPT}found.on")
    note = st.text_input(LABELS["note"].title, key=f"{KEPT}found.note")
    st.button(
        "Keep it",
        disabled=found is ServicingFound.CAPACITY and capacity_ah is None,
        on_click=_keep_found,
        args=(store, serial, found, on, capacity_ah, note, again),
        type="primary",
        width="stretch",
    )


def _keep_found(
    store: Store,
    serial: str,
    found: ServicingFound,
    on: date,
    capacity_ah: float | None,
    note: str,
    again: bool,
) -> None:
    told = one_line(note) or None
    if kept.attempt(
        lambda: add_servicing(store, serial, found, on, capacity_ah, told, again=again),
        f"{SERVICING_WORDS[found].capitalize()}: it is in the record of {serial}.",
        LABELS,
    ):
        st.session_state[FOUND] = (None, None)
        st.session_state[f"{KEPT}found.note"] = ""
        st.session_state[f"{KEPT}found.capacity"] = None
        st.session_state[f"{KEPT}found.again"] = False
