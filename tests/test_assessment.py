"""The whole path as a call: contract, invariants, and the history it learns."""

import json
import re
from contextlib import suppress
from datetime import date, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batterymodel import Battery, CapacityCheck, FitError, InputError, Readings, Supply, assess
from batterymodel.inputs.readings import readings_csv, readings_from_frame
from tests.conftest import simulated_connection
from tests.sparing import examples

ON = date(2026, 3, 2)
SUPPLY = Supply(rated_current_a=60.0)
KEYS = {
    "outcome",
    "headline",
    "findings",
    "state_of_charge",
    "charge_to_return_ah",
    "minutes_to_top_off",
    "taper",
    "capacity_ah",
    "supply",
    "next_reading_minutes",
    "next_observation",
}
INTERVAL = {"mean", "low", "high", "level"}
FINDING = {"rule", "severity", "text", "value", "limit", "unit", "source", "generic"}
TAPER = {
    "amplitude_a",
    "time_constant_s",
    "floor_a",
    "load_a",
    "standard_errors",
    "window_s",
    "rmse_a",
}
SUPPLY_KEYS = {"limit_a", "limited_by", "peak_a", "continuous_a", "margin_a"}


def test_json_has_the_contracts_keys(battery):
    result = assess(simulated_connection(0.1), battery, SUPPLY, load_a=8.0, on=ON)
    data = json.loads(result.model_dump_json())
    assert data.keys() >= KEYS
    assert "curves" not in data
    assert data["outcome"] == "top_off"
    soc = data["state_of_charge"]
    for interval in (
        soc["at_connection"],
        soc["now"],
        data["charge_to_return_ah"],
        data["minutes_to_top_off"],
        data["capacity_ah"],
    ):
        assert interval.keys() == INTERVAL
        assert interval["level"] == 0.9
    assert all(f.keys() == FINDING for f in data["findings"])
    assert data["taper"].keys() >= TAPER
    assert data["supply"].keys() == SUPPLY_KEYS
    assert json.loads(json.dumps(data, allow_nan=False)) == data


def test_without_supply_and_check_these_are_null(battery):
    bare = battery.model_copy(update={"capacity_check": None})
    result = assess(simulated_connection(0.1), bare, load_a=8.0, on=ON)
    assert result.supply is None
    assert result.capacity_ah is None


def test_supply_margin_is_limit_less_steady_draw(battery):
    readings = simulated_connection(0.1)
    supply = assess(readings, battery, SUPPLY, load_a=8.0, on=ON).supply
    late = readings.supply_current_a[readings.elapsed_s >= readings.elapsed_s[-1] - 180.0]
    assert supply.continuous_a == pytest.approx(np.median(late))
    assert supply.margin_a == pytest.approx(60.0 - supply.continuous_a)
    assert supply.peak_a == readings.supply_current_a.max()


@given(st.permutations(range(61)))
@settings(max_examples=5)
def test_order_of_rows_changes_nothing_but_a_question_about_the_clock(order):
    import pandas as pd

    battery = Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
    readings = simulated_connection(0.15)
    frame = pd.DataFrame(
        {"elapsed_s": readings.elapsed_s, "supply_current_a": readings.supply_current_a}
    )
    shuffled = readings_from_frame(frame.iloc[list(order)])
    plain = assess(readings, battery, SUPPLY, load_a=8.0, on=ON)
    again = assess(shuffled, battery, SUPPLY, load_a=8.0, on=ON)
    asked = {"notes", "findings", "outcome", "headline", "next_steps", "next_reading_minutes"}
    assert again.model_dump(exclude=asked) == plain.model_dump(exclude=asked)
    kept = tuple(f for f in again.findings if f.rule != "clock_back")
    assert kept == plain.findings


def test_a_file_and_its_readings_give_the_same(battery, tmp_path):
    readings = simulated_connection(0.12)
    path = tmp_path / "log.csv"
    path.write_text(readings_csv(readings), encoding="utf-8")
    assert (
        assess(path, battery, SUPPLY, load_a=8.0, on=ON).headline
        == assess(readings, battery, SUPPLY, load_a=8.0, on=ON).headline
    )


def test_day_comes_from_the_readings_clock(battery):
    stamped = simulated_connection(0.05).model_copy(update={"started_at": datetime(2029, 1, 1, 12)})
    rules = {f.rule: f for f in assess(stamped, battery, load_a=8.0).findings}
    assert rules["capacity_check_overdue"].value == (date(2029, 1, 1) - date(2026, 1, 5)).days


