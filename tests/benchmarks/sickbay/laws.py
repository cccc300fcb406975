"""Base equations of charging, five of them, so that no shape of taper is privileged.

Each gives the rate [1/h] at which a battery charges under a driving voltage, all arrays of shape
``(n,)`` over batteries:

- *acceptance*: the least of what resistance lets through and ``missing / tau``, the classic
  exponential law, rounded where they meet;
- *shepherd*: a polarisation resistance that grows as ``1 / missing``;
- *wells*: charge goes into an available well and flows on to a bound one;
- *kinetic*: electrode kinetics (arcsinh) with a limiting current that falls as a power of missing;
- *diffusion*: charge diffuses from the surface into a sphere of five shells.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

Curve = Callable[[np.ndarray], np.ndarray]
SHELLS = 5
LEAST = 1e-9


@dataclass
class Charge:
    """Charge still missing as shares of capacity, and what the law keeps of it.

    ``missing`` has shape ``(n,)``; ``parts`` has shape ``(n, k)``, one column per well or shell,
    as the missing share of that part.
    """

    missing: np.ndarray
    parts: np.ndarray


@dataclass
class Law:
    """A law with its constants, arrays ``(n,)``: time [h], resistance [V h], shape 0..1."""

    tau_h: np.ndarray
    resistance_vh: np.ndarray
    bend: np.ndarray
    split: np.ndarray
    lag: np.ndarray
    headroom_v: np.ndarray
    scale_v: np.ndarray

    def start(self, missing: np.ndarray) -> Charge:
        """A rested battery with this share of charge missing."""
        return Charge(missing.copy(), missing[:, None].copy())

    def rate(self, drive_v: np.ndarray, charge: Charge, curve: Curve) -> np.ndarray:
        """Charging rate [1/h] at a driving voltage [V per cell]; negative: discharging."""
        raise NotImplementedError

    def advance(self, charge: Charge, rate: np.ndarray, hours: float) -> None:
        """Take up charge at a rate [1/h] for a time [h]."""
        charge.missing = np.maximum(charge.missing - rate * hours, 0.0)
        charge.parts = charge.missing[:, None].copy()


class Acceptance(Law):
    """``(1/ohmic^n + 1/(missing/tau)^n)^(-1/n)``, n from 1.5 to 6."""

    def rate(self, drive_v: np.ndarray, charge: Charge, curve: Curve) -> np.ndarray:
        ohmic = (drive_v - curve(charge.missing)) / self.resistance_vh
        return least(ohmic, charge.missing / self.tau_h, 1.5 + 4.5 * self.bend)


class Shepherd(Law):
    """``(drive - open circuit) / (R + K / missing)``, K from the time constant at full headroom."""

    def rate(self, drive_v: np.ndarray, charge: Charge, curve: Curve) -> np.ndarray:
        over = drive_v - curve(charge.missing)
        polarisation = self.tau_h * self.headroom_v / np.maximum(charge.missing, LEAST)
        return np.where(over > 0.0, over / (self.resistance_vh + polarisation), self._down(over))

    def _down(self, over: np.ndarray) -> np.ndarray:
        return over / self.resistance_vh


class Wells(Law):
    """Two wells; the available one holds 12 to 45 %, the flow between them sets the tail."""

    @property
    def available(self) -> np.ndarray:
        """Share of capacity in the available well."""
        return 0.12 + 0.33 * self.split

    def start(self, missing: np.ndarray) -> Charge:
        return Charge(missing.copy(), np.stack([missing, missing], axis=1))

    def rate(self, drive_v: np.ndarray, charge: Charge, curve: Curve) -> np.ndarray:
        top = charge.parts[:, 0]
        ohmic = (drive_v - curve(top)) / self.resistance_vh
        return least(ohmic, top / (self.tau_h * (0.5 + 0.5 * self.lag)), 8.0)

    def advance(self, charge: Charge, rate: np.ndarray, hours: float) -> None:
        share = self.available
        flow = (charge.parts[:, 1] - charge.parts[:, 0]) * (1.0 - share) / (0.8 * self.tau_h)
        top = charge.parts[:, 0] + (flow - rate) * hours / share
        bound = charge.parts[:, 1] - flow * hours / (1.0 - share)
        charge.parts = np.clip(np.stack([top, bound], axis=1), 0.0, 1.0)
        charge.missing = share * charge.parts[:, 0] + (1.0 - share) * charge.parts[:, 1]


class Kinetic(Law):
    """Root of ``drive - U - r R - b asinh(r / 2 r0) + m ln(1 - r / limit(missing))``."""

    def rate(self, drive_v: np.ndarray, charge: Charge, curve: Curve) -> np.ndarray:
        over = drive_v - curve(charge.missing)
        power = 0.9 + 0.4 * self.bend
        limit = 0.2 / self.tau_h * (np.maximum(charge.missing, LEAST) / 0.2) ** power
        low, high = np.zeros_like(over), np.ones_like(over)
        for _ in range(22):
            middle = 0.5 * (low + high)
            below = self._residual(over, middle * limit, middle) > 0.0
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.where(over > 0.0, 0.5 * (low + high) * limit, over / self.resistance_vh)

    def _residual(self, over: np.ndarray, rate: np.ndarray, share: np.ndarray) -> np.ndarray:
        kinetics = 0.12 * self.scale_v * np.arcsinh(rate / (0.1 + 0.4 * self.split))
        crowding = 0.25 * self.scale_v * np.log1p(-share)
        return over - rate * self.resistance_vh - kinetics + crowding


class Diffusion(Law):
    """Five shells of equal thickness in a sphere; the outer one meets the current."""

    def start(self, missing: np.ndarray) -> Charge:
        return Charge(missing.copy(), np.repeat(missing[:, None], SHELLS, axis=1))

    def rate(self, drive_v: np.ndarray, charge: Charge, curve: Curve) -> np.ndarray:
        surface = charge.parts[:, -1]
        ohmic = (drive_v - curve(surface)) / self.resistance_vh
        return least(ohmic, surface / (self.tau_h * (0.35 + 0.3 * self.lag)), 3.0)

    def advance(self, charge: Charge, rate: np.ndarray, hours: float) -> None:
        volumes = shell_volumes()
        source = charge.parts.copy()
        source[:, -1] -= rate * hours / volumes[-1]
        charge.parts = np.einsum("nij,nj->ni", self._spread(hours), source)
        charge.parts = np.clip(charge.parts, 0.0, 1.0)
        charge.missing = charge.parts @ volumes

    def _spread(self, hours: float) -> np.ndarray:
        """Inverse of the implicit step, shape ``(n, shells, shells)``, kept per step length."""
        kept = self.__dict__.setdefault("_kept", {})
        if hours not in kept:
            speed = 0.12 / (self.tau_h * (0.4 + 0.4 * self.split))
            step = speed[:, None, None] * hours * shell_exchange()
            kept[hours] = np.linalg.inv(np.eye(SHELLS) + step)
        return kept[hours]


def least(a: np.ndarray, b: np.ndarray, sharpness: np.ndarray | float) -> np.ndarray:
    """The lesser of two positive rates, rounded where they meet; `a` alone where it is negative."""
    up, other = np.maximum(a, LEAST), np.maximum(b, LEAST)
    small, ratio = np.minimum(up, other), np.minimum(up, other) / np.maximum(up, other)
    return np.where(a > 0.0, small * (1.0 + ratio**sharpness) ** (-1.0 / sharpness), a)


def shell_volumes() -> np.ndarray:
    """Share of the sphere's volume in each shell, from the centre outwards."""
    edges = np.linspace(0.0, 1.0, SHELLS + 1)
    return np.diff(edges**3)


def shell_exchange() -> np.ndarray:
    """Matrix ``(shells, shells)`` of exchange between shells, for a unit diffusivity."""
    edges = np.linspace(0.0, 1.0, SHELLS + 1)
    between = 3.0 * edges[1:-1] ** 2 * SHELLS
    matrix = np.zeros((SHELLS, SHELLS))
    for inner, flow in enumerate(between):
        for here, there in ((inner, inner + 1), (inner + 1, inner)):
            matrix[here, here] += flow / shell_volumes()[here]
            matrix[here, there] -= flow / shell_volumes()[here]
    return matrix


LAW_OF = {
    "acceptance": Acceptance,
    "shepherd": Shepherd,
    "wells": Wells,
    "kinetic": Kinetic,
    "diffusion": Diffusion,
}
