"""The budget in words: the answer, the rows page and terminal share, and the whole text."""

from dataclasses import replace
from functools import cache

import pytest

from batterymodel.basis.intervals import Interval, interval_around
from batterymodel.budget.plan import budget
from batterymodel.budget.results import Budget
from batterymodel.inputs.load_plan import Task
from batterymodel.inputs.records import Battery
from batterymodel.rules.results import Outcome
from batterymodel.say.budget import (
    answer,
    battery_first,
    budget_text,
    consumer_rows,
    learned_words,
    limit_rows,
    load_words,
    not_checked_words,
    tasks_text,
    way_rows,
    way_words,
)
from batterymodel.say.connection import WIDTH
from tests.budget.plans import AIRCRAFT, ON_15_A, PLAIN, consumer, drawing

PLATE = Battery(tail="SF-103", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
CHARGED = drawing(
    12.0, 1.0, floor_a=2.0, time_constant_s=1200.0, state_of_charge=interval_around(0.9, 0.02)
)
CHECK = Task(
    name="Fuel check", minutes=30.0, needs=("Fuel pump", "Lights"), wants=("Avionics master",)
)


@cache
def made() -> Budget:
    """A task with a pump's start, the battery known."""
    return budget(AIRCRAFT, CHECK, ON_15_A, CHARGED, battery=PLATE)


@cache
def unknown() -> Budget:
    """A pump whose start nobody timed and whose surge the supply alone does not carry."""
    pump = consumer("Fuel pump", 5.0, starting_a=90.0)
    several = tuple(pump if one.name == "Fuel pump" else one for one in AIRCRAFT.consumers)
    return budget(AIRCRAFT.model_copy(update={"consumers": several}), CHECK, ON_15_A)


@cache
def databases(amperes: float = 0.0) -> Budget:
    return budget(AIRCRAFT, "Update databases", ON_15_A, drawing(amperes) if amperes else None)


class TestAnswer:
    def test_what_is_to_spare_is_rounded_down_and_the_unknown_draw_is_said(self):
        # 38 A and 1.645 times the ammeter's 1 A, below 51.43 A
        of = databases()
        assert of.spare_a == pytest.approx(51.43 - 38.0 - 1.645, abs=0.3)
        assert answer(of) == "fits, 11 A to spare; the battery's draw is not counted"

    def test_what_is_left_off_is_named(self):
        # 30 + 9 + 6 + 1 A and the ammeter's margin of 1.7 A; 4 A of lights would be 0.3 A too much
        assert answer(databases(30.0)) == "fits without Lights and Blower, 3.7 A to spare"

    def test_too_much_says_by_how_much_over_which_limit(self):
        of = databases(45.0)
        assert answer(of).startswith("does not fit, ")
        assert answer(of).endswith(" A over the wall circuit")
        said = float(answer(of).split()[3])
        assert -of.spare_a <= said <= -of.spare_a + 0.1

    def test_start_that_dips_the_bus_most_is_named_with_its_time(self):
        dip = made().starts[0].with_battery
        assert answer(made()).endswith(
            f"; the 0.4 s start of Fuel pump dips the bus to {dip.least_bus_v.mean:.1f} V"
        )
        lower = Interval(mean=24.04, low=23.0, high=25.0, level=0.9)
        other = (
            made()
            .starts[0]
            .model_copy(
                update={
                    "name": "Winch",
                    "timed": False,
                    "with_battery": replace(dip, least_bus_v=lower),
                }
            )
        )
        of = made().model_copy(update={"starts": (*made().starts, other)})
        assert answer(of).endswith("; the start of Winch dips the bus to 24.0 V")

    def test_start_that_nothing_covers_is_named(self):
        assert "; no battery is known to cover the start of Fuel pump; " in answer(unknown())

    def test_start_within_the_supply_needs_no_word(self):
        held = (
            made()
            .starts[0]
            .model_copy(
                update={
                    "with_battery": None,
                    "supply_alone": replace(made().starts[0].supply_alone, chance_within=1.0),
                }
            )
        )
        assert "start" not in answer(made().model_copy(update={"starts": (held,)}))

    @pytest.mark.parametrize("outcome", [Outcome.SERVICE, Outcome.DISCONNECT])
    def test_a_bad_battery_comes_before_any_load(self, outcome):
        told = {"battery_now": drawing(5.0, outcome=outcome), "battery": PLATE}
        of = budget(AIRCRAFT, CHECK, PLAIN, **told)
        assert battery_first(of)
        assert answer(of) == "not with this battery: it must come off first"
        weak = PLAIN.model_copy(update={"rated_current_a": 28.0})
        assert answer(budget(AIRCRAFT, CHECK, weak, **told)) == (
            "not with this battery: it must come off first; "
            "then nothing covers the start of Fuel pump"
        )
        assert not battery_first(made())


class TestRows:
    def test_consumers_that_run_come_first_by_what_they_are_to_the_task(self):
        rows = consumer_rows(made())
        assert [(row.name, row.state) for row in rows] == [
            ("Lights", "on"),
            ("Fuel pump", "on"),
            ("Avionics master", "on"),
            ("Clock", "on"),
            ("Screen", "off"),
            ("Blower", "off"),
        ]
        pump = rows[1]
        assert (pump.current, pump.spread, pump.start) == ("5 A", "5 to 5 A", "20 A for 0.4 s")

    def test_what_is_off_stands_below_all_that_is_on(self):
        rows = consumer_rows(databases(30.0))
        assert [row.name for row in rows] == [
            "Avionics master", "Screen", "Clock", "Lights", "Blower", "Fuel pump",
        ]  # fmt: skip
        assert [row.state for row in rows] == ["on"] * 3 + ["off"] * 3

    def test_untimed_start_is_about(self):
        (pump,) = [row for row in consumer_rows(unknown()) if row.name == "Fuel pump"]
        assert pump.start == "90 A for 0.5 s (not told)"

    def test_limits_are_those_of_the_budget(self):
        rows = limit_rows(made())
        assert [row.name for row in rows] == [one.name for one in made().capability.limits]
        assert [row.binds for row in rows] == [True, False, False]
        assert [row.limit for row in rows] == ["51 A", "60 A", "41 A"]
        assert rows[0].room.endswith(" A to spare")
        assert rows[2].room == "from three hours on only"
        assert rows[2].source.startswith("generic; ")

    def test_limit_that_is_passed_says_by_how_much(self):
        assert limit_rows(databases(45.0))[0].room.endswith(" A too much")

    def test_load_is_told_at_once_and_on_average(self):
        # 4 + 5 + 9 + 1 A for half an hour
        assert load_words(made()) == (
            "What is on takes 19 A at once and 19 A on average: 10 Ah over the task."
        )

    def test_ways_show_the_numbers_of_the_budget(self):
        rows = {row.name: row for row in way_rows(made())}
        alone = made().on_battery
        assert rows["Time"].on_battery == (
            f"{alone.minutes.mean:.0f} minutes "
            f"({alone.minutes.low:.0f} to {alone.minutes.high:.0f})"
        )
        assert f"{100 * alone.wear.depth.mean:.0f} %" in rows["Taken from the battery"].on_battery
        assert rows["Enough for this task"].on_ground_power == "yes"
        assert "Without ground power the battery carries" in way_words(made())

    def test_without_a_battery_the_ways_say_what_to_give(self):
        assert way_rows(unknown()) == ()
        assert "give its readings and its plate" in way_words(unknown())

    def test_not_checked_is_listed_or_silent(self):
        assert not_checked_words(made()).startswith("Not checked: ")
        assert "what the battery draws" in not_checked_words(unknown())
        assert not_checked_words(made().model_copy(update={"not_checked": ()})) == ""


class TestText:
    def test_answer_first_and_cautions_last(self):
        text = budget_text(made())
        assert " ".join(text.split()).startswith(f"Fuel check: {answer(made())}.")
        heads = [line for line in text.splitlines() if line and not line.startswith(" ")]
        assert heads[-3:] == ["Findings", "What to do next", "Cautions"]

    @pytest.mark.parametrize("of", [made, unknown, databases])
    def test_lines_fit_and_every_consumer_is_named(self, of):
        text = budget_text(of())
        assert max(len(line) for line in text.splitlines()) <= WIDTH
        for one in of().consumers:
            assert one.name in text
        for finding in of().findings:
            assert finding.text.split(".")[0][:30] in " ".join(text.split())

    def test_a_long_name_keeps_the_figures_in_their_columns(self):
        long = "A consumer with a name as long as a name may ever be, sixty."
        lines = tuple(
            one.model_copy(update={"name": long}) if one.name == "Lights" else one
            for one in made().consumers
        )
        text = budget_text(made().model_copy(update={"consumers": lines}))
        assert max(len(line) for line in text.splitlines()) <= WIDTH
        rows = text.splitlines()
        place = rows[rows.index(f"    {long}") + 1].index("4 A")
        pump = next(row for row in rows if row.startswith("    Fuel pump"))
        assert pump.index("5 A") == place

    def test_several_tasks_have_a_sentence_each(self):
        text = " ".join(tasks_text([made(), databases()]).split())
        assert f"- Fuel check (30 minutes): {answer(made())}." in text
        assert f"- Update databases (60 minutes): {answer(databases())}." in text
        assert "--task" in text

    def test_nothing_learned_has_no_heading(self):
        assert learned_words(made()) == ()
        assert "Learned" not in budget_text(made())
