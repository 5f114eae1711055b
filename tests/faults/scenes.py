"""What the fault harnesses share: a log, a store's contents to compare, and deeds to disturb.

A deed is done in a process of its own and says when something is acknowledged; whatever happens to
that process, the deed's ``holds`` must be true of the files, and doing the deed once more must end in
the contents of an undisturbed run.
"""

from __future__ import annotations

import csv
import datetime as dt
import json
import lzma
import multiprocessing
import os
import shutil
import signal
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pourstats.faults import Refusal
from pourstats.logs.tables import TABLES
from pourstats.store import rescue
from pourstats.store.database import Store
from pourstats.store.loading import load
from pourstats.store.sample import sample_folder
from pourstats.store.schema import DELETABLE
from pourstats.store.tapping import Tap, tap

ROOT = Path(__file__).resolve().parents[2]
STORE, LOG, COPY, SAID = "s.duckdb", "log", "copy.backup", "said.txt"
OLD_STORE = Path(__file__).with_name("version_2.duckdb.xz")
"""A store that version 2 of the schema really made, from the sample season of that day."""

POURS = 10
_KEPT = ("_line", "_raw", "_bare", "_seq", "_born")


# Contents -----------------------------------------------------------------------------------------


def contents(path: Path) -> dict[str, list[Any]]:
    """Every row of the store that a user could miss, without clock times and running numbers of
    changes, which tell when a thing was done and in how many goes."""
    found: dict[str, list[Any]] = {}
    with Store(path).read() as connection:
        names = [*TABLES, *(f"deleted_{name}" for name in DELETABLE)]
        for name in names:
            table = TABLES[name.removeprefix("deleted_")]
            listed = ", ".join(f't."{column}"' for column in (*table.names, *_KEPT))
            found[name] = connection.execute(
                f"SELECT {listed}, s.file, s.sheet FROM {name} AS t"
                " LEFT JOIN sources AS s ON s.source_id = t._source ORDER BY t._seq"
            ).fetchall()
        found["set_aside"] = connection.execute(
            """SELECT table_name, file, sheet, line, "column", value, reason, text, key, pour_id,
                      waits_for_pour FROM set_aside WHERE state = 'open' ORDER BY ALL"""
        ).fetchall()
        rows = connection.execute(
            """SELECT action, table_name, key, file, line, text, "values" FROM history
               ORDER BY hist_seq"""
        ).fetchall()
        found["history"] = [(*row[:-1], _without_source(row[-1])) for row in rows]
    return found


def _without_source(values: str | None) -> Any:
    kept = json.loads(values or "{}")
    kept.pop("_source", None)
    return kept


def difference(one: dict[str, list[Any]], other: dict[str, list[Any]]) -> str:
    """Which tables differ, and by what; empty if none does."""
    told = []
    for name in sorted({*one, *other}):
        a, b = one.get(name, []), other.get(name, [])
        if a != b:
            first = next((pair for pair in zip(a, b, strict=False) if pair[0] != pair[1]), None)
            told.append(f"{name}: {len(a)} rows and {len(b)}; first that differ: {first}")
    return "\n".join(told)


def twice(path: Path) -> list[str]:
    """Tables in which a key, or a row's own identity, stands more than once."""
    found = []
    with Store(path).read() as connection:
        for table in TABLES.values():
            keys = ", ".join(f'"{name}"' for name in table.key)
            for what in (keys, "_born", "_seq"):
                rows = connection.execute(
                    f"SELECT 1 FROM {table.name} GROUP BY {what} HAVING count(*) > 1 LIMIT 1"
                ).fetchall()
                if rows:
                    found.append(f"{table.name}: {what} twice")
    return found


def born(held: dict[str, list[Any]]) -> dict[str, set[int]]:
    """The identities of the stored rows, by table."""
    return {name: {row[len(TABLES[name].names) + 4] for row in held[name]} for name in TABLES}


# Logs ---------------------------------------------------------------------------------------------


