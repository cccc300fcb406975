"""The whole budget of a task: by hand, in every verdict, and what it refuses."""

import json
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batterymodel import InputError, Interval, Severity, Supply
from batterymodel.basis.intervals import LEVEL_SD
from batterymodel.basis.text import one_line
from batterymodel.budget.plan import budget
from batterymodel.budget.results import Part, Verdict
from batterymodel.charts.budget import load_chart
from batterymodel.inputs.load_plan import AircraftLoads, Consumer, Task
from batterymodel.say.budget import answer, limit_rows
from tests.budget.plans import AIRCRAFT, ON_15_A, PLAIN, consumer, drawing

MARGIN_A = 1.645
"""A margin of one ampere of the panel meter's error at 95 %: all spread there is in `AIRCRAFT`."""


def test_what_is_to_spare_by_hand():
    """9 + 6 + 4 + 18 + 1 A and 6 A for the battery are 44 A; with 1.645 A of margin 14.36 A are
    left of 60 A."""
    found = budget(AIRCRAFT, "Update databases", PLAIN, drawing(6.0))
    assert found.verdict is Verdict.FITS
    assert found.room[0].load_a.mean == pytest.approx(44.0)
    assert found.spare_a == pytest.approx(60.0 - 44.0 - MARGIN_A, abs=1e-3)
    assert found.headline == (
        "Update databases fits on Cart 1, 14 A to spare below the 60 A of the supply rating; "
        "the wall circuit is not known."
    )


@pytest.mark.parametrize(
    ("circuit", "known"),
    [
        ({}, False),
        ({"circuit_breaker_a": 15.0}, False),
        ({"input_voltage_v": 120.0}, False),
        ({"circuit_breaker_a": 15.0, "input_voltage_v": 120.0}, True),
        ({"circuit_breaker_a": 15.0, "input_current_full_load_a": 17.5}, True),
    ],
)
def test_a_wall_circuit_that_cannot_be_told_is_said_where_the_verdict_is_read(circuit, known):
    """A 15 A breaker without the supply's input voltage leaves open what it carries."""
    supply = Supply(rated_current_a=60.0, **circuit)
    found = budget(AIRCRAFT, "Update databases", supply, drawing(3.0))
    assert found.verdict is Verdict.FITS
    for said in (found.headline, answer(found)):
        assert ("; the wall circuit is not known" in said) is not known
    watched = {f.rule for f in found.findings if f.severity is Severity.WATCH}
    assert ("wall_circuit_unknown" in watched) is not known


def test_the_least_important_that_does_not_fit_is_left_off():
    """38 A of consumers, with 6 A of battery and 1.6 A of margin 45.6 A, go below the circuit's
    51.4 A. With 13 A of battery 52.6 A do not; without the blower 20 + 13 A are left."""
    assert budget(AIRCRAFT, "Update databases", ON_15_A, drawing(6.0)).verdict is Verdict.FITS
    found = budget(AIRCRAFT, "Update databases", ON_15_A, drawing(13.0))
    assert found.verdict is Verdict.FITS_WITH_LESS
    assert found.configuration.left_off == ("Blower", "Fuel pump")
    assert found.room[0].load_a.mean == pytest.approx(33.0)
    assert "fits on Cart 2 without Blower, 16 A to spare below the 51 A" in found.headline


def test_a_supply_for_less_than_must_run_says_by_how_much():
    """9 A of avionics, 1 A of clock and 6 A of battery with 1.645 A of margin in 15 A: 2.645 A
    too much, rounded up."""
    small = Supply(rated_current_a=15.0)
    found = budget(AIRCRAFT, "Update databases", small, drawing(6.0))
    assert found.verdict is Verdict.TOO_MUCH
    assert found.spare_a == pytest.approx(-2.645, abs=1e-3)
    assert found.configuration.runs == ("Avionics master", "Clock")
    assert "does not fit on the 15 A supply" in found.headline
    assert "2.7 A over the 15 A" in found.headline
    assert any("2.7 A more" in step for step in found.next_steps)


