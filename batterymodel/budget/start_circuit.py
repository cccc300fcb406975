"""The circuit while a motor starts: battery, cable, supply at its limit, motor, stepped in time.

The bus joins four things: the supply, which holds its voltage behind the cable's resistance up to
its limit and its limit above; the battery, its rest voltage behind a resistance of which part shows
at once and part (charge transfer) after a tenth of a second; a steady load; and the motor, a
resistance with a back-voltage that rises as it gathers speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batterymodel.basis.arrays import BoolArray, FloatArray

STEPS = 120
"""Steps of a start in time [-] (own choice, numerical: least voltages of backward Euler within
0.02 V of six times as many)."""

HORIZON_STARTS = 3.0
"""Length that is followed, over the starting time [-] (own choice: a motor that the dip slows is
still seen to its end)."""

STEP_GROWTH = 400.0
"""Last step over the first, which is a four-thousandth of the starting time; steps grow by one
factor [-] (own choice, numerical)."""

START_DECAYS = 3.0
"""Starting time over the time constant of the current's fall to the running current [-] (own
choice: a twentieth of the surge is left)."""

LEAST_SURGE_A = 0.01
"""Least the starting current lies above the running current [A] (own choice, numerical)."""


NEARLY_LIMIT = 0.98
"""Share of its limit from which on the supply counts as at it before the start [-] (own choice)."""


@dataclass(frozen=True)
class Circuit:
    """Everything on the bus, each number or array of shape ``(n,)`` for n possible circuits.

    ``set_voltage_v`` at the supply's terminals, up to ``limit_a``; ``line_ohm`` between it and the
    bus, out and return. ``rest_voltage_v`` of the battery, ``prompt_ohm`` its resistance and leads
    at once and ``later_ohm`` what comes to it with the time constant ``later_s``; ``draw_a`` is the
    current it charges with before the start. ``load_a`` is steady. The motor takes ``starting_a``
    at first and ``running_a`` in the end on a bus that stays at ``named_v``, and comes within a
    twentieth of it in ``starting_s``. ``stored_share`` of the overvoltage of charging is there when
    the battery has to give; the rest is gone at once.
    """

    set_voltage_v: FloatArray
    limit_a: FloatArray
    line_ohm: FloatArray
    rest_voltage_v: FloatArray
    prompt_ohm: FloatArray
    later_ohm: FloatArray
    later_s: FloatArray
    draw_a: FloatArray
    load_a: FloatArray
    starting_a: FloatArray
    running_a: FloatArray
    starting_s: FloatArray
    named_v: FloatArray
    stored_share: FloatArray | float = 1.0
    battery_joined: bool = True


@dataclass(frozen=True)
class StartPath:
    """What follows from the motor being switched on, arrays of shape ``(steps, n)``.

    ``time_s`` is the end of each step and ``step_s`` its length; ``battery_a`` is positive where
    the battery gives current; ``at_limit`` marks the supply at its limit.
    """

    time_s: FloatArray
    step_s: FloatArray
    bus_v: FloatArray
    supply_a: FloatArray
    battery_a: FloatArray
    motor_a: FloatArray
    at_limit: BoolArray

    @property
    def least_bus_v(self) -> FloatArray:
        """Least bus voltage of each circuit [V], shape ``(n,)``."""
        return self.bus_v.min(axis=0)

    @property
    def battery_charge_ah(self) -> FloatArray:
        """Charge the battery gave [Ah], shape ``(n,)``; what it took is not set against it."""
        return (np.maximum(self.battery_a, 0.0) * self.step_s).sum(axis=0) / 3600.0

    @property
    def at_limit_s(self) -> FloatArray:
        """Time with the supply at its limit [s], shape ``(n,)``."""
        return (self.at_limit * self.step_s).sum(axis=0)

    def below_s(self, limit_v: float) -> FloatArray:
        """Time with the bus below a voltage.

        Parameters
        ----------
        limit_v : float
            [V].

        Returns
        -------
        ndarray, shape (n,)
            [s].
        """
        return ((self.bus_v < limit_v) * self.step_s).sum(axis=0)


@dataclass(frozen=True)
class _Branch:
    """A voltage behind a resistance; of conductance zero where it is not there."""

    volts: FloatArray
    ohm: FloatArray
    there: BoolArray

    @property
    def siemens(self) -> FloatArray:
        return np.where(self.there, 1.0 / self.ohm, 0.0)


def followed(circuit: Circuit) -> StartPath:
    """The bus from the moment the motor is switched on, by backward Euler.

    1. Battery: ``V = E + v - R i`` and ``C v' = -i - v / R_v``, with ``C = later_s / later_ohm``
       and ``R_v = later_ohm`` where the battery gives; where it still has the overvoltage of
       charging, ``R_v`` is what held that at ``draw_a``.
    2. Motor: ``i = (V - e) / R_m`` with ``R_m = named_v / starting_a``, and
       ``e' = (i - running_a) R_m / tau``, a motor of constant torque, for which the current on a
       stiff bus falls exponentially with ``tau = starting_s / START_DECAYS``.
    3. Supply: ``(set_voltage_v - V) / line_ohm``, at most ``limit_a``, at least none.
    4. The bus voltage is where the currents add up; steps grow (`STEP_GROWTH`).

    Parameters
    ----------
    circuit : Circuit
        n circuits at once.

    Returns
    -------
    StartPath
        Over `HORIZON_STARTS` starting times.

    Notes
    -----
    The supply's loop is taken as instant and the motor has no inductance. Where the bus falls so
    far that the steady load would switch itself off, it is still taken as steady.
    """
    grid = _grid()
    over_v = circuit.stored_share * overvoltage_v(circuit)
    back_v = np.zeros_like(circuit.starting_a)
    charging_ohm = np.maximum(over_v, 1e-9) / np.maximum(circuit.draw_a, 1e-6)
    columns: list[tuple[FloatArray | BoolArray, ...]] = []
    for share in np.diff(grid, prepend=0.0):
        step_s = share * circuit.starting_s
        battery = _battery_in(circuit, over_v, charging_ohm, step_s)
        motor = _motor_in(circuit, back_v, step_s)
        bus_v, supply_a, at_limit = _bus(circuit, battery, motor)
        motor_a = (bus_v - motor.volts) * motor.siemens
        battery_a = (battery.volts - bus_v) * battery.siemens
        over_v = bus_v - circuit.rest_voltage_v + circuit.prompt_ohm * battery_a
        back_v = np.maximum(bus_v - motor_a * _motor_ohm(circuit), 0.0)
        columns.append((step_s, bus_v, supply_a, battery_a, motor_a, at_limit))
    step, bus, supply, given, motor_current, limited = (
        np.stack(c) for c in zip(*columns, strict=True)
    )
    return StartPath(
        np.cumsum(step, axis=0), step, bus, supply, given, motor_current, limited.astype(bool)
    )


def _grid() -> FloatArray:
    """Ends of the steps over the starting time."""
    ends = np.cumsum(np.geomspace(1.0, STEP_GROWTH, STEPS))
    return np.asarray(ends * HORIZON_STARTS / ends[-1])


def overvoltage_v(circuit: Circuit) -> FloatArray:
    """Voltage of the battery over its rest voltage before the start, behind its prompt resistance.

    ``V_s - R_line (load + draw) - E - R draw`` where the supply holds the bus; where it is at its
    limit, ``later_ohm draw``, the least that can be.

    Parameters
    ----------
    circuit : Circuit

    Returns
    -------
    ndarray, shape (n,)
        [V]; none where the battery does not charge.
    """
    before_v = circuit.set_voltage_v - circuit.line_ohm * (circuit.load_a + circuit.draw_a)
    over_v = before_v - circuit.rest_voltage_v - circuit.prompt_ohm * circuit.draw_a
    at_limit = circuit.load_a + circuit.draw_a >= NEARLY_LIMIT * circuit.limit_a
    over_v = np.where(at_limit, circuit.later_ohm * circuit.draw_a, over_v)
    return np.where(circuit.draw_a > 0.0, np.maximum(over_v, 0.0), 0.0)


def _battery_in(
    circuit: Circuit, over_v: FloatArray, charging_ohm: FloatArray, step_s: FloatArray
) -> _Branch:
    """The battery over one step, as a voltage behind a resistance."""
    most_ohm = np.maximum(charging_ohm, circuit.later_ohm)
    later_ohm = np.where(over_v > 0.0, most_ohm, circuit.later_ohm)
    farad = circuit.later_s / circuit.later_ohm
    fades = 1.0 + step_s / (farad * later_ohm)
    return _Branch(
        circuit.rest_voltage_v + over_v / fades,
        circuit.prompt_ohm + step_s / (farad * fades),
        np.full(over_v.shape, circuit.battery_joined),
    )


def _motor_in(circuit: Circuit, back_v: FloatArray, step_s: FloatArray) -> _Branch:
    """The motor over one step, as a back-voltage behind a resistance."""
    ohm = _motor_ohm(circuit)
    gain = step_s * START_DECAYS / circuit.starting_s
    volts = back_v - gain * ohm * circuit.running_a
    return _Branch(volts, ohm * (1.0 + gain), np.ones(back_v.shape, dtype=bool))


def _motor_ohm(circuit: Circuit) -> FloatArray:
    """Resistance of the motor at rest [ohm]."""
    surge_a = np.maximum(circuit.starting_a, circuit.running_a + LEAST_SURGE_A)
    return np.asarray(circuit.named_v / surge_a)


def _bus(
    circuit: Circuit, battery: _Branch, motor: _Branch
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Bus voltage [V], supply's current [A] and whether it is at its limit, over one step."""
    given_a = battery.volts * battery.siemens + motor.volts * motor.siemens - circuit.load_a
    siemens = battery.siemens + motor.siemens
    line = 1.0 / circuit.line_ohm
    free_v = (given_a + circuit.set_voltage_v * line) / (siemens + line)
    wanted_a = (circuit.set_voltage_v - free_v) * line
    at_limit = wanted_a > circuit.limit_a
    supply_a = np.clip(wanted_a, 0.0, circuit.limit_a)
    bus_v = np.where(supply_a == wanted_a, free_v, (given_a + supply_a) / siemens)
    return np.maximum(bus_v, 0.0), supply_a, at_limit
