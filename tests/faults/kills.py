"""Kill a deed at many moments: nothing stored is lost, nothing doubled, and it can be done again.

    python tests/faults/kills.py --moments 200 [--deeds load taps …] [--seed 1]
    python tests/faults/kills.py --lines [--deeds restore …] [--every 1]

Deeds: a load over a stored season, a first load, taps as the pages store them, backup, restore, and
the upgrade of a store that an earlier version made; and the dashboard with a phone in a browser that
taps (pages.py; ten seconds a moment). Each is done in a process of its own, which gets SIGKILL after
a random part of the time that it takes undisturbed. With --lines it is killed at every line of the
store's own files that it runs, instead. After each kill: the store opens, no stored row is gone, none
is there twice; and the deed done again ends in the contents of an undisturbed run.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.util
import random
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.faults import scenes

DASHBOARD = "dashboard"


@dataclass
class Tally:
    """What came of it: moments tried, of which the deed was still under way."""

    deed: str
    moments: int = 0
    under_way: int = 0

    def __str__(self) -> str:
        return (f"{self.deed:<11} {self.moments:>5} moments, {self.under_way:>5} of them before it"
                " was done; rows lost 0, twice 0, other ends 0")  # fmt: skip


@dataclass
class Stage:
    """A deed laid out: its folder to copy, what was stored before, how it ends undisturbed."""

    deed: scenes.Deed
    context: Any
    place: Path
    before: dict[str, list[Any]]
    after: dict[str, list[Any]]
    takes_s: float

    def disturbed(self, moment_s: float | None, line: int | None = None) -> bool:
        """Kill the deed then, and look; whether it was under way."""
        folder = scenes.copied(self.place / "template", self.place / "now")
        child, heard = scenes.start(self.context, self.deed, folder, line)
        if moment_s is not None:
            child.join(moment_s)
            child.kill()
        child.join(60)
        assert child.exitcode is not None, "the child hangs"
        assert moment_s is not None or child.exitcode in (0, -9, 15), child.exitcode
        heard.close()
        killed = child.exitcode != 0
        child.close()
        self.look(folder)
        return killed

    def look(self, folder: Path) -> None:
        self.deed.holds(folder, self.before, scenes.said(folder))
        with contextlib.suppress(scenes.Refusal):
            assert not scenes.twice(folder / scenes.STORE)
        self.deed.do(folder, lambda _: None)
        ended = scenes.contents(folder / scenes.STORE)
        assert not (told := scenes.difference(ended, self.after)), told
        assert not scenes.twice(folder / scenes.STORE)


@contextlib.contextmanager
def stage(name: str) -> Iterator[Stage]:
    """Lay a deed out in a folder of its own, and do it once undisturbed."""
    deed, context = scenes.DEEDS[name], scenes.processes()
    with tempfile.TemporaryDirectory() as made:
        place = Path(made)
        (place / "template").mkdir()
        before = scenes.lay_out(deed, place / "template")
        times = []
        for _ in range(2):
            folder = scenes.copied(place / "template", place / "now")
            child, heard = scenes.start(context, deed, folder)
            began = time.monotonic()
            heard.recv()
            times.append(time.monotonic() - began)
            child.join()
            assert child.exitcode == 0
        after = scenes.contents(folder / scenes.STORE)
        yield Stage(deed, context, place, before, after, min(times))


def at_random(name: str, moments: int, seed: int) -> Tally:
    """Kill a deed at that many random moments. AssertionError names what was lost."""
    tally, chance = Tally(name), random.Random(f"{name}{seed}")
    with stage(name) as laid:
        for _ in range(moments):
            moment = chance.uniform(0, laid.takes_s)
            try:
                tally.under_way += laid.disturbed(moment)
            except Exception as error:
                raise AssertionError(f"{name}, killed after {moment:.4f} s: {error}") from error
            tally.moments += 1
    return tally


def at_lines(name: str, every: int = 1, most: int = 100_000, seed: int = 1) -> Tally:
    """Kill a deed at every ``every``-th line of its files that it runs, until it runs through."""
    tally = Tally(name)
    with stage(name) as laid:
        line = 1 + random.Random(seed).randrange(every)
        while tally.moments < most:
            try:
                killed = laid.disturbed(None, line)
            except Exception as error:
                raise AssertionError(f"{name}, killed at line {line}: {error}") from error
            if not killed:
                break
            tally.moments += 1
            tally.under_way += 1
            line += every
    return tally


def the_dashboard(moments: int, seed: int) -> Tally | str:
    """The same of a real dashboard, or why it isn't tried."""
    from tests.faults import pages

    if pages.chromium() is None or importlib.util.find_spec("playwright") is None:
        return f"{DASHBOARD}: skipped, it takes Chromium and the dev extra"
    with pages.browser() as found:
        return pages.at_random(found, moments, seed)


def main() -> None:
    """Print a line a deed; ends with 1 at the first loss."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moments", type=int, default=200)
    parser.add_argument(
        "--deeds",
        nargs="+",
        choices=[*scenes.DEEDS, DASHBOARD],
        default=[*scenes.DEEDS, DASHBOARD],
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--lines", action="store_true", help="every line, not random moments")
    parser.add_argument("--every", type=int, default=1, help="with --lines: every so many lines")
    given = parser.parse_args()
    for name in given.deeds:
        began = time.monotonic()
        if name == DASHBOARD:
            if not given.lines:
                print(the_dashboard(given.moments, given.seed), flush=True)
            continue
        tally = (
            at_lines(name, given.every, seed=given.seed)
            if given.lines
            else at_random(name, given.moments, given.seed)
        )
        print(f"{tally} ({time.monotonic() - began:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
