"""What is asked for a ground power budget: aircraft, task, supply and circuit, or a loads file."""

from __future__ import annotations

import json
from collections.abc import Sized
from dataclasses import dataclass
from datetime import date
from typing import Any

import streamlit as st

from batterymodel.basis.text import one_line
from batterymodel.errors import BatteryModelError, InputError
from batterymodel.inputs.entry_faults import Shown
from batterymodel.inputs.load_plan import AircraftLoads, Task, aircraft_loads_from
from batterymodel.inputs.records import Supply, record_from, toml_data
from batterymodel.pages import KEPT, kept, literal, places, temperatures
from batterymodel.pages.choices import OWN, own_words, told_apart
from batterymodel.pages.readings_file import show_faults
from batterymodel.rules.wording import minutes_words
from batterymodel.store import Store
from batterymodel.store.power import (
    TakenSupply,
    add_load_plan,
    add_supply,
    loads_in_force,
    supplies_of,
    supply_named,
    tails_of,
)
from batterymodel.store.records import ShopSupply

ENTERED_HERE = "Entered here"
CABLE = "cable"
LABELS = {
    "rated_current_a": Shown("Rated current", "A"),
    "set_voltage_v": Shown("Set voltage", "V"),
    "input_voltage_v": Shown("Wall voltage", "V"),
    "input_current_full_load_a": Shown("Input current at full load", "A"),
    "circuit_breaker_a": Shown("Breaker of the wall circuit", "A"),
    "cable.length_m": Shown("Cable length, one way", "m"),
    "cable.gauge_awg": Shown("Cable gauge", "AWG"),
    "cable.area_mm2": Shown("Cable cross-section", "mm²"),
    "cable.rated_current_a": Shown("Current the cable may carry", "A"),
    "supply_temp_c": Shown("Air at the supply", "°C"),
    "name": Shown("Name of the supply"),
}
"""How the page shows what is entered, by the names of the records."""

STEPS = {"set_voltage_v": 0.1, "input_current_full_load_a": 0.5, "cable.length_m": 0.5}
FIELDS = tuple(name for name in LABELS if name not in ("supply_temp_c", "name"))
GOOD = f"{KEPT}power.good_supply"
STILL = "The answer is still that of the supply as entered before."
NOT_IN_FORCE = (
    " They were said on {day}: the budget goes on with those of {counted}. Where these are newer, "
    "put their day into the file, as 'on'."
)
GONE = "The supply {was} is no longer in this record; {now} is chosen instead."
LOADS_FILE = "Loads file (TOML)"
LOADS_TEMPLATE = """tail = {tail}
document = "aircraft's load list, title and revision"
said_by = "who said so"
on = 2026-03-02

[[consumers]]
name = "Avionics"
continuous_a = 9.5

[[consumers]]
name = "Fuel pump"
continuous_a = 5.0
starting_a = 18.0
starting_s = 0.4
duty = 0.1

[[consumers]]
name = "Clock"
continuous_a = 0.3
may_switch_off = false

[[tasks]]
name = "Database update"
minutes = 45
needs = ["Avionics"]
wants = ["Fuel pump"]
"""


@dataclass(frozen=True)
class Asked:
    """What a budget is asked for; ``where`` is the supply with its circuit in words."""

    tail: str
    task: str
    supply: Supply
    where: str
    supply_temp_c: float | None


def choose_aircraft(store: Store) -> str | None:
    """The tail that was chosen; None, with what to do on the page, where there is none.

    Parameters
    ----------
    store : Store

    Returns
    -------
    str or None

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    tails, key = tails_of(store), f"{KEPT}power.tail"
    if not tails:
        kept.show_no_battery()
        return None
    if st.session_state.get(key) not in tails:
        st.session_state[key] = next(iter(tails))
    said = {tail: tail if planned else f"{tail}, no loads yet" for tail, planned in tails.items()}
    words = told_apart(said)
    return st.selectbox("Aircraft", list(tails), format_func=words.__getitem__, key=key)


def asked_of(store: Store, tail: str, loads: AircraftLoads) -> Asked | None:
    """Task and supply as chosen; None, with what is missing on the page.

    Parameters
    ----------
    store : Store
    tail : str
    loads : AircraftLoads

    Returns
    -------
    Asked or None

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    task = _choose_task(loads.tasks)
    supply, where = _choose_supply(store)
    key = f"{KEPT}power.supply_temp"
    with st.expander("Temperature at the supply"):
        temp_c = temperatures.number_input(st, LABELS["supply_temp_c"].title, key)
    if task is None:
        st.info("These loads name no task yet: add one under *Consumers and tasks*.")
    if supply is None or task is None:
        return None
    return Asked(tail, task, supply, where, temp_c)


def _choose_task(tasks: tuple[Task, ...]) -> str | None:
    said = {task.name: f"{task.name}, {minutes_words(task.minutes)}" for task in tasks}
    words = told_apart(said)
    key = f"{KEPT}power.task"
    if st.session_state.get(key) not in words:
        st.session_state[key] = next(iter(words), None)
    if not words:
        return None
    return st.selectbox("Task", list(words), format_func=words.__getitem__, key=key)


def _choose_supply(store: Store) -> tuple[Supply | None, str]:
    """The supply on its circuit, and both in words."""
    names = [supply.name for supply in supplies_of(store)]
    words = {name: name for name in names} | {OWN: own_words(ENTERED_HERE, names)}
    options, key = list(words), f"{KEPT}power.supply"
    was = st.session_state.get(key)
    if was not in options:
        st.session_state[key] = options[0]
    chosen = st.selectbox("Supply", options, format_func=words.__getitem__, key=key)
    if was is not None and was not in options:
        st.warning(literal(GONE.format(was=was, now=words[options[0]])))
    if chosen == OWN:
        return _entered_supply(store)
    supply = supply_named(store, str(chosen))
    circuit = _choose_circuit(supply)
    return supply.on_circuit(circuit), supply.name + (f" on {circuit}" if circuit else "")


