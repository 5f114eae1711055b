"""One DuckDB file: opened briefly, waited for when held, upgraded, never created by a reader.

A process that holds the file to write locks every other out, and readers lock writers out; so
nobody keeps it open. Within one process all opens go through one lock.
"""

from __future__ import annotations

import os
import re
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from pourstats.faults import Refusal, legible
from pourstats.store import schema
from pourstats.store.turns import entered

if TYPE_CHECKING:
    import duckdb

PATIENCE_S = 10.0
"""How long a held store is waited for."""
RETRY_S = 0.03
"""How often it is tried meanwhile; a try costs a quarter of that."""

_ONE_AT_A_TIME = threading.RLock()
_OPEN: set[Path] = set()
"""Files that this process holds open."""
_SEEN: set[Path] = set()
"""Files that were looked at once, before they were first opened."""


def default_path() -> Path:
    """The store's path: POURSTATS_STORE, else a file in the user's data folder."""
    named = os.environ.get("POURSTATS_STORE")
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_data_dir("pourstats", appauthor=False)) / "pours.duckdb"


_HELD = re.compile("could not set lock|conflicting lock|used by another process", re.IGNORECASE)


_FULL = re.compile("no space|disk full|disk quota|file too large", re.IGNORECASE)
_CLOSED = re.compile("permission denied|read-only file system", re.IGNORECASE)
_CORRUPT = re.compile("corrupt|checksum", re.IGNORECASE)
FULL = "the disk is full; make room and try again. What was stored before is still there"


