"""The page after connection: readings and battery in, the outcome with its reasons out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import streamlit as st

from batterymodel import pages
from batterymodel.assessment import assess, connection_day
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.column_map import ColumnMap
from batterymodel.inputs.entry_faults import Shown
from batterymodel.inputs.records import Battery, Readings, Supply, record_from, record_toml
from batterymodel.pages import (
    KEPT,
    LAST_CASE,
    answer_parts,
    battery_form,
    kept,
    literal,
    log_followed,
    readings_file,
    temperatures,
    typed_readings,
)
from batterymodel.pages.readings_file import GivenReadings
from batterymodel.reference.chemistry import data_for
from batterymodel.rules.results import Assessment
from batterymodel.samples.connections import (
    SCENARIO_DAY,
    Sample,
    is_sample,
    load_scenario,
    sample_readings,
)
from batterymodel.say.connection import temperatures_of, text_report
from batterymodel.say.record_view import fleet_of
from batterymodel.sheet.case import SheetCase
from batterymodel.sheet.wording import IN_AIRCRAFT, INVENTED
from batterymodel.store import Store
from batterymodel.store.intake import Taken, Told, add_connection
from batterymodel.store.kinds import with_kind

SAMPLE, FILE, TYPED, GROWING = "Sample", "File", "Typed in", "Growing file"
SAMPLE_SUPPLY, OWN_SUPPLY, NO_SUPPLY = "Sample supply", "Entered here", "Not known"
TABS = ("Battery", "Limits card", "Record", "Supply", "Measured")
ON_RECORD = f"{KEPT}on_record"
LOAD_ERROR_A = 0.5
TEMPERATURE = "ambient_c"
BEGIN = (
    "Choose an invented sample connection, or give your own readings as a file or typed from the "
    "meter. The answer appears here, with the reasons for it."
)
AWAITED = "The answer appears here once {name} gives readings."
STILL = "Below is {good}, given before: {other} gives no readings yet."

_SUPPLY_FIELDS = (
    ("rated_current_a", Shown("Rated current", "A"), 1.0),
    ("set_voltage_v", Shown("Set voltage", "V"), 0.1),
    ("voltage_tolerance_v", Shown("Tolerance of the set voltage", "V"), 0.1),
    ("input_voltage_v", Shown("Wall voltage", "V"), 1.0),
    ("input_current_full_load_a", Shown("Input current at full load", "A"), 0.5),
    ("circuit_breaker_a", Shown("Circuit breaker", "A"), 1.0),
)
_KNOWN_FIELDS = (
    ("rest_voltage_v", Shown("Rest voltage before connection", "V"), 0.1),
    (TEMPERATURE, Shown("Battery or ambient temperature", "°C"), 1.0),
    ("load_a", Shown("Bus load without the battery", "A"), 0.5),
    ("load_sd_a", Shown("Error of the bus load", "A"), 0.1),
)
LABELS = {name: shown for name, shown, _ in (*_SUPPLY_FIELDS, *_KNOWN_FIELDS)} | battery_form.LABELS
"""How the page shows what is entered, by the names of the records."""

ANSWERED = f"{KEPT}readings.answered"
"""Whether the page shows an answer."""

T = TypeVar("T")


@dataclass
class Job:
    """What the input side gives the answer side."""

    readings: Readings | None = None
    file: GivenReadings | None = None
    awaited: str | None = None
    growing: str | None = None
    battery: Battery | None = None
    supply: Supply | None = None
    known: dict[str, Any] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    is_answered: bool = False

    def attempt(self, read: Callable[[], T]) -> T | None:
        """What `read` returns; None with its sentences among the problems if it cannot be used.

        Parameters
        ----------
        read : callable without arguments
            May raise a `BatteryModelError`, whose sentences are kept; all else passes through.

        Returns
        -------
        object or None
        """
        try:
            return read()
        except BatteryModelError as error:
            self.problems += readings_file.sentences_of(error, LABELS)
            return None


@kept.saying_faults
def page() -> None:
    """Show the page."""
    st.html(pages.STYLE)
    st.title("Readings file")
    samples, sample_supply = load_scenario()
    _set_out()
    left, right = st.columns([5, 9], gap="large")
    with left:
        job = _input_side(samples, sample_supply)
    with right:
        _answer_side(job)
    if not job.is_answered:
        _note_answered(is_answered=False)


def _input_side(samples: Sequence[Sample], sample_supply: Supply) -> Job:
    job, by_key = Job(), {sample.key: sample for sample in samples}
    source = st.radio(
        "Readings from",
        (SAMPLE, FILE, TYPED, *((GROWING,) if log_followed.is_offered() else ())),
        horizontal=True,
        key=f"{KEPT}source",
        on_change=_source_changed,
        args=(by_key,),
        label_visibility="collapsed",
    )
    _take_readings(job, source, by_key)
    with st.expander("Battery, supply and measured values", expanded=_form_is_open(source)):
        plate, card, record, supply, known = st.tabs(TABS)
        with plate:
            if source != SAMPLE:
                _battery_on_record()
            job.attempt(lambda: battery_form.show_plate(samples, source != SAMPLE))
            download = st.container()
        with card:
            battery_form.show_limits()
        with record:
            battery_form.show_record()
        with supply:
            job.supply = job.attempt(lambda: _supply_input(sample_supply, job))
        with known:
            job.known = _known_input()
    _take_battery(job)
    with download:
        battery_form.show_download(job.battery)
    job.battery = job.attempt(lambda: _of_its_kind(job)) if job.battery else None
    return job


def _of_its_kind(job: Job) -> Battery | None:
    """The battery in the form; where it was taken from the record, with what its kind teaches."""
    serial, battery = st.session_state.get(ON_RECORD), job.battery
    store = kept.record() if serial and battery else None
    if store is None or serial is None or battery is None:
        return battery
    day = job.known.get("on")
    if day is None and job.readings is not None:
        day = connection_day(job.readings)
    return with_kind(store, serial, battery, day)


def _take_battery(job: Job) -> None:
    try:
        job.battery, missing = battery_form.entered()
        job.missing += missing
    except BatteryModelError:
        job.problems += battery_form.faults(battery_form.IN_HAND)


def _form_is_open(source: str) -> bool:
    """Whether the form stands unfolded: it makes way for the answer, which comes below it."""
    return source != SAMPLE and not st.session_state.get(ANSWERED, False)


def _note_answered(is_answered: bool) -> None:
    """Fold the form once there is an answer, unfold it where there is none any more."""
    if st.session_state.get(ANSWERED, False) != is_answered:
        st.session_state[ANSWERED] = is_answered
        st.rerun()


def _take_readings(job: Job, source: str, by_key: dict[str, Sample]) -> None:
    if source == SAMPLE:
        job.readings = job.attempt(lambda: _sample_input(by_key))
    elif source == GROWING:
        job.growing = log_followed.path_input()
    else:
        given = readings_file if source == FILE else typed_readings
        job.file = job.attempt(given.given_readings)
        job.awaited = given.awaited_name()
        job.readings = job.file.readings if job.file else None


def _sample_input(by_key: dict[str, Sample]) -> Readings | None:
    chosen = st.selectbox(
        "Invented sample connection",
        list(by_key),
        index=None,
        format_func=lambda key: by_key[key].title,
        placeholder="Choose an invented sample",
        key=f"{KEPT}sample",
        on_change=_take_sample,
        args=(by_key,),
        label_visibility="collapsed",
    )
    if chosen is None:
        return None
    st.caption(f"Invented. {literal(by_key[chosen].story)}")
    return sample_readings(chosen)


def _battery_on_record() -> None:
    """Take a battery with its card, history and last check from the record into the form."""
    store = kept.record()
    fleet = fleet_of(store) if store else {}
    if fleet:
        st.selectbox(
            "Battery on record",
            list(fleet),
            index=None,
            format_func=fleet.__getitem__,
            placeholder="Choose, or enter below",
            key=ON_RECORD,
            on_change=_take_from_record,
            args=(store,),
        )


def _take_from_record(store: Store) -> None:
    serial = st.session_state[ON_RECORD]
    if serial is not None:
        battery_form.fill(store.battery(serial, st.session_state[f"{KEPT}known.on"]))
        battery_form.forget_file()


def _supply_input(sample_supply: Supply, job: Job) -> Supply | None:
    choice = st.radio(
        "Ground supply",
        (SAMPLE_SUPPLY, OWN_SUPPLY, NO_SUPPLY),
        horizontal=True,
        key=f"{KEPT}supply_from",
    )
    if choice == SAMPLE_SUPPLY:
        st.caption(f"Invented. {_supply_words(sample_supply)}")
        return sample_supply
    if choice == NO_SUPPLY:
        return None
    entries = _number_inputs("supply", _SUPPLY_FIELDS)
    if "rated_current_a" not in entries:
        job.missing.append("Rated current of the supply (A)")
        return None
    return record_from(entries, Supply, "supply form")


def _known_input() -> dict[str, Any]:
    known = _number_inputs("known", _KNOWN_FIELDS)
    known.setdefault("load_sd_a", LOAD_ERROR_A)
    temperatures.show_choice()
    return {**known, "on": st.date_input("Day of connection", value=None, key=f"{KEPT}known.on")}


def _number_inputs(group: str, fields: Sequence[tuple[str, Shown, float]]) -> dict[str, float]:
    """Number inputs that start empty; the values of those that are filled."""
    values = {}
    for start in range(0, len(fields), 2):
        places = st.columns(2, vertical_alignment="bottom")
        for place, (name, shown, step) in zip(places, fields[start : start + 2], strict=False):
            given = temperatures.number_input if name == TEMPERATURE else _plain_number
            placeholder = str(LOAD_ERROR_A) if name == "load_sd_a" else ""
            key = f"{KEPT}{group}.{name}"
            values[name] = given(place, shown.title, key, step=step, placeholder=placeholder)
    return {name: value for name, value in values.items() if value is not None}


def _plain_number(place: Any, label: str, key: str, **more: Any) -> float | None:
    return place.number_input(label, value=None, format="%g", key=key, **more)


def _set_out() -> None:
    """Entries of a session that has none yet."""
    if f"{KEPT}supply_from" not in st.session_state:
        _empty()
        st.session_state[f"{KEPT}supply.set_voltage_v"] = 28.0


def _empty() -> None:
    battery_form.fill(None)
    battery_form.forget_file()
    st.session_state[ON_RECORD] = None
    st.session_state[f"{KEPT}supply_from"] = NO_SUPPLY
    for name, _, _ in _KNOWN_FIELDS:
        st.session_state[f"{KEPT}known.{name}"] = None
    st.session_state[f"{KEPT}known.on"] = None
    st.session_state[f"{KEPT}from_sample"] = False


def _take_sample(by_key: dict[str, Sample]) -> None:
    """Fill battery, supply and what is known with the chosen sample's values."""
    sample = by_key.get(st.session_state[f"{KEPT}sample"])
    _empty()
    if sample is None:
        return
    battery_form.fill(sample.battery)
    st.session_state[f"{KEPT}supply_from"] = SAMPLE_SUPPLY
    for name in ("rest_voltage_v", "load_a", TEMPERATURE):
        st.session_state[f"{KEPT}known.{name}"] = getattr(sample, name)
    st.session_state[f"{KEPT}known.on"] = SCENARIO_DAY
    st.session_state[f"{KEPT}from_sample"] = True


