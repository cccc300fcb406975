"""The chart of a budget as a specification: what is drawn, from which numbers."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from batterymodel.basis.intervals import Interval, interval_around
from batterymodel.budget.plan import budget
from batterymodel.budget.results import Budget
from batterymodel.charts.budget import load_chart, load_words
from batterymodel.inputs.load_plan import Task
from batterymodel.inputs.records import Battery, Supply
from tests.budget.plans import AIRCRAFT, ON_15_A, drawing

PLATE = Battery(tail="SF-103", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
CHARGED = drawing(
    12.0, 1.0, floor_a=2.0, time_constant_s=1200.0, state_of_charge=interval_around(0.9, 0.02)
)
WATCH = Task(name="Listen", minutes=30.0, needs=("Lights",))
CHECK = AIRCRAFT.tasks[0].model_copy(
    update={"name": "Fuel check", "needs": ("Fuel pump", "Lights"), "wants": ("Avionics master",)}
)


@cache
def made(known: bool = True) -> Budget:
    """A task with a pump's start, the battery known or not."""
    told = {"battery_now": CHARGED, "battery": PLATE} if known else {}
    return budget(AIRCRAFT, CHECK, ON_15_A, **told)


def lasting(low: float, mean: float, high: float) -> Budget:
    """The same with another time on the battery alone [min]."""
    minutes = Interval(mean=mean, low=low, high=high, level=0.9)
    return made().model_copy(update={"on_battery": replace(made().on_battery, minutes=minutes)})


@cache
def drawn() -> dict[str, dict]:
    """Layers of the task with the battery known."""
    return layers(made())


def layers(of: Budget) -> dict[str, dict]:
    """Layers by name, each with its rows."""
    spec = load_chart(of).to_dict(validate=False)
    named = {layer["name"]: layer for layer in spec["layer"]}
    assert len(named) == len(spec["layer"])
    return {
        name: {**layer, "rows": spec["datasets"][layer["data"]["name"]]}
        for name, layer in named.items()
    }


def test_axes_carry_units_and_hold_all_that_is_drawn():
    y = drawn()["both together"]["encoding"]["y"]
    x = drawn()["both together"]["encoding"]["x"]
    assert x["title"] == "Time into the task (min)"
    assert y["title"] == "Current asked of the supply (A)"
    assert x["scale"]["domain"] == [0.0, 60.0]
    (peak,) = drawn()["start peaks"]["rows"]
    assert y["scale"]["domain"][0] == 0.0
    assert y["scale"]["domain"][1] > max(peak["current_a"], 60.0)


def test_battery_lies_on_top_of_the_consumers():
    found, line = drawn(), made().timeline
    for row, consumers_a in zip(
        found["consumers, all at once"]["rows"], line.consumers_a, strict=True
    ):
        assert (row["low_a"], row["high_a"]) == (0.0, pytest.approx(consumers_a, abs=1e-4))
    draw = found["battery's draw"]["rows"]
    np.testing.assert_allclose([r["low_a"] for r in draw], line.consumers_a, atol=1e-4)
    total_a = line.consumers_a + line.battery_a
    np.testing.assert_allclose([r["high_a"] for r in draw], total_a, atol=1e-4)
    margin = [row["current_a"] for row in found["with margin"]["rows"]]
    np.testing.assert_allclose(margin, line.with_margin_a, atol=1e-4)


def test_a_start_stands_on_the_load_of_its_moment():
    (start,) = drawn()["start peaks"]["rows"]
    line = made().timeline
    total_a = np.interp(start["minutes"], line.time_min, line.consumers_a + line.battery_a)
    assert start["low_a"] == pytest.approx(total_a, abs=1e-4)
    assert start["current_a"] == pytest.approx(total_a + 20.0 - 5.0, abs=1e-4)
    assert start["label"] == "20 A: Fuel pump"
    words = "Fuel pump starts with 20 A: up to 46 A for 0.4 s, the battery giving "
    assert words in load_words(made())


@pytest.mark.parametrize(
    ("starting_a", "kind"), [(20.0, None), (60.0, "battery covers"), (60.0, "beyond the supply")]
)
def test_what_of_a_start_is_beyond_the_supply_is_dashed(starting_a, kind):
    start = made().starts[0].model_copy(update={"starting_a": starting_a})
    if kind == "beyond the supply":
        start = start.model_copy(update={"with_battery": None})
    found = layers(made().model_copy(update={"starts": (start,)}))
    (row,) = found["starts"]["rows"]
    assert row["beyond_a"] == (row["current_a"] if kind is None else 60.0)
    assert found["start peaks"]["encoding"]["y"]["scale"]["domain"][1] > row["current_a"]
    assert found["starts"]["mark"].get("strokeDash") != found["starts beyond"]["mark"]["strokeDash"]
    kinds = set(found["key"]["encoding"]["shape"]["scale"]["domain"])
    assert kinds & {"battery covers", "beyond the supply"} == ({kind} if kind else set())


