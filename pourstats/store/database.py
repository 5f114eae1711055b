"""One DuckDB file: opened briefly, waited for when held, upgraded, never created by a reader.

A process that holds the file to write locks every other out, and readers lock writers out; so
nobody keeps it open. Within one process all opens go through one lock.
"""

from __future__ import annotations

import os
import random
import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from pourstats.faults import Refusal
from pourstats.store import schema

if TYPE_CHECKING:
    import duckdb

PATIENCE_S = 10.0
"""How long a held store is waited for."""

_ONE_AT_A_TIME = threading.RLock()


def default_path() -> Path:
    """The store's path: POURSTATS_STORE, else a file in the user's data folder."""
    named = os.environ.get("POURSTATS_STORE")
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_data_dir("pourstats", appauthor=False)) / "pours.duckdb"


class Store:
    """A crew's record in one file."""

    def __init__(self, path: Path | None = None, patience_s: float = PATIENCE_S) -> None:
        self.path = path if path is not None else default_path()
        self.patience_s = patience_s

    def exists(self) -> bool:
        """Whether there is a file at the store's path."""
        return self.path.is_file()

    @contextmanager
    def read(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A connection to read with. Refusal (status 1) where there is no store."""
        with _ONE_AT_A_TIME:
            if not self.exists():
                raise Refusal(
                    f"there is no store at {self.path} yet; `pourstats load FOLDER` makes one from"
                    " your logs, `pourstats demo` shows a sample season",
                    status=1,
                )
            connection = self._open(read_only=True)
            if self._is_behind(connection):
                connection.close()
                with self.write():
                    pass
                connection = self._open(read_only=True)
            try:
                schema.refresh_house(connection)
                yield connection
            finally:
                connection.close()

    @contextmanager
    def write(self, create: bool = True) -> Iterator[duckdb.DuckDBPyConnection]:
        """A connection to write with, its schema up to date; makes the store unless ``create`` is
        False. The caller commits what it began."""
        with _ONE_AT_A_TIME:
            new = not self.exists()
            if new:
                if not create:
                    raise Refusal(f"there is no store at {self.path}", status=1)
                try:
                    self.path.parent.mkdir(parents=True, exist_ok=True)
                except OSError as error:
                    raise Refusal(
                        f"can't make the folder {self.path.parent} ({error.strerror}); name another"
                        " with --store"
                    ) from None
            connection = self._open(read_only=False)
            try:
                if new:
                    schema.create(connection)
                else:
                    if self._check(connection) < schema.VERSION:
                        schema.upgrade(connection)
                schema.refresh_house(connection)
                yield connection
            finally:
                connection.close()

    def _is_behind(self, connection: duckdb.DuckDBPyConnection) -> bool:
        try:
            return self._check(connection) < schema.VERSION
        except BaseException:
            connection.close()
            raise

    def _check(self, connection: duckdb.DuckDBPyConnection) -> int:
        """The store's version. Refusal for what is no store, or a newer one."""
        found = schema.version(connection)
        if found == 0:
            raise Refusal(f"{self.path} is a database, but not a pourstats store; name another")
        if found > schema.VERSION:
            raise Refusal(
                f"{self.path} was made by a newer pourstats (store version {found}, this one reads"
                f" up to {schema.VERSION}); update pourstats"
            )
        return found

    def _open(self, read_only: bool) -> duckdb.DuckDBPyConnection:
        import duckdb

        deadline = time.monotonic() + self.patience_s
        pause = 0.01
        while True:
            try:
                connection = duckdb.connect(
                    str(self.path),
                    read_only=read_only,
                    config={
                        "autoinstall_known_extensions": "false",
                        "autoload_known_extensions": "false",
                    },
                )
                connection.execute("SET preserve_insertion_order = true")
                return connection
            except duckdb.Error as error:
                text = str(error)
                if "lock" not in text.lower():
                    raise self._unusable(text) from None
                if time.monotonic() > deadline:
                    raise Refusal(
                        f"{self.path} is held by {_holder(text)}; waited {self.patience_s:g} s."
                        " Close that program, or try again"
                    ) from None
            time.sleep(pause * random.uniform(0.5, 1.5))
            pause = min(pause * 1.5, 0.2)

    def _unusable(self, text: str) -> Refusal:
        if self.path.is_dir():
            return Refusal(f"{self.path} is a folder; --store takes a file")
        lowered = text.lower()
        if "permission denied" in lowered or "read-only" in lowered:
            return Refusal(
                f"{self.path} can't be opened: permission denied. Check whose file it is, or name"
                " another with --store"
            )
        if "no space" in lowered or "disk full" in lowered:
            return Refusal(f"{self.path}: the disk is full; make room and try again")
        return Refusal(
            f"{self.path} is not a pourstats store, or is damaged. `pourstats restore` puts a"
            " backup in its place; --store names another"
        )


def _holder(text: str) -> str:
    found = re.search(r"held in (\S+) \(PID (\d+)\)", text)
    if found is None:
        return "another program"
    return f"process {found[2]} ({Path(found[1]).name})"
