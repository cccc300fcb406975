"""Connections of the reference set as a technician would record them, with their truth."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import cache

import numpy as np

from batterymodel import Battery, CapacityCheck, Chemistry, History, Limits, Readings, Supply
from batterymodel.reference.chemistry import data_for
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.samples.simulate import meter_reading_a
from tests.benchmarks.generate import CELLS, DATA, FIRST_DRAW, SECOND_DRAW, half_of

ON = date(2026, 3, 2)
DRAWN, CARD = "drawn", "card"
REST_SPREAD_V = CELLS * data_for(Chemistry.VRLA).rest.sd_v


@dataclass(frozen=True)
class Recording:
    """How a connection is recorded: meter, times, and what else is known.

    The simulated cell's rest voltage is not that of a real battery: it falls by 4 V from full to
    empty where the tool's curve falls by 2 V. So a rest voltage is either ``DRAWN`` from the tool's
    curve, which tests how it is used and not the curve, or the cell's own, with its own curve on
    the limits ``CARD``. In both, each battery is off its curve by a constant of the spread the tool
    states, and the meter by up to 0.05 V.
    """

    minutes: float = 5.0
    every_s: float | None = 5.0
    resolution_a: float = 0.1
    load_error_a: float | None = 1.0
    history: bool = True
    rest_voltage: str | None = None

    @property
    def load_sd_a(self) -> float:
        """Standard deviation of a load known to plus or minus ``load_error_a`` (uniform)."""
        return max((self.load_error_a or 0.0) / np.sqrt(3.0), 0.05)


@dataclass(frozen=True)
class Connection:
    """One connection of the reference set: its battery's number, its truth, and its current."""

    row: int
    battery: int
    soc: float
    temp_c: float
    hold_v: float
    limit_a: float
    load_a: float
    rated_ah: float
    rest_v: float
    charge_time_h: float


@dataclass(frozen=True)
class Case:
    """What `batterymodel.assess` is given, and the state of charge that is true."""

    connection: Connection
    recording: Recording
    readings: Readings
    battery: Battery
    supply: Supply
    load_a: float | None
    load_sd_a: float
    rest_voltage_v: float | None

    @property
    def soc(self) -> float:
        """True state of charge at connection."""
        return self.connection.soc

    @property
    def limited_throughout(self) -> bool:
        """No reading lies below the supply's limit by more than its meter can tell."""
        limit = self.supply.rated_current_a
        seen = limit - max(0.015 * limit, 1.01 * self.recording.resolution_a)
        return bool(self.readings.supply_current_a.min() > seen)


@cache
def reference_set() -> dict[str, np.ndarray]:
    """Arrays of the data file, see `tests.benchmarks.generate`."""
    with np.load(DATA) as data:
        return {name: data[name] for name in data.files}


def connections(half: str, unseen: bool = False) -> list[Connection]:
    """Connections of one half; ``unseen``: only of batteries drawn after all rules were settled."""
    batteries = reference_set()["battery"]
    chosen = [
        row
        for row, battery in enumerate(batteries)
        if half_of(battery) == half and (battery >= FIRST_DRAW + SECOND_DRAW or not unseen)
    ]
    return [_connection(row) for row in chosen]


def cases(half: str, recording: Recording, seed: int = 1, unseen: bool = False) -> Iterator[Case]:
    """Every connection of one half, recorded in one way."""
    for connection in connections(half, unseen):
        rng = np.random.default_rng([seed, connection.row])
        yield recorded(connection, recording, rng)


def mixed_cases(
    half: str, per_connection: int, seed: int = 2, unseen: bool = False
) -> Iterator[Case]:
    """Every connection of one half, each recorded in several ways drawn at random."""
    for connection in connections(half, unseen):
        rng = np.random.default_rng([seed, connection.row])
        for _ in range(per_connection):
            yield recorded(connection, drawn_recording(rng), rng)


def drawn_recording(rng: np.random.Generator) -> Recording:
    """One way to record out of all that the benchmark covers."""
    return Recording(
        minutes=float(rng.choice([2.0, 3.0, 5.0, 10.0, 20.0])),
        every_s=[1.0, 5.0, 30.0, None][rng.integers(4)],
        resolution_a=float(rng.choice([0.1, 1.0])),
        load_error_a=[0.0, 1.0, None][rng.integers(3)],
        history=bool(rng.integers(2)),
        rest_voltage=[None, DRAWN, CARD][rng.integers(3)],
    )