@pytest.mark.parametrize("count", [6, 20])
def test_starts_stand_apart_inside_the_task(count):
    motor = made().starts[0]
    lines = {one.name: one for one in made().consumers}
    names = [f"Motor {k}" for k in range(count)]
    of = made().model_copy(
        update={
            "starts": tuple(motor.model_copy(update={"name": name}) for name in names),
            "consumers": tuple(
                lines["Fuel pump"].model_copy(update={"name": name}) for name in names
            ),
        }
    )
    at = [row["minutes"] for row in layers(of)["start peaks"]["rows"]]
    assert at[0] > 0.0
    assert at[-1] < 60.0
    assert (np.diff(at) > 60.0 * 0.04).all()


def test_the_limit_that_binds_differs_by_dash_and_weight():
    found = drawn()
    binds, other = found["wall circuit"], found["supply rating"]
    assert binds["mark"]["strokeDash"] != other["mark"]["strokeDash"]
    assert found["wall circuit label"]["mark"]["fontWeight"] == "bold"
    assert found["wall circuit label"]["rows"][0]["label"] == "wall circuit 51 A"
    assert binds["rows"][0]["current_a"] == pytest.approx(15.0 / 17.5 * 60.0, abs=1e-4)


def test_labels_of_limits_that_are_near_stand_at_opposite_ends():
    near = Supply(**{**ON_15_A.model_dump(), "rated_current_a": 52.0, "circuit_breaker_a": 17.4})
    found = layers(budget(AIRCRAFT, WATCH, near))
    sides = [found[f"{name} label"]["mark"]["align"] for name in ("wall circuit", "supply rating")]
    assert sorted(sides) == ["left", "right"]
    apart = [
        drawn()[f"{name} label"]["mark"]["align"] for name in ("wall circuit", "supply rating")
    ]
    assert apart == ["left", "left"]


@pytest.mark.parametrize(("times", "seen"), [(1.49, True), (1.51, False)])
def test_a_limit_far_above_is_told_and_not_drawn(times, seen):
    of = budget(AIRCRAFT, WATCH, ON_15_A)
    circuit, rating, *rest = of.capability.limits
    far = rating.model_copy(update={"name": "cable", "limit_a": times * circuit.limit_a})
    able = of.capability.model_copy(update={"limits": (circuit, rating, far, *rest)})
    of = of.model_copy(update={"capability": able})
    assert ("cable" in layers(of)) is seen
    assert f"cable by its voltage loss {far.limit_a:.0f} A" in load_words(of)


def test_mean_over_hours_is_called_so():
    of = budget(AIRCRAFT, WATCH.model_copy(update={"minutes": 180.0}), ON_15_A)
    (row,) = layers(of)["wall circuit over hours label"]["rows"]
    assert row["label"] == "wall circuit over hours 41 A (mean)"


@pytest.mark.parametrize(("lasts", "end"), [((20.0, 30.0, 40.0), 40.0), ((50.0, 70.0, 90.0), 60.0)])
def test_time_on_the_battery_alone_is_drawn_where_it_is_in_view(lasts, end):
    (row,) = layers(lasting(*lasts))["battery alone"]["rows"]
    assert (row["minutes"], row["end"]) == (lasts[0], end)
    assert row["edge"] == (0.0 if lasts[0] < 30.0 else made().minutes)


def test_its_label_stands_clear_of_that_of_the_highest_limit():
    of = lasting(20.0, 30.0, 40.0)
    found = layers(of.model_copy(update={"starts": ()}))
    highest_a = found["supply rating label"]["rows"][0]["current_a"]
    (_, top_a) = found["both together"]["encoding"]["y"]["scale"]["domain"]
    phone_height, above_line, alone_label, line_of_text = 240.0, 9.0, 17.0, 12.0
    label = (1.0 - highest_a / top_a) * phone_height - above_line
    assert label >= alone_label + line_of_text


def test_time_on_the_battery_alone_beyond_the_task_is_only_told():
    of = lasting(60.0, 70.0, 80.0)
    assert "battery alone" not in layers(of)
    assert "The battery alone would carry it for 70 minutes (60 to 80)." in load_words(of)


def test_unknown_battery_is_not_drawn_and_said():
    found = layers(made(known=False))
    assert not {"battery's draw", "both together", "battery alone"} & set(found)
    kinds = found["key"]["encoding"]["shape"]["scale"]["domain"]
    assert kinds == ["consumers, all at once", "with margin", "start of a motor"]
    assert "What the battery draws is not known" in load_words(made(known=False))


def test_nothing_that_starts_has_no_key():
    found = layers(made().model_copy(update={"starts": ()}))
    assert "start peaks" not in found
    assert "start of a motor" not in found["key"]["encoding"]["shape"]["scale"]["domain"]


def test_specification_is_plain_json_with_words_that_stand_in():
    spec = load_chart(made()).to_dict()
    assert json.loads(json.dumps(spec, allow_nan=False)) == spec
    assert spec["width"] == "container"
    assert spec["description"] == load_words(made())
    assert "the battery takes 12 A at first and 2.5 A at the end" in spec["description"]
