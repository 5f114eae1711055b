"""No room, no right to write, no power, no true clock: said plainly, and nothing stored is lost.

`python tests/faults/disks.py --moments 200` tries more of the first and the third.
"""

from __future__ import annotations

import datetime as dt
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from pourstats.faults import Refusal
from pourstats.store import access, books, rescue
from pourstats.store.database import Store
from pourstats.store.history import undo
from pourstats.store.loading import load
from tests.faults import disks, scenes

POUR = "pour_id,date,site,slab_type,area,thickness\n{},2031-06-03,Oak,garage,600,4\n"


@pytest.mark.parametrize(
    ("kind", "deed"),
    [("limit", "load"), ("limit", "taps"), ("limit", "restore"), ("full", "load"),
     ("full", "backup")],
)  # fmt: skip
def test_without_room_the_deed_says_so_and_nothing_is_lost(kind: str, deed: str) -> None:
    if why := disks.possible(kind):
        pytest.skip(why)
    assert disks.without_room(kind, deed, moments=3, seed=3).moments == 3


@pytest.mark.parametrize("deed", ["load", "taps", "restore"])
def test_a_copy_of_the_files_at_any_moment_opens_with_all_that_was_stored(deed: str) -> None:
    if why := disks.possible("cut"):
        pytest.skip(why)
    assert disks.power_cut(deed, moments=3, seed=3).moments >= 3


# Rights -------------------------------------------------------------------------------------------


