"""The page of a battery's record: capacity over time, its tapers, and all that is on record."""

from __future__ import annotations

from datetime import date

import streamlit as st

from batterymodel import pages
from batterymodel.basis.text import counted, one_line
from batterymodel.capacity.in_service import NO_SUBSTITUTE
from batterymodel.charts import record as recordcharts
from batterymodel.errors import BatteryModelError
from batterymodel.fade.forecast import FadeForecast, NextCheck
from batterymodel.inputs.entry_faults import Shown
from batterymodel.inputs.records import Battery
from batterymodel.pages import KEPT, battery_form, kept, literal, places, servicing, temperatures
from batterymodel.pages.kept import RecordPage
from batterymodel.samples.demo import remove_demo
from batterymodel.say.capacity import capacity_figures, slope_sentence
from batterymodel.say.in_service import in_service_line
from batterymodel.say.record_view import RecordView
from batterymodel.store import Deletion, Store
from batterymodel.store.intake import add_fitted_battery
from batterymodel.store.records import BatteryPlate

LABELS = {
    "serial": Shown("Serial"),
    "tail": Shown("Aircraft it is fitted to"),
    "installed_on": Shown("Fitted on"),
}
NEXT_CHECK = "Next capacity check"
FEW = 12
"""Lines of the timeline shown at once."""
FEW_IN_SERVICE = 3
"""Estimates in service shown at once."""


@kept.saying_faults
def page() -> None:
    """Show the page."""
    store = kept.opened("Battery record")
    if store is None:
        return
    serial = kept.choose_battery(store, adds_here=True)
    if serial is None:
        _show_adding(store, is_first=True)
        _show_restoration(store)
        return
    try:
        page = kept.record_page(store, serial)
        with st.container(key="going-on-last"):
            temperatures.show_html(pages.standing(page.view.outcome))
        st.html(pages.head(_head(page.view)))
        _show_capacity(page)
        servicing.show(store, serial)
        _show_tapers(page)
        _show_timeline(store, page.view)
    except BatteryModelError as error:
        st.error(literal(temperatures.said(str(error))))
    _show_adding(store)
    _show_demo(store)


def _head(view: RecordView) -> list[tuple[str, str]]:
    return [
        ("Aircraft", view.aircraft or "off aircraft"),
        ("Rated capacity", f"{view.battery.rated_capacity_ah:g} Ah"),
        ("Installed", str(view.installed_on or "not on record")),
        ("Limits card", view.battery.limits.document or "not on file: generic values"),
    ]


def _show_capacity(page: RecordPage) -> None:
    st.header("Capacity over time")
    forecast = page.view.forecast
    if forecast is None:
        st.info(literal(page.view.no_forecast or ""))
        _show_in_service(page.view)
        return
    st.html(_forecast_figures(forecast))
    st.vega_lite_chart(page.fade_spec, theme=None)
    st.html(pages.note(recordcharts.fade_key(forecast)))
    words = [forecast.headline, f"Next check: {forecast.next_check.why}.", slope_sentence(forecast)]
    temperatures.show_html(pages.plain_list([*filter(None, words), *forecast.notes]))
    _show_in_service(page.view)


def _show_in_service(view: RecordView) -> None:
    """What connections tell of the capacity, the latest in sight."""
    lines = [in_service_line(found) for found in reversed(view.service)]
    for line in lines[:FEW_IN_SERVICE]:
        temperatures.show_html(pages.note(line))
    if any(found.estimate for found in view.service):
        st.html(pages.note(NO_SUBSTITUTE))
    if lines[FEW_IN_SERVICE:]:
        with st.expander(counted(len(lines) - FEW_IN_SERVICE, "earlier connection")):
            temperatures.show_html(pages.plain_list(lines[FEW_IN_SERVICE:]))


def _forecast_figures(forecast: FadeForecast) -> str:
    return pages.figures([*capacity_figures(forecast), _next_check(forecast.next_check)])


def _next_check(check: NextCheck) -> tuple[str, str, str]:
    """When, and what stands below it: a check that is due has no day to wait for."""
    if check.due_since is None:
        return NEXT_CHECK, str(check.on), ""
    return NEXT_CHECK, "now", f"due since {check.due_since}"


def _show_tapers(page: RecordPage) -> None:
    st.header("Tapers")
    tapers = page.view.tapers
    if not tapers:
        st.info("No connection of this battery that shows a taper is on record.")
        return
    with st.expander(pages.DETAILS):
        st.vega_lite_chart(page.tapers_spec, theme=None)
        st.html(pages.note(recordcharts.tapers_words(tapers, temperatures.unit())))


