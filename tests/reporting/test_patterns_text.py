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


def test_first_passes_that_are_left_out_are_counted():
    """One was held up, two began while the last truck was still being placed."""
    import pandas as pd

    season = clock_rules.season(40, 3)
    pours, passes = season.pours.copy(), season.passes.copy()
    before = patterns({"pours": pours, "passes": passes, "weather": season.weather})
    for pid in pours["pour_id"][:2]:
        first = passes["pour_id"].eq(pid) & passes["pass_no"].eq(1)
        passes.loc[first, "start"] = pours.loc[pours["pour_id"].eq(pid), "place_end"].iloc[
            0
        ] - pd.Timedelta(minutes=20)
    passes.loc[passes["pour_id"].eq(pours["pour_id"][2]), "held_up"] = "people"
    passes["ready"] = pd.NaT
    after = patterns({"pours": pours, "passes": passes, "weather": season.weather})
    assert after["chased_left_out"] >= before["chased_left_out"] + 1
    assert after["held_up_left_out"] >= 1
    text = patterns_text(after | {"chased_left_out": 2, "held_up_left_out": 1})
    assert "Left out of the first part: one first pass that waited for people." in text
    flat = " ".join(text.split())
    assert "2 first passes that began before placing was done, or within five minutes" in flat
    assert "Left out" not in patterns_text(after | {"chased_left_out": 0, "held_up_left_out": 0})
