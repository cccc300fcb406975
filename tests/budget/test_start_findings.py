"""Rules about starts, the battery alone and grown currents: on their story, and beside it."""

import pytest

from batterymodel import Interval, Outcome, Severity, Supply
from batterymodel.budget.plan import budget
from batterymodel.charts.budget import load_words
from batterymodel.inputs.load_plan import AircraftLoads, Task
from batterymodel.inputs.records import Cable
from batterymodel.say.budget import answer, way_rows
from batterymodel.say.ground_power import box_of
from tests.budget.plans import PLAIN, consumer, drawing
from tests.budget.test_learned import LOADS, read
from tests.budget.test_starts import FULL, NOW, PLATE, PUMP, RADIO, plan

READINGS = read((120.0, 9.0, "pump on"), (300.0, -9.0, "pump off"))


def named(result, rule):
    """The finding of a rule; None where it does not speak."""
    return next((found for found in result.findings if found.rule == rule), None)


def test_a_dip_is_told_in_the_headline_and_held_against_what_the_bus_needs():
    result = plan(RADIO, PUMP)
    found, dip = named(result, "start_dip"), result.starts[0].with_battery
    assert (found.severity, found.limit, found.generic) == (Severity.NOTE, 22.0, True)
    assert "above the 22.0 V of the power standard" in found.text
    assert found.value == dip.least_bus_v.mean
    assert f"The start of Pump dips the bus to {dip.least_bus_v.mean:.1f} V." in result.headline


def test_a_dip_is_fine_where_the_papers_told_what_the_bus_needs():
    task = Task(name="t", minutes=60.0, needs=("Radio", "Pump"))
    loads = AircraftLoads(tail="X", consumers=(RADIO, PUMP), bus_min_v=22.0, document="Manual")
    found = named(budget(loads, task, PLAIN, NOW, battery=PLATE), "start_dip")
    assert (found.severity, found.generic) == (Severity.OK, False)
    assert "above the 22.0 V that it needs" in found.text


def test_a_bus_that_needs_more_is_watched():
    task = Task(name="t", minutes=60.0, needs=("Radio", "Pump"))
    loads = AircraftLoads(tail="X", consumers=(RADIO, PUMP), bus_min_v=26.5, document="Manual")
    found = named(budget(loads, task, PLAIN, NOW, battery=PLATE), "start_dip")
    assert (found.severity, found.source) == (Severity.WATCH, "Manual")
    assert "26.5 V is needed" in found.text


def test_no_start_no_word():
    for rule in ("start_dip", "start_alone"):
        assert named(plan(RADIO), rule) is None


def test_a_start_beyond_the_supply_is_noted_with_a_battery_and_watched_without():
    covered = named(plan(RADIO, PUMP), "start_alone")
    bare = named(plan(RADIO, PUMP, now=drawing(6.0), battery=None), "start_alone")
    assert (covered.severity, bare.severity) == (Severity.NOTE, Severity.WATCH)
    assert "Pump" in bare.text
    small = consumer("Fan", 2.0, starting_a=10.0)
    assert named(plan(RADIO, small), "start_alone") is None


def test_the_battery_alone_is_told_beside_the_task():
    result = plan(RADIO, PUMP)
    found = named(result, "battery_alone")
    assert (found.severity, found.limit, found.unit) == (Severity.NOTE, 60.0, "min")
    assert (found.source, found.generic) == ("length of the task, as it was told", False)
    assert "Reserve for the start, 60 %: own choice of this tool; " in found.text
    assert "the task takes 60 minutes" in found.text
    assert "only 60 % is left for the start" in found.text
    assert named(plan(RADIO, PUMP, battery=None), "battery_alone") is None


def test_a_task_that_draws_nothing_or_next_to_nothing_has_no_made_up_minutes():
    """A week is the most that is told; 0.03 A take 5 Ah in a week and leave most of 40 Ah."""
    nothing, little = plan(consumer("Radio", 0.0)), plan(consumer("Radio", 0.03))
    found = named(nothing, "battery_alone")
    assert (found.limit, found.value) == (None, None)
    assert found.text.startswith("Nothing of this task draws current")
    assert "for more than a week until" in named(little, "battery_alone").text
    for result in (nothing, little):
        assert way_rows(result)[0].on_battery == "more than a week"
        assert "carry it for more than a week." in load_words(result)


