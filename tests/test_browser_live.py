"""The page at the aircraft in a real browser: few taps, and nothing lost whatever breaks."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from batterymodel.store import open_store
from batterymodel.store.acts import Quantity
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.in_progress import connections_in_progress
from batterymodel.store.records import Connection
from tests import screenshots
from tests.screenshots import CHECKOUT, WAIT_MS, settle
from tests.store.test_in_progress import with_battery

pytestmark = pytest.mark.browser
playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
if shutil.which("chromium") is None and shutil.which("chromium-browser") is None:
    pytest.skip("no Chromium on this system", allow_module_level=True)

PHONE = {"width": 360, "height": 740}
MOST_TAPS = 12
"""Taps beyond the digits, for six readings with the bus load (own choice)."""


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

    def readings(self) -> list[float]:
        """Currents of the one connection in progress, in order."""
        [connection] = connections_in_progress(open_store(self.record))
        readings = (reading for _, reading in connection.readings)
        return [r.value for r in readings if r.quantity is Quantity.SUPPLY_CURRENT]


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    with_battery(open_store(tmp_path / "record.sqlite"))
    running = Server(tmp_path)
    yield running
    running.kill()


@pytest.fixture
def page(server: Server) -> Iterator:
    with screenshots.running_browser() as browser:
        opened = browser.new_page(viewport=PHONE)
        opened.taps = 0
        opened.goto(f"{server.address}/at-the-aircraft")
        opened.get_by_role("button", name="I just connected").wait_for(timeout=3 * WAIT_MS)
        settle(opened)
        yield opened


def tap(page, target) -> None:
    target.click(timeout=WAIT_MS)
    page.taps += 1


def connect(page) -> None:
    tap(page, page.get_by_role("button", name="I just connected"))
    page.locator(".pad-keys").wait_for(timeout=WAIT_MS)
    settle(page)
    tap(page, page.get_by_role("combobox", name="Battery"))
    tap(page, page.get_by_role("option").first)
    page.get_by_text("Battery and supply: B").wait_for(timeout=WAIT_MS)
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


def test_six_readings_with_the_load_take_few_taps_and_keep_the_outcome_in_sight(page) -> None:
    connect(page)
    tap(page, page.get_by_role("button", name="Skip"))
    page.get_by_text("battery isolated").wait_for(timeout=WAIT_MS)
    tap(page, page.get_by_role("button", name="Answer"))
    note(page, "8")
    wait_until_stored(page)
    for k, current in enumerate(("13.4", "13.1", "12.9", "12.6", "12.4", "12.2")):
        note(page, current)
        wait_until_stored(page)
        if k >= 2:
            word = page.locator(".jc-pin-word")
            word.wait_for(timeout=WAIT_MS)
            seen = word.bounding_box()
            assert 0 <= seen["y"] <= PHONE["height"] - seen["height"]
    assert page.taps <= MOST_TAPS


def test_a_reload_after_every_reading_loses_none_and_doubles_none(page, server) -> None:
    connect(page)
    sent = [13.4, 13.1, 12.9, 12.6]
    for current in sent:
        note(page, f"{current}")
        page.reload()
        page.locator(".pad-keys").wait_for(timeout=3 * WAIT_MS)
        wait_until_stored(page)
    assert server.readings() == sent


def test_readings_noted_while_the_server_is_dead_arrive_when_it_is_back(page, server) -> None:
    connect(page)
    note(page, "13.4")
    wait_until_stored(page)
    server.kill()
    for current in ("13.1", "12.9"):
        note(page, current)
    page.get_by_text("2 not yet stored").wait_for(timeout=WAIT_MS)
    assert server.readings() == [13.4]
    server.start()
    page.reload()
    page.locator(".pad-keys").wait_for(timeout=3 * WAIT_MS)
    wait_until_stored(page)
    assert server.readings() == [13.4, 13.1, 12.9]


def test_a_lost_network_holds_readings_back_until_it_returns(page, server) -> None:
    connect(page)
    page.context.set_offline(True)
    note(page, "13.4")
    page.context.set_offline(False)
    wait_until_stored(page)
    assert server.readings() == [13.4]


def test_an_undone_reading_does_not_count(page, server) -> None:
    connect(page)
    for current in ("13.4", "13.1"):
        note(page, current)
        wait_until_stored(page)
    page.get_by_role("button", name="Undo 13.1 A").click()
    wait_until_stored(page)
    assert server.readings() == [13.4]


def test_ten_times_the_last_reading_is_asked_about(page, server) -> None:
    connect(page)
    note(page, "13.4")
    wait_until_stored(page)
    note(page, "131")
    page.get_by_text("131 A? Did you mean 13.1 A?").wait_for(timeout=WAIT_MS)
    page.get_by_role("button", name="13.1 A", exact=True).click()
    wait_until_stored(page)
    assert server.readings() == [13.4, 13.1]


def test_a_kept_connection_is_said_to_be_in_the_record_and_takes_no_more(page, server) -> None:
    connect(page)
    for current in ("13.4", "13.1", "12.9"):
        note(page, current)
        wait_until_stored(page)
    page.get_by_role("button", name="Keep in the record").click()
    page.get_by_text("is in the record of B").wait_for(timeout=WAIT_MS)
    assert not page.locator(".pad-keys").is_visible()
    store = open_store(server.record)
    [kept] = store.entries(Connection)
    assert store.file(kept.record.readings_sha256).count(b"\n") == 4
    assert connections_in_progress(store) == []


def test_a_connection_left_is_taken_up_again(page, server) -> None:
    connect(page)
    note(page, "13.4")
    wait_until_stored(page)
    page.get_by_role("button", name="Leave it unfinished").click()
    page.get_by_role("button", name="Yes, leave it").click()
    page.get_by_role("button", name="Take it up again").click()
    page.locator(".pad-keys").wait_for(timeout=WAIT_MS)
    assert server.readings() == [13.4]


def test_a_connection_put_aside_is_offered_again(page, server) -> None:
    connect(page)
    note(page, "13.4")
    wait_until_stored(page)
    page.get_by_role("button", name="Put aside").click()
    again = page.get_by_role("button", name="Go on with")
    again.wait_for(timeout=WAIT_MS)
    again.click()
    page.get_by_text("13.4 A").wait_for(timeout=WAIT_MS)
    assert server.readings() == [13.4]
