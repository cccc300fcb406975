"""The app on a record of its own in a browser of phone size, and the steps of a connection."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from uuid import uuid4

from batterymodel import Supply, read_readings
from batterymodel.samples.connections import Sample, load_scenario, sample_readings_path
from batterymodel.store import Store, open_store
from batterymodel.store.acts import InProgress, Quantity
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.in_progress import begin, connections_in_progress, leave, load
from batterymodel.store.in_progress import note as store_note
from batterymodel.store.intake import add_fitted_battery
from tests import screenshots
from tests.screenshots import CHECKOUT, WAIT_MS, settle
from tests.store.test_in_progress import with_battery

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

PHONE = {"width": 360, "height": 740}
SERIAL = "B-1"
"""Of the battery of `with_battery`: other tests put more batteries on the same record."""
SIZES = {"phone": PHONE, "desktop": {"width": 1280, "height": 900}}


class Server:
    """The app on one port and one record, to be killed and started again."""

    def __init__(self, folder: Path) -> None:
        self.record = folder / "record.sqlite"
        self.port = screenshots._free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        command = [sys.executable, "-m", "streamlit", "run", "app.py", "--server.headless=true"]
        command += [f"--server.port={self.port}", "--server.address=127.0.0.1"]
        command += ["--server.fileWatcherType=none"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        own = {**os.environ, URL_VARIABLE: str(self.record)}
        self.process = subprocess.Popen(command, cwd=CHECKOUT, env=own, **quiet)
        screenshots._wait_until_up(f"{self.address}/_stcore/health", self.process)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait(timeout=10)

    def clear(self) -> None:
        """Up again where it was killed, with no connection in progress."""
        if self.process.poll() is not None:
            self.start()
        for connection in connections_in_progress(self.store):
            leave(self.store, connection.id, f"clear-{connection.id}", "of another test")

    @property
    def store(self) -> Store:
        """The record, opened anew."""
        return open_store(self.record)

    def connection(self) -> InProgress:
        """The one connection in progress."""
        [connection] = connections_in_progress(self.store)
        return connection

    def readings(self, quantity: Quantity = Quantity.SUPPLY_CURRENT) -> list[float]:
        """Values of the one connection in progress, in order."""
        readings = (reading for _, reading in self.connection().readings)
        return [r.value for r in readings if r.quantity is quantity]


@contextlib.contextmanager
def running_server(folder: Path) -> Iterator[Server]:
    """A server whose record has one battery."""
    with_battery(open_store(folder / "record.sqlite"))
    running = Server(folder)
    try:
        yield running
    finally:
        running.kill()


class Devices:
    """A device of each of `SIZES`, whose windows share what the app's own code was loaded for once.

    Where a test leaves something in the browser's storage, `new_device` shares nothing.
    """

    def __init__(self, browser: Browser) -> None:
        self.browser = browser
        self.made: dict[str, BrowserContext] = {}

    @contextlib.contextmanager
    def window(self, size: str) -> Iterator[Page]:
        """A window of a size, tapped where it is a phone's."""
        if size not in self.made:
            touched = size == "phone"
            self.made[size] = self.browser.new_context(viewport=SIZES[size], has_touch=touched)
        opened = self.made[size].new_page()
        yield opened
        opened.close()

    def close(self) -> None:
        """Forget all of it."""
        for context in self.made.values():
            context.close()


def new_device(browser):
    """A page of phone size that shares nothing with others."""
    opened = browser.new_context(viewport=PHONE).new_page()
    opened.taps = 0
    return opened


def open_start(page, server: Server) -> None:
    page.goto(f"{server.address}/at-the-aircraft")
    page.get_by_role("button", name="I just connected").wait_for(timeout=3 * WAIT_MS)
    settle(page)


def open_connection(page, address: str) -> None:
    """Open, or open anew, a connection by its address."""
    page.goto(address)
    page.locator(".pad-keys").wait_for(timeout=3 * WAIT_MS)
    settle(page)


