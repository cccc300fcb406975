"""The page to enter a capacity check: a timed discharge or its log in, percent of rated out."""

from __future__ import annotations

from datetime import date

import streamlit as st

from batterymodel import pages
from batterymodel.capacity.check import CapacityResult, TimedDischarge, Verdict, capacity_check
from batterymodel.capacity.wording import VERDICT_WORDS
from batterymodel.charts import record as recordcharts
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.discharge_log import DischargeLog, discharge_log_from_bytes
from batterymodel.inputs.entry_faults import Shown
from batterymodel.pages import KEPT, kept, temperatures
from batterymodel.pages.readings_file import show_faults
from batterymodel.say.capacity import capacity_text
from batterymodel.say.connection import amount
from batterymodel.say.record_view import bench_check
from batterymodel.store import Store
from batterymodel.store.intake import TakenCheck, add_check

LABELS = {
    "on": Shown("Day of the check"),
    "temp_c": Shown("Battery temperature at the start", "°C"),
    "temperature_c": Shown("Battery temperature at the start", "°C"),
    "discharge_current_a": Shown("Discharge current", "A"),
    "minutes": Shown("Minutes until the end"),
    "note": Shown("Note"),
}
"""How the page shows what is entered, by the names of the records."""

TIMED, LOG = "Current and minutes", "CSV log"
BOX_OF_VERDICT = {
    Verdict.PASS: ("top_off", "✓"),
    Verdict.MARGINAL: ("keep_watching", "?"),
    Verdict.FAIL: ("service", "!"),
    Verdict.NOT_FINISHED: ("keep_watching", "?"),
}
TEMPLATE_CSV = """elapsed_s,discharge_current_a,battery_voltage_v,battery_temp_c
0,40,24.6,23
60,40,24.5,23
120,40,24.4,23
"""


@kept.saying_faults
def page() -> None:
    """Show the page."""
    store = kept.opened("Capacity check")
    if store is None:
        return
    left, right = st.columns([5, 9], gap="large")
    with left:
        serial = kept.choose_battery(store)
        if serial is None:
            return
        try:
            given = _discharge_input()
        except BatteryModelError as error:
            show_faults(error)
            return
        on = st.date_input(LABELS["on"].title, value=date.today(), key=f"{KEPT}check.on")
        key = f"{KEPT}check.temp"
        temp = temperatures.number_input(st, LABELS["temp_c"].title, key)
        temperatures.show_choice()
    with right:
        if given is None:
            st.info("Give the discharge current and its minutes, or the log of the bench.")
            return
        _show_answer(store, serial, given, on, temp)


def _discharge_input() -> TimedDischarge | DischargeLog | None:
    way = st.radio("Discharge from", (TIMED, LOG), horizontal=True, key=f"{KEPT}check.way")
    if way == LOG:
        upload = st.file_uploader("Discharge log CSV file", type=["csv", "txt"], key="check_log")
        st.download_button("Template CSV", TEMPLATE_CSV, "discharge.csv", "text/csv")
        st.session_state["check_bytes"] = None if upload is None else upload.getvalue()
        st.session_state["check_name"] = None if upload is None else upload.name
        return None if upload is None else discharge_log_from_bytes(upload.getvalue(), upload.name)
    st.session_state["check_bytes"] = st.session_state["check_name"] = None
    current = st.number_input(
        LABELS["discharge_current_a"].title,
        value=None,
        step=1.0,
        format="%g",
        key=f"{KEPT}check.current",
    )
    minutes = st.number_input(
        LABELS["minutes"].title, value=None, step=1.0, format="%g", key=f"{KEPT}check.minutes"
    )
    reached = st.checkbox("The end voltage was reached", value=True, key=f"{KEPT}check.reached")
    if current is None or minutes is None:
        return None
    return TimedDischarge(current, minutes, reached)


def _show_answer(
    store: Store,
    serial: str,
    given: TimedDischarge | DischargeLog,
    on: date,
    temp_c: float | None,
) -> None:
    try:
        result = capacity_check(given, store.battery(serial, on), temp_c=temp_c, on=on)
    except BatteryModelError as error:
        show_faults(error, LABELS)
        return
    box, sign = BOX_OF_VERDICT[result.verdict]
    word = VERDICT_WORDS[result.verdict]
    known_c = () if temp_c is None else (temp_c,)
    temperatures.show_html(
        pages.named(serial)
        + pages.verdict_box(box, sign, word, result.reason, result.next_step)
        + pages.figures(_figures(result)),
        known_c,
    )
    if result.curves is not None:
        st.altair_chart(recordcharts.discharge_chart(result), theme=None)
        temperatures.show_html(pages.note(recordcharts.discharge_words(result)))
    st.header("Corrections")
    temperatures.show_html(pages.plain_list(_correction_lines(result)), known_c)
    if result.notes:
        temperatures.show_html(pages.plain_list(result.notes), known_c)
    _show_keeping(store, serial, result, on)
    st.download_button("Report as text", capacity_text(result), "capacity.txt", "text/plain")


def _figures(result: CapacityResult) -> list[tuple[str, str, str]]:
    delivered = ("Delivered", f"{result.delivered_ah:.1f} Ah", f"in {result.minutes:.0f} min")
    if result.capacity_ah is None or result.percent_of_rated is None:
        least = f"{result.at_least_ah:.1f} Ah" if result.at_least_ah else "not known"
        return [("Capacity", f"at least {least}", "stopped before the end voltage"), delivered]
    ah, ah_spread = amount(result.capacity_ah, "Ah")
    percent, percent_spread = amount(result.percent_of_rated, "%")
    return [
        ("Percent of rated", percent, f"90 % range: {percent_spread}"),
        ("Capacity at 25 °C", ah, f"90 % range: {ah_spread}"),
        delivered,
    ]


def _correction_lines(result: CapacityResult) -> list[str]:
    return [f"{c.name}: times {c.factor:.3f} ({c.source})" for c in result.corrections]


def _show_keeping(store: Store, serial: str, result: CapacityResult, on: date) -> None:
    st.header("Keep in the record")
    note = st.text_input(LABELS["note"].title, key=f"{KEPT}check.note")
    again = st.checkbox(pages.MEASURED_AGAIN, key=f"{KEPT}check.again")
    st.button(
        f"Keep this check of {serial}",
        type="primary",
        on_click=_keep,
        args=(store, serial, result, on, note, again),
    )


def _keep(
    store: Store, serial: str, result: CapacityResult, on: date, note: str, again: bool
) -> None:
    log, name = st.session_state.get("check_bytes"), st.session_state.get("check_name")

    def write() -> TakenCheck:
        record = bench_check(store.plate(serial).id, result, on, note.strip() or None)
        return add_check(store, record.model_copy(update={"log_name": name}), log, again=again)

    def words(taken: TakenCheck) -> str:
        added = "what it had left open was filled in" if taken.is_completed else "nothing was added"
        already = f" already; {added}" if taken.was_there else ""
        return f"The check of {on} is in the record of {serial}{already}."

    if kept.attempt(write, words, LABELS):
        st.session_state[f"{KEPT}check.note"] = ""
        st.session_state[f"{KEPT}check.again"] = False
