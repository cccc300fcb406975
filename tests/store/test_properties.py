"""Any record that can be written comes back equal, from the store and through the ZIP."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from batterymodel import History, Limits, Supply
from batterymodel.inputs.load_plan import AircraftLoads, Task
from batterymodel.inputs.load_plan import Consumer as PlannedConsumer
from batterymodel.inputs.records import LEAST_CHECK_AH, MOST_CHECK_AH, Cable
from batterymodel.rules.results import Outcome
from batterymodel.store import open_store
from batterymodel.store.archive import export_zip
from batterymodel.store.records import (
    Aircraft,
    BatteryPlate,
    BenchCheck,
    CardRevision,
    Connection,
    Consumer,
    HistoryRevision,
    KnownState,
    LoadConfiguration,
    LoadPlan,
    Move,
    ShopSupply,
    WallCircuit,
    one_line,
)
from batterymodel.store.zip_import import import_zip
from tests.sparing import examples

TEXT = st.text(min_size=1, max_size=40).filter(one_line)
LABEL = TEXT.filter(lambda text: len(one_line(text)) <= 60)
DAYS = st.dates(date(1950, 1, 1), date(2100, 1, 1))
FRACTION = st.floats(0.0, 1.0)
FINITE = {"allow_nan": False, "allow_infinity": False}
AMPERES = st.floats(0.0, 1000.0)
CELSIUS = st.floats(-60.0, 120.0)
MAYBE = st.none()
CLOCKS = st.datetimes(datetime(1950, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC) | MAYBE)
JSON = st.recursive(
    MAYBE | st.booleans() | st.integers() | st.floats(**FINITE) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner),
    max_leaves=8,
)
LIMITS = st.builds(
    Limits,
    document=MAYBE | st.text(st.characters(exclude_categories=["Cs"]), max_size=30),
    max_charge_current_a=MAYBE | st.floats(0.0, 2000.0, exclude_min=True),
    charge_temp_min_c=MAYBE | st.floats(-60.0, 0.0),
    charge_temp_max_c=MAYBE | st.floats(0.5, 120.0),
    min_top_off_soc=MAYBE | FRACTION,
    capacity_check_interval_days=MAYBE | st.integers(1, 3660),
    rest_voltage_soc=st.just((0.0, 1.0)),
    rest_voltage_v=st.just((24.0, 26.0)),
)
HISTORY = st.builds(
    History,
    charge_time_h=st.floats(0.006, 20.0),
    fast_share=MAYBE | st.floats(0.001, 0.89),
    on=MAYBE | DAYS,
)
SUPPLY = st.builds(Supply, rated_current_a=st.floats(0.001, 1000.0))
LOADS = st.lists(st.tuples(LABEL, AMPERES), max_size=4).map(
    lambda pairs: tuple(Consumer(name=n, continuous_a=a / 2, peak_a=a) for n, a in pairs)
)
CABLE = st.builds(
    Cable,
    length_m=st.floats(0.001, 200.0),
    gauge_awg=st.integers(-3, 24),
    contacts_ohm=MAYBE | st.floats(0.0, 1.0),
)
CIRCUITS = st.lists(st.floats(0.001, 500.0), max_size=3).map(
    lambda found: tuple(
        WallCircuit(name=f"Circuit {k}", circuit_breaker_a=a) for k, a in enumerate(found)
    )
)
PLANNED = st.builds(
    PlannedConsumer,
    name=LABEL,
    continuous_a=AMPERES,
    duty=st.floats(0.001, 1.0),
    may_switch_off=st.booleans(),
    continuous_sd_a=MAYBE | st.floats(0.0, 500.0),
    readings=st.integers(0, 1_000_000),
    note=MAYBE | TEXT,
)


@st.composite
def plans(draw):
    consumer = draw(PLANNED)
    task = Task(name=draw(LABEL), minutes=draw(st.floats(0.001, 1440.0)), needs=(consumer.name,))
    about = {"document": draw(MAYBE | TEXT), "said_by": draw(MAYBE | LABEL), "on": draw(DAYS)}
    return AircraftLoads(tail=draw(LABEL), consumers=(consumer,), tasks=(task,), **about)


@st.composite
def fleets(draw):
    """A list of functions that make the next record from the ids so far."""
    plate = draw(
        st.builds(
            BatteryPlate,
            serial=LABEL,
            chemistry=st.sampled_from(["vrla", "nicd", "lfp", "vented_lead_acid"]),
            cells=st.integers(1, 40),
            rated_capacity_ah=st.floats(0.5, 500.0),
            installed_on=MAYBE | DAYS,
            note=MAYBE | TEXT,
            invented=st.booleans(),
        )
    )
    aircraft = draw(st.builds(Aircraft, tail=LABEL, note=MAYBE | TEXT))
    about = {"battery_id": "battery", "aircraft_id": "aircraft"}
    outcome = str(draw(st.sampled_from(Outcome)))
    result = draw(MAYBE | st.dictionaries(st.text(max_size=9), JSON, max_size=3))
    rest = [
        (CardRevision, {"on": draw(DAYS), "limits": draw(LIMITS), "reason": draw(TEXT)}),
        (HistoryRevision, {"on": draw(DAYS), "history": draw(HISTORY)}),
        (KnownState, {"on": draw(DAYS), "state_of_charge": draw(FRACTION)}),
        (Move, {"on": draw(DAYS), "reason": draw(TEXT)}),
        (BenchCheck, {
            "on": draw(DAYS),
            "capacity_ah": draw(st.floats(LEAST_CHECK_AH, MOST_CHECK_AH)),
            "temperature_c": draw(MAYBE | CELSIUS),
            "is_lower_bound": draw(st.booleans()),
            "note": draw(MAYBE | TEXT),
        }),
        (LoadConfiguration, {
            "name": draw(LABEL),
            "consumers": draw(LOADS),
            "on": draw(MAYBE | DAYS),
            "left_off": draw(MAYBE | st.lists(LABEL, max_size=3).map(tuple)),
            "answer": draw(MAYBE | TEXT),
        }),
        (LoadPlan, {"on": draw(DAYS), "loads": draw(plans())}),
        (ShopSupply, {
            "name": draw(LABEL),
            "rated_current_a": draw(st.floats(0.001, 1000.0)),
            "cable": draw(MAYBE | CABLE),
            "circuits": draw(CIRCUITS),
            "note": draw(MAYBE | TEXT),
            "invented": draw(st.booleans()),
        }),
        (Connection, {
            "day": draw(DAYS),
            "started_at": draw(CLOCKS),
            "file_name": draw(TEXT),
            "supply": draw(MAYBE | SUPPLY),
            "load_a": draw(MAYBE | AMPERES),
            "ambient_c": draw(MAYBE | CELSIUS),
            "assessment": None if result is None else json.dumps(result | {"outcome": outcome}),
            "not_assessed": draw(MAYBE | TEXT),
        }),
    ]  # fmt: skip
    return plate, aircraft, rest, about, draw(st.binary(max_size=200))


def write(store, fleet):
    plate, aircraft, rest, about, data = fleet
    ids = {"battery": store.add(plate).id, "aircraft": store.add(aircraft).id}
    sha256 = store.keep_file(data)
    written = [plate, aircraft]
    for kind, values in rest:
        parents = {f: ids[n] for f, n in about.items() if f in kind.model_fields}
        file = {"readings_sha256": sha256} if kind is Connection else {}
        record = kind(**values, **parents, **file)
        assert store.add(record).record == record
        written.append(record)
    return written, sha256


@examples(10)
@given(fleets())
def test_records_come_back_equal_from_store_and_zip(tmp_path_factory, new_sqlite, fleet):
    check_round_trip(tmp_path_factory.mktemp("zip"), new_sqlite, fleet)


@pytest.mark.slow
@settings(max_examples=80)
@given(fleets())
def test_many_records_come_back_equal(tmp_path_factory, new_sqlite, fleet):
    check_round_trip(tmp_path_factory.mktemp("zip"), new_sqlite, fleet)


def check_round_trip(folder, new_sqlite, fleet):
    stores = [open_store(new_sqlite(name)) for name in ("one", "two")]
    with stores[0].writing():
        written, sha256 = write(stores[0], fleet)
    export_zip(stores[0], folder / "one.zip")
    import_zip(stores[1], folder / "one.zip")
    export_zip(stores[1], folder / "two.zip")
    assert (folder / "one.zip").read_bytes() == (folder / "two.zip").read_bytes()
    for store in stores:
        back = [entry.record for kind in map(type, written) for entry in store.entries(kind)]
        assert back == written
        assert store.file(sha256) == fleet[-1]
        assert store.faults() == ()


@given(st.text(max_size=80))
def test_labels_are_one_plain_line_or_refused(text):
    try:
        kept: BaseModel = Aircraft(tail=text)
    except ValidationError:
        assert not one_line(text) or len(one_line(text)) > 60
        return
    assert kept.tail.isprintable()
    assert Aircraft(tail=kept.tail) == kept
