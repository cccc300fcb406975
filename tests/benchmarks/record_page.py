"""How long the page of a battery's record takes with years of connections on record.

``python -m tests.benchmarks.record_page [--connections 200]`` fills a record of its own: so many
completed tapers over four years, every fourth with a rest voltage before and after, a bench check
each half year. It times the page in a session that goes on (`again`), right after one more check
(`after an act`), and in a process that knows nothing yet: with what former processes kept in the
record, and without. It is the server's part: a browser draws on top of it.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import streamlit as st
from streamlit.components.v2 import manifest_scanner
from streamlit.testing.v1 import AppTest

from batterymodel import Battery, assess
from batterymodel.inputs.readings import readings_from_bytes
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.samples.simulate import TruePath, battery_current_a, meter_reading_a
from batterymodel.store import Store, open_store
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.intake import add_fitted_battery
from batterymodel.store.records import BenchCheck, Connection

CONNECTIONS, REPEATS = 200, 20
SERIAL, LOAD_A, RATED_AH = "B-1", 8.0, 40.0
FITTED, YEARS = date(2022, 3, 1), 4.0
BATTERY = Battery(tail="DEMO-1", chemistry="vrla", cells=12, rated_capacity_ah=RATED_AH)
SCRIPT = "from batterymodel.pages import battery_record\nbattery_record.page()\n"
ASSESSED = 8
"""Connections that are assessed; the others carry the result of one of them, to save minutes."""


def log(seed: int, charge_ah: float) -> bytes:
    """Two hours of a completed taper as a CSV file, a battery temperature in it."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(0.0, 7200.0, 30.0)
    path = TruePath(charge_ah, 0.31, 0.2, 0.125, 0.1)
    current = battery_current_a(path, time_s, np.full(time_s.size, 112.0)) + LOAD_A
    read = meter_reading_a(current, 0.1, 0.03, rng)
    rows = "".join(f"{t:.0f},{a:.1f},24\n" for t, a in zip(time_s, read, strict=True))
    return f"elapsed_s,supply_current_a,battery_temp_c\n{rows}".encode()


def filled(store: Store, count: int) -> None:
    """The record of one battery with so many connections."""
    plate = add_fitted_battery(store, SERIAL, BATTERY, "DEMO-1", FITTED)
    aircraft = store.aircraft_of(SERIAL)
    days = [FITTED + timedelta(days=365.25 * YEARS * k / count) for k in range(count)]
    depths = np.random.default_rng(7).uniform(0.25, 0.6, count)
    logs = [log(k, depths[k % ASSESSED] * capacity_ah(day)) for k, day in enumerate(days)]
    results = [
        assess(readings_from_bytes(data, "log"), BATTERY, load_a=LOAD_A).model_dump_json()
        for data in logs[:ASSESSED]
    ]
    with store.writing():
        for k, (day, data) in enumerate(zip(days, logs, strict=True)):
            before_v, after_v = (
                float(rest_voltage_v(BATTERY, soc, 25.0))
                for soc in (0.985 - depths[k % ASSESSED], 0.985)
            )
            about = Connection(
                battery_id=plate.id,
                aircraft_id=aircraft.id,
                day=day,
                file_name=f"log-{k}.csv",
                readings_sha256=store.keep_file(data),
                rest_voltage_v=round(before_v, 2),
                rest_after_v=round(after_v, 2) if k % 4 == 0 else None,
                load_a=LOAD_A,
                assessment=results[k % ASSESSED],
            )
            store.add(about)
        for half_year in range(int(2 * YEARS)):
            store.add(check(plate.id, half_year))


def capacity_ah(day: date) -> float:
    """What the battery holds on a day: it loses 3 % of its plate a year."""
    return 39.5 - 0.03 * RATED_AH * (day - FITTED).days / 365.25


def check(battery_id: str, half_year: int) -> BenchCheck:
    """A bench check so many half years after fitting."""
    on = FITTED + timedelta(days=round(182.6 * half_year))
    return BenchCheck(battery_id=battery_id, on=on, capacity_ah=round(capacity_ah(on), 2))


@dataclass(frozen=True)
class Taken:
    """What one run of the page took: by the clock, and of the processor [ms]."""

    clock_ms: float
    cpu_ms: float


def run_of(page: AppTest) -> Taken:
    """Run the page once."""
    clock, cpu = time.perf_counter(), time.process_time()
    page.run()
    taken = Taken(1000.0 * (time.perf_counter() - clock), 1000.0 * (time.process_time() - cpu))
    if page.exception or page.error:
        raise RuntimeError((page.exception or page.error)[0].value)
    return taken


def timed(count: int, repeats: int = REPEATS) -> dict[str, list[Taken]]:
    """Runs of the page by what came before each."""
    taken: dict[str, list[Taken]] = {"new process, nothing kept": [], "again": []}
    with tempfile.TemporaryDirectory() as folder:
        os.environ[URL_VARIABLE] = str(Path(folder) / "record.sqlite")
        store = open_store(os.environ[URL_VARIABLE])
        filled(store, count)
        battery_id = store.plate(SERIAL).id
        page = AppTest.from_string(SCRIPT, default_timeout=1000)
        taken["new process, nothing kept"].append(run_of(page))
        taken["again"] += [run_of(page) for _ in range(repeats)]
        for k in range(max(repeats // 4, 1)):
            store.add(check(battery_id, int(2 * YEARS) + k))
            taken.setdefault("after an act", []).append(run_of(page))
        st.cache_data.clear()
        st.cache_resource.clear()
        again = AppTest.from_string(SCRIPT, default_timeout=1000)
        taken["new process, results kept"] = [run_of(again)]
        return taken


def lines(count: int = CONNECTIONS, repeats: int = REPEATS) -> Iterator[str]:
    """The figures, one line each."""
    manifest_scanner.scan_component_manifests = lambda *_, **__: []
    taken = timed(count, repeats)
    again_ms = float(np.median([one.cpu_ms for one in taken["again"]]))
    for name, runs in taken.items():
        clock_ms, cpu_ms = ([getattr(r, key) for r in runs] for key in ("clock_ms", "cpu_ms"))
        yield (
            f"- {count} connections, {name}: median {np.median(clock_ms):.0f} ms, most "
            f"{max(clock_ms):.0f} ms of {len(runs)}; of the processor {np.median(cpu_ms):.0f} ms, "
            f"most {max(cpu_ms):.0f} ms, {np.median(cpu_ms) / again_ms:.1f} x again"
        )


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="Time the page of a battery's record.")
    parser.add_argument(
        "--connections", type=int, default=CONNECTIONS, help="connections on record"
    )
    parser.add_argument("--repeats", type=int, default=REPEATS, help="runs of the page")
    options = parser.parse_args()
    for line in lines(options.connections, options.repeats):
        print(line, flush=True)


if __name__ == "__main__":
    main()