def write_log(folder: Path, corrected: bool = False) -> None:
    """The first pours of the sample season as a log folder, with rows that break a rule and rows
    that wait; ``corrected`` changes every third pour and adds others."""
    folder.mkdir(parents=True, exist_ok=True)
    pours = POURS + 5 if corrected else POURS
    ids: set[str] = set()
    for name in ("pours", "trucks", "passes", "crew_time", "callbacks", "bids", "crew", "weather"):
        with (sample_folder() / f"{name}.csv").open(newline="", encoding="utf-8") as file:
            head, *rows = list(csv.reader(file))
        if name == "pours":
            rows = rows[:pours]
            ids = {row[0] for row in rows}
            if corrected:
                notes = head.index("notes")
                for row in rows[::3]:
                    row[notes] = "corrected"
            rows.append([*rows[0][:3], "garge", *rows[0][4:]])
            rows[-1][0] = "slip"
        elif "pour_id" in head:
            place = head.index("pour_id")
            # Some rows come before their pour is logged: they wait, and are taken up.
            rows = [row for row in rows if row[place] in ids][: 160 if corrected else 120]
            rows.append([*rows[-1]])
            rows[-1][place] = "not yet"
        elif name == "weather":
            rows = rows[: 90 if corrected else 60]
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows([head, *rows])


# Deeds --------------------------------------------------------------------------------------------

Said = Callable[[str], None]


@dataclass(frozen=True)
class Deed:
    """What is disturbed: ``prepare`` lays out a folder, ``do`` does it (again, where it was begun),
    ``holds`` raises AssertionError unless all that must hold after a disturbance does."""

    name: str
    prepare: Callable[[Path], None]
    do: Callable[[Path, Said], None]
    holds: Callable[[Path, dict[str, list[Any]], list[str]], None]
    files: tuple[str, ...] = ()
    """Source files whose every executed line is a moment of its own (see kills.py --lines)."""


def _season(folder: Path) -> None:
    write_log(folder / LOG)
    load(Store(folder / STORE), [folder / LOG])
    write_log(folder / LOG, corrected=True)


def _load(folder: Path, said: Said) -> None:
    def progress(line: str) -> None:
        # A file is in once the next one is being read.
        said(line)

    load(Store(folder / STORE), [folder / LOG], progress)


def _nothing_gone(folder: Path, before: dict[str, list[Any]], _: list[str]) -> None:
    now = contents(folder / STORE)
    for name, rows in born(before).items():
        gone = rows - born(now)[name]
        assert not gone, f"{name}: {len(gone)} stored rows are gone"
    assert len(now["history"]) >= len(before["history"])


def _fresh(folder: Path) -> None:
    write_log(folder / LOG)


def _first_load_holds(folder: Path, _: dict[str, list[Any]], __: list[str]) -> None:
    """There may be no store yet; if there is, it opens."""
    if (folder / STORE).exists():
        try:
            contents(folder / STORE)
        except Refusal as error:
            assert error.status == 1, error


SIX = dt.datetime(2031, 6, 3, 6, 0)
TAPS = (
    ("describe", "date=2031-06-03;site=Oak;slab_type=garage;area=600;thickness=4", 0),
    ("hands", "4", 0), ("first_concrete", "", 60), ("load_in", "1", 61),
    ("strike_off_done", "", 130), ("bull_float_done", "", 140), ("machine_on", "", 270),
    ("last_pass_off", "", 400), ("saw_done", "", 480), ("gone", "", 490),
)  # fmt: skip


def tapped(
    folder: Path, said: Said, pours: int = 1, who: str = "T", patience_s: float = 60
) -> None:
    """Taps of whole pours one after another, each said once it is stored; again, nothing happens."""
    store = Store(folder / STORE, patience_s=patience_s)
    for number in range(pours):
        for place, (event, subject, minutes) in enumerate(TAPS):
            stamp = f"{who}{number}-{place}"
            at = SIX + dt.timedelta(days=number, minutes=minutes)
            tap(store, f"{who}{number}", Tap(event, subject, at, stamp))
            said(stamp)


def _taps_hold(folder: Path, before: dict[str, list[Any]], acknowledged: list[str]) -> None:
    _nothing_gone(folder, before, acknowledged)
    stored = {row[0] for row in contents(folder / STORE)["stamps"]}
    assert set(acknowledged) <= stored, sorted(set(acknowledged) - stored)
    assert len(stored) <= len(acknowledged) + 1, "more is stored than was tapped"


def _backup(folder: Path, said: Said) -> None:
    if not (folder / COPY).exists():
        rescue.backup(Store(folder / STORE), folder / COPY)
    said("copied")


def _backup_holds(folder: Path, before: dict[str, list[Any]], acknowledged: list[str]) -> None:
    assert not difference(contents(folder / STORE), before)
    if (folder / COPY).exists():
        rescue.restore(Store(folder / "again.duckdb"), folder / COPY)
        assert not difference(contents(folder / "again.duckdb"), before)
        (folder / "again.duckdb").unlink()
    else:
        assert not acknowledged, "the backup was done, and is not there"


