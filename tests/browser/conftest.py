"""The browser, the app it looks at, and the sizes of its window."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from tests import screenshots
from tests.browser.live_pages import Devices, Server, new_device, open_start, running_server

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if screenshots.chromium_path() is None:
        pytest.skip("no Chromium on this system")
    with screenshots.running_browser() as running:
        yield running


@pytest.fixture(scope="module")
def address(browser: Browser) -> Iterator[str]:
    """The app on an empty record, beside the demo record."""
    with screenshots.running_app() as running:
        yield running


@pytest.fixture(scope="module")
def running(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with running_server(tmp_path_factory.mktemp("record")) as server:
        yield server


@pytest.fixture
def server(running: Server) -> Server:
    """The app on a record of one battery, with no connection in progress."""
    running.clear()
    return running


@pytest.fixture
def page(server: Server, browser: Browser) -> Iterator[Page]:
    """The start at the aircraft on a device of its own."""
    opened = new_device(browser)
    open_start(opened, server)
    yield opened
    opened.context.close()


@pytest.fixture(scope="module")
def devices(browser: Browser) -> Iterator[Devices]:
    made = Devices(browser)
    yield made
    made.close()


@pytest.fixture
def desk(devices: Devices) -> Iterator[Page]:
    with devices.window("desktop") as opened:
        yield opened


@pytest.fixture
def phone(devices: Devices) -> Iterator[Page]:
    with devices.window("phone") as opened:
        yield opened
