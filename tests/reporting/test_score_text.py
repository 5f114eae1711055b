"""What `pourstats score` says of forecasts that were kept: how far off, which way, how honest."""

import pytest

from pourstats.reporting.score import score_text


def found(name="first_pass_min", unit="min", bias=(54.0, 39.0, 69.0), held=(0.42, 0.19, 0.68)):
    def share(parts):
        return dict(zip(("value", "low", "high"), parts, strict=True))

    target = {
        "what": "first pass", "unit": unit, "pours": 12, "mean_abs_error": 54.08,
        "bias": share(bias), "held_80": share(held), "held_90": share(held),
    }  # fmt: skip
    plans = {"days": [], "targets": {}}
    return {
        "forecasts": {"targets": {name: target}, "waiting": []}, "hours": None,
        "hours_missing": "no pours", "plans": plans,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, "told 54 min too late (39 to 69)"),
        ({"bias": (-54.0, -69.0, -39.0)}, "told 54 min too early (39 to 69)"),
        ({"name": "since_placed_min"}, "told 54 min too long (39 to 69)"),
        ({"name": "labor_h", "unit": "h", "bias": (-2.0, -3.0, -1.0)},
         "told 2.0 h too few (1.0 to 3.0)"),
        ({"bias": (18.0, -1.0, 37.0)}, "neither way for sure"),
        ({"bias": (18.0, None, None)}, "too few to say which way"),
        ({}, "less often than it said"),
        ({"held": (1.0, 0.85, 1.0)}, "more often than it said"),
    ],
)  # fmt: skip
def test_a_lean_is_claimed_only_where_it_is_more_than_chance(changes, words, monkeypatch):
    monkeypatch.setattr("pourstats.reporting.score.after_lines", lambda plans: [])
    text = " ".join(score_text(found(**changes)).split())
    assert words in text
    assert "off by 54" in text
    wide = " ".join(score_text(found(held=(0.83, 0.55, 0.95))).split())
    assert "than it said" not in wide
