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
    c_rate_per_h: np.ndarray
    rest_v_per_cell: float = 0.0

    @property
    def first_rate_per_h(self) -> float:
        """Current at connection per nominal ampere-hour [1/h]."""
        return float(self.c_rate_per_h[0])

    def current_a(self, time_s: np.ndarray, rated_capacity_ah: float) -> np.ndarray:
        """Battery current [A] of a battery of that size at times since connection [s]."""
        return np.interp(time_s, self.time_s, self.c_rate_per_h) * rated_capacity_ah

    @property
    def returned(self) -> float:
        """Charge returned over the run, as a fraction of rated capacity."""
        return float(np.trapezoid(self.c_rate_per_h, self.time_s) / 3600.0)


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
    """`settled_connection`, kept for the next caller."""
    return settled_connection(depth, limit_per_h, scales, hold_v_per_cell, temp_c, hours)


def settled_connection(
    depth: float,
    limit_per_h: float,
    scales: tuple[tuple[str, float], ...],
    hold_v_per_cell: float,
    temp_c: float,
    hours: float,
) -> ReferenceRun:
    """Settle, discharge ``depth`` of nominal capacity at 0.2 C, rest, then connect.

    ``limit_per_h`` is what the supply can give the battery, per nominal ampere-hour.
    """
    import pybamm

    step = pybamm.step
    first = [
        *_settling(hold_v_per_cell),
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
    cycles = _solved(first + connected, scales, temp_c)
    rest_v = float(cycles[len(first) - 1]["Voltage [V]"].entries[-1])
    connected_cycles = [c for c in cycles[len(first) :] if c is not None]
    time = np.concatenate([c["Time [s]"].entries for c in connected_cycles])
    current = -np.concatenate([c["Current [A]"].entries for c in connected_cycles])
    keep = np.append(np.diff(time) > 0, True)
    return ReferenceRun(depth, (time - time[0])[keep], current[keep] / NOMINAL_AH, rest_v)


def rated_fraction(scales: tuple[tuple[str, float], ...], end_v_per_cell: float = 1.667) -> float:
    """One-hour capacity over nominal: a capacity check of the settled cell to its end voltage.

    The rate is a guess at the one-hour rate and corrected once.
    """
    import pybamm

    rate = 0.6
    for _ in range(2):
        discharge = pybamm.step.current(
            rate * NOMINAL_AH, duration=4 * 3600.0, period=5, termination=f"{end_v_per_cell} V"
        )
        steps = [*_settling(28.0 / 12.0), discharge]
        last = _solved(steps, scales, 25.0)[-1]
        hours = float(last["Time [s]"].entries[-1] - last["Time [s]"].entries[0]) / 3600.0
        rate = rate * hours
    return rate


def _settling(hold_v_per_cell: float) -> list:
    import pybamm

    return [
        pybamm.step.voltage(hold_v_per_cell, duration=SETTLE_H * 3600.0, period=600),
        pybamm.step.rest(duration=REST_H * 3600.0, period=600),
    ]


def _solved(steps: list, scales: tuple[tuple[str, float], ...], temp_c: float) -> list:
    import pybamm

    pybamm.set_logging_level("ERROR")
    simulation = pybamm.Simulation(
        pybamm.lead_acid.Full(),
        parameter_values=_parameters(scales, temp_c),
        experiment=pybamm.Experiment(steps),
    )
    return list(simulation.solve().cycles)


def _parameters(scales: tuple[tuple[str, float], ...], temp_c: float):
    import pybamm

    values = pybamm.lead_acid.Full().default_parameter_values.copy()
    values["Number of cells connected in series to make a battery"] = 1
    values["Ambient temperature [K]"] = 273.15 + temp_c
    values["Initial temperature [K]"] = 273.15 + temp_c
    for name, scale in scales:
        values[name] = _scaled(values[name], scale)
    return values


def _scaled(value, scale: float):
    """A parameter times a factor, also where it is a function of the cell's state."""
    if callable(value):
        return lambda *arguments: scale * value(*arguments)
    return value * scale