def test_over_hours_the_circuit_carries_four_fifths():
    """9 + 6 + 18 + 1 A are 34 A; with 4 A of battery and the margin 39.6 A: less than the 41.1 A
    that the 15 A circuit carries over hours, and not with 6 A."""
    fits = budget(AIRCRAFT, "Panel training", ON_15_A, drawing(4.0))
    assert (fits.verdict, fits.room[0].name) == (Verdict.FITS, "wall circuit over hours")
    assert fits.spare_a == pytest.approx(0.8 * 60.0 * 15.0 / 17.5 - 38.0 - MARGIN_A, abs=1e-3)
    assert budget(AIRCRAFT, "Panel training", ON_15_A, drawing(6.0)).verdict is Verdict.TOO_MUCH


def test_a_battery_that_tapers_counts_with_its_mean_over_hours():
    """15 A falling with 600 s to nothing are 15 x 600 / 10800 = 0.833 A over the first three of
    four hours, the worst of them."""
    tapering = drawing(15.0, floor_a=0.0, time_constant_s=600.0)
    found = budget(AIRCRAFT, "Panel training", ON_15_A, tapering)
    over_hours = next(room for room in found.room if room.name == "wall circuit over hours")
    assert over_hours.load_a.mean == pytest.approx(34.0 + 15.0 * 600.0 / 10800.0, abs=1e-3)


def test_the_wait_until_all_of_it_fits():
    """38 A of consumers leave 51.43 - 38 - 1.645 = 11.78 A for the battery; 16 A fall to that,
    less floor, after 10 ln(16 / 11.78) = 3.06 minutes: four whole ones."""
    tapering = drawing(16.0, floor_a=0.0, time_constant_s=600.0)
    found = budget(AIRCRAFT, "Update databases", ON_15_A, tapering)
    assert found.verdict is Verdict.FITS_WITH_LESS
    assert found.wait_minutes == Interval(mean=4.0, low=4.0, high=4.0, level=0.9)
    assert any(step.startswith("Wait about 4 minutes, and read") for step in found.next_steps)


def test_a_wait_is_known_no_better_than_the_taper():
    """The 3.06 minutes are in proportion to a time constant that is known to a factor of 2 or
    half: 1.53 and 6.12 minutes, whole ones 2 and 7. At the longer end no more than six hours."""
    log_sd = np.log(2.0) / LEVEL_SD
    told = {"floor_a": 0.0, "time_constant_log_sd": log_sd}
    found = budget(
        AIRCRAFT, "Update databases", ON_15_A, drawing(16.0, time_constant_s=600.0, **told)
    )
    assert (found.wait_minutes.low, found.wait_minutes.high) == (2.0, 7.0)
    assert any(step.startswith("Wait about 4 minutes (2 to 7)") for step in found.next_steps)
    slow = drawing(16.0, time_constant_s=45_000.0, **told)
    assert budget(AIRCRAFT, "Update databases", ON_15_A, slow).wait_minutes.high == 360.0


@pytest.mark.parametrize(
    "battery",
    [
        None,
        drawing(6.0, floor_a=0.0, time_constant_s=600.0),
        drawing(16.0),
        drawing(16.0, floor_a=14.0, time_constant_s=600.0),
        drawing(16.0, floor_a=0.0, time_constant_s=600.0, at_limit=True),
    ],
    ids=["unknown", "fits now", "no fall known", "floor too high", "at the limit"],
)
def test_no_wait_where_it_does_not_help_or_is_not_known(battery):
    assert budget(AIRCRAFT, "Update databases", ON_15_A, battery).wait_minutes is None