def test_a_consumer_that_draws_more_is_watched():
    """9 A where 5 A with 0.3 A of spread were known by six readings."""
    task = Task(name="t", minutes=60.0, needs=("Avionics",))
    found = named(budget(LOADS, task, PLAIN, NOW, readings=READINGS), "draws_more")
    assert (found.severity, found.limit) == (Severity.WATCH, 5.0)
    assert found.value == pytest.approx(9.0, abs=0.1)
    assert found.text.startswith("Pump drew 9 A where 5 A was known of it: 4 A more")
    assert "It counts with 9 A here." in found.text


def test_a_consumer_that_draws_more_counts_with_what_it_drew():
    """6 A to spare with the 5 A that were known of the pump, 2 A less for 4 A more and its spread:
    what fits is judged by the same readings that show it."""
    task = Task(name="t", minutes=60.0, needs=("Avionics", "Pump"))
    silent = READINGS.model_copy(update={"events": ()})
    known, grown = (budget(LOADS, task, PLAIN, NOW, readings=r) for r in (silent, READINGS))
    pump = next(one for one in grown.consumers if one.name == "Pump")
    assert pump.continuous_a.mean == pytest.approx(9.0, abs=0.1)
    assert pump.continuous_a.sd > 1.0
    assert grown.spare_a < known.spare_a - 4.0


@pytest.mark.parametrize(
    ("size_a", "likely", "speaks"), [(5.55, 0.12, False), (6.1, 0.85, False), (6.5, 0.98, True)]
)
def test_a_little_more_is_no_finding(size_a, likely, speaks):
    """At 95 % and no less: a finding that nineteen in twenty times is right."""
    task = Task(name="t", minutes=60.0, needs=("Avionics",))
    readings = read((120.0, size_a, "pump on"), (300.0, -size_a, "pump off"))
    result = budget(LOADS, task, PLAIN, NOW, readings=readings)
    assert (named(result, "draws_more") is not None) is speaks
    assert result.learned[0].more_probability == pytest.approx(likely, abs=0.04)


def test_a_battery_that_lets_the_bus_fall_does_not_cover_the_start():
    """200 A beside 20 A on 60 A, from a battery at 2 % and -30 °C."""
    empty = drawing(0.0, 0.5, state_of_charge=Interval(mean=0.02, low=0.0, high=0.05, level=0.9))
    motor = consumer("Winch", 5.0, starting_a=200.0, starting_s=0.4)
    result = plan(RADIO, motor, now=empty, battery_temp_c=-30.0)
    dip, alone = named(result, "start_dip"), named(result, "start_alone")
    assert (dip.severity, alone.severity) == (Severity.WATCH, Severity.WATCH)
    assert "covers" not in alone.text


@pytest.mark.parametrize(
    ("minutes", "says"), [(10.0, "14 % of what it holds when full"), (300.0, "more than is in it")]
)
def test_a_task_takes_a_part_of_the_full_battery_or_more_than_is_in_it(minutes, says):
    """29 A for ten minutes of 35 Ah or so; for five hours 145 Ah."""
    task = Task(name="t", minutes=minutes, needs=("Radio",))
    loads = AircraftLoads(tail="X", consumers=(consumer("Radio", 29.0),))
    found = named(budget(loads, task, PLAIN, NOW, battery=PLATE), "battery_alone")
    assert f"would take {says}" in found.text


def test_the_headline_says_what_a_load_that_fits_is_no_use_without():
    off = drawing(6.0, outcome=Outcome.DISCONNECT)
    assert plan(RADIO, now=off).headline.endswith("But first the battery: disconnect now.")
    bare = plan(RADIO, PUMP, now=drawing(6.0), battery=None).headline
    assert bare.endswith("But the start of Pump is more than the supply gives.")
    thin = PLAIN.model_copy(
        update={"set_voltage_v": 22.4, "cable": Cable(length_m=20.0, area_mm2=4.0)}
    )
    task = Task(name="t", minutes=60.0, needs=("Radio",))
    loads = AircraftLoads(tail="X", consumers=(RADIO,))
    low = budget(loads, task, thin, drawing(6.0))
    assert low.headline.endswith(
        "But the bus may have as little as 16.7 V, under the 22.0 V of the power standard."
    )
    assert "But" not in plan(RADIO, PUMP).headline


