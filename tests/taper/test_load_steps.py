"""Events and steps: text marks a load only where the current steps."""

import numpy as np
import pytest

from batterymodel import Event, Readings
from batterymodel.taper.load_steps import LoadStep, marked_steps
from batterymodel.taper.signals import signal_from
from tests.conftest import simulated_connection

NOISE = (0.05, 0.01)


def with_text(readings: Readings, each: int) -> Readings:
    events = tuple(Event(elapsed_s=float(t), text="noted") for t in readings.elapsed_s[::each])
    return readings.model_copy(update={"events": events})


@pytest.mark.parametrize("each", [1, 2, 4])
def test_text_beside_a_smooth_current_marks_nothing(each):
    """Neither in a taper nor in a rise."""
    for rise in (0.0, 3.0):
        readings = simulated_connection(0.1, minutes=10.0, rise_a_per_min=rise, rise_from_s=200.0)
        assert signal_from(with_text(readings, each), load_a=8.0).steps == ()


@pytest.mark.parametrize(("count", "marks"), [(13, True), (14, False)])
def test_text_beside_more_than_a_third_of_forty_readings_is_remarks(count, marks):
    time = 5.0 * np.arange(40)
    current = 10.0 + 5.0 * (time >= 100.0)
    texts = {5.0 * k: "noted" for k in (20, *range(1, count))}
    assert len(texts) == count
    assert bool(marked_steps(time, current, NOISE, texts)) == marks


@pytest.mark.parametrize(("size_a", "counts"), [(0.27, False), (0.33, True)])
def test_a_marked_step_is_over_six_errors_of_a_reading(size_a, counts):
    """0.05 A of error: six of them are 0.3 A."""
    time = 5.0 * np.arange(40)
    steps = marked_steps(time, 10.0 + size_a * (time >= 100.0), NOISE, {100.0: "lamp on"})
    assert bool(steps) == counts
    if counts:
        assert steps[0].size_a == pytest.approx(size_a)


@pytest.mark.parametrize(("size_a", "counts"), [(1.3, False), (1.7, True)])
def test_a_marked_step_is_over_one_and_a_half_marks_of_a_meter(size_a, counts):
    time = 5.0 * np.arange(40)
    current = 10.0 + size_a * (time >= 100.0)
    assert bool(marked_steps(time, current, (0.05, 1.0), {100.0: "lamp on"})) == counts


@pytest.mark.parametrize(("size_a", "counts"), [(1.4, False), (1.6, True)])
def test_a_marked_step_on_a_ramp_is_over_three_quarters_of_its_change(size_a, counts):
    """2 A from one reading to the next: 1.5 A."""
    time = 5.0 * np.arange(40)
    current = 0.4 * time + size_a * (time >= 100.0)
    assert bool(marked_steps(time, current, NOISE, {100.0: "lamp on"})) == counts


def test_a_step_a_reading_beside_its_event_is_found_where_it_is():
    time = 5.0 * np.arange(40)
    (step,) = marked_steps(time, 10.0 + 4.0 * (time >= 105.0), NOISE, {100.0: "lamp on"})
    assert step == LoadStep(105.0, "lamp on", True, pytest.approx(4.0))


def test_a_step_up_of_a_clamp_is_no_load():
    """A clamp reads the battery's own current; one down may be the supply giving way."""
    time = 5.0 * np.arange(60)
    for size, steps in ((5.0, 0), (-5.0, 1)):
        own = 12.0 - 0.01 * time + size * (time >= 150.0)
        readings = Readings(elapsed_s=time, supply_current_a=own + 8.0, battery_current_a=own)
        assert len(signal_from(readings).steps) == steps