def test_the_limit_that_binds_is_the_one_that_leaves_least_everywhere():
    """A breaker of 61 A that an estimated input current makes unsure by a tenth leaves less than
    the rating of 60 A, 1.645 x 6.1 A of margin taken off."""
    unsure = Supply(rated_current_a=60.0, input_voltage_v=120.0, circuit_breaker_a=17.8)
    found = budget(AIRCRAFT, "Update databases", unsure, drawing(3.0))
    able, (least, next_) = found.capability, found.room
    assert able.limits[0].name == "supply rating"
    assert able.binding == least.name == "wall circuit"
    assert able.limit_a == least.limit_a == pytest.approx(61.0, abs=0.1)
    assert able.below_next_a == pytest.approx(next_.spare_a - least.spare_a)
    assert [row.name for row in limit_rows(found) if row.binds] == [able.binding]
    marks = load_chart(found).to_dict(validate=False)["layer"]
    dashes = {mark["name"]: mark["mark"].get("strokeDash") for mark in marks}
    assert (dashes["wall circuit"], dashes["supply rating"]) == ([2, 2], [8, 3])


AT_LIMIT = {"floor_a": 2.0, "time_constant_s": 1800.0, "at_limit": True}


@pytest.mark.parametrize(
    ("task", "supply", "then"),
    [
        ("Update databases", PLAIN, "all of it fits, 18 A to spare below the 60 A"),
        ("Panel training", ON_15_A, "all of it fits, 3.4 A to spare below the 41 A"),
        ("Update databases", Supply(rated_current_a=30.0), "it fits without Blower, 6.3 A to"),
        ("Panel training", Supply(rated_current_a=30.0), "is, with its margin, still 7.7 A over"),
    ],
)
def test_a_supply_at_its_limit_is_judged_now_and_after_the_taper(task, supply, then):
    """38 A and 34 A of consumers and 2 A that the battery takes after its taper, with 1.645 A of
    margin; what 55 A of a charge that falls leave says nothing of that."""
    found = budget(AIRCRAFT, task, supply, drawing(55.0, **AT_LIMIT))
    assert found.verdict is Verdict.TOO_MUCH
    assert "now: the battery would take about 55 A, all that is left and more." in found.headline
    for said in (found.headline, answer(found), " ".join(found.next_steps)):
        assert then in said
        assert "even the least" not in said
    assert found.wait_minutes is None
    assert any("the readings do not tell" in step for step in found.next_steps)


def test_a_supply_below_its_limit_is_judged_as_it_is():
    assert budget(AIRCRAFT, "Panel training", ON_15_A, drawing(55.0, floor_a=2.0)).settled is None
    assert budget(AIRCRAFT, "Update databases", PLAIN, drawing(9.0, **AT_LIMIT)).settled is None


def test_the_lines_say_what_each_is_and_why():
    found = budget(AIRCRAFT, "Update databases", ON_15_A, drawing(13.0))
    lines = {line.name: line for line in found.consumers}
    assert [line.part for line in found.consumers] == [
        Part.NEEDED,
        Part.WANTED,
        Part.WANTED,
        Part.WANTED,
        Part.NOT_IN_TASK,
        Part.STAYS_ON,
    ]
    assert lines["Blower"].why == "useful, but it does not fit"
    assert lines["Fuel pump"].why == "not part of this task"
    assert lines["Clock"].runs
    assert not lines["Clock"].may_switch_off


def test_a_wanted_consumer_that_may_not_be_switched_off_runs():
    """It is wanted and does not fit: still it is never left off."""
    loads = AircraftLoads(
        tail="X",
        consumers=(consumer("Radio", 5.0), consumer("Heater", 20.0, may_switch_off=False)),
        tasks=(Task(name="t", minutes=30.0, needs=("Radio",), wants=("Heater",)),),
    )
    found = budget(loads, "t", Supply(rated_current_a=20.0), drawing(0.0))
    assert found.verdict is Verdict.TOO_MUCH
    assert found.configuration.left_off == ()


def test_the_configuration_keeps_who_said_so_and_when():
    found = budget(AIRCRAFT, "Update databases", PLAIN, on=date(2026, 5, 4)).configuration
    assert (found.tail, found.on, found.said_by) == ("SF-103", date(2026, 5, 4), "A. Owner")
    assert found.document == "Invented flight manual, section 7"
    assert set(found.runs) | set(found.left_off) == {one.name for one in AIRCRAFT.consumers}