def _show_timeline(store: Store, view: RecordView) -> None:
    st.header("On record")
    happenings = view.timeline
    lines = [f"{h.on}  {h.words}" for h in happenings]
    temperatures.show_html(pages.plain_list(lines[:FEW]))
    if lines[FEW:]:
        with st.expander(counted(len(lines[FEW:]), "earlier entry", "earlier entries")):
            temperatures.show_html(pages.plain_list(lines[FEW:]))
    with st.expander("Delete an entry"):
        _show_deletion(store, {h.entry_id: f"{h.on}  {h.words}" for h in happenings})
    _show_restoration(store)


def _show_deletion(store: Store, entries: dict[str, str]) -> None:
    chosen = st.selectbox(
        "Entry",
        list(entries),
        index=None,
        format_func=entries.__getitem__,
        key=f"{KEPT}delete.entry",
    )
    reason = st.text_input("Reason", key=f"{KEPT}delete.reason")
    sure = st.checkbox("Yes, take it out of sight", key="delete.sure")
    st.caption("Nothing is lost: a deleted entry can be restored below.")
    ready = chosen is not None and bool(reason.strip()) and sure
    st.button("Delete", disabled=not ready, on_click=_delete, args=(store, chosen, reason))


def _delete(store: Store, chosen: str, reason: str) -> None:
    if kept.attempt(lambda: store.delete(chosen, reason), "The entry is deleted."):
        st.session_state[f"{KEPT}delete.entry"] = None
        st.session_state[f"{KEPT}delete.reason"] = ""


def _show_restoration(store: Store) -> None:
    deletions = {d.id: d for d in store.deletions()}
    if not deletions:
        return
    words = {key: _deletion_words(deletion) for key, deletion in deletions.items()}
    with st.expander(f"Restore what was deleted ({len(deletions)})"):
        chosen = st.selectbox("Deletion", list(words), format_func=words.__getitem__)
        st.button("Restore", on_click=_restore, args=(store, chosen))


def _deletion_words(deletion: Deletion) -> str:
    entries = counted(len(deletion), "entry", "entries")
    return f"{deletion.recorded_at:%Y-%m-%d %H:%M} UTC: {deletion.reason} ({entries})"


def _restore(store: Store, chosen: str) -> None:
    kept.attempt(lambda: store.restore(chosen), "Restored.")


def _show_adding(store: Store, *, is_first: bool = False) -> None:
    with st.expander("Add a battery", expanded=is_first):
        serial = st.text_input(LABELS["serial"].title, key=f"{KEPT}new.serial")
        tail = st.text_input(LABELS["tail"].title, key=f"{KEPT}new.aircraft")
        on = st.date_input(LABELS["installed_on"].title, value="today", key=f"{KEPT}new.on")
        battery_form.show_new_plate()
        st.caption("Enter the maker's numbers on the page Limits card afterwards.")
        try:
            battery, missing = battery_form.entered(battery_form.NEW)
        except BatteryModelError as error:
            st.error(literal(temperatures.said(str(error))))
            return
        ready = battery is not None and bool(one_line(serial)) and bool(one_line(tail))
        st.button(
            "Add to the record",
            disabled=not ready,
            help=f"Still needed: {', '.join(missing)}" if missing else None,
            on_click=_add,
            args=(store, one_line(serial), battery, one_line(tail), on),
        )


def _add(store: Store, serial: str, battery: Battery, tail: str, on: date) -> None:
    if kept.attempt(
        lambda: add_fitted_battery(store, serial, battery, tail, on),
        f"Battery {serial} is in the record.",
        LABELS,
    ):
        battery_form.fill(None, battery_form.NEW)
        st.session_state[kept.SERIAL] = serial
        for name in ("serial", "aircraft"):
            st.session_state[f"{KEPT}new.{name}"] = ""


def _show_demo(store: Store) -> None:
    """Invented data in the own record goes as it came."""
    invented = store.entries(BatteryPlate, invented=True)
    if invented and not places.is_demo():
        with st.expander("Invented data of Saltmarsh Field"):
            batteries = counted(len(invented), "battery here is", "batteries here are")
            st.caption(f"{batteries} invented, to look around with.")
            st.button("Remove all invented data", on_click=_remove_demo, args=(store,))


def _remove_demo(store: Store) -> None:
    kept.attempt(lambda: remove_demo(store), "The invented data is out of sight.")