def bound(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """A command that rights bind, as they bind any user but root."""
    return subprocess.run(
        [*without_roots_leave(), sys.executable, "-m", "pourstats.cli", *words,
         "--store", str(folder / "s.duckdb")],
        capture_output=True, text=True, check=False, cwd=folder,
        env={**os.environ, "PYTHONPATH": str(scenes.ROOT)},
    )  # fmt: skip


def without_roots_leave() -> list[str]:
    """What a call begins with so that root may not write what rights forbid."""
    return ["setpriv", "--bounding-set", "-dac_override,-dac_read_search"] if is_root() else []


def is_root() -> bool:
    return os.geteuid() == 0


@pytest.fixture
def closed(tmp_path: Path) -> Path:
    """A store that may be read and not written, in a folder where no file may be made."""
    if os.name == "nt":
        pytest.skip("a folder's rights are of another kind there")
    if is_root():
        if shutil.which("setpriv") is None:
            pytest.skip("rights don't bind root, and nothing here takes its leave away")
        probe = [*without_roots_leave(), sys.executable, "-c", "pass"]
        if subprocess.run(probe, capture_output=True, check=False).returncode:
            pytest.skip("rights don't bind root, and its leave can't be taken away here")
    (tmp_path / "pours.csv").write_text(POUR.format("A1"))
    load(Store(tmp_path / "s.duckdb"), [tmp_path / "pours.csv"])
    (tmp_path / "s.duckdb").chmod(0o444)
    tmp_path.chmod(0o555)
    return tmp_path


def test_a_store_that_may_only_be_read_is_read_and_a_load_is_refused(closed: Path) -> None:
    before = (closed / "s.duckdb").read_bytes()
    read = bound(closed, "table", "pours", "--json")
    assert read.returncode == 0, read.stderr
    assert '"A1"' in read.stdout
    for words in (["load", "pours.csv"], ["settings", "burden", "0.4"], ["undo"],
                  ["restore", "pours.csv"], ["backup", "b.backup"]):  # fmt: skip
        done = bound(closed, *words)
        assert done.returncode in (0, 2), done
        if words[0] == "load":
            # The same rows again need no writing, but the program can't know before it looks.
            assert done.returncode == 2
        assert "Traceback" not in done.stderr
        assert "did not foresee" not in done.stderr
        if done.returncode == 2:
            assert any(word in done.stderr.lower() for word in ("permission", "can't be"))
    assert (closed / "s.duckdb").read_bytes() == before
    assert sorted(path.name for path in closed.iterdir()) == ["pours.csv", "s.duckdb"]


def test_a_store_that_may_be_written_in_a_folder_that_takes_no_file(closed: Path) -> None:
    """DuckDB opens such a store to write, and fails at the commit."""
    (closed / "s.duckdb").chmod(0o644)
    before = (closed / "s.duckdb").read_bytes()
    for words in (["load", "pours.csv"], ["settings", "burden", "0.4"], ["undo"], ["delete", "A1"]):
        done = bound(closed, *words)
        if words[0] == "load" and done.returncode == 0:
            continue  # the same rows again need no writing
        assert done.returncode == 2
        assert "its folder takes no new file" in done.stderr
        assert "--store" in done.stderr
    assert (closed / "s.duckdb").read_bytes() == before
    # What is worked out is told all the same, and that it wasn't kept.
    answer = bound(closed, "bid", "pours.csv")
    assert answer.returncode == 0, answer.stderr
    assert "A1" in answer.stdout
    assert "kept" in answer.stderr


def test_a_folder_that_takes_no_file_is_named_with_the_way_out(closed: Path) -> None:
    closed.chmod(0o755)
    (closed / "s.duckdb").unlink()
    closed.chmod(0o555)
    done = bound(closed, "load", "pours.csv")
    assert done.returncode == 2
    assert "--store" in done.stderr
    assert str(closed) in done.stderr


# Damage -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("whole")
    scenes.DEEDS["load"].prepare(folder)
    return folder


@pytest.mark.parametrize("part", [0.0001, 0.003, 0.1, 0.5, 0.97])
def test_a_store_cut_short_is_called_so_and_left_as_it_is(
    whole: Path, tmp_path: Path, part: float
) -> None:
    data = (whole / scenes.STORE).read_bytes()
    cut = data[: int(len(data) * part)]
    path = tmp_path / "s.duckdb"
    path.write_bytes(cut)
    rescue.backup(Store(whole / scenes.STORE), tmp_path / "good.backup")
    try:
        held = scenes.contents(path)
    except Refusal as error:
        assert "restore" in str(error) or "not a pourstats store" in str(error)
    else:  # what was cut off held nothing
        assert not scenes.difference(held, scenes.contents(whole / scenes.STORE))
    assert path.read_bytes() == cut
    _, replaced = rescue.restore(Store(path), tmp_path / "good.backup")
    assert replaced is not None
    assert not scenes.difference(scenes.contents(path), scenes.contents(whole / scenes.STORE))


@pytest.mark.parametrize("seed", range(8))
def test_a_damaged_backup_is_refused_whole_or_gives_every_row(
    whole: Path, tmp_path: Path, seed: int
) -> None:
    """Bytes turned over at random places, or the end cut off."""
    import random

    chance = random.Random(seed)
    copy = tmp_path / "one.backup"
    rescue.backup(Store(whole / scenes.STORE), copy)
    data = bytearray(copy.read_bytes())
    if seed % 4 == 0:
        del data[int(len(data) * chance.uniform(0.05, 0.95)) :]
    else:
        for _ in range(seed * 3):
            data[chance.randrange(len(data))] ^= 0xFF
    copy.write_bytes(data)
    shutil.copy(whole / scenes.STORE, tmp_path / "s.duckdb")
    before = (tmp_path / "s.duckdb").read_bytes()
    wanted = scenes.contents(whole / scenes.STORE)
    try:
        rescue.restore(Store(tmp_path / "s.duckdb"), copy)
    except Refusal as error:
        assert "refused whole" in str(error) or "not a pourstats store" in str(error), error
        assert (tmp_path / "s.duckdb").read_bytes() == before
    assert not scenes.difference(scenes.contents(tmp_path / "s.duckdb"), wanted)
    assert not list(tmp_path.glob("*.restoring*"))


def test_a_store_that_version_2_made_opens_with_every_row(tmp_path: Path) -> None:
    """The season's rows as they were counted when that version loaded them."""
    scenes.DEEDS["upgrade"].prepare(tmp_path)
    held = scenes.contents(tmp_path / scenes.STORE)
    counts = {name: len(held[name]) for name in ("pours", "bids", "callbacks", "crew", "crew_time",
              "jobs", "passes", "sites", "trucks", "weather")}  # fmt: skip
    assert counts == {
        "pours": 84, "bids": 100, "callbacks": 11, "crew": 8, "crew_time": 2342, "jobs": 3,
        "passes": 238, "sites": 7, "trucks": 171, "weather": 2499,
    }  # fmt: skip


# Clock --------------------------------------------------------------------------------------------


def test_with_the_clock_set_back_the_last_change_is_still_the_last(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A load, then a year back another, a restore twice in the same second: in their order."""
    store = Store(tmp_path / "s.duckdb")
    for place, year in enumerate((2031, 2030, 2029)):
        moment = dt.datetime(year, 6, 3, 12)
        monkeypatch.setattr(books, "now", lambda moment=moment: moment)
        (tmp_path / "pours.csv").write_text(POUR.format(f"A{place}"))
        load(store, [tmp_path / "pours.csv"])
    rescue.backup(store, tmp_path / "b.backup")
    kept = [rescue.restore(store, tmp_path / "b.backup")[1] for _ in range(3)]
    assert len(set(kept)) == 3
    assert all(path is not None and path.exists() for path in kept)
    rescue.restore(Store(tmp_path / "t.duckdb"), tmp_path / "b.backup")
    told = [undo(Store(tmp_path / "t.duckdb")) for _ in range(3)]
    assert [line.split(" of ")[1][:4] for line in told] == ["2029", "2030", "2031"]


def test_with_the_clock_set_back_a_pass_still_ends(tmp_path: Path) -> None:
    """A passcode's token holds for its time from when it was given, and never longer than that
    after; a clock set back makes it last by so much."""
    store = Store(tmp_path / "s.duckdb")
    access.set_passcode(store, "office", "a long one")
    given = access.token(store, "office", now=1_000_000)
    assert access.role_in(store, given, now=1_000_000 + 29 * 60) == "office"
    assert access.role_in(store, given, now=1_000_000 + 31 * 60) is None
