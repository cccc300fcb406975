"""What is simulated: battery, bus, supply and recording of one case, each as plain numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from batterymodel import Chemistry

LAWS = ("acceptance", "shepherd", "wells", "kinetic", "diffusion")
"""Base equations of charging, see `laws`; cases take them in turn."""


@dataclass(frozen=True)
class Cell:
    """One battery as a circuit.

    ``tau_h`` is the time constant of acceptance at 25 degC, ``ohm_vh`` the ohmic resistance,
    ``fast_share`` and ``fast_s`` a first diffusion element as a share of it. ``bend``, ``split``
    and ``lag`` shape the law (see `laws`), ``warms_per_k`` is its relative rise of acceptance with
    temperature. ``lost_cells`` is shorted cells (a soft short is a
    fraction), ``leak_a`` flows without charging, ``joint_ohm`` is a bad joint, ``accepts``
    divides the acceptance, ``ohm_times`` multiplies the resistance, ``doubling_s`` and
    ``turn_s`` give a runaway's growth and when it overtakes.
    """

    chemistry: Chemistry
    cells: int
    plate_ah: float
    capacity_ah: float
    soc: float
    temp_c: float
    ambient_c: float
    law: str
    tau_h: float
    ohm_vh: float
    fast_share: float
    fast_s: float
    bend: float
    split: float
    lag: float
    side_per_h: float
    offset_v: float
    warms_per_k: float
    lost_cells: float = 0.0
    leak_a: float = 0.0
    joint_ohm: float = 0.0
    is_open: bool = False
    accepts: float = 1.0
    ohm_times: float = 1.0
    doubling_s: float | None = None
    turn_s: float | None = None


@dataclass(frozen=True)
class Step:
    """A consumer switched at a time from the first reading; ``marked`` if an event says so."""

    at_s: float
    by_a: float
    marked: bool
    lasts_s: float | None = None


@dataclass(frozen=True)
class Bus:
    """The load on the bus: its mean, how it wanders, drifts and steps."""

    load_a: float
    wander_sd_a: float = 0.0
    wander_s: float = 120.0
    drift_a: float = 0.0
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True)
class Source:
    """The supply: what it holds truly, and the wires between it, the bus and the battery."""

    set_v: float
    limit_a: float
    line_ohm: float
    lead_ohm: float
    settling_v: float = 0.0
    settling_s: float = 2.0
    sag_ohm: float = 0.0
    drift_v: float = 0.0
    trip: tuple[float, float] | None = None
    named_v: float = 28.0


@dataclass(frozen=True)
class Recording:
    """How the case is read and what else is told.

    ``clamp`` is none, good, dead (on a dead lead), third (on one of three leads) or reversed;
    ``events`` none, steps, fourth or every; ``told_load_error_a`` the error of the declared load
    (None: load not declared); ``check`` the checked capacity over the plate and its age in days.
    """

    minutes: float
    every_s: float | None
    resolution_a: float
    noise_a: float
    offset_a: float = 0.0
    clamp: str = "none"
    clamp_offset_a: float = 0.0
    clamp_share: float = 0.33
    voltage: str = "none"
    temperature: str = "none"
    events: str = "steps"
    late_s: float = 0.0
    rest_voltage: bool = False
    surface_v: float = 0.0
    told_load_error_a: float | None = 0.0
    told_load_sd_a: float = 0.5
    history: bool = False
    check: tuple[float, int] | None = None
    last_known: tuple[float, int] | None = None
    supply_given: bool = True
    card: bool = True
    typed_capacity_times: float = 1.0
    typed_check_times: float = 1.0
    typing_slip: tuple[float, float] | None = None


@dataclass(frozen=True)
class Plan:
    """One case to be simulated; ``seed`` feeds everything drawn on the way."""

    seed: tuple[int, ...]
    cell: Cell
    bus: Bus
    source: Source
    recording: Recording

    @property
    def end_s(self) -> float:
        """Time from connection to the last reading."""
        return self.recording.late_s + 60.0 * self.recording.minutes


def altered(plan: Plan, **parts: dict[str, Any]) -> Plan:
    """The plan with fields of its parts replaced: ``altered(plan, cell={"soc": 0.3})``."""
    changed = {name: replace(getattr(plan, name), **values) for name, values in parts.items()}
    return replace(plan, **changed)
