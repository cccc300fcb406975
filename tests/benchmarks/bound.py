"""The physical limit: our standard error over the Cramer-Rao bound of the stated noise model.

``python -m tests.benchmarks.bound`` draws connections from the model the fit assumes (shape, float
current, load and deviations from their priors, normal meter noise) and prints the root mean square
error of the log of the charge to return over its bound. The bound is that with priors (van Trees):
from the information of readings and priors together at the truth, averaged over all that the
priors draw.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator

import numpy as np
from scipy.special import expit

from batterymodel import Battery, Readings
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.posterior import charge_posterior
from batterymodel.taper.prior import Prior, prior_for
from batterymodel.taper.problem import TaperData, jacobian, shape_of, taper_data
from batterymodel.taper.shape import Shape, hold_current
from batterymodel.taper.signals import Signal, signal_from

LOAD_A, LOAD_SD_A, NOISE_A, STEP_A = 8.0, 0.3, 0.05, 0.01
COUNT = 600


def errors_and_bounds(count: int, history: bool, seed: int = 3) -> np.ndarray:
    """Error of the log charge to return, and its bound there, shape ``(count, 2)``."""
    rng = np.random.default_rng(seed)
    known = {"charge_time_h": 0.36, "charge_time_rel_sd": 0.05} if history else None
    battery = Battery(
        tail="DEMO-1", chemistry="vrla", cells=12, rated_capacity_ah=40.0, history=known
    )
    prior = prior_for(battery, 25.0)
    return np.array([_error_and_bound(rng, prior) for _ in range(count)])


def _error_and_bound(rng: np.random.Generator, prior: Prior) -> tuple[float, float]:
    truth, readings = _drawn(rng, prior)
    signal = signal_from(readings, None, LOAD_A, LOAD_SD_A)
    data = taper_data(signal, prior)
    posterior = charge_posterior(fit_taper(signal, prior))
    weight = posterior.of_charge * posterior.charge_ah
    estimate = float(weight @ np.log(posterior.charge_ah) / weight.sum())
    shape = shape_of(truth, prior)
    error = estimate - float(np.log(truth[0] * shape.charge_time_s / 3600.0))
    return error, _bound(truth, data, prior)


def _bound(truth: np.ndarray, data: TaperData, prior: Prior) -> float:
    rows = jacobian(truth, data, prior)
    covariance = np.linalg.inv(rows.T @ rows)
    gradient = np.zeros(truth.size)
    shape = shape_of(truth, prior)
    spread = shape.fast_share * (1.0 - shape.fast_share) * (1.0 - prior.fast_ratio)
    by_logit = -spread * shape.time_constant_s / shape.charge_time_s
    gradient[:3] = 1.0 / truth[0], 1.0, by_logit
    return float(np.sqrt(gradient @ covariance @ gradient))


def _drawn(rng: np.random.Generator, prior: Prior) -> tuple[np.ndarray, Readings]:
    """True parameters and the readings they give."""
    depth, time = rng.uniform(0.05, 0.35), np.arange(0.0, 301.0, 5.0)
    rate = depth * rng.uniform(1.5, 4.0)
    amplitude = rate * prior.capacity_ah
    log_time = rng.normal(float(prior.log_time_at(rate)), prior.log_time_sd_at(rate))
    share = rng.normal(float(prior.logit_share_at(rate)), prior.logit_share_sd(rate))
    floor = max(rng.normal(prior.float_current_a, prior.float_current_sd_a), 0.0)
    load = LOAD_A + rng.normal(0.0, LOAD_SD_A)
    current = amplitude * hold_current(
        time, Shape(float(np.exp(log_time)), float(expit(share)), prior.fast_ratio)
    )
    level = np.round(current + floor + load, 6)
    data = taper_data(_signal(time, level), prior)
    deviations = rng.normal(0.0, 1.0, data.deviations.shape[1])
    noise = rng.normal(0.0, 1.0, time.size) * data.sigma_a
    reading = np.round((level + data.deviations @ deviations + noise) / STEP_A) * STEP_A
    truth = np.concatenate([[amplitude, log_time, share, floor, load], deviations])
    return truth, Readings(elapsed_s=time, supply_current_a=reading)


def _signal(time: np.ndarray, level: np.ndarray) -> Signal:
    signal = signal_from(Readings(elapsed_s=time, supply_current_a=level), None, LOAD_A, LOAD_SD_A)
    return Signal(**{**vars(signal), "sigma_a": NOISE_A})


def lines(count: int = COUNT) -> Iterator[str]:
    """Error and bound, one line with history and one without."""
    for history in (True, False):
        error, bound = errors_and_bounds(count, history).T
        limit = 1.0 / np.sqrt(np.mean(bound**-2.0))
        ratio = float(np.sqrt(np.mean(error**2)) / limit)
        yield (
            f"- {'with' if history else 'without'} history: root mean square error of the charge "
            f"{100 * np.sqrt(np.mean(error**2)):.1f} %, bound {100 * limit:.1f} %, ratio "
            f"{ratio:.2f} (+- {ratio / np.sqrt(2.0 * count):.2f})"
        )


def main(arguments: list[str] | None = None) -> int:
    """Print the ratio with and without history."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=COUNT, help="connections (600)")
    for line in lines(parser.parse_args(arguments).count):
        print(line, flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