@pytest.mark.parametrize("charge_time", [0.22, 0.31, 0.55])
def test_a_completed_taper_teaches_the_charge_time(battery, charge_time):
    bare = battery.model_copy(update={"history": None})
    long = simulated_connection(0.12, charge_time, minutes=240 * charge_time, every_s=20.0)
    learned = assess(long, bare, SUPPLY, load_a=8.0, load_sd_a=0.1, on=ON).learned_history
    sd = learned.charge_time_rel_sd
    assert abs(np.log(learned.charge_time_h / charge_time)) < 3 * sd
    assert sd < 0.15


def test_an_unfinished_or_shallow_taper_teaches_nothing(battery):
    assert assess(simulated_connection(0.2), battery, SUPPLY, load_a=8.0).learned_history is None
    shallow = simulated_connection(0.01, minutes=60.0, every_s=20.0)
    assert assess(shallow, battery, SUPPLY, load_a=8.0).learned_history is None
    limited = simulated_connection(0.9)
    assert assess(limited, battery, SUPPLY, load_a=8.0).learned_history is None


@pytest.mark.long
@pytest.mark.parametrize("depth", [0.6, 0.7, 0.8, 0.95])
@pytest.mark.parametrize("load_a", [None, 8.0])
@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("limit", [30.0, 60.0, 400.0])
def test_forty_percent_or_less_is_never_topped_off(battery, depth, load_a, known, limit):
    used = battery if known else battery.model_copy(update={"history": None})
    for charge_time in (0.31, 0.31 if known else 0.8):
        readings = simulated_connection(depth, charge_time, limit_a=limit)
        result = assess(
            readings, used, Supply(rated_current_a=limit), load_a=load_a, load_sd_a=0.3, on=ON
        )
        assert result.outcome != "top_off"


BAD_VALUES = {
    "rest voltage of one cell": ({"rest_voltage_v": 2.1}, "rest voltage: 2.1 V cannot"),
    "rest voltage in millivolts": ({"rest_voltage_v": 25_600.0}, "rest voltage"),
    "negative load": ({"load_a": -3.0}, "bus load: 0 to 1000 A would be right .given: -3 A"),
    "load in milliamperes": ({"load_a": 8000.0}, "bus load: .*given: 8000 A"),
    "load not a number": ({"load_a": float("nan")}, "bus load: .*given: nan A"),
    "rest voltage not a number": ({"rest_voltage_v": float("nan")}, "rest voltage: nan V"),
    "kelvin": ({"ambient_c": 295.0}, "temperature: -60 to 80 °C would be right .given: 295 °C"),
    "next to no error of the load": (
        {"load_sd_a": 1e-300},
        "error of the bus load: 0.01 to 100 A would",
    ),
    "no error of the load": ({"load_sd_a": 0.0}, "error of the bus load"),
}


@pytest.mark.parametrize("name", BAD_VALUES)
def test_bad_values_are_one_sentence(battery, name):
    values, says = BAD_VALUES[name]
    with pytest.raises(InputError, match=says) as caught:
        assess(simulated_connection(0.1), battery, SUPPLY, **values)
    assert "\n" not in str(caught.value)


def test_three_readings_are_never_enough(battery):
    """Three readings are the least; whatever they are, the answer is never to top off."""
    for values in ([60.0, 60.0, 60.0], [60.0, 30.0, 12.0], [5.0, 5.0, 5.0], [9.0, 40.0, 9.0]):
        readings = Readings(elapsed_s=[0.0, 10.0, 20.0], supply_current_a=values)
        assert assess(readings, battery, SUPPLY, load_a=4.0, on=ON).outcome != "top_off"


@pytest.mark.long
@given(
    st.lists(st.floats(0.0, 400.0), min_size=3, max_size=40),
    st.floats(0.5, 90.0),
    st.sampled_from(["vented_lead_acid", "vrla", "nicd", "lfp"]),
    st.one_of(st.none(), st.floats(0.0, 50.0)),
)
@examples(15)
def test_any_readings_give_a_finite_answer_or_a_refusal(values, every_s, chemistry, load_a):
    """Refused in one sentence where the supply's trips leave fewer than three readings."""
    battery = Battery(tail="D", chemistry=chemistry, cells=12, rated_capacity_ah=40.0)
    readings = Readings(
        elapsed_s=every_s * np.arange(len(values)), supply_current_a=np.round(values, 1)
    )
    result = None
    with suppress(FitError):
        result = assess(readings, battery, SUPPLY, load_a=load_a, on=ON)
    if result is None:
        return
    json.dumps(json.loads(result.model_dump_json()), allow_nan=False)
    soc = result.state_of_charge.at_connection
    assert 0.0 <= soc.low <= soc.mean <= soc.high <= 1.0
    assert np.isfinite(list(result.taper.standard_errors.values())).all()


