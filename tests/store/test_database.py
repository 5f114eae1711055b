"""One file, many callers: held, missing, foreign, damaged, older, newer, copied and put back."""

from __future__ import annotations

import lzma
import os
import shutil
import stat
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pytest

from pourstats.faults import Refusal
from pourstats.logs.tables import TABLES
from pourstats.store import reading, rules, schema, turns
from pourstats.store.database import Store, default_path
from pourstats.store.history import delete, undo
from pourstats.store.loading import load
from pourstats.store.rescue import backup, restore

TIMEOUT_S = 60


@pytest.fixture
def holder(ledger: Any) -> Iterator[subprocess.Popen[str]]:
    """Another process that holds the store open to write."""
    code = f"""
        import duckdb, sys
        held = duckdb.connect({str(ledger.store.path)!r})
        print("held", flush=True)
        sys.stdin.readline()
    """
    process = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(code)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    yield process
    if process.poll() is None:
        process.communicate("\n", timeout=TIMEOUT_S)


# Held ---------------------------------------------------------------------------------------------


def test_a_held_store_is_refused_by_the_holders_name(
    ledger: Any, holder: subprocess.Popen[str]
) -> None:
    impatient = Store(ledger.store.path, patience_s=0.05)
    with pytest.raises(Refusal, match=str(holder.pid)) as caught, impatient.write():
        pass
    assert caught.value.status == 2
    assert "held by" in str(caught.value)
    with pytest.raises(Refusal, match=str(holder.pid)), impatient.read():
        pass
    copy = ledger.folder / "copy.backup"
    with pytest.raises(Refusal, match=str(holder.pid)):
        backup(impatient, copy)
    assert not copy.exists()


def test_a_held_store_is_waited_for(ledger: Any, holder: subprocess.Popen[str]) -> None:
    import threading

    def release() -> None:
        holder.communicate("\n", timeout=TIMEOUT_S)

    timer = threading.Timer(0.3, release)
    timer.start()
    with Store(ledger.store.path, patience_s=TIMEOUT_S).write() as connection:
        assert connection.execute("SELECT count(*) FROM pours").fetchone() == (0,)
    timer.join()


def test_a_restore_over_a_held_store_is_refused(
    full: Any, tmp_path: Path, holder: subprocess.Popen[str]
) -> None:
    """The fixtures share the folder, so that the holder holds the full store."""
    impatient = Store(full.store.path, patience_s=0.05)
    source = tmp_path / "copy.backup"
    Store(source).write().__enter__().close()
    with pytest.raises(Refusal) as caught:
        restore(impatient, source)
    assert caught.value.status == 2


def test_readers_do_not_lock_one_another_out(full: Any) -> None:
    code = f"""
        from pathlib import Path
        from pourstats.store.database import Store
        with Store(Path({str(full.store.path)!r}), patience_s=0).read() as connection:
            print(connection.execute("SELECT count(*) FROM pours").fetchone()[0])
    """
    with full.store.read():
        done = subprocess.run(
            [sys.executable, "-c", textwrap.dedent(code)], capture_output=True, text=True,
            check=False, timeout=TIMEOUT_S,
        )  # fmt: skip
    assert done.stdout == "1\n", done.stderr


# Missing ------------------------------------------------------------------------------------------


def test_a_read_never_makes_a_store(tmp_path: Path) -> None:
    store = Store(tmp_path / "deep" / "s.duckdb")
    with pytest.raises(Refusal) as caught, store.read():
        pass
    assert caught.value.status == 1
    assert "pourstats load" in str(caught.value)
    assert list(tmp_path.iterdir()) == []
    found = rules.in_force(store, "burden")
    assert found["burden"]["value"] == 0.35
    assert list(tmp_path.iterdir()) == []


def test_a_write_makes_the_folders_too(tmp_path: Path) -> None:
    store = Store(tmp_path / "a" / "b" / "s.duckdb")
    with store.write():
        pass
    assert store.exists()