def test_a_battery_still_under_watch_is_not_known_to_cover_a_start():
    """Its resistance is that of a sound battery; one that accepts nothing draws little, too."""
    watched = drawing(1.0, 0.5, state_of_charge=FULL, outcome=Outcome.KEEP_WATCHING)
    result = plan(RADIO, PUMP, now=watched)
    dip, alone = named(result, "start_dip"), named(result, "start_alone")
    assert (dip.severity, alone.severity) == (Severity.WATCH, Severity.WATCH)
    assert "if the battery is sound, which the readings do not show yet" in dip.text
    sound = drawing(1.0, 0.5, state_of_charge=FULL, outcome=Outcome.TOP_OFF)
    assert "if the battery is sound" not in named(plan(RADIO, PUMP, now=sound), "start_dip").text


def test_the_deepest_of_several_starts_is_the_one_that_is_told():
    winch = consumer("Winch", 5.0, starting_a=140.0, starting_s=0.4)
    for motors in ((PUMP, winch), (winch, PUMP)):
        assert "The start of Winch" in named(plan(RADIO, *motors), "start_dip").text


@pytest.mark.parametrize(("starting_a", "speaks"), [(33.0, False), (37.0, True)])
def test_a_start_that_is_not_surely_within_the_supply_is_beyond_it(starting_a, speaks):
    """Beside 20 A on 60 A: 33 A with a tenth of error are within 40 A at 98 %, 37 A at 79 %."""
    motor = consumer("Fan", 2.0, starting_a=starting_a, starting_s=0.4)
    found = named(plan(RADIO, motor, now=drawing(6.0), battery=None), "start_alone")
    assert (found is not None) is speaks


@pytest.mark.parametrize(("seconds", "is_long"), [(9.9, False), (10.0, True), (60.0, True)])
def test_a_start_of_ten_seconds_or_more_says_what_is_not_followed(seconds, is_long):
    """Beyond the supply, on a battery that holds the bus: covered where it is short."""
    pump = PUMP.model_copy(update={"starting_s": seconds, "starting_a": 66.0})
    task = Task(name="t", minutes=60.0, needs=("Radio", "Pump"))
    loads = AircraftLoads(tail="X", consumers=(RADIO, pump), bus_min_v=20.0, document="Manual")
    result = budget(loads, task, PLAIN, NOW, battery=PLATE)
    dip, long, alone = (named(result, rule) for rule in ("start_dip", "long_start", "start_alone"))
    assert dip.severity is (Severity.WATCH if is_long else Severity.OK)
    assert ("what it falls further in a start this long is not known" in dip.text) is is_long
    assert ("long_start" in result.not_checked) is is_long
    assert alone.severity is (Severity.WATCH if is_long else Severity.NOTE)
    assert (long is not None) is is_long
    if is_long:
        assert (long.severity, long.limit, long.value) == (Severity.WATCH, 10.0, seconds)
        assert "lasts 10 s or more" in long.text


ON_SMALL_BREAKER = Supply(
    rated_current_a=100.0,
    input_voltage_v=120.0,
    input_current_full_load_a=30.0,
    circuit_breaker_a=10.0,
    name="Cart 3",
)
"""Its circuit carries 100 A x 10 A / 30 A = 33 A."""
MARKED_15_A = PLAIN.model_copy(
    update={
        "rated_current_a": 100.0,
        "cable": Cable(length_m=3.0, gauge_awg=14, rated_current_a=15.0),
    }
)


def starting(seconds, supply, now=None, battery=None, starting_a=85.0):
    """A motor of 8 A alone on a supply."""
    motor = consumer("Winch", 8.0, starting_a=starting_a, starting_s=seconds)
    loads = AircraftLoads(tail="X", consumers=(motor,), bus_min_v=18.0, bus_max_v=30.0)
    task = Task(name="t", minutes=30.0, needs=("Winch",))
    return budget(loads, task, supply, now, battery=battery)


