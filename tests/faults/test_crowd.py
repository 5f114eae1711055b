"""Loads, phones, a reader and a backup at once; `python tests/faults/crowd.py` tries more."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from pourstats.faults import Refusal
from pourstats.store.database import Store
from tests.faults import crowd, scenes


def test_all_at_once_finish_and_nothing_is_lost() -> None:
    crowd.one_round(phones=3, rows=40)


def test_ten_phones_in_one_server_process_lose_no_tap(tmp_path: Path) -> None:
    """As the pages serve them: one process, a thread a phone."""
    ends: list[str] = []

    def phone(number: int) -> None:
        try:
            scenes.tapped(tmp_path, lambda stamp: None, who=f"P{number}-")
            ends.append("done")
        except BaseException as error:
            ends.append(repr(error))

    phones = [threading.Thread(target=phone, args=(number,)) for number in range(10)]
    for one in phones:
        one.start()
    for one in phones:
        one.join(120)
    assert ends == ["done"] * 10
    held = scenes.contents(tmp_path / scenes.STORE)
    assert len(held["stamps"]) == 10 * len(scenes.TAPS)
    assert len(held["pours"]) == 10


def test_who_waits_in_vain_is_told_who_holds_the_store(tmp_path: Path) -> None:
    import subprocess
    import sys

    with Store(tmp_path / "s.duckdb").write():
        pass
    code = ("import duckdb, sys; c = duckdb.connect(sys.argv[1]); print('held', flush=True);"
            " sys.stdin.read()")  # fmt: skip
    holder = subprocess.Popen([sys.executable, "-c", code, str(tmp_path / "s.duckdb")],
                              stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)  # fmt: skip
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline().strip() == "held"
        with pytest.raises(Refusal, match="held by"):
            scenes.tap(Store(tmp_path / "s.duckdb", patience_s=0.3), "P1",
                       scenes.Tap("gone", "", scenes.SIX))  # fmt: skip
    finally:
        holder.communicate("")
    scenes.tap(Store(tmp_path / "s.duckdb"), "P1", scenes.Tap("gone", "", scenes.SIX))
