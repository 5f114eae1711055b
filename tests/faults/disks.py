"""Disks that are full, folders that may not be written to, power that goes: said, and nothing lost.

    python tests/faults/disks.py --moments 200 [--kinds full limit cut] [--deeds load …] [--seed 1]

Kinds: ``full``, a file system of its own with a random rest of room (Linux, as root); ``limit``, no
file may grow beyond a random size (where there is RLIMIT_FSIZE); ``cut``, the deed is stopped at a
random moment and its files are copied as they lie, as after a power cut. A deed that finds no room
must end with a plain message; what was stored stays; with room made it ends as undisturbed. A copy of
a cut must open and hold all that was acknowledged before.
"""

from __future__ import annotations

import argparse
import contextlib
import math
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.faults import kills, scenes

FULL_WORDS = ("disk is full", "No space left", "File too large")
DEEDS = ("load", "first_load", "taps", "backup", "restore", "upgrade")


# The deed in a child that tells how it ended -------------------------------------------------------


def _limited(name: str, folder: str, heard: Any, most_bytes: int | None) -> None:
    if most_bytes is not None:
        import resource

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))

    try:
        scenes.DEEDS[name].do(Path(folder), lambda text: heard.send(("said", text)))
    except scenes.Refusal as error:
        heard.send(("refused", str(error)))
    except BaseException as error:
        heard.send(("crashed", f"{type(error).__name__}: {error}"))
    else:
        heard.send(("done", ""))


def attempted(
    context: Any, name: str, folder: Path, most_bytes: int | None
) -> tuple[str, str, list[str]]:
    """How the deed ended (done, refused or crashed), in which words, and what it acknowledged."""
    here, there = context.Pipe(duplex=False)
    child = context.Process(target=_limited, args=(name, str(folder), there, most_bytes))
    child.start()
    there.close()
    try:
        acknowledged: list[str] = []
        while True:
            assert here.poll(120), "the deed hangs"
            how, words = here.recv()
            if how != "said":
                return how, words, acknowledged
            acknowledged.append(words)
    finally:
        child.join(20)
        here.close()


# Rooms --------------------------------------------------------------------------------------------

Room = tuple[Path, int | None, Callable[[], None]]


@contextlib.contextmanager
def full(laid: kills.Stage, chance: random.Random) -> Iterator[Room]:
    """The laid-out folder on a file system with a random rest of room, and how more is made."""
    template = laid.place / "template"
    used = sum(path.stat().st_size for path in template.rglob("*") if path.is_file())
    place = laid.place / "small"
    place.mkdir(exist_ok=True)
    size = used + 50_000 + _little(chance)
    _mounted(["-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(place)])
    try:
        folder = scenes.copied(template, place / "now")
        yield folder, None, lambda: _mounted(["-o", "remount,size=1g", str(place)])
    finally:
        subprocess.run(["umount", str(place)], check=True)


def _mounted(words: list[str]) -> None:
    subprocess.run(["mount", *words], check=True, capture_output=True)


@contextlib.contextmanager
def limit(laid: kills.Stage, chance: random.Random) -> Iterator[Room]:
    """The folder where no file may grow beyond a random size; without the limit there is room."""
    folder = scenes.copied(laid.place / "template", laid.place / "now")
    yield folder, _little(chance), lambda: None


def _little(chance: random.Random) -> int:
    """Bytes of room, from next to none to more than any deed needs: small ones as often."""
    return int(math.exp(chance.uniform(math.log(500), math.log(10_000_000))))


ROOMS = {"full": full, "limit": limit}


def possible(kind: str) -> str:
    """Why this kind can't be tried here; empty if it can."""
    if kind == "limit":
        return "" if hasattr(signal, "SIGXFSZ") else "this system limits no file's size"
    if kind == "cut":
        return "" if hasattr(signal, "SIGSTOP") else "this system stops no process"
    if sys.platform != "linux" or os.geteuid() != 0 or shutil.which("mount") is None:
        return "a file system of its own needs Linux and root"
    probe = Path("/tmp") / f"room-{os.getpid()}"
    probe.mkdir()
    try:
        words = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(probe)]
        if subprocess.run(words, capture_output=True, check=False).returncode:
            return "mounting is not allowed here"
        subprocess.run(["umount", str(probe)], check=True)
        return ""
    finally:
        probe.rmdir()


def without_room(kind: str, name: str, moments: int, seed: int) -> kills.Tally:
    """The deed with too little room, then with enough. Under way: it was refused."""
    tally, chance = kills.Tally(name), random.Random(f"{kind}{name}{seed}")
    with kills.stage(name) as laid:
        for _ in range(moments):
            with ROOMS[kind](laid, chance) as (folder, most_bytes, make_room):
                how, words, acknowledged = attempted(laid.context, name, folder, most_bytes)
                assert how != "crashed", words
                if how == "refused":
                    assert any(w in words for w in FULL_WORDS), f"says not why: {words}"
                make_room()
                if how == "done":
                    ended = scenes.contents(folder / scenes.STORE)
                    assert not (told := scenes.difference(ended, laid.after)), told
                (folder / scenes.SAID).write_text("".join(f"{line}\n" for line in acknowledged))
                laid.look(folder)
                tally.moments += 1
                tally.under_way += how == "refused"
    return tally


# Power --------------------------------------------------------------------------------------------


def power_cut(name: str, moments: int, seed: int) -> kills.Tally:
    """Copies of the files as they lie at random moments; the deed itself goes on to its end."""
    tally, chance = kills.Tally(name), random.Random(f"cut{name}{seed}")
    with kills.stage(name) as laid:
        while tally.moments < moments:
            folder = scenes.copied(laid.place / "template", laid.place / "now")
            child, heard = scenes.start(laid.context, laid.deed, folder)
            for _ in range(3):
                time.sleep(chance.uniform(0, laid.takes_s / 2))
                if not child.is_alive():
                    break
                os.kill(child.pid, signal.SIGSTOP)
                copy = scenes.copied(folder, laid.place / "cut")
                os.kill(child.pid, signal.SIGCONT)
                tally.under_way += 1
                tally.moments += 1
                laid.look(copy)
            child.join(120)
            assert child.exitcode == 0, child.exitcode
            heard.close()
            laid.look(folder)
    return tally


def main() -> None:
    """Print a line a kind and deed; ends with 1 at the first loss."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moments", type=int, default=200)
    kinds = ["full", "limit", "cut"]
    parser.add_argument("--kinds", nargs="+", choices=kinds, default=kinds)
    parser.add_argument("--deeds", nargs="+", choices=DEEDS, default=list(DEEDS))
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    for kind in given.kinds:
        if why := possible(kind):
            print(f"{kind}: skipped, {why}")
            continue
        for name in given.deeds:
            tried = power_cut if kind == "cut" else None
            tally = (
                tried(name, given.moments, given.seed)
                if tried
                else without_room(kind, name, given.moments, given.seed)
            )
            print(f"{kind:<6} {tally}", flush=True)


if __name__ == "__main__":
    main()
