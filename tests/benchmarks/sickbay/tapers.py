"""Three measured tapers of a worn lead-acid battery, as readings with what was still to return."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from batterymodel import Battery, Chemistry, Readings, Supply

DATA = Path(__file__).parents[2] / "data" / "lead_acid_tapers.csv"
PLATE_AH = 50.0
HOLDS_AH = (8.0, 11.0)
"""Capacity the battery truly had: the least and the most seen."""

SET_V, LIMIT_A = 14.1, 50.0
WINDOWS_MIN = (2.0, 5.0, 10.0, 20.0)
BUS_LOAD_A = 8.0
"""Invented load put on the supply's ammeter where the battery current is read by a clamp."""


@dataclass(frozen=True)
class Taper:
    """One measured taper, arrays ``(t,)``."""

    name: str
    elapsed_s: np.ndarray
    battery_a: np.ndarray
    battery_v: np.ndarray
    battery_temp_c: np.ndarray
    removed_ah: float
    returned_ah: float


@dataclass(frozen=True)
class TaperCase:
    """A window of a taper as the tool gets it, and the charge still to return at its end.

    ``charge_to_return_ah`` is a range: what flowed above the last current of the record, which is
    not quite the float current, and all that flowed. ``soc`` is the range of the state of charge at
    connection that goes with `HOLDS_AH`.
    """

    taper: Taper
    minutes: float
    clamp: bool
    readings: Readings
    battery: Battery
    supply: Supply
    keywords: dict[str, Any]
    charge_to_return_ah: tuple[float, float]
    soc: tuple[float, float]


def measured_tapers() -> list[Taper]:
    """The tapers of the data file."""
    with DATA.open(newline="") as file:
        rows = list(csv.DictReader(file))
    return [
        _taper(name, [row for row in rows if row["taper"] == name])
        for name in dict.fromkeys(row["taper"] for row in rows)
    ]


def _taper(name: str, rows: list[dict[str, str]]) -> Taper:
    def column(field: str) -> np.ndarray:
        return np.array([float(row[field]) for row in rows])

    return Taper(
        name=name,
        elapsed_s=column("elapsed_s"),
        battery_a=column("battery_current_a"),
        battery_v=column("battery_voltage_v"),
        battery_temp_c=column("battery_temp_c"),
        removed_ah=column("removed_before_ah")[0],
        returned_ah=column("returned_ah")[0],
    )


def charge_after_ah(taper: Taper, from_s: float) -> float:
    """Charge [Ah] that still flowed from a time to the end of the taper (trapezoids)."""
    times = np.append(from_s, taper.elapsed_s[taper.elapsed_s > from_s])
    currents = np.interp(times, taper.elapsed_s, taper.battery_a)
    return float(np.trapezoid(currents, times)) / 3600.0


def charge_range_ah(taper: Taper, from_s: float) -> tuple[float, float]:
    """Charge [Ah] from a time to the end: above the last current, and all of it."""
    every = charge_after_ah(taper, from_s)
    floor = float(taper.battery_a[-1]) * (taper.elapsed_s[-1] - from_s) / 3600.0
    return every - floor, every


def taper_cases(chemistry: Chemistry = Chemistry.VRLA) -> list[TaperCase]:
    """Every taper in every window it fills, by supply meter (no load) and by clamp (with load)."""
    return [
        _case(taper, minutes, clamp, chemistry)
        for taper in measured_tapers()
        for minutes in WINDOWS_MIN
        if taper.elapsed_s[-1] >= 60.0 * minutes
        for clamp in (False, True)
    ]


def _case(taper: Taper, minutes: float, clamp: bool, chemistry: Chemistry) -> TaperCase:
    load = BUS_LOAD_A if clamp else 0.0
    missing = [min(taper.removed_ah / capacity, 1.0) for capacity in HOLDS_AH]
    return TaperCase(
        taper=taper,
        minutes=minutes,
        clamp=clamp,
        readings=_readings(taper, minutes, load if clamp else None),
        battery=Battery(tail="DEMO-1", chemistry=chemistry, cells=6, rated_capacity_ah=PLATE_AH),
        supply=Supply(rated_current_a=LIMIT_A + load, set_voltage_v=SET_V),
        keywords={"load_a": load, "load_sd_a": 0.1, "on": date(2026, 3, 2)},
        charge_to_return_ah=charge_range_ah(taper, 60.0 * minutes),
        soc=(1.0 - missing[0], 1.0 - missing[1]),
    )


def _readings(taper: Taper, minutes: float, load_a: float | None) -> Readings:
    kept = taper.elapsed_s <= 60.0 * minutes
    battery = taper.battery_a[kept]
    return Readings(
        elapsed_s=taper.elapsed_s[kept],
        supply_current_a=battery + (load_a or 0.0),
        battery_current_a=None if load_a is None else battery,
        battery_temp_c=taper.battery_temp_c[kept],
        source=f"measured taper {taper.name}",
    )