def test_the_path_comes_from_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("POURSTATS_STORE", str(tmp_path / "mine.duckdb"))
    assert default_path() == tmp_path / "mine.duckdb"
    monkeypatch.setenv("POURSTATS_STORE", "")
    assert default_path().name == "pours.duckdb"


# Foreign, damaged, newer --------------------------------------------------------------------------


def _foreign(path: Path) -> None:
    connection = duckdb.connect(str(path))
    connection.execute("CREATE TABLE pours (a INTEGER); INSERT INTO pours VALUES (1)")
    connection.close()


def _newer(path: Path) -> None:
    with Store(path).write() as connection:
        connection.execute("UPDATE meta SET value = '99' WHERE name = 'schema_version'")


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda path: path.write_bytes(b"pour_id,date\nA1,2031-06-03\n" * 400), "not a pourstats"),
        (lambda path: path.write_bytes(b"\0" * 20_000), "not a pourstats"),
        (lambda path: path.write_bytes(b"x"), "not a pourstats"),
        (_foreign, "not a pourstats store"),
        (_newer, "newer pourstats"),
        (lambda path: path.mkdir(), "folder"),
    ],
)
def test_what_is_no_store_is_refused_and_left_as_it_was(
    tmp_path: Path, make: Any, says: str
) -> None:
    path = tmp_path / "s.duckdb"
    make(path)
    before = path.read_bytes() if path.is_file() else None
    for opened in (Store(path).read, Store(path).write):
        with pytest.raises(Refusal, match=says) as caught, opened():
            pass
        assert caught.value.status in (1, 2)
    if before is not None:
        assert path.read_bytes() == before


@pytest.mark.parametrize("way", ["empty", "blank"])
def test_a_store_that_was_never_filled_is_none_yet(
    tmp_path: Path, shapes: dict[str, Any], way: str
) -> None:
    """What a process leaves that was killed while it made the store; or an empty file."""
    ledger = shapes["Ledger"](tmp_path, made=False)
    if way == "empty":
        ledger.store.path.touch()
    else:
        duckdb.connect(str(ledger.store.path)).close()
        with pytest.raises(Refusal) as caught, ledger.store.read():
            pass
        assert caught.value.status == 1
    with pytest.raises(Refusal), ledger.store.read():
        pass
    with ledger.store.write() as connection:
        assert schema.version(connection) == schema.VERSION
    assert ledger.one("pours").status == 0


