"""The page of the ground power budget: aircraft, task and supply in, what fits out."""

from __future__ import annotations

from datetime import date, datetime

import streamlit as st

from batterymodel import pages
from batterymodel.budget.results import Budget
from batterymodel.budget.wording import RULE_WORDS
from batterymodel.charts import budget as charts
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.load_plan import AircraftLoads
from batterymodel.pages import kept, literal, load_entries, temperatures
from batterymodel.pages.power_card import consumers_html, either, power_box, power_figures
from batterymodel.pages.power_entries import (
    LABELS,
    Asked,
    asked_of,
    choose_aircraft,
    show_loads_file,
)
from batterymodel.pages.readings_file import show_faults
from batterymodel.say.budget import (
    answer,
    consumer_rows,
    limit_rows,
    load_words,
    way_rows,
    way_words,
)
from batterymodel.say.budget_wording import ON_BATTERY, ON_GROUND_POWER
from batterymodel.say.connection import temperatures_of
from batterymodel.say.ground_power import (
    OPEN,
    PowerView,
    battery_words,
    known_words,
    learned_from_words,
    loads_words,
    taught_words,
    view_text,
)
from batterymodel.store import Store
from batterymodel.store.learned_loads import choice_said_first, said_first
from batterymodel.store.power import keep_configuration, known_configuration, loads_in_force

LIMITS = ("Limit", "Gives", "Room", "From")
WAYS = ("", ON_GROUND_POWER.capitalize(), ON_BATTERY.capitalize())
ONE_BY_ONE, AS_FILE, ANOTHER_FILE = "Consumers and tasks", "Loads file", "Another loads file"
NO_LOADS = (
    "What {tail} takes is not on record yet: enter its consumers and tasks one after another, or "
    "give them as a file."
)


@kept.saying_faults
def page() -> None:
    """Show the page."""
    store = kept.opened("Ground power")
    if store is None:
        return
    try:
        _show(store)
    except BatteryModelError as error:
        show_faults(error, LABELS)


def _show(store: Store) -> None:
    left, right = st.columns([5, 9], gap="large")
    with left:
        tail = choose_aircraft(store)
        if tail is None:
            return
        loads = loads_in_force(store, tail, date.today())
        asked = None if loads is None else asked_of(store, tail, loads)
        if loads is None:
            st.info(literal(NO_LOADS.format(tail=tail)))
    with right:
        if asked is not None:
            _show_answer(store, asked)
        _show_loads(store, tail, loads)
        temperatures.show_choice()


def _show_loads(store: Store, tail: str, loads: AircraftLoads | None) -> None:
    """The aircraft's loads to be entered one at a time, or taken from a file."""
    is_begun = loads is None or not loads.tasks or load_entries.is_altered(tail)
    with st.expander(ONE_BY_ONE, expanded=is_begun):
        if loads is not None:
            st.html(pages.note(loads_words(loads, said_first(store, loads))))
        load_entries.show_list(store, tail)
    with st.expander(AS_FILE if loads is None else ANOTHER_FILE):
        show_loads_file(store, tail)


def _show_answer(store: Store, asked: Asked) -> None:
    now = datetime.now().astimezone()
    try:
        view = kept.power(store, asked.tail, asked.task, asked.supply, now, asked.supply_temp_c)
    except BatteryModelError as error:
        show_faults(error, LABELS)
        return
    budget = view.budget
    known_c = temperatures_of(budget.findings)
    temperatures.show_html(
        pages.named(f"{asked.tail}: {asked.task}")
        + power_box(budget, battery_words(view, now))
        + power_figures(budget),
        known_c,
    )
    _show_open_findings(budget, known_c)
    st.header("Load over the task")
    st.altair_chart(charts.load_chart(budget), theme=None)
    st.html(pages.note(charts.load_words(budget)))
    _show_consumers(budget)
    _show_both_ways(budget)
    _show_details(view, known_c)
    _show_keeping(store, asked, budget)
    st.download_button("Budget as text", view_text(view, now), "budget.txt", "text/plain")
    st.header("Cautions")
    st.html(pages.plain_list(budget.cautions))


def _show_open_findings(budget: Budget, known_c: tuple[float, ...]) -> None:
    found = [finding for finding in budget.findings if finding.severity in OPEN]
    if found:
        st.header("To look at")
        temperatures.show_html(pages.findings_list(found, RULE_WORDS), known_c)


def _show_consumers(budget: Budget) -> None:
    st.header("Consumers")
    st.html(consumers_html(consumer_rows(budget)))
    st.html(pages.note(load_words(budget)))


def _show_both_ways(budget: Budget) -> None:
    st.header("With and without ground power")
    rows = [(one.name, one.on_ground_power, one.on_battery) for one in way_rows(budget)]
    if rows:
        st.html(either(WAYS, rows))
    st.html(pages.note(way_words(budget)))


def _show_details(view: PowerView, known_c: tuple[float, ...]) -> None:
    """Limits with their sources, the findings that ask for nothing, and what was learned."""
    budget = view.budget
    with st.expander(pages.DETAILS):
        rows = [(one.name, one.limit, one.room, one.source) for one in limit_rows(budget)]
        st.html(either(LIMITS, rows))
        quiet = [finding for finding in budget.findings if finding.severity not in OPEN]
        temperatures.show_html(pages.findings_list(quiet, RULE_WORDS), known_c)
        learned = [*filter(None, [learned_from_words(view.learned)]), *taught_words(budget)]
        if learned:
            st.html(pages.plain_list(learned))


def _show_keeping(store: Store, asked: Asked, budget: Budget) -> None:
    st.header("Keep in the record")
    known = known_configuration(store, asked.tail, asked.task)
    first = None if known is None else choice_said_first(store, known)
    st.html(pages.note(known_words(asked.task, known, first)))
    st.button(
        literal(f"Keep this configuration of {asked.tail}"),
        type="primary",
        width="stretch",
        on_click=_keep,
        args=(store, asked, budget),
    )


def _keep(store: Store, asked: Asked, budget: Budget) -> None:
    def write() -> bool:
        return keep_configuration(store, budget, asked.where, f"{answer(budget)}.")[1]

    def words(was_there: bool) -> str:
        already = " already; nothing was added" if was_there else ""
        return f"The configuration of {asked.tail} for {asked.task} is in the record{already}."

    kept.attempt(write, words)