@pytest.mark.parametrize("with_battery", [True, False])
@pytest.mark.parametrize(
    ("supply", "limit"),
    [(ON_SMALL_BREAKER, "33 A of the wall circuit"), (MARKED_15_A, "15 A of the cable rating")],
)
def test_a_start_that_lasts_is_held_against_breaker_and_cable(supply, limit, with_battery):
    """The supply's electronics give up to 100 A, whatever its breaker or its cable carries."""
    told = (drawing(1.0, state_of_charge=FULL), PLATE) if with_battery else (None, None)
    for seconds in (1.0, 9.9, 60.0):
        result = starting(seconds, supply, *told)
        found = named(result, "start_circuit")
        assert found.severity is Severity.WATCH
        assert f"more than the {limit}" in found.text
        for said in (result.headline, answer(result)):
            assert f"the start of Winch is more than the {limit}" in said
        assert box_of(result).word != "Fits"
        assert box_of(result).kind == "keep_watching"


def test_a_short_surge_through_a_breaker_is_not_called_looked_at():
    result = starting(0.9, ON_SMALL_BREAKER)
    assert named(result, "start_circuit") is None
    assert "start_circuit" in result.not_checked


def test_a_start_within_circuit_and_cable_is_no_finding():
    """20 A and a tenth of it at 95 % are 23.3 A beside nothing."""
    result = starting(60.0, ON_SMALL_BREAKER, starting_a=20.0)
    assert named(result, "start_circuit") is None
    assert "start_circuit" not in result.not_checked
    assert box_of(result).word == "Fits"


@pytest.mark.parametrize(("starting_a", "speaks"), [(28.0, False), (29.0, True)])
def test_a_start_stays_below_a_circuit_with_its_margin(starting_a, speaks):
    """28 A and a tenth of it at 95 % are 32.6 A, 29 A are 33.8 A; the circuit carries 33.3 A."""
    result = starting(60.0, ON_SMALL_BREAKER, starting_a=starting_a)
    assert (named(result, "start_circuit") is not None) is speaks


def test_a_start_that_fails_is_told_where_the_verdict_is_read():
    """900 A for 2 s bring the bus far under the 18 V that it needs."""
    now = drawing(1.0, state_of_charge=FULL, outcome=Outcome.TOP_OFF)
    result = starting(2.0, PLAIN, now, PLATE, starting_a=900.0)
    assert result.verdict.value == "fits"
    for said in (result.headline, answer(result)):
        assert "the start of Winch may bring the bus down to" in said
        assert "and 18.0 V is needed" in said
        assert "dips" not in said
    assert (box_of(result).kind, box_of(result).sign) == ("keep_watching", "!")


def test_a_voltage_that_the_bus_does_not_bear_is_told_where_the_verdict_is_read():
    high = PLAIN.model_copy(update={"set_voltage_v": 31.5})
    result = starting(0.4, high, drawing(1.0), starting_a=9.0)
    for said in (result.headline, answer(result)):
        assert "the bus may have as much as 32.0 V, over the 30.0 V that it bears" in said
    assert box_of(result).word != "Fits"


def test_a_supply_set_too_low_is_not_sent_for_a_thicker_cable():
    low = PLAIN.model_copy(update={"set_voltage_v": 18.2})
    found = named(starting(0.4, low, drawing(1.0), starting_a=9.0), "bus_voltage_low")
    assert "cable, or less load" not in found.text
    assert "The supply gives as little as 17.7 V, under the 18.0 V that it needs" in found.text


def test_a_start_that_nobody_timed_says_so():
    untold = starting(None, PLAIN, NOW, PLATE, starting_a=90.0)
    assert "90 A for 0.5 s or so, as nobody told its time" in named(untold, "start_dip").text
    assert "start_time" in untold.not_checked
    told = starting(0.5, PLAIN, NOW, PLATE, starting_a=90.0)
    assert "90 A for about 0.5 s)" in named(told, "start_dip").text
    assert "start_time" not in told.not_checked


def test_a_long_start_without_a_battery_is_no_finding_of_the_battery():
    pump = PUMP.model_copy(update={"starting_s": 30.0})
    result = plan(RADIO, pump, now=drawing(6.0), battery=None)
    assert named(result, "long_start") is None
    assert "long_start" not in result.not_checked