def test_a_truncated_store_is_refused(full: Any) -> None:
    data = full.store.path.read_bytes()
    full.store.path.write_bytes(data[: len(data) // 2])
    with pytest.raises(Refusal) as caught, full.store.read() as connection:
        connection.execute("SELECT * FROM pours").fetchall()
    assert caught.value.status == 2


def test_a_load_into_what_is_no_store_is_refused(full: Any) -> None:
    full.store.path.write_bytes(b"not a store" * 1000)
    with pytest.raises(Refusal) as caught:
        full.one("pours")
    assert caught.value.status == 2


# Upgrade ------------------------------------------------------------------------------------------

SINCE_2 = ("mappings", "kept")


def as_version_1(path: Path) -> None:
    """Turns a store of today into one of version 1: without what came later, and saying so."""
    connection = duckdb.connect(str(path))
    for name in SINCE_2:
        connection.execute(f"DROP TABLE {name}")
    connection.execute("UPDATE meta SET value = '1' WHERE name = 'schema_version'")
    connection.close()


@pytest.mark.parametrize("way", ["read", "write", "load", "undo", "backup", "restore"])
def test_a_store_of_the_version_before_opens_with_all_its_rows(full: Any, way: str) -> None:
    before = _rows(full.store)
    as_version_1(full.store.path)
    if way == "read":
        with full.store.read():
            pass
    elif way == "write":
        with full.store.write():
            pass
    elif way == "load":
        assert full.one("pours").status == 0
    elif way == "undo":
        delete(full.store, "A1")
        undo(full.store)
    elif way == "backup":
        backup(full.store, full.folder / "copy.backup")
    else:
        source = full.folder / "old.duckdb"
        full.store.path.rename(source)
        restore(full.store, source)
    with full.store.read() as connection:
        assert schema.version(connection) == schema.VERSION
        for name in SINCE_2:
            connection.execute(f"SELECT * FROM {name}")
    assert _rows(full.store) == before


def test_a_column_that_came_later_is_blank_in_older_rows(full: Any) -> None:
    before = _rows(full.store)
    as_version_1(full.store.path)
    connection = duckdb.connect(str(full.store.path))
    for table in ("pours", "deleted_pours"):
        connection.execute(f"ALTER TABLE {table} DROP COLUMN notes")
    connection.close()
    assert _rows(full.store) == before
    assert full.one("pours", notes="late").tables["pours"]["replaced"] == 1


def _rows(store: Store) -> dict[str, list[Any]]:
    found = {}
    with store.read() as connection:
        for name, table in TABLES.items():
            listed = ", ".join(f'"{column}"' for column in table.names)
            found[name] = connection.execute(
                f"SELECT {listed} FROM {name} ORDER BY _seq"
            ).fetchall()
    return found


# Backup and restore -------------------------------------------------------------------------------


def test_backup_and_restore_bring_all_back(full: Any) -> None:
    rules.set_rule(full.store, "burden", "0.4")
    full.one("pours", area="700")
    full.one("trucks", pour_id="Z9")
    copy = full.folder / "copy.backup"
    assert backup(full.store, copy) == 1
    before, books = _rows(full.store), _books(full.store)
    delete(full.store, "A1")
    rules.set_rule(full.store, "burden", "0.6")
    assert restore(full.store, copy)[0] == 1
    assert _rows(full.store) == before
    found = _books(full.store)
    # The restoring itself is written down, so that undo knows of it.
    assert [change[2] for change in found["changes"][-1:]] == ["restore"]
    assert {**found, "changes": found["changes"][:-1]} == books
    assert rules.in_force(full.store, "burden")["burden"]["value"] == 0.4
    with pytest.raises(Refusal, match="the store that it replaced lies at"):
        undo(full.store)
    assert copy.exists()
    assert restore(full.store, copy)[0] == 1


def _books(store: Store) -> dict[str, list[Any]]:
    with store.read() as connection:
        return {name: connection.execute(query).fetchall()
                for name, query in reading.BOOKS.items()}  # fmt: skip


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps a user's folders to the user")
def test_pay_and_prices_are_readable_by_their_owner_alone(full: Any, tmp_path: Path) -> None:
    with Store(tmp_path / "new.duckdb").write():
        pass
    copy = tmp_path / "copy.backup"
    backup(full.store, copy)
    copy.chmod(0o644)
    back = Store(tmp_path / "back.duckdb")
    restore(back, copy)
    backup(full.store, tmp_path / "second.backup")
    for name in ("new.duckdb", "second.backup", "back.duckdb"):
        assert stat.S_IMODE((tmp_path / name).stat().st_mode) == 0o600, name
    # Where the owner has opened a store to others, putting a backup in its place keeps that.
    back.path.chmod(0o640)
    restore(back, copy)
    assert stat.S_IMODE(back.path.stat().st_mode) == 0o640


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps a user's folders to the user")
def test_what_lies_beside_a_store_while_it_is_written_is_its_owners_alone(full: Any) -> None:
    usual = os.umask(0o022)
    try:
        with full.store.write() as connection:
            connection.execute("INSERT INTO meta VALUES ('tried', '1')")
            log = full.store.path.with_name(full.store.path.name + ".wal")
            assert stat.S_IMODE(log.stat().st_mode) == 0o600
        assert os.umask(0o022) == 0o022  # and other files are made as ever
    finally:
        os.umask(usual)


@pytest.mark.skipif(os.name == "nt", reason="nobody asks there whether a process lives")
def test_what_a_killed_maker_left_is_taken_away_and_a_living_ones_is_not(tmp_path: Path) -> None:
    gone = subprocess.Popen([sys.executable, "-c", "pass"])
    gone.wait()
    left = [tmp_path / f"s[1].duckdb.new-{gone.pid}{end}" for end in ("", ".wal")]
    alive = tmp_path / f"s[1].duckdb.new-{os.getppid()}"
    others = [tmp_path / "s[1].duckdb.new-notes", tmp_path / "s[1].duckdb.newest"]
    for path in (*left, alive, *others):
        path.write_bytes(b"half")
    with Store(tmp_path / "s[1].duckdb").write():
        pass
    assert not any(path.exists() for path in left)
    assert all(path.exists() for path in (alive, *others))


def test_a_tilde_is_the_users_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    monkeypatch.setenv("POURSTATS_STORE", "~/mine.duckdb")
    assert Store().path == Store(Path("~/mine.duckdb")).path == tmp_path / "mine.duckdb"


def test_restore_where_there_is_no_store(full: Any, tmp_path: Path) -> None:
    copy = full.folder / "copy.backup"
    backup(full.store, copy)
    other = Store(tmp_path / "new" / "place" / "s.duckdb")
    assert restore(other, copy) == (1, None)
    assert _rows(other) == _rows(full.store)


def _rot(path: Path) -> None:
    """Other bytes in the blocks of data, behind DuckDB's own headers."""
    data = bytearray(path.read_bytes())
    for place in range(3 * 4096 + 64, len(data), 512):
        data[place] ^= 0xFF
    path.write_bytes(data)


def test_a_store_whose_blocks_have_rotted_is_called_damaged(full: Any) -> None:
    before = _rows(full.store)
    copy = full.folder / "copy.backup"
    backup(full.store, copy)
    _rot(full.store.path)
    with pytest.raises(Refusal, match="is damaged: what the disk gives is not what was written"):
        _rows(full.store)
    assert restore(full.store, copy)[0] == 1
    assert _rows(full.store) == before


GONE = {
    "DROP TABLE trucks": "the table trucks",
    "ALTER TABLE pours DROP COLUMN hands": "the column hands of pours",
    "DROP TABLE settings": "the table settings",
    "ALTER TABLE set_aside DROP COLUMN mark": "the column mark of set_aside",
}


@pytest.mark.parametrize(("query", "says"), GONE.items(), ids=GONE.values())
def test_a_store_without_a_part_of_it_is_refused_also_as_a_backup(
    full: Any, shapes: dict[str, Any], query: str, says: str
) -> None:
    spoiled = full.folder / "spoiled.duckdb"
    shutil.copy(full.store.path, spoiled)
    connection = duckdb.connect(str(spoiled))
    connection.execute(query)
    connection.close()
    before = full.store.path.read_bytes()
    with pytest.raises(Refusal, match=f"refused whole.* lacks {says}"):
        restore(full.store, spoiled)
    assert full.store.path.read_bytes() == before
    with pytest.raises(Refusal, match=f"lacks {says}"):
        load(Store(spoiled), [full.path({"pours": [{**shapes["rows"]["pours"], "pour_id": "A2"}],
                                         "trucks": [{**shapes["rows"]["trucks"], "pour_id": "-"}]})])  # fmt: skip


def test_a_version_that_is_no_number_is_no_store(full: Any) -> None:
    with full.store.write() as connection:
        connection.execute("UPDATE meta SET value = 'x' WHERE name = 'schema_version'")
    with pytest.raises(Refusal, match="not a pourstats store"), full.store.read():
        pass


def test_restore_replaces_a_damaged_store(full: Any) -> None:
    before = _rows(full.store)
    copy = full.folder / "copy.backup"
    backup(full.store, copy)
    full.store.path.write_bytes(full.store.path.read_bytes()[:20] + b"damaged" * 1000)
    assert restore(full.store, copy)[0] == 1
    assert _rows(full.store) == before


@pytest.mark.parametrize(
    "spoil", ["cut", "bits", "csv", "foreign", "newer", "row", "missing", "empty"]
)
def test_a_spoiled_backup_is_refused_whole(full: Any, spoil: str) -> None:
    copy = full.folder / "copy.backup"
    backup(full.store, copy)
    data = bytearray(copy.read_bytes())
    if spoil == "cut":
        copy.write_bytes(data[: len(data) * 2 // 3])
    elif spoil == "bits":
        for place in range(len(data) // 3, len(data), 997):
            data[place] ^= 0xFF
        copy.write_bytes(data)
    elif spoil == "csv":
        copy.write_text("pour_id,date\n")
    elif spoil == "empty":
        copy.write_bytes(b"")
    elif spoil == "missing":
        copy.unlink()
    elif spoil == "foreign":
        copy.unlink()
        _foreign(copy)
    else:
        connection = duckdb.connect(str(copy))
        connection.execute(
            "UPDATE meta SET value = '99' WHERE name = 'schema_version'"
            if spoil == "newer"
            else "UPDATE pours SET area = 601"
        )
        connection.close()
    before, store = _rows(full.store), full.store.path.read_bytes()
    with pytest.raises(Refusal) as caught:
        restore(full.store, copy)
    assert caught.value.status == 2
    assert _rows(full.store) == before
    assert full.store.path.read_bytes() == store
    assert not [p for p in full.folder.iterdir() if "restoring" in p.name]


OLD_DIGEST = """SELECT count(*), coalesce(sum(hash(t)::HUGEINT), 0) FROM (SELECT * FROM "{}"{}) t"""


@pytest.mark.parametrize("spoilt", [False, True])
def test_a_backup_by_version_2_is_restored_and_a_spoilt_one_refused(
    tmp_path: Path, spoilt: bool
) -> None:
    """Its digest, as that version wrote it, is of the tables before they are upgraded."""
    packed = Path(__file__).parents[1] / "faults" / "version_2.duckdb.xz"
    copy, store = tmp_path / "old.backup", Store(tmp_path / "s.duckdb")
    copy.write_bytes(lzma.decompress(packed.read_bytes()))
    connection = duckdb.connect(str(copy))
    names = connection.execute(
        "SELECT table_name FROM duckdb_tables() WHERE NOT temporary ORDER BY table_name"
    ).fetchall()
    parts = []
    for (name,) in names:
        where = " WHERE name <> 'backup_digest'" if name == "meta" else ""
        (row,) = connection.execute(OLD_DIGEST.format(name, where)).fetchall()
        parts.append(f"{name}:{row[0]}:{row[1]}")
    connection.execute("INSERT INTO meta VALUES ('backup_digest', ?)", ["|".join(parts)])
    (pours,) = connection.execute("SELECT count(*) FROM pours").fetchall()[0]
    if spoilt:
        connection.execute("UPDATE pours SET area = 601 WHERE pour_id = (SELECT min(pour_id)"
                           " FROM pours)")  # fmt: skip
    connection.close()
    if spoilt:
        with pytest.raises(Refusal, match="not the ones that were backed up"):
            restore(store, copy)
        assert not store.path.exists()
    else:
        assert restore(store, copy) == (pours, None)


@pytest.mark.parametrize("lost", [False, True])
def test_a_backup_by_another_duckdb_is_held_against_its_counts(full: Any, lost: bool) -> None:
    copy = full.folder / "copy.backup"
    backup(full.store, copy)
    connection = duckdb.connect(str(copy))
    connection.execute("UPDATE meta SET value = regexp_replace(regexp_replace(value, 'duckdb [^|]*',"
                       " 'duckdb 0.1'), ':[0-9]+([|]|$)', ':7\\1', 'g')"
                       " WHERE name = 'backup_digest'")  # fmt: skip
    if lost:
        connection.execute("DELETE FROM pours")
    connection.close()
    if lost:
        with pytest.raises(Refusal, match="not the ones that were backed up"):
            restore(full.store, copy)
    else:
        assert restore(full.store, copy)[0] == 1


def test_a_backup_overwrites_nothing(full: Any) -> None:
    there = full.folder / "there"
    there.write_text("dear")
    with pytest.raises(Refusal) as caught:
        backup(full.store, there)
    assert caught.value.status == 2
    assert there.read_text() == "dear"
    with pytest.raises(Refusal):
        backup(full.store, full.folder / "no" / "such" / "folder.backup")
    with pytest.raises(Refusal):
        restore(full.store, full.store.path)


def test_a_backup_of_nothing(tmp_path: Path) -> None:
    with pytest.raises(Refusal) as caught:
        backup(Store(tmp_path / "s.duckdb"), tmp_path / "copy")
    assert caught.value.status == 1
    assert list(tmp_path.iterdir()) == []


# A load that is killed ----------------------------------------------------------------------------


@pytest.mark.parametrize("moment", ["store_rows", "take_up", "finish"])
def test_a_killed_load_leaves_all_of_a_file_or_nothing(full: Any, moment: str) -> None:
    """The process dies without a word in the middle of the second file."""
    rows = "\n".join(f"P{i},2031-06-03,Oak,garage,600,4" for i in range(2000))
    folder = full.path({
        "pours.csv": f"pour_id,date,site,slab_type,area,thickness\n{rows}\n",
        "trucks.csv": "pour_id,ticket,volume\n" + "".join(f"P{i},1,9\n" for i in range(2000)),
    })  # fmt: skip
    where = {"store_rows": "pourstats.store.loading.store_rows",
             "take_up": "pourstats.store.corrections.take_up",
             "finish": "pourstats.store.books.finish"}[moment]  # fmt: skip
    code = f"""
        import os, signal
        from pathlib import Path
        from pourstats.store import books, corrections, loading
        module, _, name = {where!r}.rpartition(".")
        module = {{"loading": loading, "corrections": corrections, "books": books}}[
            module.rpartition(".")[2]]
        real = getattr(module, name)
        def deadly(connection, *rest):
            done = real(connection, *rest)
            found = connection.execute("SELECT count(*) FROM trucks").fetchone()[0]
            if found > 1:
                os.kill(os.getpid(), getattr(signal, "SIGKILL", signal.SIGTERM))
            return done
        setattr(module, name, deadly)
        loading.load(loading.Store(Path({str(full.store.path)!r})), [Path({str(folder)!r})])
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code)], check=False, timeout=TIMEOUT_S,
        capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode != 0
    assert "Error" not in done.stderr, done.stderr
    assert full.value("SELECT count(*) FROM pours") == 2001
    assert full.value("SELECT count(*) FROM trucks") == 1
    # The same load again: what was done is unchanged, the rest is added.
    report = load(full.store, [folder])
    assert report.tables["pours"]["unchanged"] == 2000
    assert report.tables["trucks"]["added"] == 2000
    assert full.value("SELECT count(*) FROM trucks") == 2001


# The change counter -------------------------------------------------------------------------------


def test_the_change_counter_moves_with_every_change_and_only_then(full: Any) -> None:
    def counter() -> int:
        return int(full.value("SELECT value FROM meta WHERE name = 'change_counter'"))

    seen = [counter()]
    for change in (
        lambda: full.one("pours", area="700"), lambda: full.one("pours", pour_id="B2", area="0"),
        lambda: delete(full.store, "A1"), lambda: undo(full.store),
        lambda: rules.set_rule(full.store, "burden", "0.4"),
    ):  # fmt: skip
        change()
        seen.append(counter())
    assert seen == sorted(set(seen))
    full.one("pours", area="700")
    rules.set_rule(full.store, "burden", "0.4")
    with full.store.read():
        pass
    assert counter() == seen[-1]


def test_restore_keeps_what_it_replaces_and_undo_says_where(tmp_path: Path) -> None:
    pour = "pour_id,date,site,slab_type,area,thickness\n{},2031-06-03,Mill,garage,600,4\n"
    store = Store(tmp_path / "s.duckdb")
    (tmp_path / "pours.csv").write_text(pour.format("P1"))
    load(store, [tmp_path / "pours.csv"])
    backup(store, tmp_path / "one.backup")
    (tmp_path / "pours.csv").write_text(pour.format("P2"))
    load(store, [tmp_path / "pours.csv"])
    pours, replaced = restore(store, tmp_path / "one.backup")
    assert pours == 1
    assert replaced is not None
    with Store(replaced).read() as connection:
        assert connection.execute("SELECT count(*) FROM pours").fetchall() == [(2,)]
    with pytest.raises(Refusal, match="the store that it replaced lies at"):
        undo(store)
    assert restore(store, replaced)[0] == 2


@pytest.mark.parametrize("content", [b"an old ledger", b"PK\x03\x04" + b"x" * 100])
def test_restore_leaves_a_file_that_is_no_store_alone(tmp_path: Path, content: bytes) -> None:
    store = Store(tmp_path / "s.duckdb")
    with store.write():
        pass
    backup(store, tmp_path / "one.backup")
    ledger = tmp_path / "ledger.xlsx"
    ledger.write_bytes(content)
    with pytest.raises(Refusal, match="not a pourstats store"):
        restore(Store(ledger), tmp_path / "one.backup")
    assert ledger.read_bytes() == content
    with pytest.raises(Refusal, match="not a pourstats store"), Store(ledger).read():
        pass

    other = tmp_path / "invoices.duckdb"
    with duckdb.connect(str(other)) as connection:
        connection.execute("CREATE TABLE invoices AS SELECT 1 AS n")
    with pytest.raises(Refusal, match="not a pourstats store"):
        restore(Store(other), tmp_path / "one.backup")
    with pytest.raises(Refusal, match="is a folder"):
        restore(Store(tmp_path), tmp_path / "one.backup")


@pytest.mark.skipif(os.name == "nt", reason="such names and links aren't to be had there")
@pytest.mark.parametrize("name", ['a"b.duckdb', "copied.duckdb", "it's 50%; --.duckdb"])
def test_a_store_of_any_name_is_backed_up_and_restored(full: Any, name: str) -> None:
    store = Store(full.store.path.with_name(name))
    full.store.path.rename(store.path)
    assert backup(store, full.folder / f"{name}.backup") == 1
    pours, replaced = restore(store, full.folder / f"{name}.backup")
    assert pours == 1
    assert replaced is not None
    assert restore(store, replaced)[0] == 1


@pytest.mark.skipif(os.name == "nt", reason="links need a right of their own there")
def test_a_restore_through_a_link_replaces_the_store_and_not_the_link(full: Any) -> None:
    backup(full.store, full.folder / "b.backup")
    link = full.folder / "link.duckdb"
    link.symlink_to("s.duckdb")
    with full.store.write() as connection:
        connection.execute("DELETE FROM pours")
    restore(Store(link), full.folder / "b.backup")
    assert link.is_symlink()
    with full.store.read() as connection:
        assert connection.execute("SELECT count(*) FROM pours").fetchall() == [(1,)]


def test_two_restores_at_once_take_nothing_of_each_other(
    full: Any,
) -> None:
    """What another process has half copied is neither put in the store's place nor taken away."""
    backup(full.store, full.folder / "b.backup")
    other = full.folder / f"s.duckdb.restoring-{os.getppid()}"
    other.write_bytes(b"half a copy")
    old = full.folder / "s.duckdb.restoring"
    old.write_bytes(b"half a copy")
    assert restore(full.store, full.folder / "b.backup")[0] == 1
    assert other.read_bytes() == old.read_bytes() == b"half a copy"


@pytest.mark.parametrize("left", [0.6, 0.8, 0.99])
def test_a_plain_copy_of_a_store_that_was_cut_short_is_refused(full: Any, left: float) -> None:
    """It opens, and even counts its pours; only its rows can't be read."""
    with full.store.write() as connection:
        connection.execute(
            "CREATE TABLE filler AS SELECT hash(i) AS a, hash(i + 1) AS b FROM range(200000) t(i)"
        )
        connection.execute("CHECKPOINT")
    copy = full.folder / "copy.duckdb"
    data = full.store.path.read_bytes()
    copy.write_bytes(data)
    assert restore(Store(full.folder / "other.duckdb"), copy) == (1, None)
    copy.write_bytes(data[: int(len(data) * left)])
    with pytest.raises(Refusal, match="was refused whole"):
        restore(full.store, copy)
    assert full.store.path.read_bytes() == data


needs_locks = pytest.mark.skipif(os.name == "nt", reason="the door is DuckDB's lock alone there")

AT_THE_DOOR = """
import sys, time
from pathlib import Path
from pourstats.store.turns import entered
path, shared = Path(sys.argv[1]), sys.argv[2] == "reader"
with entered(path, shared, time.monotonic() + 60):
    print("in", flush=True)
    sys.stdin.read()
"""

COUNTING = """
import sys, time
from pathlib import Path
from pourstats.store.turns import entered
path = Path(sys.argv[1])
for _ in range(50):
    with entered(path, False, time.monotonic() + 60):
        count = int(path.read_text())
        time.sleep(0.001)
        path.write_text(str(count + 1))
"""


@pytest.fixture
def inside(tmp_path: Path) -> Iterator[Any]:
    """Another process that is let in to the store; it opens nothing, so that DuckDB lets all in."""
    begun = []

    def let_in(role: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-c", AT_THE_DOOR, str(tmp_path / "s.duckdb"), role],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        begun.append(process)
        assert process.stdout is not None and process.stdout.readline() == "in\n"
        return process

    yield let_in
    for process in begun:
        process.communicate("", timeout=TIMEOUT_S)


@needs_locks
@pytest.mark.parametrize(("role", "opens"), [("writer", "read"), ("reader", "write")])
def test_nobody_comes_in_beside_a_writer(
    tmp_path: Path, inside: Any, role: str, opens: str
) -> None:
    path = tmp_path / "s.duckdb"
    with Store(path).write():
        pass
    other, came = inside(role), []

    def come() -> None:
        with getattr(Store(path, patience_s=TIMEOUT_S), opens)():
            came.append(opens)

    waiting = threading.Thread(target=come)
    waiting.start()
    waiting.join(0.3)
    assert not came
    other.communicate("", timeout=TIMEOUT_S)
    waiting.join(TIMEOUT_S)
    assert came == [opens]


@needs_locks
def test_readers_come_in_beside_each_other_and_patience_ends(tmp_path: Path, inside: Any) -> None:
    path = tmp_path / "s.duckdb"
    with Store(path).write():
        pass
    inside("reader")
    with Store(path, patience_s=0.1).read(), Store(path, patience_s=0.1).read():
        pass
    before = time.monotonic()
    with Store(path, patience_s=TIMEOUT_S).read():
        pass
    assert time.monotonic() - before < TIMEOUT_S, "it waited until its patience was over"
    # A process that hangs there holds nobody up for good: DuckDB's lock decides.
    with Store(path, patience_s=0.1).write():
        pass


@needs_locks
def test_writers_are_let_in_one_at_a_time(tmp_path: Path) -> None:
    count = tmp_path / "count"
    count.write_text("0")
    writers = [subprocess.Popen([sys.executable, "-c", COUNTING, str(count)]) for _ in range(3)]
    assert [writer.wait(TIMEOUT_S) for writer in writers] == [0, 0, 0]
    assert count.read_text() == "150"


@needs_locks
def test_where_nothing_can_be_locked_the_store_opens_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse() -> int:
        raise PermissionError

    monkeypatch.setattr(turns, "_turns", refuse)
    with Store(tmp_path / "s.duckdb").write() as connection:
        assert connection.execute("SELECT 1").fetchall() == [(1,)]
