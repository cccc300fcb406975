"""Odd but valid readings: every answer is finite, every refusal one of the project's own."""

from datetime import date

import numpy as np
import pytest
from hypothesis import example, given, seed, settings
from hypothesis import strategies as st

from batterymodel import Battery, BatteryModelError, Chemistry, Readings, assess
from tests.sparing import examples

CELLS = {Chemistry.NICD: 20, Chemistry.LFP: 8}
COURSES = {
    "level": lambda x: np.ones_like(x),
    "none": lambda x: np.zeros_like(x),
    "one reading, then none": lambda x: (x == 0.0).astype(float),
    "out of the battery": lambda x: np.full_like(x, -0.01),
    "supply trips": lambda x: np.where(x < 0.5, 1.0, 0.0),
    "supply trips and comes back": lambda x: np.where((x > 0.4) & (x < 0.6), 0.0, 1.0),
    "limit, then fall": lambda x: np.minimum(1.0, 3.0 * np.exp(-3.0 * x)),
    "fall": lambda x: np.exp(-5.0 * x),
    "gone at once": lambda x: np.exp(-1e3 * x),
    "rise": lambda x: x,
    "noise": lambda x: np.abs(np.sin(1e4 * x)),
}


@st.composite
def connections(draw, kinds=tuple(Chemistry)):
    """Readings and a battery: 6 to 300 rows, 0.1 s to 3e7 s, 0.01 to 1,500 A, 0.5 to 200 Ah."""
    rows = draw(st.integers(6, 300))
    span_s = 10.0 ** draw(st.floats(-1.0, 7.5))
    peak_a = 10.0 ** draw(st.floats(-2.0, 3.2))
    decimals = draw(st.sampled_from((0, 1, 2, 6)))
    x = np.linspace(0.0, 1.0, rows) ** draw(st.sampled_from((1.0, 3.0)))
    current = peak_a * COURSES[draw(st.sampled_from(sorted(COURSES)))](x)
    has_clamp = draw(st.booleans())
    return connection(
        x * span_s,
        np.round(np.maximum(current, -1.0), decimals),
        draw(st.sampled_from(kinds)),
        0.5 * 400.0 ** draw(st.floats(0.0, 1.0)),
        clamp=has_clamp,
    )


def connection(time_s, current_a, chemistry, rated_ah, clamp=False):
    readings = Readings(
        elapsed_s=time_s, supply_current_a=current_a, battery_current_a=current_a if clamp else None
    )
    cells = CELLS.get(chemistry, 12)
    battery = Battery(tail="DEMO-1", chemistry=chemistry, cells=cells, rated_capacity_ah=rated_ah)
    return readings, battery


LATE_S = np.linspace(2.7e6, 1.3e7, 5)
"""Readings a month and more after the taper was over."""

TRIP_S = np.array([0.0, 1.8e4, 1.9e5, 5.6e5, 1.1e6, 2.1e6, 3.2e6])
TRIP_A = np.array([1466.1, 1466.1, 1466.1, 0.0, 0.0, 0.0, 0.0])
"""A supply that trips after days at a current no battery of this size could take."""

SCATTER_A = np.array([0.067, 0.267, 0.102, 0.053, 0.263])


@pytest.mark.long
@examples(12)
@given(told=connections())
@example(told=connection(np.linspace(0.0, 999.0, 20), np.full(20, 341.7), Chemistry.LFP, 4.8, True))
@example(told=connection(LATE_S, np.full(5, 2.368), Chemistry.LFP, 2.6, clamp=True))
@example(told=connection(TRIP_S, TRIP_A, Chemistry.VRLA, 2.96, clamp=True))
@example(told=connection(LATE_S, SCATTER_A, Chemistry.LFP, 1.04, clamp=True))
def test_any_readings_give_finite_answers_or_a_sentence(told):
    answers_are_finite(*told)


@pytest.mark.starts_first
@pytest.mark.slow
@pytest.mark.parametrize(("number", "kind"), list(enumerate(Chemistry)))
def test_very_many_readings_give_finite_answers_or_a_sentence(number, kind):
    """Each kind of battery by examples of its own, so that two workers share the time."""

    @seed(number)
    @settings(max_examples=80)
    @given(told=connections((kind,)))
    def tried(told):
        answers_are_finite(*told)

    tried()


def answers_are_finite(readings, battery):
    try:
        result = assess(readings, battery, on=date(2026, 3, 2))
    except BatteryModelError:
        return
    for name, p in [(c.name, c.probability) for c in result.conditions]:
        assert 0.0 <= p <= 1.0, name
    soc = result.state_of_charge
    for found in (
        soc.at_connection,
        soc.now,
        result.charge_to_return_ah,
        result.minutes_to_top_off,
    ):
        assert np.isfinite([found.low, found.mean, found.high]).all()
        assert found.low <= found.high
    assert np.isfinite(list(result.taper.standard_errors.values())).all()
    for density in result.curves.evidence.values():
        assert np.isfinite(density).all()
        assert np.trapezoid(density, result.curves.soc) == pytest.approx(1.0, abs=1e-3)