def _source_changed(by_key: dict[str, Sample]) -> None:
    """A sample's battery must not be taken for that of somebody's own readings."""
    if st.session_state[f"{KEPT}source"] == SAMPLE:
        _take_sample(by_key)
    elif st.session_state[f"{KEPT}from_sample"]:
        _empty()


def _answer_side(job: Job) -> None:
    if job.problems:
        readings_file.show_sentences(job.problems)
        return
    if job.readings is None and job.growing is None:
        st.info(literal(AWAITED.format(name=job.awaited)) if job.awaited else BEGIN)
        return
    if job.file is not None and job.file.instead_of is not None:
        st.warning(literal(STILL.format(good=job.file.name, other=job.file.instead_of)))
    if job.missing or job.battery is None:
        st.info(f"Still needed: {literal(', '.join(job.missing))}.")
    elif job.growing is not None:
        _follow(job, job.battery, job.growing)
    elif job.readings is not None:
        readings, battery = job.readings, job.battery
        result = job.attempt(lambda: _assessed(job, battery, readings))
        if result is None:
            readings_file.show_sentences(job.problems)
            return
        _show_answer(job, battery, readings, result)


def _assessed(job: Job, battery: Battery, readings: Readings) -> Assessment:
    """The assessment, its ranges as wide as earlier answers on record ask; a sample's as they are.

    Parameters
    ----------
    job : Job
    battery : Battery
    readings : Readings

    Returns
    -------
    Assessment
    """
    by, day = 1.0, connection_day(readings, job.known.get("on"))
    if not _is_sample(battery):
        by = kept.widening(battery.chemistry, day)
    return assess(readings, battery, job.supply, widening=by, **job.known)


