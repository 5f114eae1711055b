"""The dashboard served as a user serves it, and a real browser to look at it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
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


@contextmanager
def served(store: Path, folder: Path | None = None, port: int = 8700) -> Iterator[str]:
    """`pourstats dashboard` on loopback; its address."""
    import json

    process = subprocess.Popen(
        [sys.executable, "-m", "pourstats.cli", "dashboard", "--no-browser", "--json",
         "--port", str(port), "--store", str(store)],
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
        _wait(address)
        yield address
    finally:
        process.terminate()
        process.wait(timeout=20)


def _wait(address: str) -> None:
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


def settled(page: Any) -> None:
    """Until the page has its head and runs no more."""
    page.wait_for_selector("h2", timeout=30_000)
    page.wait_for_selector('[data-testid="stApp"][data-test-script-state="notRunning"]',
                           timeout=30_000)  # fmt: skip
    page.wait_for_timeout(150)
