"""Kept forecasts are scored once the pour is logged: the last one issued before place_start counts."""

from __future__ import annotations

import pandas as pd
import pytest

from pourstats.planning.scored import lately_lines, scored

LEVELS = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)


def frames(
    issues: list[tuple[str, str, float]], happened: dict[str, float]
) -> dict[str, pd.DataFrame]:
    """``issues``: (pour, issued_at, middle), told 20 either way at eight in ten, 30 at nine."""
    offsets = dict(zip(LEVELS, (-30, -20, -8, 0, 8, 20, 30), strict=True))
    told = pd.DataFrame(
        [
            {"issued_at": pd.Timestamp(at), "command": "finishing", "pour_id": pour,
             "target": "since_placed_min", "quantile": level, "value": middle + offsets[level]}
            for pour, at, middle in issues for level in LEVELS
        ]
    )  # fmt: skip
    start = pd.Timestamp("2031-06-03 07:00")
    pours = pd.DataFrame({
        "pour_id": list(happened), "date": start.normalize(), "place_start": start,
        "passes_done": pd.NaT,
    })  # fmt: skip
    passes = pd.DataFrame({
        "pour_id": list(happened), "first_pass": True, "since_placed_min": list(happened.values()),
        "start": [start + pd.Timedelta(minutes=60 + m) for m in happened.values()],
    })  # fmt: skip
    output = pd.DataFrame({"pour_id": list(happened), "labor_h": 20.0, "crew_h": 7.0})
    ends = pd.DataFrame({"pour_id": pd.Series(dtype=str), "end": pd.Series(dtype="datetime64[us]")})
    return {
        "forecasts": told,
        "pours": pours,
        "passes": ends,
        "pass_intervals": passes,
        "pour_output": output,
    }


def test_coverage_error_and_bias_add_up_by_hand() -> None:
    told = [(f"P{i}", "2031-06-02 20:00", 120.0) for i in range(4)]
    # 120 is the middle; 139 lies within eight in ten, 145 only within nine in ten, 160 in neither.
    found = scored(frames(told, {"P0": 120, "P1": 139, "P2": 145, "P3": 160}))
    first = found["targets"]["since_placed_min"]
    assert first["pours"] == 4
    assert first["held_80"]["value"] == pytest.approx(0.5)
    assert first["held_90"]["value"] == pytest.approx(0.75)
    assert first["mean_abs_error"] == pytest.approx((0 + 19 + 25 + 40) / 4)
    assert first["bias"]["value"] == pytest.approx(-(0 + 19 + 25 + 40) / 4)
    # Wilson 1927 for 2 of 4 at 95 %: 0.1500 to 0.8500 (closed form, z = 1.959964).
    assert first["held_80"]["low"] == pytest.approx(0.1500, abs=5e-5)


def test_the_last_forecast_before_the_start_counts() -> None:
    told = [
        ("P0", "2031-06-01 20:00", 60.0),
        ("P0", "2031-06-02 20:00", 118.0),
        ("P0", "2031-06-03 09:00", 120.0),
    ]
    found = scored(frames(told, {"P0": 120}))
    assert found["targets"]["since_placed_min"]["rows"][0]["told"] == 118.0


def test_a_forecast_without_its_pour_waits_and_scores_nothing() -> None:
    found = scored(frames([("P9", "2031-06-02 20:00", 120.0)], {"P0": 120}))
    assert found["targets"] == {}
    assert found["waiting"] == ["P9"]


def test_the_week_is_told_once_four_pours_are_scored() -> None:
    told = [(f"P{i}", "2031-06-02 20:00", 120.0) for i in range(4)]
    made = frames(told, {"P0": 120, "P1": 139, "P2": 145, "P3": 160})
    (line,) = lately_lines(scored(made))
    assert "2 of the last 4 pours" in line
    three = {
        pour: made["pass_intervals"].set_index("pour_id")["since_placed_min"][pour]
        for pour in ("P0", "P1", "P2")
    }
    assert lately_lines(scored(frames(told, three))) == []


@pytest.mark.parametrize("lacking", [(0.05,), (0.95,), (0.05, 0.1, 0.25, 0.75, 0.9, 0.95)])
def test_a_forecast_that_came_without_some_quantiles_is_scored_by_the_others(
    lacking: tuple[float, ...],
) -> None:
    # As a forecasts.csv from elsewhere may have it; the error and bias still rest on the median.
    told = [(f"P{i}", "2031-06-02 20:00", 120.0) for i in range(4)]
    given = frames(told, {"P0": 120, "P1": 139, "P2": 145, "P3": 160})
    given["forecasts"] = given["forecasts"][~given["forecasts"]["quantile"].isin(lacking)]
    found = scored(given)["targets"]["since_placed_min"]
    assert found["mean_abs_error"] == pytest.approx((0 + 19 + 25 + 40) / 4)
    assert found["held_90"]["value"] is None
    whole = 0.1 not in lacking
    assert found["held_80"]["value"] == (pytest.approx(0.5) if whole else None)
    assert found["rows"][0]["low"] == (100.0 if whole else None)
    assert bool(lately_lines({"targets": {"since_placed_min": found}})) is whole


def test_only_the_forecasts_with_a_range_count_for_it() -> None:
    # One of four lacks the lower end: of the three others one, 120, lies within 100 to 140 ...
    told = [(f"P{i}", "2031-06-02 20:00", 120.0) for i in range(4)]
    given = frames(told, {"P0": 120, "P1": 141, "P2": 145, "P3": 125})
    rows = given["forecasts"]
    given["forecasts"] = rows[~((rows["pour_id"] == "P3") & (rows["quantile"] == 0.1))]
    found = scored(given)["targets"]["since_placed_min"]
    assert found["pours"] == 4
    assert found["held_80"]["value"] == pytest.approx(1 / 3)


def test_forecasts_without_a_median_are_no_score() -> None:
    given = frames([("P0", "2031-06-02 20:00", 120.0)], {"P0": 120})
    given["forecasts"] = given["forecasts"][given["forecasts"]["quantile"] != 0.5]
    assert scored(given)["targets"] == {}
