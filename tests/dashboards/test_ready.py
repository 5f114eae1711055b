"""Answers ready before they are asked for: the same ones, kept until what they rest on changes."""

from __future__ import annotations

import datetime as dt
import shutil
import threading
from pathlib import Path
from typing import Any

import pytest

from pourstats.faults import Refusal
from pourstats.planning.bid import FRAMES as BID_FRAMES
from pourstats.planning.bid import bid
from pourstats.reporting import answers, ready
from pourstats.reporting.week_record import review
from pourstats.store import kept, reading
from pourstats.store.database import Store
from pourstats.store.history import delete, undo
from pourstats.store.loading import load
from pourstats.store.rules import set_rule
from pourstats.store.tapping import Tap, tap

SAMPLE = Path(__file__).resolve().parents[2] / "sample_logs"
NOON = dt.datetime(2031, 9, 1, 12, 0)


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("season") / "s.duckdb"
    load(Store(path), sorted(SAMPLE.glob("*.csv")))
    ready.ready(Store(path))
    return path


@pytest.fixture
def store(season: Path, tmp_path: Path) -> Store:
    return Store(Path(shutil.copy(season, tmp_path / "s.duckdb")))


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of answers that are worked out, from here on, as they are."""
    forget()
    names: list[str] = []
    for name, kind in ready.KINDS.items():

        def make(store: Store, name: str = name, kind: ready.Kind = kind) -> dict:
            names.append(name)
            return kind.make(store)

        monkeypatch.setitem(ready.KINDS, name, ready.Kind(kind.tables, make))
    return names


def forget() -> None:
    """As another process would begin."""
    ready._KNOWN.clear()


def rounded(found: Any) -> Any:
    """To nine places: sums over parallel threads may differ in the last one."""
    if isinstance(found, float):
        return float(f"{found:.9g}")
    if isinstance(found, dict):
        return {name: rounded(each) for name, each in found.items()}
    return [rounded(each) for each in found] if isinstance(found, list) else found


def test_what_is_kept_is_what_the_commands_say(store: Store, made: list[str]) -> None:
    with store.read() as connection:
        coming = ready.next_jobs(reading.frames(connection, "jobs", "pours"))
    ids = tuple(coming["pour_id"].head(3))
    call = answers.asked(store, ids, None, BID_FRAMES)
    for name, told in (
        ("bid", bid(call.jobs, call.record, call.house, 0.7)),
        ("rates", answers.rate_card_answer(store).result),
        ("callbacks", answers.callbacks_answer(store).result),
        ("patterns", answers.patterns_answer(store).result),
        ("week", review(store, None)),
    ):
        assert rounded(ready.answer(store, name)) == rounded(told), name
    assert made == [], "it was worked out once, when the store was made ready"


def test_a_tap_works_nothing_out_anew_and_is_seen(store: Store, made: list[str]) -> None:
    tap(store, "N1", Tap("machine_on", "", NOON))
    ready.ready(store)
    assert made == []
    week = ready.answer(store, "week")
    assert "N1" in [each["pour_id"] for each in week["unfinished"]]
    assert rounded(week) == rounded(review(store, None))


def test_a_delete_and_its_undo_and_a_house_rule_work_out_anew(
    store: Store, made: list[str]
) -> None:
    before = ready.answer(store, "patterns")
    delete(store, "B297")
    assert ready.answer(store, "patterns")["first_pass"] != before["first_pass"]
    undo(store)
    assert rounded(ready.answer(store, "patterns")) == rounded(before)
    set_rule(store, "burden", "0.5")
    ready.answer(store, "patterns")
    assert made == ["patterns"] * 3


def test_another_version_of_the_program_works_all_out_anew(
    store: Store, made: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    ready.answer(store, "patterns")
    assert made == []
    monkeypatch.setattr(kept, "_program", lambda: "another")
    ready.answer(store, "patterns")
    assert made == ["patterns"]


def test_a_kept_result_that_is_none_is_worked_out(store: Store, made: list[str]) -> None:
    kept.keep(store, "page_patterns", ["somebody else's"], 1)
    assert ready.answer(store, "patterns")["first_pass"]
    assert made == ["patterns"]


def test_without_a_store_it_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="no store"):
        ready.answer(Store(tmp_path / "none.duckdb"), "week")


def test_a_server_that_watches_makes_them_ready_for_whoever_loads(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ready, "LOOK_S", 0.05)
    monkeypatch.setattr(ready, "QUIET_S", 0.2)
    looked = threading.Semaphore(0)
    monkeypatch.setattr(ready, "ready", lambda store: looked.release())
    ended = threading.Event()
    watching = threading.Thread(target=ready.watch, args=(store, ended), daemon=True)
    watching.start()
    try:
        assert looked.acquire(timeout=60), "it began without waiting for a change"
        set_rule(store, "burden", "0.4")
        assert looked.acquire(timeout=60), "it saw the change"
    finally:
        ended.set()
        watching.join(timeout=60)
    assert not watching.is_alive()
