"""A whole, consistent copy of the store, and putting one back: all of it or none."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from pourstats.faults import Refusal
from pourstats.store import books
from pourstats.store.database import (
    Store,
    belongs_to_a_store,
    demand_name,
    is_full,
    made_private,
    publish,
    settle,
    sweep,
)
from pourstats.store.schema import first_row, lacking, meta_number

if TYPE_CHECKING:
    import duckdb


def backup(store: Store, target: Path) -> int:
    """Copy the store to a file, which must not exist yet; how many pours are in it.

    Raises Refusal.
    """
    if not store.exists():
        raise Refusal(f"there is no store at {store.path} to back up", status=1)
    demand_name(target)
    if target.exists():
        raise Refusal(f"{target} is there already; name a new file, so that no backup is lost")
    if belongs_to_a_store(target):
        raise Refusal(f"{target} is where a store keeps its own log; name another file")
    with store.read() as connection, made_private():
        digest = _digest(connection)
        part = target.with_name(target.name + ".part")
        try:
            _forget(part)
            name = first_row(connection.execute("SELECT current_database()"))
            assert name is not None
            # DuckDB calls a database after its file, whose name may hold anything.
            own, copied = (_quoted(each) for each in (name[0], f"{name[0]} copied"))
            connection.execute(f"ATTACH '{_escaped(part)}' AS {copied} (READ_WRITE)")
            try:
                connection.execute(f"COPY FROM DATABASE {own} TO {copied}")
                connection.execute(
                    f"INSERT INTO {copied}.meta VALUES ('backup_digest', ?)", [digest]
                )
                # Here and not by the detaching, which would hide why it failed.
                connection.execute(f"CHECKPOINT {copied}")
            finally:
                connection.execute(f"DETACH {copied}")
            if not publish(part, target):
                raise FileExistsError(f"{target} came meanwhile")
        except Exception as error:
            with contextlib.suppress(OSError):
                _forget(part)
            why = "the disk is full; make room" if is_full(str(error)) else _first_line(error)
            raise Refusal(
                f"the backup {target} can't be written ({why}); the store is as it was"
            ) from None
        pours = first_row(connection.execute("SELECT count(*) FROM pours"))
        return int(pours[0]) if pours else 0


def restore(store: Store, source: Path) -> tuple[int, Path | None]:
    """Put a backup in the store's place: how many pours are in it, and where the store that it
    replaced now lies (None if there was none).

    A damaged or foreign backup is refused and the store stays as it was, as is a file at the
    store's path that is no store. Raises Refusal.
    """
    if not source.is_file():
        raise Refusal(f"there is no backup file {source}")
    if store.exists() and source.resolve() == store.path.resolve():
        raise Refusal(f"{source} is the store itself; name the backup")
    _refuse_foreign(store)
    # One's own: of two restores at once neither may take the other's half-made copy for its own.
    part = store.path.with_name(f"{store.path.name}.restoring-{os.getpid()}")
    try:
        store.path.parent.mkdir(parents=True, exist_ok=True)
        sweep(store.path, "restoring")
        _forget(part)
        with made_private():
            shutil.copyfile(source, part)
    except OSError as error:
        with contextlib.suppress(OSError):
            _forget(part)
        where = "can't be read" if source == Path(error.filename or "") else (
            f"can't be copied to {store.path.parent}"
        )  # fmt: skip
        raise Refusal(f"{source} {where} ({error.strerror}); the store is as it was") from None
    try:
        pours = _checked(part, source)
        replaced = _free_name(store) if store.exists() else None
        if replaced is not None:
            shutil.copymode(store.path, part)
        if replaced is not None:
            _note(part, replaced)
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        _swap(store, part, replaced)
    except OSError as error:
        raise Refusal(
            f"{store.path} can't be replaced ({error.strerror}); the store is as it was"
        ) from None
    finally:
        with contextlib.suppress(OSError):
            _forget(part)
    return pours, replaced


def _refuse_foreign(store: Store) -> None:
    path = store.path
    if not path.exists():
        return
    if not path.is_file():
        raise Refusal(f"{path} is no file that a store could be; --store takes a file")
    if path.stat().st_size and not store.looks_like_one():
        raise Refusal(
            f"{path} is not a pourstats store, and was left alone; move it away, or name another"
        )
    try:
        with store.read():
            pass
    except Refusal as error:
        if "not a pourstats store; name another" in str(error) or "newer" in str(error):
            raise


def _free_name(store: Store) -> Path:
    """Where the store that is to be replaced will lie: beside, under a name that is not taken."""
    stamp = books.now().strftime("%Y%m%d-%H%M%S")
    count = 0
    while True:
        again = f"-{count}" if count else ""
        name = f"{store.path.stem}.replaced-{stamp}{again}{store.path.suffix}"
        aside = store.path.with_name(name)
        if not aside.exists():
            return aside
        count += 1


def _swap(store: Store, part: Path, aside: Path | None) -> None:
    """Put ``part`` in the store's place. At every moment there is a whole store there, and the one
    that was there keeps a name."""
    with _held(store):
        if aside is not None:
            _also_named(store.path, aside)
        log = store.path.with_name(store.path.name + ".wal")
        if log.exists():
            # Of a store that can't be opened: it must not meet the new one.
            kept = aside if aside is not None else _free_name(store)
            _also_named(log, kept.with_name(kept.name + ".wal"))
            log.unlink()
        if os.name != "nt":
            part.replace(store.path)
    if os.name == "nt":
        # A file that is open can't be replaced there.
        part.replace(store.path)
    settle(store.path.parent)


def _also_named(path: Path, name: Path) -> None:
    try:
        os.link(path, name)
    except OSError:
        # A file system without links.
        shutil.copy2(path, name)


def _note(part: Path, replaced: Path) -> None:
    """Write the restoring down as the last change, so that undo says where the other store is."""
    with Store(part).write(create=False) as connection:
        connection.execute("BEGIN")
        first = meta_number(connection, "next_seq")
        books.finish(connection, books.begin(connection, "restore", str(replaced)), first)
        connection.execute("COMMIT")


@contextlib.contextmanager
def _held(store: Store) -> Iterator[None]:
    """Nobody else holds the store, or Refusal; a damaged one may be replaced all the same."""
    with contextlib.ExitStack() as stack:
        try:
            if store.exists():
                connection = stack.enter_context(store.write(create=False))
                connection.execute("CHECKPOINT")
        except Refusal as error:
            if "held by" in str(error):
                raise
        yield


def _checked(part: Path, source: Path) -> int:
    copy = Store(part)
    try:
        # Before an older version's tables are brought up to this one's.
        with copy.as_it_is() as connection:
            row = first_row(
                connection.execute("SELECT value FROM meta WHERE name = 'backup_digest'")
            )
            # Of a plain copy of a store too, since it reads every row: one that is cut short opens.
            found = _digest(connection)
            if row is not None and not _agree(row[0], found):
                raise Refusal("its rows are not the ones that were backed up")
        with copy.write(create=False) as connection:
            gone = lacking(connection)
            if gone:
                raise Refusal(f"it lacks {gone[0]}, which every store has")
            connection.execute("DELETE FROM meta WHERE name = 'backup_digest'")
            pours = first_row(connection.execute("SELECT count(*) FROM pours"))
            return int(pours[0]) if pours else 0
    except Exception as error:
        # Only what is wrong: what to do with a store doesn't help with a backup.
        text = _first_line(str(error).replace(str(part), str(source))).partition(". `")[0]
        text = text.partition("; --store")[0].partition("; name another")[0]
        raise Refusal(
            f"{source} is damaged or no backup of pourstats, and was refused whole; the store is"
            f" as it was ({text})"
        ) from None


def _agree(kept: str, now: str) -> bool:
    """Whether the digests tell of the same rows. DuckDB doesn't promise that its hash stays the
    same from version to version: of a backup that another one made the counts are compared."""
    kept_by, now_by = (text.partition("|")[0] for text in (kept, now))
    if "duckdb " not in kept_by:  # as backups had it at first
        return kept == now.partition("|")[2]
    if kept_by == now_by:
        return kept == now
    return _counts(kept) == _counts(now)


def _counts(digest: str) -> list[str]:
    return [part.rpartition(":")[0] for part in digest.split("|")[1:]]


def _digest(connection: duckdb.DuckDBPyConnection) -> str:
    """The version of DuckDB, then of every table how many rows and a number over them all: what a
    backup must give again."""
    import duckdb

    parts = [f"duckdb {duckdb.__version__}"]
    tables = connection.execute(
        "SELECT table_name FROM duckdb_tables() WHERE NOT temporary AND NOT internal"
        " AND database_name = current_database() ORDER BY table_name"
    ).fetchall()
    for (name,) in tables:
        where = " WHERE name <> 'backup_digest'" if name == "meta" else ""
        row = first_row(
            connection.execute(
                f'SELECT count(*), coalesce(sum(hash(t)::HUGEINT), 0) FROM (SELECT * FROM "{name}"'
                f"{where}) AS t"
            )
        )
        assert row is not None
        parts.append(f"{name}:{row[0]}:{row[1]}")
    return "|".join(parts)


def _first_line(error: object) -> str:
    return str(error).splitlines()[0][:200] if str(error) else type(error).__name__


def _escaped(path: Path) -> str:
    return str(path).replace("'", "''")


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _forget(path: Path) -> None:
    with contextlib.suppress(FileNotFoundError):
        path.unlink()
    with contextlib.suppress(FileNotFoundError):
        path.with_name(path.name + ".wal").unlink()
