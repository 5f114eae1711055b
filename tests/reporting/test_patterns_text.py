"""The patterns as an owner reads them."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from pourstats.learning.patterns import patterns
from pourstats.reporting.patterns import patterns_text
from tests.simulators import clock_rules


def test_every_effect_stands_with_its_range_and_its_pours():
    season = clock_rules.season(100, 2)
    frames = {
        "pours": season.pours, "passes": season.passes, "weather": season.weather,
        "sites": season.sites,
    }  # fmt: skip
    result = patterns(frames, {"default_pay": 30.0})
    text = patterns_text(result)
    for effect in result["first_pass"]["effects"]:
        assert effect["cause"].split(": ")[-1].replace("_", " ") in text
    assert "100 pours" in text or f"{result['first_pass']['pours']} pours" in text
    assert "Hours over the crew's own median stay" in text
    for word in ("percentile", "quantile", "p-value", "None", "nan"):
        assert word not in text


def test_with_a_handful_it_says_why_nothing_is_claimed():
    text = patterns_text(patterns({}))
    assert "nothing is claimed from fewer than 20" in text
