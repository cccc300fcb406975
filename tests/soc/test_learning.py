"""What completed tapers teach: weighing by variance, drift with age, no taper counted twice."""

from datetime import date

import numpy as np
import pytest

from batterymodel import History, Readings, Supply, assess
from batterymodel.soc.learning import MeasuredTaper, updated_history
from tests.conftest import simulated_connection

ON = date(2026, 3, 2)
SUPPLY = Supply(rated_current_a=60.0)


def bare(battery):
    return battery.model_copy(update={"history": None})


def knowing(battery, **values):
    return battery.model_copy(update={"history": History(**values)})


def test_first_taper_stands_with_its_error_and_the_scatter_between_connections(battery):
    """By hand: sd = hypot(measured, transfer) = hypot(0.06, 0.045) = 0.075."""
    measured = MeasuredTaper(np.log(1500.0), 0.06, 0.155, 0.02)
    history = updated_history(bare(battery), measured, ON)
    assert history.charge_time_rel_sd == pytest.approx(0.075, abs=1e-4)
    assert history.charge_time_h == pytest.approx(1500 / 3600 * (1 - 0.875 * 0.155), rel=1e-3)
    assert history.on == ON


@pytest.mark.parametrize(("time_s", "taught"), [(5.0, False), (25.0, True), (9e4, False)])
def test_a_taper_no_battery_could_have_teaches_nothing(battery, time_s, taught):
    """Charge times of 0.001, 0.006 and 22 h: a history holds 0.005 to 20 h."""
    measured = MeasuredTaper(np.log(time_s), 0.1, 0.155, 0.02)
    assert (updated_history(bare(battery), measured, ON) is not None) is taught
    assert (updated_history(battery, measured, ON) is not None) is taught


def test_a_current_gone_within_seconds_is_assessed_and_teaches_nothing(battery):
    """800 A that halves every 8 s: a short circuit or a capacitor, no battery of 40 Ah."""
    t = np.arange(0.0, 301.0, 2.0)
    current = np.round(0.1 + 800.0 * (0.2 * np.exp(-t / 1.5) + 0.8 * np.exp(-t / 12.0)), 1)
    readings = Readings(elapsed_s=t, supply_current_a=current + 8.0, battery_current_a=current)
    assert assess(readings, bare(battery)).learned_history is None


def test_equal_errors_meet_in_the_middle(battery):
    share = 0.155
    known_h = 1000 / 3600 * (1 - 0.875 * share)
    known = knowing(
        battery, charge_time_h=known_h, charge_time_rel_sd=0.075, fast_share=share, on=ON
    )
    history = updated_history(known, MeasuredTaper(np.log(1440.0), 0.06, share, 0.02), ON)
    assert history.charge_time_h == pytest.approx(known_h * 1.2, rel=2e-3)
    assert history.charge_time_rel_sd == pytest.approx(0.075 / np.sqrt(2.0), abs=1e-3)


def test_many_tapers_narrow_the_history(battery):
    current, spread = bare(battery), []
    for _ in range(6):
        learned = updated_history(current, MeasuredTaper(np.log(1300.0), 0.05, 0.15, 0.03), ON)
        current = battery.model_copy(update={"history": learned})
        spread.append(learned.charge_time_rel_sd)
    assert (np.diff(spread) < 0).all()
    assert spread[-1] < 0.5 * spread[0]


def test_an_old_history_gives_way_to_a_new_taper(battery):
    def learned(known_on):
        known = knowing(
            battery, charge_time_h=0.30, charge_time_rel_sd=0.03, fast_share=0.15, on=known_on
        )
        return updated_history(known, MeasuredTaper(np.log(1700.0), 0.04, 0.15, 0.02), ON)

    assert learned(date(2021, 3, 2)).charge_time_h > learned(ON).charge_time_h > 0.30


def test_the_taper_itself_is_read_without_the_history(battery):
    """A wrong but confident history must not colour what the taper is measured to be."""
    readings = simulated_connection(0.12, 0.31, minutes=90.0, every_s=20.0)
    values = {"load_a": 8.0, "load_sd_a": 0.1, "ambient_c": 25.0, "on": ON}
    plain = assess(readings, bare(battery), SUPPLY, **values).learned_history
    wrong = knowing(battery, charge_time_h=0.6, charge_time_rel_sd=0.9, fast_share=0.15)
    again = assess(readings, wrong, SUPPLY, **values).learned_history
    assert again.charge_time_h == pytest.approx(plain.charge_time_h, rel=0.02)
