"""What the weather did: nothing where it did nothing, the right amount where it did something."""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))

from pourstats.learning.patterns import FEWEST, fit_clustered, patterns
from tests.simulators import clock_rules, clock_season


def no_effect_season(seed, n=70, weather_of=None):
    """Waits and gaps drawn without a look at weather, sun, base or mix."""
    rng = np.random.default_rng(seed)
    frame, weather = clock_season.jobs(rng, n)
    frame["place_end"] = frame["place_start"] + pd.Timedelta(minutes=40)
    wait = 150 * np.exp(0.25 * rng.normal(size=n))
    if weather_of is not None:
        wait = wait * np.exp(weather_of(frame, weather))
    frame["machine_on"] = frame["place_end"] + pd.to_timedelta(wait.round(), unit="min")
    rows = []
    for i in range(n):
        at = frame["machine_on"][i]
        habit = np.exp(0.2 * rng.normal())
        for k in range(4):
            end = at + pd.Timedelta(minutes=15)
            rows.append((frame["pour_id"][i], k + 1, "whole", "no", at, end, pd.NaT))
            at = end + pd.Timedelta(minutes=round(30 * habit * np.exp(0.3 * rng.normal())))
    passes = pd.DataFrame(
        rows, columns=["pour_id", "pass_no", "part", "held_up", "start", "end", "ready"]
    )
    sites = pd.DataFrame({"site": list(clock_season.SITES), "latitude": 40.0, "longitude": -89.0})
    return {"pours": frame, "passes": passes, "weather": weather, "sites": sites}


def test_a_season_without_any_effect_shows_none():
    """95 % intervals of 40 seasons leave out zero about once in twenty, gaps and first pass alike."""
    clear, minutes, total = 0, {"air temperature": [], "exposure: sun": []}, 0
    for seed in range(40):
        answer = patterns(no_effect_season(seed))
        for part in ("first_pass", "gaps"):
            for effect in answer[part]["effects"]:
                clear += effect["clear"]
                total += 1
                if effect["cause"] in minutes:
                    minutes[effect["cause"]].append(effect["percent"])
    assert total > 500
    # 5 % expected; effects of one season share its noise, so the band is three times the binomial's
    assert 0.02 <= clear / total <= 0.09
    for found in minutes.values():
        error = np.std(found) / np.sqrt(len(found))
        assert abs(np.mean(found)) < 3 * error + 0.5


def test_means_over_the_wait_itself_would_have_shown_an_effect():
    """Why the window is fixed beforehand: the waits' own means are tied to their length."""
    season = no_effect_season(1, n=400)
    pours = season["pours"]
    own = {s: w.set_index("time") for s, w in season["weather"].groupby("site")}
    naive = []
    for _, p in pours.iterrows():
        naive.append(own[p["site"]].loc[p["place_end"] : p["machine_on"], "sun"].mean())
    wait = np.log((pours["machine_on"] - pours["place_end"]).dt.total_seconds())
    morning = (pours["place_start"].dt.hour < 9).to_numpy()
    known = morning & ~np.isnan(naive)
    assert np.corrcoef(np.array(naive)[known], wait[known])[0, 1] > 0.1
    first = patterns(season)["first_pass"]["effects"]
    assert not next(e for e in first if e["cause"] == "air temperature")["clear"]


def test_an_effect_that_is_there_is_found_with_its_size():
    def effect(frame, weather):
        own = {s: w.set_index("time")["air_temp"] for s, w in weather.groupby("site")}
        air = np.array(
            [
                own[r["site"]].asof(r["place_end"] + pd.Timedelta(hours=1))
                for _, r in frame.iterrows()
            ]
        )
        return -0.15 * (air - 65) / 10 - 0.2 * (frame["exposure"] == "sun").to_numpy()

    inside, low = 0, []
    for seed in range(12):
        season = no_effect_season(seed, n=120, weather_of=effect)
        effects = {e["cause"]: e for e in patterns(season)["first_pass"]["effects"]}
        air, sun = effects["air temperature"], effects["exposure: sun"]
        inside += air["percent_low"] <= 100 * np.expm1(-0.15) <= air["percent_high"]
        inside += sun["percent_low"] <= 100 * np.expm1(-0.2) <= sun["percent_high"]
        low.append(air["clear"])
        assert air["pours"] <= 120
        assert sun["having"] < 120
    assert inside >= 20  # of 24, 95 % intervals
    assert np.mean(low) > 0.9


def test_causes_that_always_went_together_are_not_told_apart():
    season = no_effect_season(5, n=100)
    pours = season["pours"]
    together = np.arange(100) % 2 == 0
    pours["exposure"] = np.where(together, "sun", "shade")
    pours["base"] = np.where(together, "foam_board", "stone")
    first = patterns(season)["first_pass"]
    assert ["base: foam_board", "exposure: sun"] in first["apart"]
    told = {e["cause"] for e in first["effects"]}
    assert not told & {"base: foam_board", "exposure: sun"}


