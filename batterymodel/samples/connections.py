"""Invented sample connections, regenerated from a stated model and seed.

All of them play at Saltmarsh Field, a place that does not exist, with a fleet DEMO-1 to DEMO-9.
``python -m batterymodel.samples`` writes the folder ``sample_data`` anew; `load_scenario` reads it.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np

from batterymodel.inputs.readings import read_readings, readings_csv
from batterymodel.inputs.records import (
    Battery,
    CapacityCheck,
    Chemistry,
    Event,
    History,
    Limits,
    Readings,
    Supply,
    read_battery,
    read_supply,
    record_toml,
    toml_data,
)
from batterymodel.samples.discharges import write_capacity_samples
from batterymodel.samples.loads import write_load_samples
from batterymodel.samples.simulate import TruePath, battery_current_a, meter_reading_a

SEED = 20260301
SCENARIO_DAY = date(2026, 3, 2)
SAMPLE_FOLDER = Path(__file__).resolve().parents[2] / "sample_data"
SCENARIO_FILE = "scenario.toml"
PLACE = "Saltmarsh Field (invented)"

SUPPLY = Supply(
    rated_current_a=60.0,
    set_voltage_v=28.0,
    voltage_tolerance_v=0.3,
    input_voltage_v=120.0,
    input_current_full_load_a=17.5,
    circuit_breaker_a=20.0,
)

CARD = Limits(
    document="Invented maintenance manual DEMO-MM-1, revision B",
    max_charge_current_a=60.0,
    charge_voltage_min_v=27.5,
    charge_voltage_max_v=28.5,
    charge_temp_min_c=0.0,
    charge_temp_max_c=45.0,
    min_top_off_soc=0.75,
    min_capacity_fraction=0.85,
    end_voltage_v=20.0,
)


@dataclass(frozen=True)
class Sample:
    """One sample connection: its story, what was declared, and the outcome it deserves."""

    key: str
    title: str
    story: str
    deserves: str
    battery: Battery
    rest_voltage_v: float | None = None
    load_a: float | None = None
    ambient_c: float | None = None


@dataclass(frozen=True)
class _Truth:
    path: TruePath
    load_a: float = 8.0
    minutes: float = 5.0
    every_s: float = 5.0
    resolution_a: float = 0.1
    temp_c: float | None = None
    temp_rise_c_per_min: float = 0.0
    steps: tuple[tuple[float, float, str | None], ...] = ()
    clamp: bool = False
    clock: bool = False


@dataclass(frozen=True)
class _Case:
    sample: Sample
    truth: _Truth = field(repr=False)


def load_scenario(folder: Path = SAMPLE_FOLDER) -> tuple[tuple[Sample, ...], Supply]:
    """Samples and supply from a sample folder; empty where the folder is not there.

    Parameters
    ----------
    folder : Path
        As `write_samples` fills it; that of the project where left out.

    Returns
    -------
    samples : tuple of Sample
        In the order of the scenario file.
    supply : Supply

    Raises
    ------
    InputError
        A battery or supply file in it that cannot be used.
    """
    index = folder / SCENARIO_FILE
    if not index.is_file():
        return (), SUPPLY
    entries = toml_data(index.read_text(encoding="utf-8"), str(index))["connection"]
    samples = tuple(
        Sample(battery=read_battery(folder / f"{key}.toml"), key=key, **entry)
        for key, entry in entries.items()
    )
    return samples, read_supply(folder / "supply.toml")


def sample_readings_path(key: str, folder: Path = SAMPLE_FOLDER) -> Path:
    """Path of the readings CSV of a sample.

    Parameters
    ----------
    key : str
        `Sample.key`.
    folder : Path
        That of the project where left out.

    Returns
    -------
    Path
        Given whether or not a file is there.
    """
    return folder / f"{key}.csv"


@cache
def sample_readings(key: str) -> Readings:
    """Readings of a sample of the project, read and checked once.

    Parameters
    ----------
    key : str
        `Sample.key`.

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        A file that is not there or cannot be used.
    """
    return read_readings(sample_readings_path(key))


def is_sample(battery: Battery) -> bool:
    """Whether a battery is one of the invented set.

    Parameters
    ----------
    battery : Battery

    Returns
    -------
    bool
    """
    samples, _ = load_scenario()
    return any(battery == sample.battery for sample in samples)


def write_samples(folder: Path) -> None:
    """Write every sample, the supplies, aircraft and the scenario file into a folder.

    Parameters
    ----------
    folder : Path
        Made where it is not there; files of the same names are overwritten. The same bytes are
        written each time.

    Raises
    ------
    OSError
        A folder that cannot be written to.
    """
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(SEED)
    (folder / "supply.toml").write_text(record_toml(SUPPLY), encoding="utf-8")
    lines = [f"# Invented connections at {PLACE}; written by python -m batterymodel.samples"]
    for case in _cases():
        readings = _simulated(case.truth, rng)
        sample = case.sample
        sample_readings_path(sample.key, folder).write_text(
            readings_csv(readings), encoding="utf-8", newline=""
        )
        battery = f"# invented\n{record_toml(sample.battery)}"
        (folder / f"{sample.key}.toml").write_text(battery, encoding="utf-8")
        lines += _scenario_entry(sample)
    (folder / SCENARIO_FILE).write_text("\n".join(lines) + "\n", encoding="utf-8")
    write_capacity_samples(folder)
    write_load_samples(folder)


def _scenario_entry(sample: Sample) -> list[str]:
    entry = ["", f"[connection.{sample.key}]"]
    for name in ("title", "story", "deserves"):
        entry.append(f'{name} = "{getattr(sample, name)}"')
    for name in ("rest_voltage_v", "load_a", "ambient_c"):
        if getattr(sample, name) is not None:
            entry.append(f"{name} = {getattr(sample, name)}")
    return entry


def _simulated(truth: _Truth, rng: np.random.Generator) -> Readings:
    time = np.arange(0.0, 60.0 * truth.minutes + 0.1, truth.every_s)
    load = np.full(time.size, truth.load_a)
    for at, by, _ in truth.steps:
        load = load + by * (time >= at)
    battery = battery_current_a(truth.path, time, SUPPLY.rated_current_a - load)
    supply = np.minimum(battery + load, SUPPLY.rated_current_a)
    temp = None
    if truth.temp_c is not None:
        temp = np.round(truth.temp_c + truth.temp_rise_c_per_min * time / 60.0, 1)
    noise = 0.04
    return Readings(
        elapsed_s=time,
        supply_current_a=meter_reading_a(supply, truth.resolution_a, noise, rng),
        supply_voltage_v=np.round(SUPPLY.set_voltage_v + rng.normal(0, 0.02, time.size), 2)
        if truth.temp_c is not None
        else None,
        battery_current_a=meter_reading_a(battery, 0.1, noise, rng) if truth.clamp else None,
        battery_temp_c=temp,
        events=tuple(Event(elapsed_s=at, text=text) for at, _, text in truth.steps if text),
        started_at=datetime(2026, 3, 2, 7, 40) + timedelta(minutes=3) if truth.clock else None,
    )


def _battery(tail: str, **changes: object) -> Battery:
    values: dict[str, object] = {
        "tail": tail,
        "chemistry": Chemistry.VRLA,
        "cells": 12,
        "rated_capacity_ah": 40.0,
        "limits": CARD,
        "history": History(charge_time_h=0.31, charge_time_rel_sd=0.08),
        "capacity_check": CapacityCheck(
            on=date(2025, 11, 10), capacity_ah=39.0, capacity_sd_ah=1.2
        ),
    }
    return Battery(**{**values, **changes})  # type: ignore[arg-type]


def _nicd(tail: str, **changes: object) -> Battery:
    limits = CARD.model_copy(
        update={
            "document": "Invented maintenance manual DEMO-MM-4, revision A",
            "charge_voltage_max_v": 29.0,
            "max_charge_current_a": 40.0,
        }
    )
    values: dict[str, object] = {
        "chemistry": Chemistry.NICD,
        "cells": 20,
        "rated_capacity_ah": 36.0,
        "limits": limits,
        "history": History(charge_time_h=0.28, charge_time_rel_sd=0.1),
        "capacity_check": CapacityCheck(on=date(2026, 1, 12), capacity_ah=35.5),
    }
    return _battery(tail, **{**values, **changes})


def _cases() -> tuple[_Case, ...]:
    def path(depth: float, charge_time_h: float = 0.31, **more: float) -> TruePath:
        return TruePath(depth * 39.0 / 0.985, charge_time_h, **more)

    def case(
        key: str,
        title: str,
        story: str,
        deserves: str,
        battery: Battery,
        truth: _Truth,
        **declared: float,
    ) -> _Case:
        return _Case(Sample(key, title, story, deserves, battery, **declared), truth)

    return (
        case(
            "healthy-top-off",
            "DEMO-1: healthy, nearly full",
            "Flown yesterday, parked overnight. Load read before the battery joined.",
            "top_off",
            _battery("DEMO-1"),
            _Truth(path(0.08), temp_c=18.0, clock=True),
            rest_voltage_v=25.6,
            load_a=8.0,
        ),
        case(
            "deeply-discharged",
            "DEMO-2: master switch left on over the weekend",
            "The battery lit the panel for two days. The taper is slow to come.",
            "service",
            _battery("DEMO-2"),
            _Truth(path(0.42, fast_share=0.25), load_a=6.0, temp_c=16.0, minutes=6.0),
            rest_voltage_v=25.0,
            load_a=6.0,
        ),
        case(
            "supply-at-its-limit",
            "DEMO-3: the supply cannot give more",
            "Battery far down: the ammeter stands at the supply's limit for minutes.",
            "service",
            _battery("DEMO-3"),
            _Truth(path(0.75, fast_share=0.28), load_a=10.0, temp_c=17.0, minutes=5.0),
            load_a=10.0,
        ),
        case(
            "hot-battery",
            "DEMO-4: hot after repeated starts",
            "Two starts and a short hop on a summer afternoon; battery case warm to the hand.",
            "disconnect",
            _battery("DEMO-4"),
            _Truth(path(0.12, 0.27), temp_c=51.0, temp_rise_c_per_min=0.1),
            load_a=8.0,
        ),
        case(
            "cold-battery",
            "DEMO-5: cold-soaked at dawn",
            "Parked outside at -14 °C: little current flows, though the battery is not full.",
            "service",
            _battery("DEMO-5"),
            _Truth(path(0.25, 0.55), temp_c=-12.0),
            load_a=8.0,
        ),
        case(
            "worn-battery",
            "DEMO-6: five years in service",
            "Full by its current, but the last capacity check gave little over three quarters.",
            "service",
            _battery(
                "DEMO-6",
                capacity_check=CapacityCheck(
                    on=date(2025, 6, 2), capacity_ah=31.0, capacity_sd_ah=1.0
                ),
                history=History(charge_time_h=0.24, charge_time_rel_sd=0.08),
            ),
            _Truth(path(0.07, 0.24), temp_c=20.0),
            rest_voltage_v=25.5,
            load_a=8.0,
        ),
        case(
            "rising-current-nicd",
            "DEMO-7: nickel-cadmium, current rises again",
            "The taper turned round after four minutes and the battery is getting warm.",
            "disconnect",
            _nicd("DEMO-7"),
            _Truth(
                path(0.10, 0.28, runaway_a_per_min=1.1, runaway_from_s=240.0),
                temp_c=36.0,
                temp_rise_c_per_min=0.7,
                minutes=9.0,
                clamp=True,
            ),
        ),
        case(
            "undeclared-load-step",
            "DEMO-8: somebody switched something on",
            "At two and a half minutes the current jumps by 9 A; nobody wrote it down.",
            "keep_watching",
            _battery("DEMO-8"),
            _Truth(path(0.10), temp_c=15.0, steps=((150.0, 9.0, None),)),
            load_a=8.0,
        ),
        case(
            "coarse-meter",
            "DEMO-9: needle meter read to 1 A by hand",
            "An ammeter with 1 A marks, read every half minute.",
            "top_off",
            _battery("DEMO-9"),
            _Truth(path(0.11), every_s=30.0, minutes=6.0, resolution_a=1.0),
            rest_voltage_v=25.5,
            load_a=8.0,
            ambient_c=15.0,
        ),
        case(
            "marked-load-steps",
            "DEMO-1: avionics check during topping off",
            "Avionics on at two minutes, off at four, both marked as events.",
            "top_off",
            _battery("DEMO-1"),
            _Truth(
                path(0.09),
                temp_c=19.0,
                minutes=6.0,
                steps=((120.0, 11.0, "avionics on"), (240.0, -11.0, "avionics off")),
            ),
            load_a=8.0,
        ),
        case(
            "completed-taper",
            "DEMO-1: an hour on the supply, taper complete",
            "Left on with a clamp meter on the battery lead; the tool learns this battery's taper.",
            "top_off",
            _battery("DEMO-1", history=None),
            _Truth(path(0.15), temp_c=20.0, minutes=75.0, every_s=15.0, clamp=True),
        ),
        case(
            "no-card-no-load",
            "DEMO-2: nothing known but the meter",
            "A borrowed battery without history, limits card or known load, three minutes in.",
            "keep_watching",
            _battery("DEMO-2", history=None, limits=Limits(), capacity_check=None),
            _Truth(path(0.2), load_a=12.0, minutes=3.0),
        ),
    )


def main(arguments: list[str] | None = None) -> int:
    """Command line: write the samples into a folder.

    Parameters
    ----------
    arguments : list of str, optional
        Those after the program's name; else those of the process.

    Returns
    -------
    int
        Exit status, 0.

    Raises
    ------
    SystemExit
        Arguments that argparse refuses.
    """
    parser = argparse.ArgumentParser(description="Write the invented sample connections anew.")
    parser.add_argument("--to", type=Path, default=SAMPLE_FOLDER, help="folder to write into")
    folder = parser.parse_args(arguments).to
    write_samples(folder)
    print(f"wrote {len(_cases())} sample connections to {folder}")
    return 0