def _is_sample(battery: Battery) -> bool:
    return st.session_state[f"{KEPT}from_sample"] or is_sample(battery)


def _follow(job: Job, battery: Battery, path: str) -> None:
    def show_answer(
        readings: Readings, result: Assessment, content: bytes, column_map: ColumnMap
    ) -> None:
        job.file = GivenReadings(
            readings, content, Path(path).name, None if column_map.own else column_map
        )
        _show_answer(job, battery, readings, result)

    log_followed.show(
        path,
        lambda readings: _assessed(job, battery, readings),
        (battery, job.supply, job.known),
        show_answer,
    )


def _show_answer(job: Job, battery: Battery, readings: Readings, result: Assessment) -> None:
    job.is_answered = True
    _note_answered(is_answered=True)
    day = connection_day(readings, job.known.get("on"))
    invented = _is_sample(battery)
    marks = (INVENTED,) if invented else ()
    serial = st.session_state.get(ON_RECORD)
    st.session_state.pop(pages.SHEET_SOURCE, None)
    st.session_state[LAST_CASE] = SheetCase(
        result, battery, day, job.supply, remarks=marks, serial=serial
    )
    known_c, name = temperatures_of(result.findings), _battery_name(battery)
    how_right = None if invented else kept.standing_line(battery.chemistry)
    box = pages.outcome_box(result, how_right)
    temperatures.show_html(pages.named(name) + box + pages.key_figures(result), known_c)
    st.html(pages.head(_head_fields(job, battery, readings)))
    answer_parts.show_charts(result)
    answer_parts.show_findings(result.findings)
    _show_keeping(job)
    _show_rest(battery, result)


