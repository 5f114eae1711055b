"""Ten moments of each deed; `python tests/faults/kills.py --moments 200` tries more."""

from __future__ import annotations

import pytest

from tests.faults import kills, scenes


@pytest.mark.parametrize("deed", list(scenes.DEEDS))
def test_a_killed_deed_loses_nothing_and_can_be_done_again(deed: str) -> None:
    tally = kills.at_random(deed, moments=10, seed=7)
    assert tally.moments == 10


def test_a_restore_killed_at_any_line_leaves_a_whole_store() -> None:
    """Of the lines of the store's own files that a restore runs, every eightieth."""
    tally = kills.at_lines("restore", every=80)
    assert tally.moments >= 3


def test_the_comparison_would_see_a_lost_row_and_one_stored_twice(tmp_path) -> None:
    scenes.DEEDS["load"].prepare(tmp_path)
    before = scenes.contents(tmp_path / scenes.STORE)
    with scenes.Store(tmp_path / scenes.STORE).write() as connection:
        connection.execute("DELETE FROM trucks WHERE _seq = (SELECT max(_seq) FROM trucks)")
        connection.execute("INSERT INTO passes SELECT * FROM passes LIMIT 1")
    now = scenes.contents(tmp_path / scenes.STORE)
    assert "trucks" in scenes.difference(now, before)
    assert scenes.twice(tmp_path / scenes.STORE)
    with pytest.raises(AssertionError, match="stored rows are gone"):
        scenes.DEEDS["load"].holds(tmp_path, before, [])
