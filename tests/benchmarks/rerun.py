"""How long the page at the aircraft takes after one more reading.

``python -m tests.benchmarks.rerun [--readings 600]`` begins a connection of so many readings in a
record of its own, then notes one more and runs the page anew, again and again. It is the server's
part: a browser draws on top of it.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from streamlit.components.v2 import manifest_scanner
from streamlit.testing.v1 import AppTest

from batterymodel.pages import connections
from batterymodel.store import Store, open_store
from batterymodel.store.acts import Quantity
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.in_progress import begin, note
from tests.benchmarks.speed import readings
from tests.store.test_in_progress import with_battery

READINGS, REPEATS = 600, 15
SCRIPT = "from batterymodel.pages import at_the_aircraft\nat_the_aircraft.page()\n"
KEY = "connection"


def begun(store: Store, count: int, minutes: float = 30.0) -> datetime:
    """A connection with so many readings up to now; when it began."""
    taken = readings(count, minutes)
    began = datetime.now(UTC) - timedelta(minutes=minutes, seconds=30.0)
    begin(store, KEY, began, serial="B-1", load_a=8.0)
    for k, (at_s, current_a) in enumerate(
        zip(taken.elapsed_s, taken.supply_current_a, strict=True)
    ):
        moment = began + timedelta(seconds=float(at_s))
        note(store, KEY, f"reading-{k}", Quantity.SUPPLY_CURRENT, float(current_a), moment)
    return began


def reruns_ms(count: int, repeats: int = REPEATS) -> list[float]:
    """Time of each run of the page after one more reading [ms]."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ[URL_VARIABLE] = str(Path(folder) / "record.sqlite")
        with_battery(open_store(os.environ[URL_VARIABLE]))
        store = open_store(os.environ[URL_VARIABLE])
        begun(store, count)
        page = AppTest.from_string(SCRIPT, default_timeout=60)
        page.query_params[connections.CONNECTION] = KEY
        page.run()
        taken = []
        for k in range(repeats):
            moment = datetime.now(UTC)
            note(store, KEY, f"one-more-{k}", Quantity.SUPPLY_CURRENT, 12.0, moment)
            started = time.perf_counter()
            page.run()
            taken.append(1000.0 * (time.perf_counter() - started))
            if page.exception:
                raise RuntimeError(page.exception[0].value)
        return taken


def lines(count: int = READINGS) -> Iterator[str]:
    """The figures, one line each."""
    manifest_scanner.scan_component_manifests = lambda *_, **__: []
    taken = reruns_ms(count)
    yield f"- {count} readings: median {np.median(taken):.0f} ms, most {max(taken):.0f} ms"


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="Time the page at the aircraft after a reading.")
    parser.add_argument("--readings", type=int, default=READINGS, help="readings noted before")
    print("\n".join(lines(parser.parse_args().readings)))


if __name__ == "__main__":
    main()