def _show_keeping(job: Job) -> None:
    """Offer to keep readings of one's own in the record of the battery they were taken on."""
    kept.show_done()
    serial, file = st.session_state.get(ON_RECORD), job.file
    if serial is None or file is None:
        return
    st.header("Keep in the record")
    st.caption(
        f"The readings are kept as they are, and assessed with what the record says of {serial}."
    )
    st.button(f"Keep this connection of {serial}", on_click=_keep, args=(serial, file, job))


def _keep(serial: str, file: GivenReadings, job: Job) -> None:
    store = kept.record()
    if store is not None:
        told = Told(supply=job.supply, **job.known)
        kept.attempt(
            lambda: add_connection(store, serial, file.content, file.name, told, file.column_map),
            lambda taken: _kept_words(serial, taken),
            LABELS,
        )


def _kept_words(serial: str, taken: Taken) -> str:
    already = " already; nothing was added" if taken.was_there else ""
    also = f" But {taken.elsewhere}." if taken.elsewhere else ""
    return f"The connection is in the record of {serial}{already}.{also}"


def _show_rest(battery: Battery, result: Assessment) -> None:
    if result.notes:
        st.header("About the readings")
        temperatures.show_html(pages.plain_list(result.notes))
    if result.learned_history is not None:
        st.header("Learned from this completed taper")
        learned = battery.model_copy(update={"history": result.learned_history, "kind": None})
        st.code("[history]\n" + record_toml(result.learned_history), language=None)
        st.download_button(
            "Battery with this history (TOML)", record_toml(learned), "battery.toml", key="learned"
        )
    st.header("Save this result")
    as_text, as_json = st.columns([1, 2])
    as_text.download_button("Report as text", text_report(result), "report.txt", "text/plain")
    as_json.download_button(
        "Result as JSON", result.model_dump_json(indent=2), "result.json", "application/json"
    )
    st.header("Cautions")
    temperatures.show_html(pages.plain_list(result.cautions))


def _head_fields(job: Job, battery: Battery, readings: Readings) -> list[tuple[str, str]]:
    """What was looked at, blanks named as such."""
    supply = NO_SUPPLY.lower() if job.supply is None else _supply_words(job.supply)
    kind = f"{data_for(battery.chemistry).label}, {battery.cells} cells"
    load_read = readings.load_a is not None or readings.battery_current_a is not None
    return [
        ("Battery", _battery_name(battery)),
        ("Supply", supply),
        ("Kind", f"{kind}, {battery.rated_capacity_ah:g} Ah"),
        ("Readings", str(len(readings))),
        ("Temperature", _known(job, TEMPERATURE, "°C", readings.battery_temp_c is not None)),
        ("Rest voltage", _known(job, "rest_voltage_v", "V", False)),
        ("Bus load", _known(job, "load_a", "A", load_read)),
    ]


def _battery_name(battery: Battery) -> str:
    """Serial and aircraft of a battery of the record; of another one what it was called."""
    serial, tail = st.session_state.get(ON_RECORD), battery.tail
    if serial is None or serial == tail:
        return tail
    return IN_AIRCRAFT.format(serial=serial, tail=tail)


def _known(job: Job, name: str, unit: str, in_readings: bool) -> str:
    if in_readings:
        return "by the readings"
    if name not in job.known:
        return "not given"
    known = job.known[name]
    return temperatures.words(known) if name == TEMPERATURE else f"{known:g} {unit}"


def _supply_words(supply: Supply) -> str:
    return f"{supply.rated_current_a:g} A at {supply.set_voltage_v:g} V"
