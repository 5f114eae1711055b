"""Many at one store at once: all finish, or wait and say so; nothing is lost; the time is bounded.

    python tests/faults/crowd.py [--phones 10] [--taps 10] [--rounds 5]

Each round: two loads of different logs, a load of a third, ``--phones`` processes that tap a whole
pour each, a reader that reads measures all the while, and a backup in the midst of it. Afterwards
the store holds every row of every load, every acknowledged tap once, and the backup opens whole.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from pourstats.store import measures, rescue
from pourstats.store.database import Store
from pourstats.store.loading import load
from tests.faults import scenes

MOST_S = 600.0
PATIENCE_S = 300.0
HEAD = "pour_id,date,site,slab_type,area,thickness\n"


def _run(what: str, folder: str, number: int, told: Any) -> None:
    place, began = Path(folder), time.monotonic()
    store = Store(place / scenes.STORE, patience_s=PATIENCE_S)
    longest, done = 0.0, 0
    try:
        if what == "load":
            load(store, [place / f"log{number}"])
        elif what == "phone":
            last = time.monotonic()

            def said(stamp: str) -> None:
                nonlocal longest, last, done
                done += 1
                longest, last = max(longest, time.monotonic() - last), time.monotonic()

            scenes.tapped(place, said, who=f"phone{number}-", patience_s=PATIENCE_S)
        elif what == "reader":
            for _ in range(5):
                with store.read() as connection:
                    done += len(measures.frame(connection, "pour_output"))
        elif what == "backup":
            rescue.backup(store, place / scenes.COPY)
        told.send((what, "done", time.monotonic() - began, longest))
    except scenes.Refusal as error:
        told.send((what, f"refused: {error}", time.monotonic() - began, longest))
    except BaseException as error:
        told.send((what, f"{type(error).__name__}: {error}", time.monotonic() - began, longest))


def write_logs(folder: Path, count: int, rows: int = 200) -> None:
    """Logs that share no pour, and a row of each that hangs on a pour of the next."""
    for number in range(count):
        place = folder / f"log{number}"
        place.mkdir()
        (place / "pours.csv").write_text(HEAD + "".join(
            f"L{number}-{i},2031-06-{1 + i % 28:02d},Oak,garage,{600 + i},4\n" for i in range(rows)
        ))  # fmt: skip
        (place / "trucks.csv").write_text("pour_id,ticket,volume\n" + "".join(
            f"L{(number + i % 2) % count}-{i},{number}-{i},9\n" for i in range(rows)
        ))  # fmt: skip


def one_round(phones: int = 10, rows: int = 200) -> dict[str, float]:
    """Everything at once on a store of its own; seconds in all, and of the longest tap.
    AssertionError names what was lost."""
    context = scenes.processes()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        write_logs(folder, 3, rows)
        with Store(folder / scenes.STORE).write():
            pass
        work = [("load", n) for n in range(3)] + [("phone", n) for n in range(phones)]
        work += [("reader", 0), ("backup", 0)]
        here, there = context.Pipe(duplex=False)
        began = time.monotonic()
        children = [
            context.Process(target=_run, args=(what, str(folder), n, there)) for what, n in work
        ]
        for child in children:
            child.start()
        ends = []
        for _ in work:
            assert here.poll(MOST_S - (time.monotonic() - began)), "somebody hangs"
            ends.append(here.recv())
        for child in children:
            child.join(30)
        took = time.monotonic() - began
        unhappy = [end for end in ends if end[1] != "done"]
        assert not unhappy, unhappy
        with Store(folder / scenes.STORE).read() as connection:
            pours, trucks, stamps = (
                connection.execute(f"SELECT count(*) FROM {name}").fetchall()[0][0]
                for name in ("pours", "trucks", "stamps")
            )
            waiting = connection.execute(
                "SELECT count(*) FROM set_aside WHERE state = 'open'"
            ).fetchall()[0][0]
        assert pours == 3 * rows + phones, (pours, "pours: a load's or a phone's is missing")
        assert trucks == 3 * rows, (trucks, waiting, "loads: one is missing, or still waits")
        assert stamps == phones * len(scenes.TAPS), (stamps, "taps")
        assert not scenes.twice(folder / scenes.STORE)
        rescue.restore(Store(folder / "again.duckdb"), folder / scenes.COPY)
        return {"took_s": took, "longest_tap_s": max(end[3] for end in ends)}


def main() -> None:
    """Print a line a round; ends with 1 at the first loss."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--phones", type=int, default=10)
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    for number in range(given.rounds):
        found = one_round(given.phones)
        print(f"round {number + 1}: three loads, {given.phones} phones, a reader and a backup done"
              f" in {found['took_s']:.1f} s; the longest tap took {found['longest_tap_s']:.1f} s;"
              " lost 0, twice 0", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
