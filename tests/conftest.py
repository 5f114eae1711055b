"""A store of its own for each test, and logs written as people write them."""

from __future__ import annotations

import csv
import functools
import io
import os
import shutil
import sys
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from pourstats import cli
from pourstats.store.database import Store
from pourstats.store.loading import load
from pourstats.store.report import Report
from tests.commands import Answer, Run

# A run of the suite tries the same inputs each time; POURSTATS_FUZZ=1 tries others, to find more.
settings.register_profile("same", derandomize=True)
if not os.environ.get("POURSTATS_FUZZ"):
    settings.load_profile("same")

POUR = {"pour_id": "A1", "date": "2031-06-03", "site": "Oak", "slab_type": "garage",
        "area": "600", "thickness": "4"}  # fmt: skip
TRUCK = {"pour_id": "A1", "ticket": "7", "volume": "9"}
PASS = {"pour_id": "A1", "pass_no": "1", "start": "10:00"}
CREW_TIME = {"pour_id": "A1", "worker": "JB", "task": "place", "start": "7:00", "end": "9:00"}
WEATHER = {"site": "Oak", "time": "2031-06-03 07:00", "air_temp": "60", "humidity": "50",
           "wind": "5"}  # fmt: skip
CALLBACK = {"callback_id": "c1", "pour_id": "A1", "reported": "2031-09-01", "defect": "dusting"}
BID = {"pour_id": "A1", "bid_date": "2031-05-01", "bid_hours": "40"}
CREW = {"worker": "JB", "pay": "30"}
JOB = {"pour_id": "J1", "date": "2031-06-10", "site": "Oak", "slab_type": "garage",
       "area": "600", "thickness": "4"}  # fmt: skip
ROWS = {"pours": POUR, "trucks": TRUCK, "passes": PASS, "crew_time": CREW_TIME,
        "weather": WEATHER, "callbacks": CALLBACK, "bids": BID, "crew": CREW, "jobs": JOB,
        "sites": {"site": "Oak"}}  # fmt: skip
"""One sound row a table, only what is required."""

COUNTS = ("read", "added", "replaced", "unchanged", "set_aside", "taken_up")


def csv_text(rows: Sequence[Mapping[str, Any]], delimiter: str = ",") -> str:
    """The rows as a CSV file; the header is the first row's names."""
    out = io.StringIO()
    # Ended so, the writer quotes a lone carriage return too.
    writer = csv.DictWriter(out, list(rows[0]), delimiter=delimiter, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


@functools.cache
def _empty_store() -> Path:
    """An empty store, made once: copying it is quicker than making another."""
    path = Path(tempfile.mkdtemp()) / "s.duckdb"
    with Store(path).write():
        pass
    return path


@functools.cache
def _full_store() -> Path:
    """A store with one sound row in every table, loaded in one go, made once."""
    ledger = Ledger(Path(tempfile.mkdtemp()))
    assert ledger.load({name: [row] for name, row in ROWS.items()}).status == 0
    return ledger.store.path


class Ledger:
    """A store in a folder of its own, and what loads put into it.

    ``made``: it is there already; ``full``: with one sound row in every table.
    """

    def __init__(self, folder: Path, made: bool = True, full: bool = False) -> None:
        self.folder = folder
        self.store = Store(folder / "s.duckdb")
        if made:
            shutil.copy(_full_store() if full else _empty_store(), self.store.path)
        self._loads = 0

    def path(self, files: Mapping[str, Any]) -> Path:
        """A new folder that holds the files: text, bytes, or a list of rows (table by name)."""
        self._loads += 1
        folder = self.folder / f"load{self._loads}"
        folder.mkdir()
        for name, content in files.items():
            full = name if "." in name else f"{name}.csv"
            if isinstance(content, (list, tuple)):
                content = csv_text(content)
            data = content.encode() if isinstance(content, str) else content
            (folder / full).write_bytes(data)
        return folder

    def load(self, files: Mapping[str, Any] | None = None, **tables: Any) -> Report:
        """Load a folder of these files; a name without a dot is a table's CSV file."""
        report = load(self.store, [self.path({**(files or {}), **tables})])
        balanced(report)
        return report

    def one(self, table: str, **cells: Any) -> Report:
        """Load one row of a table: its sound row with these cells instead; None leaves one out."""
        row = {**ROWS[table], **cells}
        return self.load({table: [{k: v for k, v in row.items() if v is not None}]})

    def csv(self, name: str, text: str) -> Report:
        """Load one CSV file from its text."""
        return self.load({f"{name}.csv": text})

    def sql(self, query: str) -> list[tuple[Any, ...]]:
        with self.store.read() as connection:
            return list(connection.execute(query).fetchall())

    def value(self, query: str) -> Any:
        return self.sql(query)[0][0]


def balanced(report: Report) -> None:
    """Every row that was read ended as one of four things."""
    for name, counts in report.tables.items():
        ended = sum(counts[k] for k in ("added", "replaced", "unchanged", "set_aside"))
        assert counts["read"] == ended, (name, counts)


def tally(report: Report, table: str) -> dict[str, int]:
    """The counts of a table that are not nought."""
    return {k: v for k, v in report.tables[table].items() if v}


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path)


@pytest.fixture
def full(tmp_path: Path) -> Ledger:
    """A store with one sound row in every table."""
    return Ledger(tmp_path, full=True)


@pytest.fixture(scope="session")
def shapes() -> dict[str, Any]:
    """What tests in other folders share: row builders and counters."""
    return {"csv_text": csv_text, "tally": tally, "rows": ROWS, "Ledger": Ledger}


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Run:
    """Runs a command in this process as ``pourstats`` would, on a store of its own."""
    monkeypatch.setenv("POURSTATS_STORE", str(tmp_path / "s.duckdb"))
    monkeypatch.delenv("POURSTATS_TRACE", raising=False)
    monkeypatch.chdir(tmp_path)

    def called(*args: object) -> Answer:
        monkeypatch.setattr(sys, "argv", ["pourstats", *map(str, args)])
        with pytest.raises(SystemExit) as caught:
            cli.main()
        found = capsys.readouterr()
        assert "Traceback" not in found.err + found.out
        assert "did not foresee" not in found.err, found.err
        return Answer(caught.value.code, found.out, found.err)  # type: ignore[arg-type]

    return called
