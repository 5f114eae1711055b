"""Logs → store: which files hold what, in which order they go in, and what became of each row."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pourstats.faults import Fault, Refusal, legible
from pourstats.logs import files, foreign, forms, intake, workbook
from pourstats.logs.cell import normalized
from pourstats.logs.checked import Checked
from pourstats.logs.tables import DEPENDENTS, STAMPS, TABLES, Table
from pourstats.store import books, corrections, lookalikes, mappings, oddities, taps
from pourstats.store.database import Store
from pourstats.store.report import Report
from pourstats.store.rows import store_rows
from pourstats.store.schema import first_row

if TYPE_CHECKING:
    import duckdb

OWN_PAGES = {normalized(name) for name in (forms.ABOUT, forms.ABOUT_DEFECTS)}
"""Sheets that our own workbooks carry for people; not a log table, and no surprise."""


@dataclass
class Part:
    """One file, with the tables that it holds."""

    path: Path
    name: str
    tables: list[tuple[Table, files.Sheet | None]]
    """The sheet is None for a CSV file that is yet to be read."""
    mapped: bool = False
    """Another program's file, read by a kept mapping: it may need the pours and sites."""


def load(
    store: Store,
    paths: Iterable[Path],
    progress: Callable[[str], None] = lambda line: None,
) -> Report:
    """Load folders, CSV files and workbooks. Raises Refusal for a path that isn't there.

    Each file is read and checked before the store is opened, and goes in whole or not at all.
    Pours go first. A file whose header has a kept mapping is read by it, whatever its name.
    """
    report = Report()
    loading = Loading(store, report, progress)
    paths = list(paths)
    loading.take_ways_back(paths)
    parts = [part for path in paths for part in loading.parts(path)]
    parts.sort(key=rank)
    books_of = [part for part in parts if len(part.tables) > 1]
    if len(books_of) > 1:
        # Pours of every workbook first: rows of one may belong to a pour of another.
        for part in books_of:
            loading.store_part(part, [t for t in part.tables if t[0].name == "pours"])
            part.tables = [t for t in part.tables if t[0].name != "pours"]
    for part in parts:
        loading.store_part(part, part.tables)
    loading.finish()
    return report


def rank(part: Part) -> int:
    """Where a file stands among those of a load: pours first."""
    names = {table.name for table, _ in part.tables}
    if part.mapped and "pours" not in names:
        return 3
    if names == {"pours"}:
        return 0
    return 1 if "pours" in names else 2


