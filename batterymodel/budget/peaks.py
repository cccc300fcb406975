"""What a motor's start does to the bus, with a battery on it and without, with intervals.

The battery covers what the supply's limit does not; how far the bus falls then depends on its
resistance, its rest voltage at this state of charge and the starting current, and each is known
with an error. Possible circuits are drawn from what is known and followed all at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.special import ndtri
from scipy.stats import qmc

from batterymodel.basis.arrays import FloatArray
from batterymodel.basis.intervals import Interval, sample_interval
from batterymodel.budget.start_circuit import Circuit, StartPath, followed
from batterymodel.errors import InputError

CIRCUITS = 256
"""Circuits drawn for one start, a power of two [-] (own choice)."""

STARTING_REL_SD = 0.10
"""Error of a starting current that nobody measured, relative to it [-] (own choice)."""

STARTING_TIME_LOG_SD = 0.25
"""Error of a starting time that nobody measured, in its logarithm [ln] (own choice)."""

GENERIC_STARTING_S = 0.5
"""Starting time of a motor that nobody timed [s] (own choice)."""

LATER_SHARE, LATER_SHARE_SD = 0.35, 0.12
"""Share of a battery's resistance that comes with the time constant `LATER_S`, and its spread
[0..1] (own choice: charge transfer is a third of what a step shows within a second)."""

LATER_SHARES = (0.02, 0.9)
"""Shares that can be [0..1] (own choice, numerical)."""

LATER_S, LATER_LOG_SD = 0.05, 0.9
"""That time constant [s], and the spread of its logarithm [ln] (own choice: what a cell's charge
transfer takes lies between ten and some hundred milliseconds)."""

LEAST_LINE_OHM = 1e-4
"""Least resistance between supply and bus [ohm] (own choice, numerical)."""


@dataclass(frozen=True)
class SupplyLine:
    """The supply as the bus sees it: its voltage, its limit, and the resistance to the bus.

    ``line_log_sd`` is the spread of the logarithm of ``line_ohm``, out and return.
    """

    set_voltage_v: float
    limit_a: float
    line_ohm: float
    set_voltage_sd_v: float = 0.0
    line_log_sd: float = 0.0


@dataclass(frozen=True)
class BusBattery:
    """The battery on the bus: rest voltage at its state of charge, resistance with leads, draw.

    ``resistance_ohm`` is the median, ``resistance_log_sd`` the spread of its logarithm;
    ``draw_a`` is what the battery charges with before the start, zero or more. Of the resistance
    ``later_share`` comes with the time constant ``later_s`` only, which is also how fast the
    overvoltage of charging goes; nothing in a connection's readings tells either. ``stored_share``
    is the part of that overvoltage which the battery holds at first, when it has to give current.
    """

    rest_voltage_v: float
    rest_voltage_sd_v: float
    resistance_ohm: float
    resistance_log_sd: float
    draw_a: float = 0.0
    draw_sd_a: float = 0.0
    later_share: float = LATER_SHARE
    later_share_sd: float = LATER_SHARE_SD
    later_s: float = LATER_S
    later_log_sd: float = LATER_LOG_SD
    stored_share: float = 1.0
    stored_share_sd: float = 0.0


@dataclass(frozen=True)
class MotorStart:
    """A motor's start on a bus that stays at ``named_v``.

    ``starting_a`` at first, ``running_a`` in the end, reached within a twentieth of the surge in
    ``starting_s``. The spreads are relative, and of the logarithm of the time.
    """

    running_a: float
    starting_a: float
    starting_s: float = GENERIC_STARTING_S
    starting_rel_sd: float = STARTING_REL_SD
    starting_s_log_sd: float = STARTING_TIME_LOG_SD
    named_v: float = 28.0

    def __post_init__(self) -> None:
        """Refuse a start that is none."""
        if not 0.0 <= self.running_a <= self.starting_a or self.starting_a <= 0.0:
            raise InputError(
                f"a motor that starts with {self.starting_a:g} A and runs with "
                f"{self.running_a:g} A: a starting current above 0 and not below the running "
                "current would be right"
            )
        if not self.starting_s > 0.0:
            raise InputError(
                f"a starting time of {self.starting_s:g} s: more than 0 s would be right"
            )


@dataclass(frozen=True)
class Dip:
    """What a start does to the bus with the battery on it, each at 90 %.

    ``least_bus_v`` is the lowest bus voltage, ``below_s`` the time below the limit asked for and
    ``chance_below`` the probability that the bus falls below it at all; ``battery_charge_ah`` is
    what the battery gives, ``battery_peak_a`` its highest current, ``at_limit_s`` the time with the
    supply at its limit. ``chance_recovers`` is the probability that the supply has left its limit
    when the start is over; where it is small, the steady load is too much and not the start.
    """

    least_bus_v: Interval
    below_s: Interval
    chance_below: float
    battery_charge_ah: Interval
    battery_peak_a: Interval
    at_limit_s: Interval
    chance_recovers: float


@dataclass(frozen=True)
class SupplyAlone:
    """What the same start does without a battery on the bus.

    ``chance_within`` is the probability that the whole start stays within the supply's limit; then
    the bus holds. Where it does not, the supply cannot hold its voltage: ``least_bus_v`` is where
    the bus falls to if the supply keeps giving its limit, which is the best case, and
    ``chance_starts`` the probability that the motor then still comes to speed. What is not known is
    whether the supply folds back or switches off, and how other consumers take the voltage: both
    make it worse.
    """

    chance_within: float
    least_bus_v: Interval
    below_s: Interval
    chance_below: float
    chance_starts: float


def dip_with_battery(
    motor: MotorStart,
    load_a: float,
    supply: SupplyLine,
    battery: BusBattery,
    least_v: float,
    load_sd_a: float = 0.0,
) -> Dip:
    """The dip of the bus while a motor starts, with the battery covering what the supply cannot.

    1. Draw circuits from what is known (`drawn_circuits`).
    2. Follow them from the moment of switching (`start_circuit.followed`).
    3. Read off what is asked, each as mean and central interval.

    Parameters
    ----------
    motor : MotorStart
    load_a : float
        Steady load of the bus beside motor and battery [A], zero or more.
    supply : SupplyLine
    battery : BusBattery
    least_v : float
        Least voltage the bus shall keep [V].
    load_sd_a : float
        Standard deviation of the load [A].

    Returns
    -------
    Dip

    Raises
    ------
    InputError
        For a motor, supply, battery or load that cannot be.

    Notes
    -----
    Within 0.3 V of an independent simulation in 95 % of cases where all figures are known; what
    is not known of the battery's first tenths of a second, the overvoltage of charging above all,
    makes up most of the interval otherwise (`tests.budget.test_peaks`). The part of the resistance
    that comes within minutes is not in it: a start of more than some seconds dips further.
    """
    circuit = drawn_circuits(motor, load_a, supply, battery, load_sd_a)
    path = followed(circuit)
    return Dip(
        least_bus_v=sample_interval(path.least_bus_v),
        below_s=sample_interval(path.below_s(least_v)),
        chance_below=float((path.least_bus_v < least_v).mean()),
        battery_charge_ah=sample_interval(path.battery_charge_ah),
        battery_peak_a=sample_interval(np.maximum(path.battery_a.max(axis=0), 0.0)),
        at_limit_s=sample_interval(path.at_limit_s),
        chance_recovers=float((~path.at_limit[-1]).mean()),
    )


def dip_without_battery(
    motor: MotorStart,
    load_a: float,
    supply: SupplyLine,
    least_v: float,
    load_sd_a: float = 0.0,
) -> SupplyAlone:
    """The same start with nothing on the bus but the supply: at its limit, its voltage falls.

    Parameters
    ----------
    motor : MotorStart
    load_a : float
        Steady load of the bus beside the motor [A], zero or more.
    supply : SupplyLine
    least_v : float
        Least voltage the bus shall keep [V].
    load_sd_a : float
        Standard deviation of the load [A].

    Returns
    -------
    SupplyAlone

    Raises
    ------
    InputError
        For a motor, supply or load that cannot be.

    Notes
    -----
    A best case: the supply is taken to give its limit at any voltage, the load to be steady.
    """
    none = BusBattery(0.0, 0.0, 1.0, 0.0)
    circuit = drawn_circuits(motor, load_a, supply, none, load_sd_a)
    path = followed(replace(circuit, battery_joined=False))
    return SupplyAlone(
        chance_within=float((~path.at_limit.any(axis=0)).mean()),
        least_bus_v=sample_interval(path.least_bus_v),
        below_s=sample_interval(path.below_s(least_v)),
        chance_below=float((path.least_bus_v < least_v).mean()),
        chance_starts=float(_came_to_speed(circuit, path).mean()),
    )


def _came_to_speed(circuit: Circuit, path: StartPath) -> FloatArray:
    """Whether the bus is held again at the end of what is followed, as 0 or 1."""
    return np.asarray((~path.at_limit[-1]) & (path.bus_v[-1] > 0.0), dtype=float)


def drawn_circuits(
    motor: MotorStart,
    load_a: float,
    supply: SupplyLine,
    battery: BusBattery,
    load_sd_a: float = 0.0,
) -> Circuit:
    """Equally likely circuits of what is known of start, supply, battery and load.

    Parameters
    ----------
    motor : MotorStart
    load_a : float
        Steady load [A], zero or more.
    supply : SupplyLine
    battery : BusBattery
    load_sd_a : float
        Standard deviation of the load [A].

    Returns
    -------
    Circuit
        `CIRCUITS` of them; the same for the same arguments.

    Raises
    ------
    InputError
        For a supply, battery or load that cannot be.

    Notes
    -----
    Currents, shares and voltages are normal, resistances and times log-normal; values that cannot
    be are cut off at the nearest that can.
    """
    _check(load_a, supply, battery)
    z = _normal_draws()
    ohm = battery.resistance_ohm * np.exp(battery.resistance_log_sd * z[0])
    later = ohm * np.clip(battery.later_share + battery.later_share_sd * z[1], *LATER_SHARES)
    running = np.full(CIRCUITS, motor.running_a)
    line = supply.line_ohm * np.exp(supply.line_log_sd * z[8])
    return Circuit(
        set_voltage_v=supply.set_voltage_v + supply.set_voltage_sd_v * z[2],
        limit_a=np.full(CIRCUITS, supply.limit_a),
        line_ohm=np.maximum(line, LEAST_LINE_OHM),
        rest_voltage_v=battery.rest_voltage_v + battery.rest_voltage_sd_v * z[3],
        prompt_ohm=ohm - later,
        later_ohm=later,
        later_s=battery.later_s * np.exp(battery.later_log_sd * z[4]),
        draw_a=np.maximum(battery.draw_a + battery.draw_sd_a * z[5], 0.0),
        load_a=np.maximum(load_a + load_sd_a * z[6], 0.0),
        starting_a=np.maximum(motor.starting_a * (1.0 + motor.starting_rel_sd * z[7]), running),
        running_a=running,
        starting_s=motor.starting_s * np.exp(motor.starting_s_log_sd * z[9]),
        named_v=np.full(CIRCUITS, motor.named_v),
        stored_share=np.clip(battery.stored_share + battery.stored_share_sd * z[10], 0.0, 1.0),
    )


@cache
def _normal_draws() -> FloatArray:
    """Eleven standard normal numbers for each circuit, spread evenly, shape ``(11, CIRCUITS)``."""
    points = qmc.Sobol(11, seed=1).random(CIRCUITS)
    return np.asarray(ndtri(np.clip(points, 1e-6, 1.0 - 1e-6)).T)


def _check(load_a: float, supply: SupplyLine, battery: BusBattery) -> None:
    if not load_a >= 0.0:
        raise InputError(f"a steady load of {load_a:g} A: 0 A or more would be right")
    if not (supply.limit_a > 0.0 and supply.line_ohm >= 0.0):
        raise InputError(
            f"a supply with a limit of {supply.limit_a:g} A behind {supply.line_ohm:g} ohm: a "
            "limit above 0 A and no negative resistance would be right"
        )
    if not (battery.resistance_ohm > 0.0 and battery.rest_voltage_v >= 0.0):
        raise InputError(
            f"a battery of {battery.rest_voltage_v:g} V and {battery.resistance_ohm:g} ohm: no "
            "negative voltage and a resistance above 0 would be right"
        )
