"""The taper fit: against lmfit, against known truth, and what it may never do."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batterymodel import Battery, FitError, History, Readings, Supply
from batterymodel.taper import fit as fit_module
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.prior import prior_for
from batterymodel.taper.problem import (
    MAX_FIT_ROWS,
    STEP_SD_A,
    deviation_basis,
    jacobian,
    residuals,
    taper_data,
    thinned,
)
from batterymodel.taper.shape import Shape, branches_current, current_limited
from batterymodel.taper.signals import signal_from
from tests.benchmarks.sickbay.tapers import taper_cases
from tests.conftest import simulated_connection, true_path

SUPPLY = Supply(rated_current_a=60.0)


def fitted(readings: Readings, battery: Battery, load_a: float | None = 8.0, load_sd_a=0.1):
    signal = signal_from(readings, SUPPLY, load_a, load_sd_a)
    return fit_taper(signal, prior_for(battery, 25.0))


@pytest.mark.tools
@pytest.mark.parametrize(
    ("depth", "minutes", "steps"),
    [(0.1, 5.0, ()), (0.3, 10.0, ((200.0, 6.0),)), (0.5, 10.0, ()), (0.005, 5.0, ())],
)
def test_same_optimum_as_lmfit(battery, depth, minutes, steps):
    """lmfit with the model, the priors and the weights written out anew; optimum to 1e-4."""
    lmfit = pytest.importorskip("lmfit", reason="needs tests/requirements.txt (lmfit)")
    ours = fitted(simulated_connection(depth, minutes=minutes, steps=steps), battery)
    parameters = lmfit.Parameters()
    for name, value in zip(ours.names, ours.parameters, strict=True):
        bounds = {"min": 0.0} if name in ("hold_amplitude_a", "float_current_a") else {}
        parameters.add(name, value=value + 0.05 * max(abs(value), 0.2), **bounds)
    objective = written_anew(ours, [at for at, _ in steps])
    theirs = lmfit.minimize(
        objective, parameters, method="least_squares", ftol=1e-14, xtol=1e-14, gtol=1e-12
    )
    own = lmfit.Parameters()
    own.add_many(*[(n, float(v)) for n, v in zip(ours.names, ours.parameters, strict=True)])
    reached = float((objective(theirs.params) ** 2).sum())
    assert float((objective(own) ** 2).sum()) == pytest.approx(reached, rel=1e-6)
    for name in ours.names[:5]:
        value = theirs.params[name].value
        assert abs(ours[name] - value) < 1e-4 * max(abs(value), 0.1), name


def written_anew(ours, step_times):
    """Objective of the fit in lmfit's form, from the formulas and not from the package."""
    data, prior = ours.data, ours.prior

    def objective(parameters):
        p = parameters.valuesdict()
        level = p["float_current_a"] + p["load_a"]
        share = 1.0 / (1.0 + np.exp(-p["fast_share_logit"]))
        shape = Shape(np.exp(p["log_time_constant"]), share, prior.fast_ratio)
        fast, slow, _ = current_limited(data.limit_time_s, shape)
        y = p["hold_amplitude_a"] * branches_current(data.since_hold_s, shape, fast, slow) + level
        sizes = np.array([p[n] for n in ours.names if n.startswith("step")])
        for at, size in zip(step_times, sizes, strict=True):
            y = y + size * (data.time_s >= at)
        z = np.array([p[n] for n in ours.names if n.startswith("deviation")])
        rows = np.sqrt(ours.weights) * (y + data.deviations @ z - data.current_a) / data.sigma_a
        knee = []
        if data.limit_row is not None:
            knee = [(p["hold_amplitude_a"] + level - data.limit_row[0]) / data.limit_row[1]]
        return np.concatenate([rows, knee, prior_rows(p, data, prior), sizes / STEP_SD_A, z])

    return objective


