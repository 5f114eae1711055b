"""Kept forecasts against the log, on a handful that can be checked by hand."""

import numpy as np
import pandas as pd
import pytest

from pourstats.learning.clock import clock_score
from pourstats.learning.draws import LEVELS


def world(n=6, late=0.0):
    start = pd.Timestamp("2031-06-02 07:00") + pd.to_timedelta(np.arange(n), unit="D")
    pours = pd.DataFrame(
        {
            "pour_id": [f"P{i}" for i in range(n)],
            "place_start": start,
            "place_end": start + pd.Timedelta(minutes=60),
            "machine_on": start + pd.Timedelta(minutes=180 + late),
            "passes_done": start + pd.Timedelta(minutes=300),
        }
    )
    rows = []
    for i in range(n):
        for shift, issued in ((60, 20), (0, 10), (-90, -1)):
            # three forecasts: a stale one, the one that counts, one made after the start
            at = start[i] - pd.Timedelta(hours=issued)
            for level in LEVELS.values():
                value = 120 + shift + (level - 0.5) * 100
                rows.append((at, "finishing", f"P{i}", "since_placed_min", level, value))
    columns = ["issued_at", "command", "pour_id", "target", "quantile", "value"]
    return pd.DataFrame(rows, columns=columns), pours


def test_the_last_forecast_before_the_start_counts():
    forecasts, pours = world()
    score = clock_score(forecasts, pours, None)
    found = score["targets"]["since_placed_min"]["all"]
    assert found["pours"] == score["pours"] == 6
    assert found["error_min"] == 0  # logged 120, told 120
    assert found["inside_80"]["value"] == 1
    # mean pinball by hand: sum over levels of the loss at distance (level - 0.5) x 100
    by_hand = np.mean(
        [max(a * -(a - 0.5) * 100, (a - 1) * -(a - 0.5) * 100) for a in LEVELS.values()]
    )
    assert found["pinball_min"] == pytest.approx(by_hand, abs=0.01)


def test_bias_is_logged_less_told_and_is_said():
    forecasts, pours = world(late=45.0)
    pours["machine_on"] += pd.to_timedelta([0, 2, 4, -2, 0, 1], unit="min")
    score = clock_score(forecasts, pours, None)
    found = score["targets"]["since_placed_min"]["all"]
    assert found["bias_min"]["value"] == pytest.approx(45.8, abs=0.1)
    assert found["bias_min"]["low"] > 40
    assert found["inside_80"]["value"] == 0  # 40 minutes reach to the 90 % quantile
    assert "46 minutes later" in score["says"]
    assert "0 began within" in score["says"]


def test_a_held_up_pass_is_left_out():
    forecasts, pours = world()
    passes = pd.DataFrame(
        {
            "pour_id": ["P0"], "pass_no": [1], "part": ["whole"], "held_up": ["other_slab"],
            "start": [pours["machine_on"][0] + pd.Timedelta(hours=2)],
            "end": [pours["machine_on"][0] + pd.Timedelta(hours=3)],
        }
    )  # fmt: skip
    score = clock_score(forecasts, pours, passes)
    assert score["pours"] == 5
    assert score["held_up_left_out"] == 1
    assert score["targets"]["since_placed_min"]["all"]["error_min"] == 0


def test_nothing_kept_and_few_pours_are_said():
    forecasts, pours = world(3)
    assert "3 pours" in clock_score(forecasts, pours, None)["says"]
    assert clock_score(None, pours, None)["pours"] == 0
    assert clock_score(forecasts.iloc[:0], pours, None)["targets"] == {}
