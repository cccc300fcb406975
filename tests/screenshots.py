"""Pictures of the pages: ``python -m tests.screenshots [--to FOLDER] [SAMPLE ...]``.

Without a folder it writes ``.readme/page.png``, the picture the README shows. With one it writes
every page at desktop and phone width, whole length, empty and for each chosen sample. The app is
started on a free port; the browser is the Chromium of the system.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from batterymodel.samples.connections import load_scenario
from batterymodel.store.engine import URL_VARIABLE

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

CHECKOUT = Path(__file__).resolve().parent.parent
README_PICTURE = CHECKOUT / ".readme" / "page.png"
README_SAMPLE, README_HEIGHT = "healthy-top-off", 1440
WIDTHS = {"desktop": 1280, "phone": 360}
TITLES = (
    "Battery record",
    "Ground power",
    "How right has it been here",
    "Capacity check",
    "Limits card",
    "Findings sheet",
    "In plain words",
)
PATHS = {title: title.lower().replace(" ", "-") for title in (*TITLES, "At the aircraft", "More")}
PATHS |= {"Batteries": "", "Readings file": "after-connection"}
PATHS |= {"How right has it been here": "how-right"}
"""Path of each page by its title."""

DEMO = "?record=demo"
SAMPLES = ("healthy-top-off", "supply-at-its-limit", "rising-current-nicd", "no-card-no-load")
CHROMIUM_ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WAIT_MS = 20_000
BEGIN_MS, DRAW_MS = 150, 400
"""What a press needs to reach the script, and what the script sent to be drawn [ms]."""


def chromium_path() -> str | None:
    """Where the system's Chromium is; None if there is none."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


@contextlib.contextmanager
def running_app() -> Iterator[str]:
    """The app on a free port of this machine; yields its address."""
    port = _free_port()
    command = [sys.executable, "-m", "streamlit", "run", "app.py", "--server.headless=true"]
    command += [f"--server.port={port}", "--server.address=127.0.0.1"]
    command += ["--server.fileWatcherType=none"]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    folder = tempfile.TemporaryDirectory()
    own = {**os.environ, URL_VARIABLE: str(Path(folder.name) / "record.sqlite")}
    server = subprocess.Popen(command, cwd=CHECKOUT, env=own, **quiet)
    try:
        address = f"http://127.0.0.1:{port}"
        _wait_until_up(f"{address}/_stcore/health", server)
        yield address
    finally:
        server.kill()
        server.wait(timeout=10)
        folder.cleanup()