def prior_rows(p, data, prior):
    def share_at(rate):
        return prior.fast_share + prior.share_per_c_rate * rate

    rate = p["hold_amplitude_a"] / prior.capacity_ah
    share, likely = share_at(rate), share_at(data.amplitude_guess_a / prior.capacity_ah)
    guess = data.amplitude_guess_a / prior.capacity_ah
    share_sd = np.hypot(prior.fast_share_sd, 0.4 * prior.share_per_c_rate * guess)
    share_sd = share_sd / (likely * (1.0 - likely))
    time_sd = np.hypot(prior.log_time_sd, 0.4 * prior.log_time_per_c_rate * guess)
    time_mean = prior.log_time_s - prior.log_time_per_c_rate * rate
    return np.array(
        [
            (p["log_time_constant"] - time_mean) / time_sd,
            (p["fast_share_logit"] - np.log(share / (1.0 - share))) / share_sd,
            (p["float_current_a"] - prior.float_current_a) / prior.float_current_sd_a,
            (p["load_a"] - data.load_a[0]) / data.load_a[1],
        ]
    )


def test_weights_are_those_of_the_final_residuals(battery):
    readings = simulated_connection(0.2)
    bent = readings.supply_current_a + np.where(np.abs(readings.elapsed_s - 200.0) < 12.0, 0.8, 0.0)
    fit = fitted(readings.model_copy(update={"supply_current_a": bent}), battery)
    rows = residuals(fit.parameters, fit.data, fit.prior)[: fit.weights.size]
    np.testing.assert_allclose(fit.weights, 1.0 / np.sqrt(1.0 + (rows / 4.0) ** 2), atol=5e-3)
    assert fit.weights.min() < 0.8


@pytest.mark.parametrize("depth", [0.05, 0.2, 0.5])
def test_analytic_jacobian_against_differences(battery, depth):
    readings = simulated_connection(depth, minutes=8.0, steps=((100.0, 4.0),))
    signal = signal_from(readings, SUPPLY, 8.0, 0.2)
    prior = prior_for(battery, 25.0)
    data = taper_data(signal, prior)
    at = fit_taper(signal, prior).parameters
    numeric = np.empty_like(jacobian(at, data, prior))
    for k in range(at.size):
        h = np.zeros(at.size)
        h[k] = 1e-5 * max(1.0, abs(at[k]))
        difference = residuals(at + h, data, prior) - residuals(at - h, data, prior)
        numeric[:, k] = difference / (2 * h[k])
    np.testing.assert_allclose(jacobian(at, data, prior), numeric, rtol=2e-4, atol=1e-4)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("depth", [0.05, 0.15, 0.3, 0.5])
def test_truth_is_within_three_standard_errors(battery, depth, seed):
    readings = simulated_connection(depth, seed=seed, minutes=8.0)
    fit = fitted(readings, battery)
    path = true_path(depth)
    truth = {
        "amplitude_a": path.amplitude_a,
        "charge_time_h": path.charge_time_h,
        "load_a": 8.0,
        "float_current_a": 0.1,
    }
    errors = fit.standard_errors
    for name, value in truth.items():
        got = fit[name] if name in fit.names else getattr(fit, name)
        assert abs(got - value) < 3.0 * errors[name], name


def test_a_flat_current_is_never_certainly_small(battery):
    """A steady 12 A cannot be read as a float current of 12 A with nothing to return."""
    time = np.arange(0.0, 300.0, 5.0)
    readings = Readings(elapsed_s=time, supply_current_a=np.full(time.size, 20.0))
    fit = fitted(readings, battery)
    assert fit.amplitude_a > 8.0


def test_predict_follows_load_steps_and_limit(battery):
    readings = simulated_connection(0.5, minutes=17.0, steps=((720.0, 7.0),))
    fit = fitted(readings, battery)
    np.testing.assert_allclose(fit.predict(readings.elapsed_s), readings.supply_current_a, atol=1.2)
    before, after = fit.predict(np.array([719.9, 720.0]))
    assert after - before == pytest.approx(7.0, abs=0.3)
    assert fit.predict(np.array([1.0]))[0] == pytest.approx(60.0, abs=0.5)