def test_without_the_battery_the_headline_says_so():
    found = budget(AIRCRAFT, "Update databases", PLAIN)
    assert found.headline.endswith("What the battery draws is not counted.")
    assert (found.battery_a, found.not_checked[0]) == (None, "battery")
    assert "no battery" in " ".join(found.next_steps)


def test_a_task_of_ones_own_takes_the_names_as_the_list_has_them():
    own = Task(name="Look", minutes=10.0, needs=("avionics MASTER",))
    assert budget(AIRCRAFT, own, PLAIN).configuration.runs == ("Avionics master", "Clock")
    with pytest.raises(InputError, match="no consumer is named 'Radio'"):
        budget(AIRCRAFT, Task(name="Look", minutes=10.0, needs=("Radio",)), PLAIN)


def test_an_aircraft_of_nothing_fits():
    bare = AircraftLoads(tail="X", consumers=(), tasks=(Task(name="t", minutes=5.0, needs=()),))
    found = budget(bare, "t", PLAIN, drawing(2.0))
    assert found.verdict is Verdict.FITS
    assert found.spare_a == pytest.approx(58.0 - MARGIN_A, abs=1e-3)


def test_the_json_is_one_object_of_plain_values():
    found = json.loads(budget(AIRCRAFT, "Update databases", ON_15_A).model_dump_json())
    assert found["verdict"] == "fits"
    assert {"headline", "room", "findings", "consumers", "configuration"} <= set(found)
    assert {"rule", "severity", "text", "value", "limit", "unit", "source", "generic"} == set(
        found["findings"][0]
    )


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"task": "Training"}, "SF-103: no task is named 'Training'; 'Panel training' is one"),
        ({"task": 3}, "task: Task is needed, not int"),
        ({"supply": None}, "supply: Supply is needed, not NoneType"),
        ({"loads": {}}, "loads: AircraftLoads is needed, not dict"),
        ({"battery_now": 6.0}, "battery_now: BatteryNow is needed, not float"),
        ({"supply_temp_c": True}, "supply_temp_c: a number is needed, not bool"),
        ({"supply_temp_c": 81.0}, "temperature at the supply: -60 to 80 °C would be right"),
        ({"supply_temp_c": float("nan")}, "temperature at the supply: -60 to 80 °C"),
    ],
)
def test_what_cannot_be_right_is_one_sentence(given, says):
    told = {"loads": AIRCRAFT, "task": "Update databases", "supply": PLAIN, **given}
    with pytest.raises(InputError) as caught:
        budget(**told)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


plans = st.lists(
    st.tuples(st.floats(0.0, 30.0), st.booleans(), st.sampled_from(("needs", "wants", "neither"))),
    max_size=7,
)


@settings(max_examples=40)
@given(plans, st.floats(5.0, 100.0), st.none() | st.floats(0.0, 40.0), st.floats(1.0, 1440.0))
def test_every_plan_has_one_answer_that_holds_together(rows, rated, draw, minutes):
    consumers = tuple(
        Consumer(name=f"C{k}", continuous_a=amperes, may_switch_off=may)
        for k, (amperes, may, _) in enumerate(rows)
    )
    named = {
        part: tuple(f"C{k}" for k, row in enumerate(rows) if row[2] == part)
        for part in ("needs", "wants")
    }
    loads = AircraftLoads(tail="X", consumers=consumers)
    task = Task(name="t", minutes=minutes, **named)
    supply = Supply(rated_current_a=rated, input_voltage_v=120.0, circuit_breaker_a=15.0)
    found = budget(loads, task, supply, None if draw is None else drawing(draw, 1.0))
    assert (found.verdict is Verdict.TOO_MUCH) == (found.spare_a < -1e-6)
    assert found.spare_a == pytest.approx(min(room.spare_a for room in found.room))
    assert found.load.at_once_a == pytest.approx(
        sum(one.continuous_a for one in consumers if one.name in found.configuration.runs)
    )
    assert set(named["needs"]) <= set(found.configuration.runs)
    for said in (found.headline, *found.next_steps, *(f.text for f in found.findings)):
        assert one_line(said) == said
        assert "{" not in said