@pytest.mark.parametrize(
    ("capacity_ah", "believed"), [(3.9, False), (4.1, True), (63.0, True), (65.0, False)]
)
def test_a_check_ten_times_off_is_refused_in_one_sentence(battery, capacity_ah, believed):
    check = CapacityCheck(on=date(2026, 1, 5), capacity_ah=capacity_ah)
    odd = battery.model_copy(update={"capacity_check": check})
    if believed:
        assess(simulated_connection(0.1), odd, load_a=8.0)
        return
    with pytest.raises(InputError, match="cannot be that of a battery rated 40 Ah"):
        assess(simulated_connection(0.1), odd, load_a=8.0)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"load_a": "8"}, "load_a: a number is needed, not '8'"),
        ({"load_a": [8.0]}, "load_a: a number"),
        ({"load_a": True}, "load_a: a number"),
        ({"load_sd_a": None}, "load_sd_a: a number"),
        ({"rest_voltage_v": "25.6"}, "rest_voltage_v: a number"),
        ({"ambient_c": "20"}, "ambient_c: a number"),
        ({"on": "2026-03-02"}, "on: a date is needed"),
        ({"supply": "supply.toml"}, "supply: a Supply or None"),
        ({"battery": "battery.toml"}, "battery: a Battery"),
    ],
)
def test_values_of_the_wrong_kind_are_one_sentence(battery, told, words):
    """What a caller without a type checker may give."""
    with pytest.raises(InputError, match=re.escape(words)):
        assess(simulated_connection(0.1), **{"battery": battery, "supply": None, **told})


def test_a_moment_stands_for_its_day(battery):
    moment, day = datetime(2026, 3, 2, 7, 43), date(2026, 3, 2)
    one, other = (assess(simulated_connection(0.1), battery, on=on) for on in (moment, day))
    assert one.model_dump() == other.model_dump()


@pytest.mark.parametrize(
    ("column", "value", "said"),
    [
        ("supply_voltage_v", -1.01, "-1.01 is negative; it must not be below -1"),
        ("supply_voltage_v", 100.1, "100.1 is over 100 V"),
        ("supply_voltage_v", np.inf, "inf is not a meter value"),
        ("battery_temp_c", -60.1, "-60.1 is outside -60 to 120"),
        ("battery_temp_c", 120.1, "120.1 is outside -60 to 120"),
        ("battery_temp_c", 295.0, "295 looks like kelvin; in degrees Celsius it is 21.85"),
    ],
)
def test_readings_made_in_python_are_held_to_the_bounds_of_a_file(column, value, said):
    battery = Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
    readings = simulated_connection(0.15)
    values = np.full(len(readings), np.nan)
    values[7] = value
    with pytest.raises(InputError) as caught:
        assess(readings.model_copy(update={column: values}), battery, SUPPLY, load_a=8.0, on=ON)
    at_s = readings.elapsed_s[7]
    assert str(caught.value).startswith(
        f"{readings.source}: reading at {at_s:g} s, column '{column}': {said}"
    )
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("column", "value"),
    [("supply_voltage_v", -1.0), ("battery_temp_c", -60.0), ("battery_temp_c", 120.0)],
)
def test_the_bounds_themselves_are_taken(column, value):
    battery = Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
    readings = simulated_connection(0.15)
    values = np.full(len(readings), 28.0 if column == "supply_voltage_v" else 20.0)
    values[7] = value
    told = readings.model_copy(update={column: values})
    assert assess(told, battery, SUPPLY, load_a=8.0, on=ON).outcome


@pytest.mark.parametrize("ambient_c", [-60.1, 80.1, 300.0])
def test_a_temperature_that_no_ambient_has_is_refused(ambient_c):
    battery = Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
    with pytest.raises(InputError, match="temperature: -60 to 80 °C would be right"):
        assess(simulated_connection(0.15), battery, SUPPLY, ambient_c=ambient_c, on=ON)