def test_standard_error_of_prediction_grows_beyond_the_readings(battery):
    fit = fitted(simulated_connection(0.2), battery)
    inside, beyond = fit.predict_sd(np.array([150.0, 1500.0]))
    assert 0.0 < inside < beyond


@given(st.floats(0.3, 3.0), st.integers(0, 5))
@settings(max_examples=15)
def test_everything_scales_with_the_unit_of_current(scale, seed):
    """Twice the battery, load, supply, meter and readings: twice the amperes, the same times."""
    plain = simulated_connection(0.15, seed=seed)
    scaled = Readings(elapsed_s=plain.elapsed_s, supply_current_a=plain.supply_current_a * scale)

    def at(readings, k):
        battery = Battery(
            tail="DEMO-1",
            chemistry="vrla",
            cells=12,
            rated_capacity_ah=40.0 * k,
            history={"charge_time_h": 0.31, "charge_time_rel_sd": 0.06},
        )
        signal = signal_from(readings, None, 8.0 * k, 0.2 * k)
        signal = type(signal)(**{**vars(signal), "sigma_a": 0.05 * k})
        return fit_taper(signal, prior_for(battery, 25.0))

    one, other = at(plain, 1.0), at(scaled, scale)
    assert other.amplitude_a == pytest.approx(scale * one.amplitude_a, rel=5e-3)
    assert other.time_constant_s == pytest.approx(one.time_constant_s, rel=5e-3)


def test_thinning_keeps_means_and_never_crosses_a_step(battery):
    readings = simulated_connection(0.1, every_s=0.25, minutes=20.0, steps=((300.0, 5.0),))
    signal = signal_from(readings, None, 8.0)
    time, current, sigma = thinned(signal.time_s, signal.current_a, signal.sigma_a, signal.steps)
    assert time.size <= 2 * MAX_FIT_ROWS
    counts = (signal.sigma_a / sigma) ** 2
    assert counts.sum() == pytest.approx(len(readings))
    assert counts @ current == pytest.approx(signal.current_a.sum())
    edge = np.searchsorted(time, 300.0)
    assert counts[:edge].sum() == pytest.approx(1200.0)


def test_dense_and_sparse_logs_of_the_same_taper_agree(battery):
    sparse = fitted(simulated_connection(0.2, every_s=5.0, noise_a=0.0), battery)
    dense = fitted(simulated_connection(0.2, every_s=0.1, noise_a=0.0), battery)
    assert dense.amplitude_a == pytest.approx(sparse.amplitude_a, rel=0.02)
    assert dense.charge_time_h == pytest.approx(sparse.charge_time_h, rel=0.05)


def test_history_narrows_the_prior_and_temperature_widens_it(battery):
    bare = battery.model_copy(update={"history": None})
    assert prior_for(battery, 25.0).log_time_sd < prior_for(bare, 25.0).log_time_sd
    assert prior_for(bare, 0.0).log_time_sd > prior_for(bare, 25.0).log_time_sd


def test_too_few_readings_are_refused_in_one_sentence(battery):
    readings = simulated_connection(0.5, minutes=10.0)
    signal = signal_from(readings, SUPPLY, 8.0)
    few = np.zeros(signal.usable.size, dtype=bool)
    few[-2:] = True
    with pytest.raises(FitError, match="only 2 readings"):
        fit_taper(type(signal)(**{**vars(signal), "usable": few}), prior_for(battery, None))


def test_deviations_follow_the_readings_and_are_empty_without_any(battery):
    prior = prior_for(battery, 25.0)
    basis = deviation_basis(np.array([0.0, 30.0, 300.0]), 0.0, 0.4, prior)
    assert basis.shape[0] == 3
    assert basis[0, 0] == pytest.approx(prior.shape_sd(0.4))
    assert basis[0, -1] == 0.0
    assert deviation_basis(np.zeros(0), 0.0, 0.4, prior).shape == (0, basis.shape[1])


def test_readings_that_scatter_with_the_meter_leave_errors_and_belief_alone(battery):
    fit = fitted(simulated_connection(0.2), battery)
    assert fit.misfit == 1.0
    assert fit.conflict < 1.0
    assert fit.prior == fit.belief