class Store:
    """A crew's record in one file."""

    def __init__(self, path: Path | None = None, patience_s: float = PATIENCE_S) -> None:
        self.path = _itself(_at_home(path if path is not None else default_path()))
        self.patience_s = patience_s
        demand_name(self.path)

    def exists(self) -> bool:
        """Whether a file with something in it is at the store's path. Refusal for a folder."""
        if self.path.is_dir():
            raise self._unusable("")
        return self.path.is_file() and self.path.stat().st_size > 0

    @contextmanager
    def read(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A connection to read with. Refusal (status 1) where there is no store."""
        with _ONE_AT_A_TIME:
            if not self.exists():
                raise self._missing()
            with self._opened(read_only=True) as connection:
                found = schema.version(connection)
                if found == 0 and schema.is_blank(connection):
                    raise self._missing()
                if self._check(found) == schema.VERSION:
                    schema.refresh_house(connection)
                    yield connection
                    return
            with self.write():
                pass
            with self._opened(read_only=True) as connection:
                schema.refresh_house(connection)
                yield connection

    @contextmanager
    def as_it_is(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A connection to read with, an older version's tables left as they are. Refusal."""
        with _ONE_AT_A_TIME, self._opened(read_only=True) as connection:
            self._check(schema.version(connection))
            yield connection

    @contextmanager
    def write(self, create: bool = True) -> Iterator[duckdb.DuckDBPyConnection]:
        """A connection to write with, its schema up to date; makes the store unless ``create`` is
        False. The caller commits what it began."""
        with _ONE_AT_A_TIME:
            if not self.exists():
                if not create:
                    raise Refusal(f"there is no store at {self.path}", status=1)
                self._make()
            with self._opened(read_only=False) as connection:
                found = schema.version(connection)
                # Made by a process of an earlier version that was stopped before it filled it.
                if found == 0 and schema.is_blank(connection):
                    schema.create(connection)
                elif self._check(found) < schema.VERSION:
                    schema.upgrade(connection)
                schema.refresh_house(connection)
                yield connection

    def _make(self) -> None:
        """Make the store whole under another name, then give it its own: a process that is stopped
        on the way leaves no store rather than half of one."""
        new = self.path.with_name(f"{self.path.name}.new-{os.getpid()}")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            sweep(self.path, "new")
            if self.path.is_file() and self.path.stat().st_size == 0:
                # An empty file is no database to DuckDB.
                self.path.unlink()
            new.unlink(missing_ok=True)
            try:
                with Store(new)._opened(read_only=False) as connection:
                    schema.create(connection)
                publish(new, self.path)
            finally:
                _SEEN.discard(new)
                new.unlink(missing_ok=True)
                new.with_name(f"{new.name}.wal").unlink(missing_ok=True)
        except Refusal as error:
            raise Refusal(str(error).replace(str(new), str(self.path)), error.status) from None
        except OSError as error:
            if is_full(str(error.strerror)):
                raise Refusal(f"{self.path}: {FULL}") from None
            raise Refusal(
                f"can't make {error.filename or self.path.parent} ({error.strerror}); name"
                " another place with --store"
            ) from None

    @contextmanager
    def _opened(self, read_only: bool) -> Iterator[duckdb.DuckDBPyConnection]:
        """An open connection, closed in the end; an error of the file itself becomes a Refusal."""
        import duckdb

        deadline = time.monotonic() + self.patience_s
        with ExitStack() as around:
            if self.path not in _OPEN:
                around.enter_context(entered(self.path, read_only, deadline))
                _OPEN.add(self.path)
                around.callback(_OPEN.discard, self.path)
            if not read_only:
                # What DuckDB puts beside the store holds the same pay and prices.
                around.enter_context(made_private())
            connection = self._open(read_only, deadline)
            try:
                yield connection
            except (
                duckdb.IOException,
                duckdb.FatalException,
                duckdb.SerializationException,
            ) as error:
                raise self._unusable(str(error)) from None
            except duckdb.Error as error:
                # A commit that finds no room, or a folder that takes no file, is an error of the
                # transaction.
                if any(each.search(str(error)) for each in (_FULL, _CORRUPT, _CLOSED)):
                    raise self._unusable(str(error)) from None
                # The last: a table that is gone is looked for among Python's names.
                if isinstance(
                    error,
                    duckdb.CatalogException | duckdb.BinderException | duckdb.InvalidInputException,
                ):
                    self._demand_whole(connection)
                raise
            finally:
                # Of a damaged file even the closing may fail.
                with suppress(duckdb.Error):
                    connection.close()

    def _demand_whole(self, connection: duckdb.DuckDBPyConnection) -> None:
        """Refusal where a query failed since tables or columns of the store are gone."""
        import duckdb

        with suppress(duckdb.Error):
            connection.execute("ROLLBACK")
        lacking = schema.lacking(connection)
        if lacking:
            raise Refusal(
                f"{self.path} lacks {lacking[0]}, which every store has. `pourstats restore` puts a"
                " backup in its place and keeps this file beside"
            )

    def looks_like_one(self) -> bool:
        """Whether the file begins as DuckDB's do. Only where nobody of this process holds it open:
        closing a file gives up the process's lock on it."""
        with self.path.open("rb") as file:
            return file.read(12)[8:] == b"DUCK"

    def _missing(self) -> Refusal:
        return Refusal(
            f"there is no store at {self.path} yet; `pourstats load FOLDER` makes one from"
            " your logs, `pourstats demo` shows a sample season",
            status=1,
        )

    def _check(self, found: int) -> int:
        """The store's version. Refusal for what is no store, or a newer one."""
        if found == 0:
            raise Refusal(f"{self.path} is a database, but not a pourstats store; name another")
        if found > schema.VERSION:
            raise Refusal(
                f"{self.path} was made by a newer pourstats (store version {found}, this one reads"
                f" up to {schema.VERSION}); update pourstats"
            )
        return found

    def _open(self, read_only: bool, deadline: float) -> duckdb.DuckDBPyConnection:
        import duckdb

        if self.path not in _SEEN:
            with suppress(OSError):
                if self.path.is_file() and self.path.stat().st_size and not self.looks_like_one():
                    raise Refusal(f"{self.path} is not a pourstats store; --store names another")
            _SEEN.add(self.path)
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
                # It would be drawn into the results on standard output.
                connection.execute("SET enable_progress_bar = false")
                return connection
            except duckdb.Error as error:
                text = str(error)
                if not _HELD.search(text):
                    raise self._unusable(text) from None
                if time.monotonic() > deadline:
                    raise Refusal(
                        f"{self.path} is held by {_holder(text)}; waited {self.patience_s:g} s."
                        " Close that program, or try again"
                    ) from None
            time.sleep(RETRY_S)

    def _unusable(self, text: str) -> Refusal:
        if self.path.is_dir():
            return Refusal(f"{self.path} is a folder; --store takes a file")
        if _CLOSED.search(text) and ".wal" in text:
            return Refusal(
                f"{self.path} is as it was: its folder takes no new file, which every change needs"
                " beside the store. Allow that, or name another place with --store"
            )
        if _CLOSED.search(text) or "read-only" in text.lower():
            return Refusal(
                f"{self.path} can't be opened: permission denied. Check whose file it is, or name"
                " another with --store"
            )
        if _FULL.search(text):
            return Refusal(f"{self.path}: {FULL}")
        if _CORRUPT.search(text):
            return Refusal(
                f"{self.path} is damaged: what the disk gives is not what was written. `pourstats"
                " restore` puts a backup in its place and keeps this file beside"
            )
        return Refusal(
            f"{self.path} is not a pourstats store, or is damaged. `pourstats restore` puts a"
            " backup in its place; --store names another"
        )


def _itself(path: Path) -> Path:
    """The file that a link names: what is put in a link's place would leave the file behind, and
    whoever has it by its own name would write on there."""
    with suppress(OSError, RuntimeError):
        return path.resolve() if path.is_symlink() else path
    return path


def belongs_to_a_store(path: Path) -> bool:
    """Whether a file is a store or a backup of one, or the log that DuckDB keeps beside a store,
    there or not yet. Raises OSError."""
    if path.is_file() and Store(path).looks_like_one():
        return True
    beside = path.with_name(path.name.removesuffix(".wal"))
    return beside != path and beside.is_file() and Store(beside).looks_like_one()


def demand_name(path: Path) -> None:
    """Refusal for a name that DuckDB can't open: one that isn't UTF-8."""
    if legible(path) != str(path):
        raise Refusal(f"{legible(path)} has letters that aren't UTF-8; name another file")


def _at_home(path: Path) -> Path:
    """The path with a leading ``~`` as the user's own folder, which only a shell makes of it."""
    with suppress(RuntimeError):
        return path.expanduser()
    return path


@contextmanager
def made_private() -> Iterator[None]:
    """Files that this process makes meanwhile are readable by their owner alone."""
    usual = os.umask(0o077)
    try:
        yield
    finally:
        os.umask(usual)


def sweep(path: Path, what: str) -> None:
    """Take away drafts of this store whose makers were stopped on the way: files called after it,
    ``what`` they are and who made them. Windows' processes can't be asked whether they live without
    harm, so there it stays."""
    if os.name != "posix":
        return
    begins = f"{path.name}.{what}-"
    for left in path.parent.iterdir():
        maker = left.name.removeprefix(begins).removesuffix(".wal")
        if left.name.startswith(begins) and maker.isdigit():
            try:
                os.kill(int(maker), 0)
            except ProcessLookupError:
                left.unlink(missing_ok=True)
            except (OSError, OverflowError):
                continue


def is_full(text: str) -> bool:
    """Whether an error's text says that there is no room on the disk."""
    return _FULL.search(text) is not None


def publish(new: Path, path: Path) -> bool:
    """Give a finished file its name, on the disk too; False where a file of that name has come
    meanwhile, which stays. Raises OSError."""
    with new.open("rb+") as file:
        os.fsync(file.fileno())
    try:
        os.link(new, path)
    except FileExistsError:
        return False
    except OSError:
        # A file system without links.
        if path.exists():
            return False
        new.replace(path)
    new.unlink(missing_ok=True)
    settle(path.parent)
    return True


def settle(folder: Path) -> None:
    """Have the folder's names written to the disk, where the system can."""
    with suppress(OSError, AttributeError):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _holder(text: str) -> str:
    found = re.search(r"held in (\S+) \(PID (\d+)\)", text)
    if found is None:
        return "another program"
    return f"process {found[2]} ({Path(found[1]).name})"
