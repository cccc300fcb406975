"""Open-circuit voltage and usual ranges of each chemistry, per cell and per ampere-hour.

Rates are in 1/h (ampere over ampere-hour), resistances in V h (ohm times ampere-hour, per cell).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batterymodel import Chemistry

SOC_NODES = np.linspace(0.0, 1.0, 101)


@dataclass(frozen=True)
class Kind:
    """A chemistry in this simulation.

    ``soc`` and ``rest_v`` are its open-circuit curve [V per cell], ``charge_branch_v`` what the
    curve lies higher while charging, ``rest_sd_v`` the spread between batteries. The pairs are
    ranges of sound batteries: time constant of acceptance [h], ohmic resistance [V h], side
    current at ``side_v`` and 25 degC [1/h]; ``side_fold_v`` is the voltage for an e-fold of it.
    """

    cells: tuple[int, ...]
    soc: tuple[float, ...]
    rest_v: tuple[float, ...]
    rest_sd_v: float
    charge_branch_v: float
    tau_h: tuple[float, float]
    ohm_vh: tuple[float, float]
    side_per_h: tuple[float, float]
    side_v: float
    side_fold_v: float
    heat_j_per_k_ah: float


KINDS = {
    # Rest curve: specific gravity 1.280, 1.250, 1.220, 1.190 at 100, 75, 50, 25 % (US Army TM,
    # Table II, verified) plus 0.845 V (from memory). All ranges: own choice, common practice.
    Chemistry.VENTED_LEAD_ACID: Kind(
        cells=(12,),
        soc=(0.0, 0.25, 0.5, 0.75, 1.0),
        rest_v=(1.975, 2.035, 2.065, 2.095, 2.125),
        rest_sd_v=0.010,
        charge_branch_v=0.0,
        tau_h=(0.14, 0.7),
        ohm_vh=(0.015, 0.045),
        side_per_h=(0.002, 0.006),
        side_v=2.333,
        side_fold_v=0.075,
        heat_j_per_k_ah=550.0,
    ),
    # Side current when full: 0.5 % of the one-hour rate (maker's literature, verified secondary).
    Chemistry.VRLA: Kind(
        cells=(12,),
        soc=(0.0, 0.25, 0.5, 0.75, 1.0),
        rest_v=(1.95, 2.01, 2.055, 2.105, 2.155),
        rest_sd_v=0.012,
        charge_branch_v=0.0,
        tau_h=(0.12, 0.7),
        ohm_vh=(0.012, 0.04),
        side_per_h=(0.002, 0.007),
        side_v=2.333,
        side_fold_v=0.075,
        heat_j_per_k_ah=450.0,
    ),
    Chemistry.NICD: Kind(
        cells=(19, 20),
        soc=(0.0, 0.1, 0.3, 0.8, 0.95, 1.0),
        rest_v=(1.20, 1.255, 1.275, 1.295, 1.315, 1.34),
        rest_sd_v=0.012,
        charge_branch_v=0.035,
        tau_h=(0.12, 0.6),
        ohm_vh=(0.012, 0.03),
        side_per_h=(0.003, 0.012),
        side_v=1.45,
        side_fold_v=0.045,
        heat_j_per_k_ah=800.0,
    ),
    Chemistry.LFP: Kind(
        cells=(8,),
        soc=(0.0, 0.05, 0.1, 0.2, 0.35, 0.6, 0.7, 0.95, 0.99, 1.0),
        rest_v=(2.95, 3.15, 3.21, 3.26, 3.288, 3.295, 3.325, 3.335, 3.36, 3.40),
        rest_sd_v=0.006,
        charge_branch_v=0.012,
        tau_h=(0.03, 0.1),
        ohm_vh=(0.03, 0.09),
        side_per_h=(0.00005, 0.0003),
        side_v=3.5,
        side_fold_v=0.05,
        heat_j_per_k_ah=350.0,
    ),
}

TEMPERATURE_V_PER_K = {
    Chemistry.VENTED_LEAD_ACID: 0.0002,
    Chemistry.VRLA: 0.0002,
    Chemistry.NICD: -0.0004,
    Chemistry.LFP: 0.0001,
}
"""Change of the open-circuit voltage with temperature [V/K per cell] (from memory)."""


def rest_curve_v(chemistry: Chemistry) -> np.ndarray:
    """Open-circuit voltage [V per cell] at `SOC_NODES`, 25 degC."""
    kind = KINDS[chemistry]
    return np.interp(SOC_NODES, kind.soc, kind.rest_v)


def open_circuit_v(chemistry: Chemistry, soc: float, temp_c: float) -> float:
    """Open-circuit voltage [V per cell] of a typical battery at a state of charge [0..1]."""
    at_25 = float(np.interp(soc, SOC_NODES, rest_curve_v(chemistry)))
    return at_25 + TEMPERATURE_V_PER_K[chemistry] * (temp_c - 25.0)
