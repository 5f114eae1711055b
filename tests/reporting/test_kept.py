"""What a slow command found is kept for the week, and known to be old once the store changes."""

from __future__ import annotations

from pathlib import Path

from pourstats.reporting.answers import callbacks_answer
from pourstats.reporting.week_record import review
from pourstats.store import kept
from pourstats.store.database import Store
from pourstats.store.history import delete
from pourstats.store.loading import load
from pourstats.store.sample import sample_folder


def test_floors_to_look_at_reach_the_week_and_age_with_the_store(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    load(store, sorted(sample_folder().glob("*.csv")))
    floors = callbacks_answer(store).result["floors"]
    marked = [floor for floor in floors if floor["look_at"]]
    assert marked
    with store.read() as connection:
        found = kept.read(connection, "floors_to_look_at")
    assert found is not None
    assert found[1]
    assert [floor["pour_id"] for floor in found[0]] == [floor["pour_id"] for floor in marked]
    from datetime import date

    week = review(store, date.fromisoformat(marked[0]["date"]))
    assert any(marked[0]["pour_id"] in line["text"] for line in week["look_at"])
    delete(store, marked[0]["pour_id"])
    with store.read() as connection:
        aged = kept.read(connection, "floors_to_look_at")
    assert aged is not None
    assert not aged[1]
