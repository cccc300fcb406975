"""The page of a battery's limits card: the maker's numbers and their document, by revision."""

from __future__ import annotations

from datetime import date

import streamlit as st

from batterymodel import pages
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.records import Limits
from batterymodel.pages import KEPT, battery_form, kept, literal, temperatures
from batterymodel.pages.battery_form import ON_CARD
from batterymodel.say.record_view import changed_limits
from batterymodel.store import Store
from batterymodel.store.records import CardRevision

FILLED = f"{KEPT}card.of"


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
    battery_form.show_limits(ON_CARD)
    temperatures.show_choice()
    _show_saving(store, serial)
    _show_revisions(store, serial)


def _show_saving(store: Store, serial: str) -> None:
    before = store.battery(serial).limits
    try:
        battery, _ = battery_form.entered(ON_CARD)
    except BatteryModelError as error:
        st.error(literal(str(error)))
        return
    after = battery.limits if battery is not None else before
    changed = changed_limits(before, after)
    if not changed:
        st.caption("Nothing differs from the card on record.")
        return
    labels = [f.label for f in battery_form.FIELDS if f.table == "limits" and f.name in changed]
    changed_words = temperatures.said("; ".join(labels))
    st.caption(literal(f"Changed: {changed_words}. The card before it stays on record."))
    reason, on = st.columns(2)
    why = reason.text_input("Reason for this revision", key=f"{KEPT}card.reason")
    day = on.date_input("In force from", value=date.today(), key=f"{KEPT}card.day")
    if not after.document:
        st.warning("Name the maker's document with title and revision, so that it can be found.")
    st.button(
        "Keep this revision",
        type="primary",
        disabled=not why.strip(),
        on_click=_keep,
        args=(store, serial, after, why, day),
    )


def _keep(store: Store, serial: str, limits: Limits, reason: str, on: date) -> None:
    def write() -> object:
        battery_id = store.plate(serial).id
        return store.add(
            CardRevision(battery_id=battery_id, on=on, limits=limits, reason=reason.strip())
        )

    if kept.attempt(write, f"A new revision of the card of {serial} is on record."):
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
