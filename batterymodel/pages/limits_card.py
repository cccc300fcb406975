"""The page of a battery's limits card: the maker's numbers and their document, by revision."""

from __future__ import annotations

from datetime import date

import streamlit as st

from batterymodel import pages
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.entry_faults import Shown
from batterymodel.inputs.records import Limits, record_from
from batterymodel.pages import KEPT, battery_form, kept, literal, temperatures
from batterymodel.pages.battery_fields import FIELDS, ON_CARD
from batterymodel.say.record_view import changed_limits
from batterymodel.store import Store
from batterymodel.store.once import add_once
from batterymodel.store.records import CardRevision

FILLED = f"{KEPT}card.of"
LABELS = {"reason": Shown("Reason for this revision"), "on": Shown("In force from")}


@kept.saying_faults
def page() -> None:
    """Show the page."""
    store = kept.opened("Limits card")
    if store is None:
        return
    serial = kept.choose_battery(store)
    if serial is None:
        return
    if st.session_state.get(FILLED) != serial:
        battery_form.fill(store.battery(serial), ON_CARD)
        st.session_state[FILLED] = serial
    _show_faults()
    battery_form.show_limits(ON_CARD)
    temperatures.show_choice()
    _show_saving(store, serial)
    _show_revisions(store, serial)


def _show_faults() -> None:
    """All that is wrong with the card, above it."""
    for fault in battery_form.faults(ON_CARD):
        st.error(literal(temperatures.said(fault)))


def _show_saving(store: Store, serial: str) -> None:
    before = store.battery(serial).limits
    try:
        battery, _ = battery_form.entered(ON_CARD)
    except BatteryModelError:
        st.caption("The card can be kept once what is named at the top is put right.")
        return
    after = battery.limits if battery is not None else before
    changed = changed_limits(before, after)
    if not changed:
        st.caption("Nothing differs from the card on record.")
        return
    labels = [f.title for f in FIELDS if f.table == "limits" and f.name in changed]
    changed_words = temperatures.said("; ".join(labels))
    st.caption(literal(f"Changed: {changed_words}. The card before it stays on record."))
    reason, on = st.columns(2)
    why = reason.text_input(LABELS["reason"].label, key=f"{KEPT}card.reason")
    day = on.date_input(LABELS["on"].label, value=date.today(), key=f"{KEPT}card.day")
    nameless = battery_form.source_is_open(ON_CARD)
    if not after.document and not nameless:
        st.warning("Name the maker's document with title and revision, so that it can be found.")
    st.button(
        "Keep this revision",
        type="primary",
        disabled=nameless or not why.strip(),
        on_click=_keep,
        args=(store, serial, after, why, day),
    )


def _keep(store: Store, serial: str, limits: Limits, reason: str, on: date) -> None:
    def write() -> bool:
        told = {"battery_id": store.plate(serial).id, "on": on, "limits": limits}
        card = record_from({**told, "reason": reason.strip()}, CardRevision, "card")
        return add_once(store, card)[1]

    def words(was_there: bool) -> str:
        new = "This" if was_there else "A new"
        return f"{new} revision of the card of {serial} is on record{' already' * was_there}."

    if kept.attempt(write, words, LABELS) is not None:
        st.session_state[f"{KEPT}card.reason"] = ""
        st.session_state[FILLED] = None


def _show_revisions(store: Store, serial: str) -> None:
    found = store.entries(CardRevision, battery_id=store.plate(serial).id)
    st.header("Revisions on record")
    lines = [
        f"{e.record.on}  {e.record.document or 'no document named'}: {e.record.reason}"
        for e in reversed(found)
    ]
    st.html(pages.plain_list(lines) if lines else pages.note("None: generic values are used."))
