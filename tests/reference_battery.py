"""Electrochemical reference: a lead-acid cell on a fixed-voltage supply, by PyBaMM.

V. Sulzer et al., J. Electrochem. Soc. 166(12) (2019) 2363, as PyBaMM's ``lead_acid.Full`` with its
default parameter set "Sulzer2019". One cell stands for a battery: voltages per cell, currents
scaled from its nominal 17 Ah. The model has neither gassing nor an end of lead sulphate, so it is
settled at the hold voltage first, and that is called full; its rest voltage is not that of a real
battery and serves as no evidence here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

NOMINAL_AH = 17.0
SETTLE_H = 12.0
REST_H = 2.0

GEOMETRY = {
    "Negative electrode thickness [m]": 0.20,
    "Positive electrode thickness [m]": 0.20,
    "Separator thickness [m]": 0.20,
    "Electrode height [m]": 0.25,
}
"""Plate dimensions that are varied, with the standard deviation of their logarithm."""


@dataclass(frozen=True)
class ReferenceRun:
    """Battery current after connection per rated ampere-hour [1/h] over time [s]."""

    depth: float
    time_s: np.ndarray
    rate_per_h: np.ndarray

    def current_a(self, time_s: np.ndarray, rated_capacity_ah: float) -> np.ndarray:
        """Battery current [A] of a battery of that size at times since connection [s]."""
        return np.interp(time_s, self.time_s, self.rate_per_h) * rated_capacity_ah

    @property
    def returned(self) -> float:
        """Charge returned over the run, as a fraction of rated capacity."""
        return float(np.trapezoid(self.rate_per_h, self.time_s) / 3600.0)


def geometries(count: int, seed: int) -> list[tuple[tuple[str, float], ...]]:
    """Plate variants as scale factors: the default first, then log-normal draws."""
    rng = np.random.default_rng(seed)
    drawn = [
        tuple((name, float(np.exp(rng.normal(0.0, sd)))) for name, sd in GEOMETRY.items())
        for _ in range(count - 1)
    ]
    return [(), *drawn]


@cache
def connection(
    depth: float,
    limit_per_h: float,
    scales: tuple[tuple[str, float], ...] = (),
    hold_v_per_cell: float = 28.0 / 12.0,
    temp_c: float = 25.0,
    hours: float = 0.5,
) -> ReferenceRun:
    """Settle, discharge ``depth`` of rated capacity at 0.2 C, rest, then connect.

    ``limit_per_h`` is what the supply can give the battery, per rated ampere-hour.
    """
    import pybamm

    pybamm.set_logging_level("ERROR")
    step = pybamm.step
    first = [
        step.voltage(hold_v_per_cell, duration=SETTLE_H * 3600.0, period=600),
        step.rest(duration=REST_H * 3600.0, period=600),
        step.current(0.2 * NOMINAL_AH, duration=depth / 0.2 * 3600.0, period=60),
        step.rest(duration=REST_H * 3600.0, period=600),
    ]
    connected = [
        step.current(
            -limit_per_h * NOMINAL_AH,
            duration=6 * 3600.0,
            period=1,
            termination=f"{hold_v_per_cell} V",
        ),
        step.voltage(hold_v_per_cell, duration=hours * 3600.0, period=1),
    ]
    simulation = pybamm.Simulation(
        pybamm.lead_acid.Full(),
        parameter_values=_parameters(scales, temp_c),
        experiment=pybamm.Experiment(first + connected),
    )
    cycles = [c for c in simulation.solve().cycles[len(first) :] if c is not None]
    time = np.concatenate([c["Time [s]"].entries for c in cycles])
    current = -np.concatenate([c["Current [A]"].entries for c in cycles])
    keep = np.append(np.diff(time) > 0, True)
    return ReferenceRun(depth, (time - time[0])[keep], current[keep] / NOMINAL_AH)


def _parameters(scales: tuple[tuple[str, float], ...], temp_c: float):
    import pybamm

    values = pybamm.lead_acid.Full().default_parameter_values.copy()
    values["Number of cells connected in series to make a battery"] = 1
    values["Ambient temperature [K]"] = 273.15 + temp_c
    values["Initial temperature [K]"] = 273.15 + temp_c
    for name, scale in scales:
        values[name] = values[name] * scale
    return values