def wavy(amplitude_a, period_s):
    readings = simulated_connection(0.2, minutes=20.0)
    wave = amplitude_a * np.sin(2.0 * np.pi * readings.elapsed_s / period_s)
    return readings.model_copy(update={"supply_current_a": readings.supply_current_a + wave})


def test_a_misfit_makes_the_answer_wider(battery):
    """A wave no taper has: its size goes into the errors, and neighbours that miss together count
    once."""
    plain, moved = (fitted(wavy(a, 120.0), battery) for a in (0.0, 1.0))
    assert moved.misfit > 5.0
    spread = [f.standard_errors["charge_time_h"] / f.charge_time_h for f in (plain, moved)]
    assert spread[1] > 1.5 * spread[0]


def test_neighbours_that_miss_together_count_once(battery):
    fast, slow = (fitted(wavy(0.4, period), battery).misfit for period in (11.0, 150.0))
    assert slow > 1.5 * fast


@pytest.mark.parametrize(("changes", "factor"), [(22, 1.0), (21, 1.406)])
def test_neighbours_count_as_together_from_two_and_a_half_errors(
    changes, factor, battery, monkeypatch
):
    """64 rows of one error each: 63 - 2 k of 64 is their correlation, with k changes of sign.

    Two and a half errors are 2.5 / 8 = 0.3125: 19 / 64 is below it, 21 / 64 above, which makes
    sqrt(85 / 43) = 1.406.
    """
    sign = np.cumprod(np.where(np.isin(np.arange(64), np.arange(1, changes + 1)), -1.0, 1.0))
    data = fitted(simulated_connection(0.2), battery).data
    monkeypatch.setattr(fit_module, "residuals", lambda *_: sign)
    rows = replace(data, time_s=np.arange(64.0))
    found = fit_module._together(np.zeros(0), rows, prior_for(battery, 25.0))
    assert found == pytest.approx(factor, abs=1e-3)


@pytest.mark.parametrize(("times", "stands"), [(1.2, True), (1.5, False)])
def test_errors_stand_up_to_a_misfit_of_a_third(battery, times, stands):
    """Readings that scatter by 1.2 and by 1.5 times the error that is stated for them."""
    readings = simulated_connection(0.02, minutes=20.0, resolution_a=0.001, noise_a=0.05)
    signal = signal_from(readings, SUPPLY, 8.0, 0.2)
    scatter = fit_taper(signal, prior_for(battery, 25.0))
    rows = np.median(np.abs(scatter.residuals_a / scatter.data.sigma_a)) * 1.4826
    stated = replace(signal, sigma_a=signal.sigma_a * rows / times)
    assert (fit_taper(stated, prior_for(battery, 25.0)).misfit == 1.0) is stands


def test_a_conflict_widens_what_is_known_of_the_load(battery):
    """A load 6 A off, sixty of its stated errors: they are grown with all beliefs."""
    fit = fitted(simulated_connection(0.2, load_a=14.0, minutes=40.0), battery)
    assert fit.data.load_a[1] > 2.0 * 0.1


def test_a_conflict_widens_the_belief(battery):
    """Four times the charge time on record: the belief is widened until the two agree."""
    slow = battery.model_copy(update={"history": History(charge_time_h=1.6)})
    fit = fitted(simulated_connection(0.2, charge_time_h=0.4, minutes=20.0), slow)
    assert fit.conflict > 2.0
    assert fit.prior.log_time_sd > 2.0 * fit.belief.log_time_sd
    assert fit.charge_time_h < 0.7


def test_a_second_start_finds_a_taper_far_from_belief():
    """A measured taper (`tests/data/README.md`) of some 350 s where 1620 s are believed: from the
    belief alone the search stays at 2000 s."""
    case = next(c for c in taper_cases() if c.taper.name == "46" and c.minutes == 5.0)
    signal = signal_from(case.readings, case.supply, 0.0, 0.1)
    fit = fit_taper(signal, prior_for(case.battery, 37.0))
    assert 250.0 < fit.time_constant_s < 600.0
