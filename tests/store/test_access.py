"""Passcodes: salted, never in clear, with tokens that end and can't be forged."""

from __future__ import annotations

from pathlib import Path

import pytest

from pourstats.faults import Refusal
from pourstats.store.access import (
    TRIES,
    Tries,
    guarded,
    role_in,
    role_of,
    set_passcode,
    token,
)
from pourstats.store.database import Store


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = Store(tmp_path / "s.duckdb")
    set_passcode(made, "office", "ledger-9")
    set_passcode(made, "crew", "trowel-4")
    return made


def test_each_passcode_opens_its_role(store: Store) -> None:
    assert role_of(store, "ledger-9") == "office"
    assert role_of(store, "trowel-4") == "crew"
    assert [role_of(store, wrong) for wrong in ("", "trowel-5", "ledger-9 ")] == [None] * 3


def test_nothing_is_asked_before_the_office_has_one(tmp_path: Path) -> None:
    bare = Store(tmp_path / "b.duckdb")
    assert guarded(bare) is False
    set_passcode(bare, "crew", "trowel-4")
    assert guarded(bare) is False
    set_passcode(bare, "office", "ledger-9")
    assert guarded(bare) is True
    set_passcode(bare, "office", "")
    assert guarded(bare) is False
    assert role_of(bare, "") is None


def test_a_passcode_is_kept_only_salted_and_hashed(store: Store, tmp_path: Path) -> None:
    assert b"trowel-4" not in store.path.read_bytes()
    twin = Store(tmp_path / "twin.duckdb")
    set_passcode(twin, "crew", "trowel-4")
    kept = []
    for each in (store, twin):
        with each.read() as connection:
            kept += connection.execute(
                "SELECT value FROM meta WHERE name = 'passcode_crew'"
            ).fetchall()
    assert kept[0] != kept[1]


def test_a_token_ends(store: Store) -> None:
    # The crew's holds 16 h, the office's 30 min.
    for role, seconds in (("crew", 16 * 3600), ("office", 30 * 60)):
        made = token(store, role, now=1000.0)
        assert role_in(store, made, now=1000.0 + seconds - 1) == role
        assert role_in(store, made, now=1000.0 + seconds) is None


@pytest.mark.parametrize("change", [
    lambda t: t.replace("crew", "office"), lambda t: t[:-1] + ("0" if t[-1] != "0" else "1"),
    lambda t: "office.99999999999." + t.split(".")[2], lambda t: "", lambda t: None,
    lambda t: "..", lambda t: "crew.x.y", lambda t: t[:-1] + "é", lambda t: "crew.٣.é",
])  # fmt: skip
def test_a_token_can_not_be_forged(store: Store, change) -> None:
    assert role_in(store, change(token(store, "crew", now=1000.0)), now=1001.0) is None


def test_a_new_passcode_ends_the_tokens_of_before(store: Store) -> None:
    made = token(store, "office")
    assert role_in(store, made) == "office"
    set_passcode(store, "crew", "another-1")
    assert role_in(store, made) is None


def test_tries_are_limited_and_come_back(store: Store) -> None:
    tries = Tries()
    for _ in range(TRIES):
        assert tries.allowed(now=100.0)
        tries.failed(now=100.0)
    assert not tries.allowed(now=101.0)
    assert tries.allowed(now=100.0 + 300.0)


def test_a_clock_set_back_locks_nobody_out_for_longer(monkeypatch: pytest.MonkeyPatch) -> None:
    tries, since_start = Tries(), 50.0
    monkeypatch.setattr("time.time", lambda: 2_000_000_000.0)
    monkeypatch.setattr("time.monotonic", lambda: since_start)
    for _ in range(TRIES):
        tries.failed()
    monkeypatch.setattr("time.time", lambda: 1_000_000_000.0)
    assert not tries.allowed()
    since_start += 301.0
    assert tries.allowed()


@pytest.mark.parametrize(
    ("role", "passcode", "said"),
    [("boss", "long-enough", "no role"), ("crew", "short", "at least 6"),
     ("crew", "ledger-9", "another")],
)  # fmt: skip
def test_what_is_refused(store: Store, role: str, passcode: str, said: str) -> None:
    with pytest.raises(Refusal, match=said):
        set_passcode(store, role, passcode)


def test_a_token_of_before_the_clock_was_set_back_ends_with_it(store: Store) -> None:
    day = 86_400.0
    for role in ("office", "crew"):
        made = token(store, role, now=100 * day)
        assert role_in(store, made, now=100 * day - 1) == role  # a clock that is put right
        assert role_in(store, made, now=99 * day) is None