class Loading:
    """One load under way: its files, its report, and the change that its rows belong to."""

    def __init__(
        self,
        store: Store,
        report: Report,
        progress: Callable[[str], None],
    ) -> None:
        self.store = store
        self.report = report
        self.progress = progress
        self.mappings = mappings.kept(store)
        self.change: int | None = None
        self.unusable: list[tuple[Fault, Path]] = []
        self.loaded: list[str] = []
        self.stored: list[str] = []
        self.first_seq: int | None = None

    # Files --------------------------------------------------------------------------------------

    def take_ways_back(self, paths: list[Path]) -> None:
        """Keep the mappings that an export wrote, before the files that they are for are read."""
        found = [
            each
            for path in paths
            for each in (sorted(path.iterdir()) if path.is_dir() else [path])
            if _holds_ways(each)
        ]
        for path in found:
            try:
                names = mappings.take_back(self.store, mappings.from_file(path))
            except files.UnusableError as error:
                self.fail(path, str(error))
                continue
            self.report.usable += 1
            self.report.ways += 1
            if names:
                self.report.warnings.append(
                    f"{legible(path.name)}: how other programs' files are read is kept:"
                    f" {', '.join(names)}"
                )
        if found:
            self.mappings = mappings.kept(self.store)

    def parts(self, path: Path) -> list[Part]:
        """The files of a path, in name order; what is no log table is reported."""
        if not path.exists():
            raise Refusal(f"there is no file or folder {path}; check the name")
        if path.is_dir():
            found, unknown = [], []
            for entry in sorted(path.iterdir(), key=lambda e: e.name.lower()):
                if entry.name.startswith((".", "~$")) or entry.is_dir():
                    continue
                if entry.suffix.lower() == ".parquet":
                    continue
                part = self._part(entry)
                if part is None:
                    unknown.append(legible(entry.name))
                else:
                    found.append(part)
            if unknown:
                self.report.warnings.append(
                    f"not read, since no log table is called so: {', '.join(unknown)}"
                    " (`pourstats map FILE` looks at another program's file)"
                )
            return [part for part in found if part.tables]
        part = self._part(path)
        if part is None:
            names = ", ".join(f"{name}.csv" for name in TABLES)
            self.fail(
                path, f"no log table is called so; name it after what it holds: {names}; or, if"
                f" another program wrote it, `pourstats map {legible(path.name)}` shows how to read"
                " it"
            )  # fmt: skip
            return []
        return [part] if part.tables else []

    def _part(self, path: Path) -> Part | None:
        suffix = path.suffix.lower()
        if _holds_ways(path):
            return Part(path, legible(path.name), [])
        part = self._foreign(path) if self.mappings else None
        if part is not None:
            return part
        if suffix == ".csv":
            table = intake.table_named(path.stem) or self._phone_log(path)
            return Part(path, legible(path.name), [(table, None)]) if table else None
        if suffix in foreign.WORKBOOKS:
            return self._workbook(path)
        return None

    def _foreign(self, path: Path) -> Part | None:
        """A file with a kept mapping for its header, or for that of any sheet of a workbook."""
        mapped, rest = mappings.sheets_of(path, self.mappings)
        if not mapped:
            return None
        if rest:
            self.report.warnings.append(
                f"{legible(path.name)}: sheets not read, since no mapping is kept for them:"
                f" {', '.join(rest)}"
            )
        unclear = mappings.unclear(mapped, self.mappings)
        if unclear is not None:
            self.fail(path, unclear)
            return Part(path, legible(path.name), [], mapped=True)
        self.report.usable += 1
        tables = [(TABLES[self.mappings[s.signature].table], s) for s in mapped]
        return Part(path, legible(path.name), [*tables], mapped=True)

    def _phone_log(self, path: Path) -> Table | None:
        """The table of a log that a phone gave out, known by its header whatever a message made of
        its name."""
        try:
            sheet = files.read_csv(path, legible(path.name))
        except files.UnusableError:
            return None
        if sheet is None:
            return None
        of_taps = {normalized(name) for name in STAMPS.names}
        return STAMPS if {normalized(name) for name in sheet.header} == of_taps else None

    def _workbook(self, path: Path) -> Part:
        part = Part(path, legible(path.name), [])
        try:
            sheets = workbook.read_workbook(path)
            for sheet in sheets:
                table = None if isinstance(sheet, tuple) else intake.table_named(sheet.sheet or "")
                if table is not None and not isinstance(sheet, tuple):
                    intake.check_header(sheet, table)
        except files.UnusableError as error:
            self.fail(path, str(error))
            return part
        unknown = []
        for sheet in sheets:
            name = sheet[0] if isinstance(sheet, tuple) else sheet.sheet or ""
            table = intake.table_named(name)
            if table is None:
                if normalized(name) not in OWN_PAGES:
                    unknown.append(name)
            elif isinstance(sheet, tuple):
                self.report.warnings.append(f"{legible(path.name)}, sheet {name}: is empty")
            else:
                part.tables.append((table, sheet))
        if unknown:
            self.report.warnings.append(
                f"{legible(path.name)}: sheets not read, since no log table is called so:"
                f" {', '.join(unknown)}"
            )
        if not part.tables and not self.report.warnings:
            self.report.warnings.append(f"{legible(path.name)}: no sheet holds a log table")
        part.tables.sort(key=lambda entry: entry[0].name != "pours")
        self.report.usable += 1
        return part

    def fail(self, path: Path, reason: str) -> None:
        """Set a whole file aside."""
        fault = Fault(legible(path.name), None, None, None, reason)
        self.report.set_aside.append(fault)
        self.report.unusable += 1
        self.unusable.append((fault, path))

    # Storing ------------------------------------------------------------------------------------

    def store_part(self, part: Part, tables: list[tuple[Table, files.Sheet | None]]) -> None:
        """Read and check a file, then put it into the store in one transaction."""
        ready: list[Checked] = []
        for table, sheet in tables:
            self.progress(f"reading {part.name}" + (f", {sheet.sheet}" if sheet else ""))
            try:
                rows = self._checked(part, table, sheet)
            except files.UnusableError as error:
                self.fail(part.path, str(error))
                return
            if rows is not None:
                ready.append(rows)
        if not ready:
            return
        self.progress(f"storing {part.name}")
        with self.store.write() as connection:
            self._store(connection, part, ready)

    def _checked(self, part: Part, table: Table, sheet: files.Sheet | None) -> Checked | None:
        alone = sheet is None
        if sheet is None:
            sheet = files.read_csv(part.path, part.name)
        if sheet is None:
            self.report.usable += 1
            self.report.warnings.append(f"{part.name}: is empty")
            self.report.counts(table.name)
            return None
        rows = self._rows(sheet, table)
        self.report.usable += alone
        self.report.warnings += rows.warnings
        self.report.counts(table.name)
        if rows.read == 0:
            place = f"{part.name}, sheet {sheet.sheet}" if sheet.sheet else part.name
            self.report.warnings.append(f"{place}: has a header but no rows")
            return None
        return rows

    def _rows(self, sheet: files.Sheet, table: Table) -> Checked:
        if not isinstance(sheet, foreign.Foreign):
            rows = intake.checked(sheet, table)
            if not set(table.required) & set(rows.names) and rows.read:
                self.report.warnings.append(
                    f"{sheet.file}: none of the columns that {table.name} needs; if another program"
                    f" wrote it, `pourstats map {sheet.file}` shows how it can be read"
                )
            return rows
        rows, told = mappings.checked(sheet, self.mappings, self.store)
        self.report.warnings += told
        return rows

    def _store(
        self, connection: duckdb.DuckDBPyConnection, part: Part, ready: list[Checked]
    ) -> None:
        connection.execute("BEGIN")
        first = self._next_seq(connection)
        self.first_seq = first if self.first_seq is None else self.first_seq
        change = books.begin(connection, "load", self._detail(part.name), self.change)
        change.path = legible(part.path.resolve())
        before = _state(connection)
        for rows in ready:
            outcome = store_rows(connection, rows, change)
            self.report.add(rows.table.name, outcome)
            corrections.forget_mended(connection, change, rows)
            if rows.table.name == "pours":
                corrections.resolve_anew(connection, change, outcome.moved_pours, self.report)
                # Before the newer rows of the same workbook, which then go over them.
                self._take_up(connection, change)
            self.loaded.append(rows.table.name)
        if {"stamps", "jobs"} & {rows.table.name for rows in ready}:
            self.report.set_aside += taps.store_taps(connection, change)
        self._take_up(connection, change)
        if _state(connection) != before or corrections.changed(connection, change, first):
            books.finish(connection, change, first)
            self.change = change.number
            self.stored.append(part.name)
            connection.execute("COMMIT")
        else:
            connection.execute("ROLLBACK")

    def _detail(self, *more: str) -> str:
        """What the change is called, with those files: by its first file."""
        first, *others = dict.fromkeys([*self.stored, *more])
        return f"{first} and {len(others)} more" if others else first

    def _take_up(self, connection: duckdb.DuckDBPyConnection, change: books.Change) -> None:
        for name in DEPENDENTS:
            corrections.take_up(connection, change, TABLES[name], self.report)

    def _next_seq(self, connection: duckdb.DuckDBPyConnection) -> int:
        from pourstats.store.schema import meta_number

        return meta_number(connection, "next_seq")

    def finish(self) -> None:
        """Keep the files that couldn't be used, and warn of ids that look alike."""
        if self.unusable and (self.store.exists() or self.loaded):
            with self.store.write() as connection:
                connection.execute("BEGIN")
                first, before = self._next_seq(connection), _state(connection)
                names = dict.fromkeys(legible(path.name) for _, path in self.unusable)
                change = books.begin(connection, "load", self._detail(*names), self.change)
                for fault, path in self.unusable:
                    change.path = legible(path.resolve())
                    books.set_aside(connection, change, [_whole_file(fault, path)])
                if _state(connection) != before:
                    books.finish(connection, change, first)
                    connection.execute("COMMIT")
                else:
                    connection.execute("ROLLBACK")
        if self.loaded and self.first_seq is not None and self.change is not None:
            with self.store.read() as connection:
                self.report.warnings += lookalikes.found(connection, self.first_seq)
                self.report.warnings += oddities.found(connection, self.first_seq)
                if "crew_time" in self.loaded:
                    self.report.warnings += lookalikes.clashes(connection, self.first_seq)


def _holds_ways(path: Path) -> bool:
    return path.name.lower() == mappings.FILE and path.is_file()


def _whole_file(fault: Fault, path: Path) -> dict[str, Any]:
    mark = hashlib.md5(f"{legible(path.resolve())}|{fault.reason}".encode()).hexdigest()
    return {
        "seq": 0, "table_name": None, "file": fault.file, "line": None, "reason": fault.reason,
        "mark": mark, "waits_for_pour": False,
    }  # fmt: skip


def _state(connection: duckdb.DuckDBPyConnection) -> tuple[Any, ...]:
    row = first_row(
        connection.execute(
            """SELECT (SELECT count(*) FROM history), (SELECT count(*) FROM set_aside),
                  (SELECT count(*) FROM set_aside WHERE state = 'open')"""
        )
    )
    assert row is not None
    return tuple(row)