def recorded(connection: Connection, recording: Recording, rng: np.random.Generator) -> Case:
    """One connection recorded in one way."""
    data = reference_set()
    time = _times(recording, rng)
    rate = np.interp(time, data["window_s"], data["rate"][connection.row])
    supply_a = np.minimum(rate * connection.rated_ah + connection.load_a, connection.limit_a)
    noise = 0.03 if recording.resolution_a < 0.5 else 0.1
    error = recording.load_error_a
    told = connection.load_a + (rng.uniform(-error, error) if error else 0.0)
    battery = battery_of(connection, recording)
    return Case(
        connection=connection,
        recording=recording,
        readings=Readings(
            elapsed_s=time,
            supply_current_a=meter_reading_a(supply_a, recording.resolution_a, noise, rng),
            battery_temp_c=np.full(time.size, connection.temp_c),
        ),
        battery=battery,
        supply=Supply(rated_current_a=connection.limit_a, set_voltage_v=connection.hold_v),
        load_a=None if error is None else max(told, 0.0),
        load_sd_a=recording.load_sd_a,
        rest_voltage_v=_rest_v(connection, recording, battery, rng),
    )


def battery_of(connection: Connection, recording: Recording) -> Battery:
    """The battery's record: plate, a capacity check, its rest-voltage table, its history."""
    card = Limits()
    if recording.rest_voltage == CARD:
        card = _own_curve(connection.battery, connection.hold_v)
    return Battery(
        tail=f"DEMO-{connection.battery}",
        chemistry="vrla",
        cells=CELLS,
        rated_capacity_ah=connection.rated_ah,
        limits=card,
        capacity_check=CapacityCheck(
            on=date(2026, 1, 5),
            capacity_ah=connection.rated_ah,
            capacity_sd_ah=0.02 * connection.rated_ah,
        ),
        history=learned_history(connection.battery, connection.rated_ah)
        if recording.history
        else None,
    )


@cache
def learned_history(battery: int, rated_ah: float) -> History:
    """History of a battery from its two completed tapers, through the tool itself."""
    from batterymodel import assess

    data = reference_set()
    known = None
    for k, rate in enumerate(data["taper"][battery]):
        rng = np.random.default_rng([77, battery, k])
        done = int(np.argmax(rate < 0.004 * rate[0])) or rate.size
        time, current = data["taper_s"][:done], rate[:done] * rated_ah + 8.0
        plate = Battery(
            tail=f"DEMO-{battery}",
            chemistry="vrla",
            cells=CELLS,
            rated_capacity_ah=rated_ah,
            history=known,
        )
        readings = Readings(
            elapsed_s=time, supply_current_a=meter_reading_a(current, 0.1, 0.03, rng)
        )
        told = 8.0 + rng.uniform(-1.0, 1.0)
        result = assess(readings, plate, None, load_a=told, load_sd_a=0.58, ambient_c=22.0, on=ON)
        known = result.learned_history or known
    assert known is not None
    return known


def _rest_v(
    connection: Connection, recording: Recording, battery: Battery, rng: np.random.Generator
) -> float | None:
    if recording.rest_voltage is None:
        return None
    off = np.random.default_rng([13, connection.battery]).normal(0.0, REST_SPREAD_V)
    read = rng.uniform(-0.05, 0.05)
    if recording.rest_voltage == CARD:
        return connection.rest_v + off + read
    return float(rest_voltage_v(battery, connection.soc, connection.temp_c)) + off + read


@cache
def _own_curve(battery: int, hold_v: float) -> Limits:
    """The simulated cell's own rest voltage, a line through its own rested states.

    One for each hold voltage, because what the simulation calls full depends on it.
    """
    data = reference_set()
    own = (data["battery"] == battery) & (data["hold_v"] == hold_v)
    slope, offset = np.polyfit(data["soc"][own], data["rest_v"][own], 1)
    return Limits(
        document="the simulated cell's own rest voltage",
        rest_voltage_soc=(0.0, 1.0),
        rest_voltage_v=(float(offset), float(offset + slope)),
    )


def _times(recording: Recording, rng: np.random.Generator) -> np.ndarray:
    end = 60.0 * recording.minutes
    if recording.every_s is not None:
        return np.arange(0.0, end + 0.1, recording.every_s)
    times = np.cumsum(rng.uniform(10.0, 40.0, 200))
    by_hand = 5.0 * np.round(times[times < end] / 5.0)
    return np.unique(np.concatenate([[5.0], by_hand, [end]]))


@cache
def _charge_times() -> np.ndarray:
    data = reference_set()
    with np.errstate(divide="ignore", invalid="ignore"):
        return (1.0 - data["soc"]) / data["unlimited"]


def _connection(row: int) -> Connection:
    data = reference_set()
    rated = float(data["rated_ah"][row])
    return Connection(
        row=row,
        battery=int(data["battery"][row]),
        soc=float(data["soc"][row]),
        temp_c=float(data["temp_c"][row]),
        hold_v=float(data["hold_v"][row]),
        limit_a=float(data["limit_per_h"][row]) * rated,
        load_a=float(data["load_a"][row]),
        rated_ah=rated,
        rest_v=float(data["rest_v"][row]),
        charge_time_h=float(_charge_times()[row]),
    )
