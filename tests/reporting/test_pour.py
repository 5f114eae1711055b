"""One pour, whole: the object behind command, page and sheet."""

from __future__ import annotations

import json

import pytest

from pourstats.faults import Refusal
from pourstats.reporting.pour import PRIVATE_KEYS, pour_text, pour_whole, without_private
from pourstats.store.database import Store
from pourstats.store.loading import load
from pourstats.store.sample import sample_folder


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Store:
    store = Store(tmp_path_factory.mktemp("store") / "s.duckdb")
    load(store, sorted(sample_folder().glob("*.csv")))
    return store


def test_the_pour_is_whole_and_plain_json(season: Store) -> None:
    found = pour_whole(season, "B266")
    json.dumps(found, allow_nan=False)
    assert found["pour"]["date"] == "2025-08-14"
    assert found["pour"]["place_start"] == "2025-08-14T07:40"
    assert len(found["trucks"]) == len(found["truck_times"]) == 5
    # The tickets add up: 4 x 10 yd3 and the balance of 6, less what was sent back.
    sent_back = sum(load_["returned"] or 0 for load_ in found["trucks"])
    placed = sum(load_["volume"] for load_ in found["trucks"]) - sent_back
    assert found["pour_output"]["placed_yd3"] == pytest.approx(placed)


def test_text_names_the_day_in_order_and_what_went_wrong(season: Store) -> None:
    text = pour_text(pour_whole(season, "B266"))
    assert text.index("first concrete") < text.index("struck off") < text.index("gone")
    assert "machine, rain" in text
    assert "CALLED BACK" in text
    # 5 in. = 127 mm exactly; 2,880 ft2 = 268 m2 (NIST SP 811: 1 ft = 0.3048 m).
    assert pour_text(pour_whole(season, "B266"), "metric").startswith("B266: 268 m², 127 mm shop")
    assert "labor-hours, from each person's times" in text and " °F" in text
    assert not [word for word in ("degF", "crew_time", "headcount", "ft2", "yd3") if word in text]


def test_a_young_pour_is_marked_with_its_reasons_and_a_called_back_one_is_not(
    season: Store,
) -> None:
    text = " ".join(pour_text(pour_whole(season, "B239")).split())
    assert "WILL IT COME BACK? Look at it while it is young: published guidance marks it" in text
    assert "Reasons: with the machine on before the boot print allowed it (ASCC Position" in text
    came = pour_whole(season, "B266")
    assert came["callbacks"] and came["callback_outlook"]["state"] == "called_back"
    assert came["callback_outlook"]["chance"] is None
    assert "Look at it" not in pour_text(came)


def test_no_private_key_is_left_for_others(season: Store) -> None:
    assert {"pay", "labor_rate", "bid_price", "billed"} <= PRIVATE_KEYS
    text = json.dumps(without_private(pour_whole(season, "B266")))
    assert not [key for key in PRIVATE_KEYS if f'"{key}"' in text]


def test_an_unknown_pour_is_refused_with_what_is_near(season: Store) -> None:
    with pytest.raises(Refusal, match=r"did you mean B2\d6 or"):
        pour_whole(season, "B26")