def _two_stores(folder: Path) -> None:
    _season(folder)
    write_log(folder / "other", corrected=True)
    load(Store(folder / "other.duckdb"), [folder / "other"])
    rescue.backup(Store(folder / "other.duckdb"), folder / COPY)


def _restore(folder: Path, said: Said) -> None:
    rescue.restore(Store(folder / STORE), folder / COPY)
    said("restored")


def _restore_holds(folder: Path, before: dict[str, list[Any]], acknowledged: list[str]) -> None:
    """The store is the one or the other, whole, and the one that was there is still somewhere."""
    now, copied = contents(folder / STORE), contents(folder / "other.duckdb")
    old = not difference(now, before)
    assert old or not difference(now, copied), "a mixture of two stores"
    assert not (old and acknowledged), "restored, and yet the old store"
    if not old:
        aside = [contents(path) for path in folder.glob("s.replaced-*.duckdb")]
        assert any(not difference(one, before) for one in aside), "the replaced store is gone"


def _old_store(folder: Path) -> None:
    (folder / STORE).write_bytes(lzma.decompress(OLD_STORE.read_bytes()))


def _upgrade(folder: Path, said: Said) -> None:
    with Store(folder / STORE).read():
        pass
    said("opened")


def _upgrade_holds(folder: Path, before: dict[str, list[Any]], _: list[str]) -> None:
    assert not difference(contents(folder / STORE), before)


DEEDS: dict[str, Deed] = {
    deed.name: deed
    for deed in (
        Deed("load", _season, _load, _nothing_gone, ("loading", "rows", "corrections", "books")),
        Deed("first_load", _fresh, _load, _first_load_holds, ("database", "schema")),
        Deed("taps", _season, tapped, _taps_hold, ("tapping", "taps", "rows", "database")),
        Deed("backup", _season, _backup, _backup_holds, ("rescue", "database")),
        Deed("restore", _two_stores, _restore, _restore_holds, ("rescue", "database")),
        Deed("upgrade", _old_store, _upgrade, _upgrade_holds, ("database", "schema")),
    )
}  # fmt: skip


# Processes ----------------------------------------------------------------------------------------


def processes() -> Any:
    """Where children come from: a server that has the libraries loaded and holds no store."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["duckdb", "pyarrow", "numpy", "tests.faults.scenes"])
    return context


def _child(name: str, folder: str, begun: Any, line: int | None) -> None:
    deed = DEEDS[name]
    said = os.open(Path(folder) / SAID, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    begun.send(time.monotonic())
    if line is not None:
        _die_at_line(deed.files, line, begun)
    deed.do(Path(folder), lambda text: _tell(said, text))
    if line is not None:
        sys.settrace(None)
    begun.send(time.monotonic())


def _tell(file: int, text: str) -> None:
    os.write(file, (text + "\n").encode())


def _die_at_line(files: tuple[str, ...], line: int, told: Any) -> None:
    """Kill this process as its ``line``-th line in those files of the store is about to run."""
    names = tuple(str(Path("store") / f"{name}.py") for name in files)
    count = 0

    def trace(frame: Any, event: str, _: Any) -> Any:
        nonlocal count
        if event == "call":
            return trace if frame.f_code.co_filename.endswith(names) else None
        if event == "line":
            count += 1
            if count == line:
                os.kill(os.getpid(), getattr(signal, "SIGKILL", signal.SIGTERM))
        return trace

    sys.settrace(trace)


def lay_out(deed: Deed, folder: Path) -> dict[str, list[Any]]:
    """Prepare a folder to copy; the contents of its store, if it has one."""
    deed.prepare(folder)
    if not (folder / STORE).exists():
        return {}
    shutil.copy(folder / STORE, folder / "look.duckdb")  # looking may upgrade it
    held = contents(folder / "look.duckdb")
    (folder / "look.duckdb").unlink()
    return held


def copied(template: Path, folder: Path) -> Path:
    """A copy to disturb."""
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(template, folder)
    return folder


def start(context: Any, deed: Deed, folder: Path, line: int | None = None) -> tuple[Any, Any]:
    """The deed in a process of its own, begun; the process, and the end that hears it."""
    here, there = context.Pipe(duplex=False)
    child = context.Process(target=_child, args=(deed.name, str(folder), there, line))
    child.start()
    there.close()
    here.recv()
    return child, here


def said(folder: Path) -> list[str]:
    """What the child had acknowledged when it ended."""
    path = folder / SAID
    return path.read_text().splitlines() if path.exists() else []