def _choose_circuit(supply: ShopSupply) -> str | None:
    said = {one.name: f"{one.name}, {one.circuit_breaker_a:g} A" for one in supply.circuits}
    words = told_apart(said)
    if not words:
        return None
    key = f"{KEPT}power.circuit"
    if st.session_state.get(key) not in words:
        st.session_state[key] = next(iter(words))
    return st.selectbox("Wall circuit", list(words), format_func=words.__getitem__, key=key)


def _entered_supply(store: Store) -> tuple[Supply | None, str]:
    told = _entered()
    if "rated_current_a" not in told:
        st.info("Give the rated current of the supply, as its plate has it.")
        return None, ""
    try:
        supply = record_from(told, Supply, "supply")
    except BatteryModelError as error:
        show_faults(error, LABELS)
        good: Supply | None = st.session_state.get(GOOD)
        if good is not None:
            st.caption(STILL)
        return good, _words_of(good)
    st.session_state[GOOD] = supply
    _show_keeping_supply(store, told)
    return supply, _words_of(supply)


def _words_of(supply: Supply | None) -> str:
    return "" if supply is None else f"the {supply.rated_current_a:g} A supply"


def _entered() -> dict[str, Any]:
    """What was entered of the supply, by the names of the record."""
    first, *others = FIELDS
    values = {first: _number(first)}
    with st.expander("Set voltage, wall circuit and cable"):
        values |= {name: _number(name) for name in others}
    return _nested({name: value for name, value in values.items() if value is not None})


def _number(name: str) -> float | int | None:
    whole = name == "cable.gauge_awg"
    value: float | int | None = st.number_input(
        LABELS[name].title,
        value=None,
        step=1 if whole else STEPS.get(name, 1.0),
        format="%d" if whole else "%g",
        key=f"{KEPT}power.{name}",
    )
    return value


def _nested(told: dict[str, Any]) -> dict[str, Any]:
    """Values by name, those of the cable in a table of their own."""
    own = {name: value for name, value in told.items() if "." not in name}
    cable = {name.split(".")[1]: value for name, value in told.items() if "." in name}
    return {**own, CABLE: cable} if cable else own


def _show_keeping_supply(store: Store, told: dict[str, Any]) -> None:
    name = st.text_input(LABELS["name"].title, key=f"{KEPT}power.name")
    st.button(
        "Keep this supply",
        disabled=not one_line(name),
        on_click=_keep_supply,
        args=(store, name, told),
        width="stretch",
    )


def _keep_supply(store: Store, name: str, told: dict[str, Any]) -> None:
    def write() -> TakenSupply:
        invented = places.is_demo()
        data = {**told, "name": name, "invented": invented}
        return add_supply(store, record_from(data, ShopSupply, "supply"))

    def words(taken: TakenSupply) -> str:
        already = " already; nothing was added" if taken.was_there else ""
        return f"The supply {taken.entry.record.name} is in the record{already}."

    taken = kept.attempt(write, words, LABELS)
    if taken is not None:
        st.session_state[f"{KEPT}power.supply"] = taken.entry.record.name
        st.session_state[f"{KEPT}power.name"] = ""


def loads_template(tail: str) -> str:
    """A loads file of an aircraft to be filled in.

    Parameters
    ----------
    tail : str

    Returns
    -------
    str
        TOML that can be read as it stands.
    """
    return LOADS_TEMPLATE.format(tail=json.dumps(tail, ensure_ascii=False))


def show_loads_file(store: Store, tail: str) -> None:
    """Take consumers and tasks of an aircraft from a file into the record.

    Parameters
    ----------
    store : Store
    tail : str
    """
    upload = st.file_uploader(LOADS_FILE, type=["toml"], key=f"power_loads.{tail}")
    st.download_button("Template (TOML)", loads_template(tail), "loads.toml", "text/plain")
    if upload is None:
        return
    try:
        loads = _loads_from(upload.getvalue(), upload.name, tail)
    except BatteryModelError as error:
        show_faults(error)
        return
    known = f"{_count(loads.consumers, 'consumer')} and {_count(loads.tasks, 'task')}"
    if loads == loads_in_force(store, tail, date.today()):
        st.caption(f"These {known} are on record.")
        return
    st.button(
        literal(f"Keep {known} of {tail}"),
        type="primary",
        on_click=_keep_loads,
        args=(store, tail, loads),
        width="stretch",
    )


def _count(things: Sized, name: str) -> str:
    return f"{len(things)} {name}{'s' * (len(things) != 1)}"


def _loads_from(content: bytes, name: str, tail: str) -> AircraftLoads:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{name}: is not a text file; TOML in UTF-8 would be right") from None
    return aircraft_loads_from({"tail": tail, **toml_data(text, name)}, name)


def _keep_loads(store: Store, tail: str, loads: AircraftLoads) -> None:
    def write() -> bool:
        return add_load_plan(store, tail, loads, date.today())[1]

    def words(was_there: bool) -> str:
        already = " already; nothing was added" if was_there else ""
        said = f"What {tail} takes is in the record{already}."
        return said + _not_in_force_words(store, tail, loads)

    kept.attempt(write, words)


def _not_in_force_words(store: Store, tail: str, loads: AircraftLoads) -> str:
    """That other loads count today, where those just kept were said on another day."""
    today = date.today()
    counted = loads_in_force(store, tail, today)
    if counted is None or counted.on == (loads.on or today):
        return ""
    return NOT_IN_FORCE.format(day=loads.on, counted=counted.on)
