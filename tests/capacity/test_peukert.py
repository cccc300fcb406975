"""Published arithmetic: worked figures with their tags, and the trap between the two forms."""

import numpy as np
import pytest

from batterymodel.capacity.peukert import (
    peukert_hours,
    rate_adjusted_percent,
    time_adjusted_percent,
)


def one_ampere_hours(current_a, one_ampere_capacity_ah, exponent):
    """The tool's law for a battery that gives ``Cp`` Ah at 1 A, so is rated at ``Cp`` hours."""
    return peukert_hours(
        current_a, one_ampere_capacity_ah, exponent, rated_hours=one_ampere_capacity_ah
    )


def test_one_ampere_form_against_a_tutorial():
    """electrotechnik.net 2010-01 (verified (secondary)): 14.5 h, recomputed 14.4956 h."""
    assert one_ampere_hours(5.0, 100.0, 1.2) == pytest.approx(14.4956, abs=5e-5)


def test_one_ampere_form_against_a_calculator_page():
    """easycalculation.com (verified (secondary)): 5.088631644 h and 101.772632884 Ah."""
    hours = one_ampere_hours(20.0, 250.0, 1.3)
    assert hours == pytest.approx(5.088631644, rel=1e-9)
    assert 20.0 * hours == pytest.approx(101.772632884, rel=1e-9)


def test_rated_hour_form_against_a_worked_figure():
    """100 Ah at 20 h, exponent 1.2, 10 A: 8.7055 h, 87.06 Ah (derived)."""
    hours = peukert_hours(10.0, 100.0, 1.2, 20.0)
    assert hours == pytest.approx(8.7055, abs=5e-5)
    assert 10.0 * hours == pytest.approx(87.06, abs=5e-3)


def test_the_two_forms_are_not_interchangeable():
    """100 Ah rated at 20 h, 5 A: 20.00 h, where the one-ampere form says 14.50 h (derived)."""
    assert peukert_hours(5.0, 100.0, 1.2, 20.0) == pytest.approx(20.0, rel=1e-12)
    assert one_ampere_hours(5.0, 100.0, 1.2) == pytest.approx(14.50, abs=5e-3)


def test_the_forms_agree_through_the_one_ampere_capacity():
    """Cp = H (C/H)**k turns one into the other, Cp / I**k (algebra)."""
    currents = np.array([2.0, 7.0, 40.0])
    one_ampere = 20.0 * (100.0 / 20.0) ** 1.2
    np.testing.assert_allclose(
        one_ampere / currents**1.2,
        peukert_hours(currents, 100.0, 1.2, 20.0),
        rtol=1e-12,
    )


def test_exponent_comes_back_from_two_points():
    """k = log(t2/t1) / log(I1/I2) (derived)."""
    t = peukert_hours(np.array([40.0, 10.0]), 40.0, 1.17, 1.0)
    assert np.log(t[1] / t[0]) / np.log(4.0) == pytest.approx(1.17, rel=1e-12)


def test_no_current_lasts_for_ever():
    assert peukert_hours(0.0, 40.0, 1.12, 1.0) == np.inf


def test_time_adjusted_by_hand():
    """100 * 54 / (60 * 0.9) = 100 exactly; with a factor of 1, 54 of 60 minutes are 90 %."""
    assert time_adjusted_percent(54.0, 60.0, 0.9) == pytest.approx(100.0, rel=1e-12)
    assert time_adjusted_percent(54.0, 60.0, 1.0) == pytest.approx(90.0, rel=1e-12)


def test_rate_adjusted_by_hand():
    """36 A held as long as a new battery holds 45 A is 80 %; a factor of 1.11 makes it 88.8 %."""
    assert rate_adjusted_percent(36.0, 45.0, 1.0) == pytest.approx(80.0, rel=1e-12)
    assert rate_adjusted_percent(36.0, 45.0, 1.11) == pytest.approx(88.8, rel=1e-12)
