"""Kill the dashboard while taps arrive: every tap with a tick is stored, once, and the pour goes on.

    python tests/faults/kills.py --deeds dashboard [--moments 200] [--seed 1]

A real `pourstats dashboard` and a real browser, a phone, that taps one pour after another. The server
gets SIGKILL after a random part of the time that a pour's taps take undisturbed. Then: the store
opens, no stored row is gone or there twice, every tap whose tick the phone showed is stored, and at
most one more. A server started anew takes the taps that lack, which make the pour whole.
"""

from __future__ import annotations

import datetime as dt
import random
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "dashboards"))

from serving import PHONE, browser, chromium, opened, server, settled

sys.path.pop(0)

from pourstats.store.database import Store
from pourstats.store.tapping import Tap, tap
from tests.faults import kills, scenes

__all__ = ["at_random", "browser", "chromium"]
EVENTS = ("first_concrete", "strike_off_done", "bull_float_done", "machine_on", "last_pass_off",
          "saw_done", "gone")  # fmt: skip


def at_random(found: Any, moments: int, seed: int) -> kills.Tally:
    """Kill the server at that many random moments. AssertionError names what was lost."""
    tally, chance = kills.Tally("dashboard"), random.Random(f"dashboard{seed}")
    with tempfile.TemporaryDirectory() as made:
        store = Store(Path(made) / scenes.STORE)
        scenes.write_log(Path(made) / scenes.LOG)
        scenes.load(store, [Path(made) / scenes.LOG])
        takes_s, moment, pour = 0.0, 0.0, begun(store, 0)
        stored: list[str] = []
        for number in range(1, moments + 2):
            try:
                with server(store.path) as (address, process):
                    # What the killed server left open goes on, or the first pour, undisturbed.
                    with phone(found, address, pour) as page:
                        began = time.monotonic()
                        tapped(page, process, stored)
                        takes_s = takes_s or time.monotonic() - began
                    whole(store, pour)
                    if number > moments:
                        return tally
                    pour, moment = begun(store, number), chance.uniform(0, takes_s)
                    before = scenes.contents(store.path)
                    with phone(found, address, pour) as page:
                        threading.Timer(moment, process.kill).start()
                        shown = tapped(page, process, [])
                        process.wait(takes_s + 20)
                stored = looked_at(store, pour, before, shown)
            except Exception as error:
                raise AssertionError(f"{pour}, killed after {moment:.3f} s: {error}") from error
            tally.moments += 1
            tally.under_way += len(stored) < len(EVENTS)
            if tally.moments % 20 == 0:
                print(tally, file=sys.stderr, flush=True)
    raise AssertionError("unreachable")


def begun(store: Store, number: int) -> str:
    """A pour of today that the crew has described."""
    pour, today = f"K{number}", dt.date.today()
    six = dt.datetime.combine(today, dt.time(0, 1))
    kind = f"date={today};site=Oak;slab_type=garage;area=600;thickness=4"
    tap(store, pour, Tap("describe", kind, six, f"{pour}-a"))
    tap(store, pour, Tap("hands", "4", six, f"{pour}-b"))
    return pour


def looked_at(store: Store, pour: str, before: dict[str, list[Any]], shown: list[str]) -> list[str]:
    """The taps of a pour that are stored, after all that must hold of a killed server was seen."""
    now = scenes.contents(store.path)
    for name, rows in scenes.born(before).items():
        assert not rows - scenes.born(now)[name], f"{name}: stored rows are gone"
    assert not scenes.twice(store.path)
    stored = logged(store, pour)
    lost = [event for event in shown if event not in stored]
    assert not lost, f"shown with a tick, and not stored: {lost}"
    assert len(stored) <= len(shown) + 1, f"tapped {shown}, stored {stored}"
    return stored


@contextmanager
def phone(found: Any, address: str, pour: str) -> Iterator[Any]:
    """A phone's page of a pour, closed in the end."""
    page, _ = opened(found, PHONE)
    page.goto(f"{address}/log?pour={pour}")
    settled(page)
    yield page
    page.context.close()


def tapped(page: Any, process: Any, stored: list[str]) -> list[str]:
    """Tap what isn't stored yet, one after another, until the server is gone; the taps with a tick."""
    from playwright.sync_api import Error

    shown: list[str] = []
    for event in EVENTS:
        button, tick = (page.locator(f".st-key-{key} button") for key in (event, f"undo-{event}"))
        try:
            if event not in stored:
                # While the page is redrawn there are two, of which one does nothing.
                any(button.count() for _ in ticks(page, process))
                button.evaluate_all("each => each.forEach(one => one.click())")
            for _ in ticks(page, process):
                if tick.is_visible():
                    shown.append(event)
                    break
            else:
                return shown
        except Error:
            assert process.poll() is not None, f"{event} can't be tapped, and the server runs"
            return shown
    return shown


def ticks(page: Any, process: Any) -> Iterator[None]:
    """Moments to look for a tick; they end a little after the server."""
    deadline, left = time.monotonic() + 30, 5
    while left:
        if time.monotonic() > deadline:
            words = page.locator("body").inner_text()
            raise AssertionError(
                f"no tick in half a minute, the server runs, and the page: {words}"
            )
        yield
        time.sleep(0.02)
        left -= process.poll() is not None


def logged(store: Store, pour: str) -> list[str]:
    """The events of a pour that are stored and not undone, each once. AssertionError for twice."""
    with store.read() as connection:
        rows = connection.execute(
            "SELECT event FROM stamps WHERE pour_id = ? AND undone = 'no'", [pour]
        ).fetchall()
    events = [row[0] for row in rows if row[0] in EVENTS]
    assert len(events) == len(set(events)), f"twice: {events}"
    return events


def whole(store: Store, pour: str) -> None:
    """AssertionError unless every tap and the pour itself are in the record."""
    assert sorted(logged(store, pour)) == sorted(EVENTS), logged(store, pour)
    with store.read() as connection:
        rows = connection.execute(
            "SELECT crew_out IS NOT NULL FROM pours WHERE pour_id = ?", [pour]
        ).fetchall()
    assert rows == [(True,)], f"{pour} is not in the record: {rows}"
