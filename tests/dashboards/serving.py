"""The dashboard served as a user serves it, and a real browser to look at it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 800}
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--no-first-run"]  # fmt: skip


def chromium() -> str | None:
    """The path of a Chromium that is installed, or None."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


def rows(store: Any, table: str) -> Any:
    """A table of the store as a frame."""
    from pourstats.store import reading

    with store.read() as connection:
        return reading.frame(connection, table)


@contextmanager
def served(store: Path, folder: Path | None = None) -> Iterator[str]:
    """`pourstats dashboard` on a free port of loopback; its address."""
    with server(store, folder) as (address, _):
        yield address


@contextmanager
def server(store: Path, folder: Path | None = None) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """The same, with the process beside the address."""
    import json

    process = subprocess.Popen(
        [sys.executable, "-m", "pourstats.cli", "dashboard", "--no-browser", "--json",
         "--port", str(free_port()), "--store", str(store)],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, cwd=folder or ROOT, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    try:
        assert process.stdout is not None
        told = ""
        while not told.rstrip().endswith("}"):
            line = process.stdout.readline()
            assert line, "the dashboard ended before it said where it listens"
            told += line
        address = json.loads(told)["address"]
        wait(address)
        yield address, process
    finally:
        process.terminate()
        process.wait(timeout=20)


def free_port() -> int:
    """A port that the system has free; the dashboard takes the next one if it is gone by then."""
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait(address: str) -> None:
    import time
    import urllib.request

    deadline = time.monotonic() + 40
    while True:
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):
                return
        except OSError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.1)


@contextmanager
def browser() -> Iterator[Any]:
    """A headless Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=chromium(), args=FLAGS)
        try:
            yield found
        finally:
            found.close()


def opened(found: Any, size: dict[str, int], **more: Any) -> tuple[Any, list[str]]:
    """A page of that size, and the requests that it makes to anything but this machine."""
    context = found.new_context(
        viewport=size, timezone_id="America/Chicago", has_touch=size["width"] < 500,
        **{"locale": "en-US", **more},
    )  # fmt: skip
    page = context.new_page()
    outside: list[str] = []

    def note(request: Any) -> None:
        if not request.url.startswith(("http://127.0.0.1", "ws://127.0.0.1", "data:", "blob:")):
            outside.append(request.url)

    page.on("request", note)
    return page, outside


# Streamlit says in the page's root whether its script runs; nothing may be half drawn either.
STILL_S = 0.15
_STILL = """() => {
  const app = document.querySelector('[data-testid="stApp"]');
  const still = app && app.dataset.testScriptState === 'notRunning' && document.querySelector('h2')
    && !document.querySelector('[data-stale="true"], [data-testid="stSkeleton"]');
  if (!still) window.stillSince = undefined;
  else if (window.stillSince === undefined) window.stillSince = performance.now();
  return still && performance.now() - window.stillSince >= 150;
}""".replace("150", f"{STILL_S * 1000:.0f}")


def settled(page: Any) -> None:
    """Until the page has its head, and has run and redrawn nothing for a moment."""
    page.evaluate("window.stillSince = undefined")
    page.wait_for_function(_STILL, polling=50, timeout=60_000)


def rewritten(page: Any, column: int, row: int, text: str) -> None:
    """Write into a cell of the page's last editable table, by its keyboard path.

    The table is a canvas; what it shows stands beside it in rows and cells for screen readers,
    which take focus and clicks. Each step waits for what it should lead to, and is begun anew
    if that doesn't come.
    """
    from playwright.sync_api import Error

    cell = page.locator(f'[data-testid="stDataFrame"] [data-testid="glide-cell-{column}-{row}"]')
    box = page.locator('[data-testid="portal"] .gdg-input')
    for _ in range(8):
        try:
            until(page, lambda: _chosen(cell.last))
            was = cell.last.text_content(timeout=5000)
            cell.last.evaluate("each => each.click()")
            box.wait_for(timeout=5000)
            if box.input_value() != was:  # another cell's
                page.keyboard.press("Escape")
                continue
            box.fill(text)
            box.press("Enter")
            until(page, lambda: cell.last.text_content(timeout=1000) == text)
        except Error:
            page.keyboard.press("Escape")
            continue
        settled(page)
        return
    raise AssertionError(f"the cell in column {column}, row {row} never took {text!r}")


def _chosen(cell: Any) -> bool:
    if cell.get_attribute("aria-selected", timeout=5000) != "true":
        cell.evaluate("each => { each.blur(); each.focus(); }")
        return False
    return True


def until(page: Any, true: Callable[[], bool], seconds: float = 8) -> None:
    """Poll until that is so. Raises playwright's TimeoutError."""
    import time

    from playwright.sync_api import TimeoutError as TooLong

    deadline = time.monotonic() + seconds
    while not true():
        if time.monotonic() > deadline:
            raise TooLong("it never came to be")
        page.wait_for_timeout(50)