def tap(page, target) -> None:
    target.click(timeout=WAIT_MS)
    page.taps += 1


def connect(page) -> None:
    tap(page, page.get_by_role("button", name="I just connected"))
    page.locator(".pad-keys").wait_for(timeout=WAIT_MS)
    settle(page)
    tap(page, page.get_by_role("combobox", name="Battery"))
    tap(page, page.get_by_role("option", name=SERIAL))
    page.get_by_text(f"Battery and supply: {SERIAL}").wait_for(timeout=WAIT_MS)
    settle(page)


def note(page, number: str) -> None:
    """Type a number on the pad, and note it."""
    for sign in number:
        name = "Decimal point" if sign == "." else sign
        page.get_by_role("button", name=name, exact=True).click(timeout=WAIT_MS)
    tap(page, page.get_by_role("button", name="Note", exact=True))


def wait_until_stored(page) -> None:
    page.wait_for_function(
        "() => !Object.keys(localStorage).some(key => key.startsWith('ground-power-readings/'))",
        timeout=3 * WAIT_MS,
    )
    settle(page)


def note_all(page, *values: str) -> None:
    for value in values:
        note(page, value)
        wait_until_stored(page)


def press(page, name: str) -> None:
    page.get_by_role("button", name=name).first.click(timeout=WAIT_MS)


def put_in_storage(page, *items: dict) -> None:
    """Entries as if pressed in this browser, for the connection shown."""
    page.evaluate(
        """items => {
          const id = new URL(location.href).searchParams.get('connection');
          const pressed = {at_ms: Date.now(), wall_ms: Date.now()};
          const entries = items.map(item => ({...pressed, ...item}));
          localStorage.setItem('ground-power-readings/' + id, JSON.stringify(entries));
        }""",
        list(items),
    )


def waiting(page) -> list[str]:
    """Kind and value of every entry in the browser's storage."""
    return page.evaluate(
        "() => Object.keys(localStorage).filter(key => key.startsWith('ground-power-readings/'))"
        ".flatMap(key => JSON.parse(localStorage[key]))"
        ".map(item => `${item.kind} ${item.value ?? item.text ?? ''}`.trim())"
    )


def is_on_top(page, selector: str) -> bool:
    """Whether the middle of what a selector finds is on the screen, with nothing over it."""
    found = page.locator(selector).first
    box = found.bounding_box()
    middle = [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2]
    return found.evaluate(
        """(e, [x, y]) => {
          const over = e.getRootNode().elementFromPoint(x, y);
          return over === e || e.contains(over);
        }""",
        middle,
    )


def scroll_to(page, px: float) -> None:
    page.evaluate(
        "px => { document.querySelector('[data-testid=stMain]').scrollTop = px }", float(px)
    )
    page.wait_for_timeout(700)


SAMPLES = {sample.key: sample for sample in load_scenario()[0]}


def begun_from_sample(store: Store, key: str, every: int = 4) -> InProgress:
    """A connection in progress as the readings of an invented sample would make it by now."""
    sample, readings = SAMPLES[key], read_readings(sample_readings_path(key))
    began = datetime.now(UTC) - timedelta(seconds=float(readings.elapsed_s[-1]) + 20.0)
    own = uuid4().hex
    add_fitted_battery(store, own, sample.battery, f"DEMO-{own}", date(2024, 1, 1))
    begin(store, own, began, serial=own, supply=Supply(rated_current_a=60.0), **_told(sample))
    for column in Quantity:
        values = getattr(readings, column)
        for k in range(0, 0 if values is None else len(readings), every):
            moment = began + timedelta(seconds=float(readings.elapsed_s[k]))
            store_note(store, own, uuid4().hex, column, float(values[k]), moment)
    return load(store, own)


def _told(sample: Sample) -> dict[str, object]:
    names = ("rest_voltage_v", "load_a", "ambient_c")
    return {name: value for name in names if (value := getattr(sample, name)) is not None}