@contextlib.contextmanager
def running_browser() -> Iterator[Browser]:
    """A headless browser."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium_path(), args=CHROMIUM_ARGUMENTS
        )
        try:
            yield browser
        finally:
            browser.close()


def open_page(browser: Browser, address: str, width: int, height: int = 850) -> Page:
    """The page of readings from a file in a window of a given size, once it is there."""
    page = browser.new_page(viewport={"width": width, "height": height})
    turn_to(page, address, "Readings file")
    return page


def turn_to(page: Page, address: str, title: str, query: str = "") -> None:
    """Open a page by its address, and wait until it is there."""
    page.goto(f"{address}/{PATHS[title]}{query}")
    page.get_by_role("heading", name=title, exact=True).wait_for(timeout=3 * WAIT_MS)
    settle(page)


def choose_sample(page: Page, key: str) -> None:
    """Pick a sample connection and wait for its answer."""
    titles = {sample.key: sample.title for sample in load_scenario()[0]}
    page.get_by_role("combobox", name="Invented sample connection").click()
    page.get_by_role("option", name=titles[key], exact=True).click()
    page.locator(".jc-word").wait_for(timeout=WAIT_MS)
    page.get_by_role("heading", name="Cautions").wait_for(timeout=WAIT_MS)
    settle(page)


def settle(page: Page) -> None:
    """Wait until the script has run and charts have been drawn."""
    page.wait_for_timeout(BEGIN_MS)
    page.wait_for_function(
        "() => document.querySelector('[data-test-script-state=notRunning]')"
        " && !document.querySelector('[data-testid=stStatusWidget]')"
        " && !document.querySelector('[data-testid=stSpinner]')"
        " && !document.querySelector('[data-stale=true]')",
        timeout=WAIT_MS,
    )
    page.wait_for_timeout(DRAW_MS)


def show_all(page: Page) -> None:
    """Make the window as high as the page, so that a picture holds all of it."""
    width = page.viewport_size["width"] if page.viewport_size else WIDTHS["desktop"]
    height = page.evaluate("document.querySelector('[data-testid=stMain]').scrollHeight")
    page.set_viewport_size({"width": width, "height": int(height) + 1})
    page.wait_for_timeout(500)


def take_readme_picture(browser: Browser, address: str, to: Path = README_PICTURE) -> Path:
    """The picture the README shows: the answer for a healthy battery."""
    page = open_page(browser, address, WIDTHS["desktop"], README_HEIGHT)
    choose_sample(page, README_SAMPLE)
    page.mouse.move(0, 0)
    to.parent.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=to)
    page.close()
    return to


def take_page(browser: Browser, address: str, title: str, width: int, to: Path) -> Path:
    """One page of the navigation in whole length, filled so that it has something to show."""
    page = browser.new_page(viewport={"width": width, "height": 850})
    turn_to(page, address, title, DEMO)
    if title == "Findings sheet":
        page.get_by_text("One of the record").click()
        page.locator(".jc-word").wait_for(timeout=3 * WAIT_MS)
    if title == "Ground power":
        page.locator(".jc-word").wait_for(timeout=3 * WAIT_MS)
    elif title in TITLES and title not in ("In plain words", "How right has it been here"):
        page.get_by_role("combobox", name="Battery", exact=True).wait_for(timeout=3 * WAIT_MS)
    settle(page)
    if title == "Battery record":
        page.get_by_role("heading", name="On record").wait_for(timeout=3 * WAIT_MS)
        settle(page)
    if title == "Capacity check":
        page.get_by_label("Discharge current (A)").fill("40")
        page.get_by_label("Minutes until the end").fill("52")
        page.get_by_label("Minutes until the end").press("Enter")
        page.locator(".jc-word").wait_for(timeout=WAIT_MS)
        settle(page)
    show_all(page)
    page.screenshot(path=to)
    page.close()
    return to


def take_all(browser: Browser, address: str, folder: Path, samples: list[str]) -> list[Path]:
    """Every width, empty and with each sample, in whole length."""
    folder.mkdir(parents=True, exist_ok=True)
    taken = []
    for name, width in WIDTHS.items():
        for key in (None, *samples):
            page = open_page(browser, address, width)
            if key is not None:
                choose_sample(page, key)
            show_all(page)
            taken.append(folder / f"after-connection-{key or 'empty'}-{name}.png")
            page.screenshot(path=taken[-1])
            page.close()
        for title in ("Batteries", "At the aircraft", "More", *TITLES):
            to = folder / f"{title.lower().replace(' ', '-')}-{name}.png"
            taken.append(take_page(browser, address, title, width, to))
    return taken


def main(arguments: list[str] | None = None) -> int:
    """Command line."""
    parser = argparse.ArgumentParser(description="Take pictures of the pages.")
    parser.add_argument("--to", type=Path, help="folder for pictures of every page and width")
    parser.add_argument("samples", nargs="*", metavar="SAMPLE", help="sample connections to show")
    options = parser.parse_args(arguments)
    with running_app() as address, running_browser() as browser:
        if options.to is None:
            taken = [take_readme_picture(browser, address)]
        else:
            taken = take_all(browser, address, options.to, options.samples or list(SAMPLES))
    print("\n".join(str(path) for path in taken))
    return 0


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def _wait_until_up(address: str, server: subprocess.Popen[bytes], seconds: float = 40.0) -> None:
    until = time.monotonic() + seconds
    while time.monotonic() < until and server.poll() is None:
        with contextlib.suppress(OSError), urllib.request.urlopen(address, timeout=2):
            return
        time.sleep(0.2)
    raise RuntimeError("the app did not start; run 'python -m streamlit run app.py' to see why")


if __name__ == "__main__":
    raise SystemExit(main())