def test_nothing_is_claimed_from_a_handful():
    season = no_effect_season(2, n=FEWEST - 1)
    answer = patterns(season)
    assert answer["first_pass"]["effects"] == []
    assert str(FEWEST) in answer["first_pass"]["says"]
    assert patterns({})["pours"] == 0


def test_clustered_errors_agree_with_statsmodels():
    """statsmodels' clustered sandwich, without small-sample factors, on rows of low leverage."""
    import statsmodels.api as sm

    rng = np.random.default_rng(0)
    group = np.repeat(np.arange(400), 5)
    x = rng.normal(size=(2000, 3)) + rng.normal(size=(400, 3))[group]
    y = x @ [0.1, 0, -0.2] + rng.normal(size=400)[group] + rng.normal(size=2000)
    effect, error, tied = fit_clustered(x, y, group)
    fit = sm.OLS(y, sm.add_constant(x)).fit(
        cov_type="cluster", cov_kwds={"groups": group, "use_correction": False}
    )
    assert effect == pytest.approx(fit.params[1:], rel=1e-6)
    assert error == pytest.approx(fit.bse[1:], rel=0.01)
    assert tied == [[], [], []]


def test_lost_hours_add_up_and_are_priced():
    season = clock_rules.season(120, 7)
    frames = {
        "pours": season.pours, "passes": season.passes, "weather": season.weather,
        "sites": season.sites,
    }  # fmt: skip
    answer = patterns(frames, {"default_pay": 30.0, "burden": 0.35})
    months = answer["slow_finishing"]["by_month"]
    starts = answer["slow_finishing"]["by_start_hour"]
    assert sum(r["pours"] for r in months) == sum(r["pours"] for r in starts) == 120
    assert sum(r["lost_labor_h"] for r in months) == pytest.approx(
        sum(r["lost_labor_h"] for r in starts), abs=1.0
    )
    for row in months:
        assert row["lost_usd"] == pytest.approx(row["lost_labor_h"] * 30 * 1.35, abs=3)
        if row["over_h_low"] is not None:
            assert row["over_h_low"] <= row["over_h_mean"] <= row["over_h_high"]
    # this season's cold is slow: an earlier start is advised below 50 degF or nowhere
    for advice in answer["start_earlier"]:
        assert {"do", "because", "source"} == set(advice)
        assert "pours" in advice["because"]


def test_hot_days_with_a_retarder_dont_hide_the_heat():
    """A retarder on hot days and an accelerator on cold ones: the air's own effect still comes out."""

    def made(frame, weather):
        own = {s: w.set_index("time")["air_temp"] for s, w in weather.groupby("site")}
        air = np.array([own[r["site"]].asof(r["place_end"]) for _, r in frame.iterrows()])
        lean = air + np.random.default_rng(len(frame)).normal(0, 8, len(frame))
        frame["admixtures"] = np.where(
            lean > np.quantile(lean, 0.7), "retarder",
            np.where(lean < np.quantile(lean, 0.3), "water_reducer;accelerator", ""),
        )  # fmt: skip
        added = frame["admixtures"]
        moved = 0.35 * (added == "retarder") - 0.35 * added.str.contains("accelerator")
        return -0.012 * (air - 65) + moved.to_numpy(dtype=float)

    found = []
    for seed in range(6):
        effects = patterns(no_effect_season(seed, 120, made))["first_pass"]["effects"]
        by = {e["cause"]: e for e in effects}
        found.append([by[c]["percent"] for c in
                      ("air temperature", "added: retarder", "added: accelerator")])  # fmt: skip
    air, retarder, accelerator = np.mean(found, axis=0)
    assert air == pytest.approx(100 * np.expm1(-0.12), abs=5)  # left out, it comes to about +5
    assert retarder == pytest.approx(100 * np.expm1(0.35), abs=12)
    assert accelerator == pytest.approx(100 * np.expm1(-0.35), abs=8)


def test_with_few_pours_the_length_of_placing_is_the_last_to_go():
    """The wait is counted from the end of placing, so that long placing shortens it by itself."""
    from pourstats.learning.patterns import Cause, _gives_way

    names = ("air temperature", "mix: 30N", "mix: 40N", "base: soil", "pass 3", "area",
             "length of placing")  # fmt: skip
    having = dict(zip(names, (60, 6, 20, 15, 0, 0, 0), strict=True))
    causes = [Cause(n, "", np.zeros(1), told=having[n] > 0, having=having[n]) for n in names]
    order = []
    while len(causes) > 3:
        gone = max(causes, key=_gives_way)
        order.append(gone.name)
        causes.remove(gone)
    assert order == ["area", "mix: 30N", "mix: 40N", "base: soil"]
    assert {c.name for c in causes} == {"air temperature", "pass 3", "length of placing"}
