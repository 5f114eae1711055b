"""The finishing clock against published float times, and on seasons whose truth is known."""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parents[2]))

from pourstats.learning import clock, draws
from tests.published_science import FLOAT_H
from tests.simulators import clock_heat, clock_rules

JOB = {
    "pour_id": "J1",
    "date": pd.Timestamp("2031-06-03"),
    "site": "A",
    "slab_type": "garage",
    "area": 900.0,
    "thickness": 4.0,
    "slump": 4.0,
    "exposure": "shade",
    "base": "stone",
    "finish": "trowel",
    "place_start": pd.Timestamp("2031-06-03 07:00"),
}


def steady(air_f: float, **more) -> pd.DataFrame:
    """Three days of the same hour."""
    return pd.DataFrame(
        {
            "site": "A",
            "time": pd.date_range("2031-06-02", periods=72, freq="h"),
            "air_temp": air_f,
            "humidity": 50.0,
            "wind": 6.0,
            "sun": 0.0,
        }
        | more
    )


def job(**changes) -> pd.DataFrame:
    return pd.DataFrame([JOB | changes])


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("air_f", [50, 70, 90])
def test_without_a_record_the_medians_are_the_published_float_times(air_f, known):
    # ASCC Position Statement 15, quarter-inch boot print; 15 % is the spread asked for
    concrete = float(air_f) if known else np.nan
    cast = clock.fit(None).forecast(job(concrete_temp=concrete), steady(air_f))
    found = {k: float(v[0]) for k, v in draws.quantiles(cast.since_placed_min).items()}
    assert found["p50"] / 60 == pytest.approx(FLOAT_H[air_f], rel=0.15)
    # and its 50 % interval is honest, but no wider than a quarter either way
    half = (found["p75"] - found["p25"]) / 2 / found["p50"]
    assert 0.12 < half < 0.25


@pytest.mark.parametrize("exposure", ["indoors", "shade", "mixed", None, "sun"])
@pytest.mark.parametrize("cloud", [10.0, 90.0])
@pytest.mark.parametrize("air_f", [50, 70, 90])
def test_the_float_times_hold_in_whatever_exposure(exposure, cloud, air_f):
    # ASCC Position Statement 15, as above; its firms weren't asked about the sun. A slab in full sun
    # gains some 15 degF over 50 degF air by noon, so its early start there is taken for true.
    april = steady(air_f, time=pd.date_range("2031-04-14", periods=72, freq="h"))
    april["sun"], april["cloud"] = np.nan, cloud
    place = {"latitude": 40.0, "longitude": -89.0, "zone": "America/Chicago"}
    slab = job(
        exposure=exposure, concrete_temp=float(air_f), date=pd.Timestamp("2031-04-15"),
        place_start=pd.Timestamp("2031-04-15 07:30"),
    )  # fmt: skip
    cast = clock.fit(None, house=place).forecast(slab, april)
    found = {k: float(v[0]) for k, v in draws.quantiles(cast.since_placed_min).items()}
    assert found["p50"] / 60 == pytest.approx(FLOAT_H[air_f], rel=0.15)
    assert (found["p75"] - found["p25"]) / 2 / found["p50"] < 0.25


def test_full_sun_over_cool_air_is_no_more_than_the_heat_balance_allows(monkeypatch):
    """Clear June, first concrete at 8:15, 50 degF: about a fifth sooner than the survey, rightly so.

    Absorptivity of fresh concrete, 0.55 to 0.7 (FHWA-RD-98-167, memory), and convection +-25 % are
    what is unsure. Neither end brings it to the survey's time, which asked of no exposure.
    """
    from pourstats.learning.clock import physics
    from pourstats.science import heat

    june = steady(50.0, time=pd.date_range("2031-06-20", periods=72, freq="h"), cloud=0.0)
    june["sun"] = np.nan
    place = {"latitude": 40.0, "longitude": -89.0, "zone": "America/Chicago"}
    slab = job(
        exposure="sun", concrete_temp=50.0, date=pd.Timestamp("2031-06-21"),
        place_start=pd.Timestamp("2031-06-21 08:15"),
    )  # fmt: skip
    found = clock.fit(None, house=place).forecast(slab, june).conditions
    plain = physics.Constants()
    rise = physics._warmth(found, plain).mean_c[0, 11] * 1.8 + 32 - 50  # four hours on
    # all that it absorbs, kept in the slab, would warm it by 44 degF: base, air and drying take most
    absorbed_j = 0.65 * 0.85 * found.sun_w_m2[0, :12].mean() * 4 * 3600
    kept = rise / (absorbed_j / (0.1016 * 2.4e6) * 1.8)
    assert 8 < rise < 18 and 0.15 < kept < 0.5
    middle = np.exp(physics.log_hours(found)[0]) / FLOAT_H[50]
    assert 0.75 < middle < 0.88
    for absorbs in (0.55, 0.70):
        monkeypatch.setitem(heat.slab_temperatures.__kwdefaults__, "absorbs", absorbs)
        assert np.exp(physics.log_hours(found)[0]) / FLOAT_H[50] == pytest.approx(middle, rel=0.06)


def test_a_flat_sun_is_taken_as_it_stands():
    """A forecast of 350 W/m2 at every hour is a reading, not a blank."""
    near, same = (
        clock.fit(None).forecast(job(exposure="sun"), steady(65.0, sun=s)).science.log_h[0]
        for s in (349.9, 350.0)
    )
    assert near == pytest.approx(same, abs=1e-3)


def test_a_summer_basement_is_as_finishers_know_it():
    """Common practice, no source: about an hour and a half after bull floating, five passes.

    Small basement, 6 to 7 in slump, shade then sun, boot print of a sixteenth. The published float
    times are longer by half (2.6 h at 73 degF, and for a quarter inch): the answer lies between, the
    hour and a half at its lower quartile. No science brings it nearer: 80 degF concrete and the sun
    are in it, a shallower print is a later start, and water's slump, a vapor sheet and still air all
    delay. A hotter load would: 5 degF is 8 minutes. The rest is the crew's own, for its log to tell.
    """
    hours = pd.date_range("2031-07-07", periods=72, freq="h")
    clock_h = hours.hour.to_numpy()
    weather = steady(
        75.0,
        time=hours,
        air_temp=77 - 11 * np.cos((clock_h - 4) / 24 * 2 * np.pi),
        sun=np.where((clock_h > 9) & (clock_h < 18), 650.0, 60.0),
    )
    basement = job(
        slab_type="basement", slump=6.5, exposure="mixed", base="stone;vapor_sheet",
        concrete_temp=80.0, date=pd.Timestamp("2031-07-08"),
        place_start=pd.Timestamp("2031-07-08 07:30"), admixtures="mid_range_reducer",
    )  # fmt: skip
    cast = clock.fit(None).forecast(basement, weather)
    after_bull_float = draws.quantiles(cast.since_placed_min - 12.0)
    assert after_bull_float["p10"][0] + 15 < 90 < after_bull_float["p75"][0]
    assert after_bull_float["p50"][0] < 120
    assert np.median(cast.count) in (4, 5, 6)


def test_cold_takes_longer_and_sun_and_wind_less():
    fitted = clock.fit(None)

    def middle(weather, **changes):
        return float(np.median(fitted.forecast(job(**changes), weather).since_placed_min))

    plain = middle(steady(65.0))
    assert middle(steady(50.0)) > 1.2 * plain
    assert middle(steady(65.0, sun=700.0), exposure="sun") < 0.97 * plain
    assert middle(steady(65.0, humidity=85.0)) > middle(steady(65.0, humidity=25.0))
    assert middle(steady(65.0), admixtures="retarder") > 1.15 * plain
    # slump from water delays, from a reducer it doesn't
    assert middle(steady(65.0), slump=7.0) > 1.05 * plain
    reduced = middle(steady(65.0), slump=7.0, admixtures="high_range_reducer")
    assert reduced == pytest.approx(plain, rel=0.04)


def test_weather_that_nobody_told_widens_the_answer():
    fitted = clock.fit(None)
    told = draws.quantiles(fitted.forecast(job(), steady(68.0)).since_placed_min)
    untold = draws.quantiles(fitted.forecast(job(), None).since_placed_min)
    width = [float(np.log(q["p90"] / q["p10"])[0]) for q in (told, untold)]
    assert width[1] > 1.15 * width[0]


def _pours(n, since_min, rng, **more):
    start = pd.Timestamp("2031-05-01 07:00") + pd.to_timedelta(np.arange(n), unit="D")
    end = start + pd.Timedelta(minutes=40)
    on = end + pd.to_timedelta(np.round(since_min * np.exp(0.08 * rng.normal(size=n))), unit="min")
    frame = pd.DataFrame(
        {
            "pour_id": [f"P{i}" for i in range(n)], "date": start.normalize(), "site": "A",
            "slab_type": "garage", "area": 900.0, "thickness": 4.0, "finish": "trowel",
            "exposure": "shade", "base": "stone", "place_start": start, "place_end": end,
            "machine_on": on, "passes_done": on + pd.Timedelta(hours=2), "pass_count": 5.0,
        }
    )  # fmt: skip
    return frame.assign(**more)


def _steady_season():
    return steady(70.0).assign(time=0).iloc[:0], pd.DataFrame(
        {
            "site": "A", "time": pd.date_range("2031-04-30", "2031-08-30", freq="h"),
            "air_temp": 70.0, "humidity": 50.0, "wind": 6.0, "sun": 0.0,
        }
    )  # fmt: skip


def test_the_crews_own_record_takes_over():
    """A crew that starts at 100 minutes where the survey says 165: 40 pours bring it there."""
    weather = _steady_season()[1]
    rng = np.random.default_rng(0)
    middles, widths = [], []
    for n in (0, 5, 40):
        record = _pours(n, 100.0, rng) if n else None
        cast = clock.fit(record, weather=weather).forecast(
            job(place_start=pd.Timestamp("2031-07-10 07:00")), weather
        )
        q = draws.quantiles(cast.since_placed_min)
        middles.append(float(q["p50"][0]))
        widths.append(float(np.log(q["p90"] / q["p10"])[0]))
    assert 150 < middles[0] < 180
    assert 100 < middles[1] < middles[0]
    assert middles[2] == pytest.approx(100, rel=0.05)
    assert widths[0] > widths[1] > widths[2]


def test_a_mix_never_met_is_told_with_more_doubt():
    weather = _steady_season()[1]
    record = _pours(40, 120.0, np.random.default_rng(1), mix="M1")
    record["mix"] = np.where(np.arange(40) % 2, "M1", "M2")
    record.loc[record["mix"] == "M2", "machine_on"] += pd.Timedelta(minutes=35)
    fitted = clock.fit(record, weather=weather)
    new = job(place_start=pd.Timestamp("2031-06-20 07:00"))
    q = {
        m: draws.quantiles(fitted.forecast(new.assign(mix=m), weather).since_placed_min)
        for m in ("M1", "M2", "M9")
    }
    assert q["M2"]["p50"] > q["M1"]["p50"] + 20
    width = {m: float(np.log(v["p90"] / v["p10"])[0]) for m, v in q.items()}
    assert width["M9"] > 1.2 * max(width["M1"], width["M2"])


def _first_passes(record, late_min, held_up, ready_known=False):
    start = record["machine_on"] + pd.to_timedelta(late_min, unit="min")
    return pd.DataFrame(
        {
            "pour_id": record["pour_id"], "pass_no": 1, "part": "whole", "held_up": held_up,
            "ready": record["machine_on"] if ready_known else pd.NaT,
            "start": start, "end": start + pd.Timedelta(minutes=20), "worker": "A",
            "footprint": np.nan,
        }
    )  # fmt: skip


@pytest.mark.parametrize("ready_known", [True, False])
def test_a_start_late_for_people_is_not_taken_for_slow_concrete(ready_known):
    """Every third pass an hour late, and marked: what is learned of the concrete stays put."""
    weather = _steady_season()[1]
    record = _pours(36, 110.0, np.random.default_rng(2))
    late = np.where(np.arange(36) % 3 == 0, 60.0, 0.0)
    marked = np.where(late > 0, "people", "no")
    passes = _first_passes(record, late, marked, ready_known)
    blind = _first_passes(record, late, "no")
    new = job(place_start=pd.Timestamp("2031-06-20 07:00"))

    def middle(p):
        fitted = clock.fit(record.drop(columns=["machine_on"]), p, weather=weather)
        age = fitted._log_first(
            *_conditions_and_science(fitted, new, weather), clock.model.DRAWS, 0
        )
        return float(np.exp(np.median(age)))

    assert middle(passes) == pytest.approx(110, rel=0.06)
    assert middle(blind) > middle(passes) + 4


def _conditions_and_science(fitted, jobs, weather):
    from pourstats.learning.clock import physics
    from pourstats.learning.clock.conditions import conditions

    found = conditions(jobs, weather, place_min=np.array([40.0]))
    return found, physics.ready(found)


def test_a_deeper_boot_print_is_an_earlier_start():
    """Half the pours begun at a half inch and 15 % early: the print explains them."""
    weather = _steady_season()[1]
    record = _pours(40, 120.0, np.random.default_rng(3))
    deep = np.arange(40) % 2 == 0
    passes = _first_passes(record, np.where(deep, -18.0, 0.0), "no")
    passes["footprint"] = np.where(deep, 0.5, 0.25)
    fitted = clock.fit(record, passes, weather=weather)
    effect = [s.posterior.effects[-1].mean() for s in fitted.stages.values()]
    slope = clock.model.PRINT_EFFECT[0] + np.mean(effect)
    assert slope == pytest.approx(np.log(0.85) / np.log(2), abs=0.08)


def test_a_long_slab_is_begun_before_its_placing_is_done():
    """The machine chases the placing: a negative delay is learned and forecast."""
    weather = _steady_season()[1]
    rng = np.random.default_rng(4)
    record = _pours(40, 1.0, rng, slab_type="warehouse")
    record["area"] = 9000.0 * np.exp(0.3 * rng.normal(size=40))
    length = record["area"] / 9000.0 * 360.0
    record["place_end"] = record["place_start"] + pd.to_timedelta(length.round(), unit="min")
    age = 165.0 * np.exp(0.06 * rng.normal(size=40))
    on = record["place_end"] + pd.to_timedelta((age - (length - 45.0)).round(), unit="min")
    record["machine_on"] = on
    record["passes_done"] = record["place_end"] + pd.Timedelta(hours=5)
    fitted = clock.fit(record, weather=weather)
    assert float(np.median(fitted.chases)) >= 0.75
    new = job(slab_type="warehouse", area=11000.0, place_start=pd.Timestamp("2031-06-20 06:00"))
    cast = fitted.forecast(new, weather)
    assert np.median(cast.since_placed_min) < 0
    # the end placed last is forecast apart, and comes later
    assert np.median(cast.last_end_ready_h - cast.first_h) > 2


def test_the_short_log_and_logged_passes_say_the_same():
    weather = _steady_season()[1]
    record = _pours(30, 130.0, np.random.default_rng(5))
    passes = _first_passes(record, np.zeros(30), "no")
    new = job(place_start=pd.Timestamp("2031-06-20 07:00"))
    short = clock.fit(record, weather=weather).forecast(new, weather)
    logged = clock.fit(record.drop(columns="machine_on"), passes, weather=weather).forecast(
        new, weather
    )
    assert np.median(short.since_placed_min) == pytest.approx(
        np.median(logged.since_placed_min), rel=0.03
    )


def test_later_passes_follow_in_order_and_end_in_time():
    cast = clock.fit(None).forecast(job(), steady(70.0))
    starts = cast.pass_start_h[0]
    steps = np.diff(starts, axis=1)
    assert np.all(steps[~np.isnan(steps)] >= 0)
    assert np.all(np.nanmax(starts, axis=1) <= cast.last_h[0] + 1e-9)
    assert np.all(np.sum(~np.isnan(starts), axis=1) == cast.count[0])


def test_the_same_seed_gives_the_same_forecast_and_a_subset_too():
    fitted = clock.fit(None)
    both = pd.concat([job(), job(pour_id="J2", area=2000.0)], ignore_index=True)
    one = fitted.forecast(both, steady(70.0), seed=3)
    again = fitted.forecast(both, steady(70.0), seed=3)
    assert np.array_equal(one.last_h, again.last_h)
    assert not np.array_equal(one.last_h, fitted.forecast(both, steady(70.0), seed=4).last_h)


@pytest.mark.parametrize("maker", [clock_heat.season, clock_rules.season])
def test_seasons_of_another_making_are_covered_and_well_forecast(maker):
    """Six seasons of 40 pours, 20 ahead each; the benchmark has the figures of 200."""
    from pourstats.learning.scoring import mean_pinball

    inside, loss, flat = [], [], []
    for seed in range(6):
        season = maker(60, seed)
        known, ahead = season.pours.iloc[:40], season.pours.iloc[40:]
        passes = season.passes[season.passes["pour_id"].isin(known["pour_id"])]
        fitted = clock.fit(known, passes, None, season.weather, season.sites)
        hidden = ["place_end", "bull_float_end", "machine_on", "passes_done", "pass_count"]
        cast = fitted.forecast(ahead.drop(columns=hidden), season.weather)
        q = draws.quantiles(cast.since_placed_min)
        y = season.first_min[40:, 0]
        inside.append((y >= q["p10"]) & (y <= q["p90"]))
        loss.append(mean_pinball(y, q))
        past = season.first_min[:40, 0]
        flat.append(mean_pinball(y, np.quantile(past, list(draws.LEVELS.values()))))
    # 120 outcomes in six clusters: three standard errors are about 12 points
    assert 0.68 <= np.mean(inside) <= 0.92
    assert np.mean(loss) < 0.75 * np.mean(flat)


def test_a_ride_on_that_goes_on_later_is_told_for_slabs_of_its_size():
    weather = _steady_season()[1]
    record = _pours(40, 120.0, np.random.default_rng(8))
    big = np.arange(40) % 2 == 0
    record["area"] = np.where(big, 4000.0, 700.0)
    passes = _first_passes(record, np.where(big, 30.0, 0.0), "no")
    passes["machine"] = np.where(big, "ride_on", "walk_behind")
    fitted = clock.fit(record, passes, weather=weather)
    assert fitted.ride_on.chance(np.array([700.0, 4000.0])) == pytest.approx([0, 1], abs=0.05)
    new = job(place_start=pd.Timestamp("2031-06-20 07:00"))
    ends = {"place_end": pd.Timestamp("2031-06-20 07:40")}
    small = fitted.forecast(new.assign(**ends, area=700.0), weather)
    large = fitted.forecast(new.assign(**ends, area=4000.0), weather)
    late = np.median(large.since_placed_min) - np.median(small.since_placed_min)
    # leans to no difference, as forty pours of two sizes leave size itself in doubt
    assert 15 < late < 33


def _crew_time(record, away, at_hand=False):
    """Two finishers a pour; where ``away``, they are on another slab until the first pass."""
    rows = []
    for i in range(len(record)):
        pour, placed, on = record["pour_id"][i], record["place_end"][i], record["machine_on"][i]
        done = record["passes_done"][i]
        for worker in ("A", "B"):
            rows.append((pour, worker, "place", record["place_start"][i], placed))
            other = worker == "A" or not at_hand
            if away[i] and other:
                rows.append(("elsewhere", worker, "finish", placed, on - pd.Timedelta("20min")))
            else:
                rows.append((pour, worker, "wait", placed, on))
            rows.append((pour, worker, "finish", on, done))
    return pd.DataFrame(rows, columns=["pour_id", "worker", "task", "start", "end"])


def test_finishers_logged_on_another_slab_make_a_late_start():
    """Every third start an hour late, while both finishers were logged elsewhere; no passes."""
    from pourstats.learning.clock.record import record as gathered

    weather = _steady_season()[1]
    record = _pours(36, 110.0, np.random.default_rng(2))
    away = np.arange(36) % 3 == 0
    late = pd.to_timedelta(np.where(away, 60, 0), unit="min")
    record["machine_on"] += late
    record["passes_done"] += late
    crew = _crew_time(record, away)
    assert list(gathered(record, None, crew).late) == list(away)
    # one of the two waited on the slab itself: it wasn't for want of people
    assert not gathered(record, None, _crew_time(record, away, at_hand=True)).late.any()
    new = job(place_start=pd.Timestamp("2031-06-20 07:00"))

    def middle(crew_time):
        fitted = clock.fit(record, weather=weather, crew_time=crew_time)
        return float(np.median(fitted.forecast(new, weather).science.log_h)), float(
            np.exp(np.median(fitted._log_first(
                *_conditions_and_science(fitted, new, weather), clock.model.DRAWS, 0
            )))
        )  # fmt: skip

    assert middle(crew)[1] == pytest.approx(110, rel=0.06)
    assert middle(None)[1] > middle(crew)[1] + 4


def test_a_slab_begun_at_one_end_and_then_the_other_has_its_passes_counted_once():
    from pourstats.learning.clock.record import record as gathered

    record = _pours(2, 110.0, np.random.default_rng(0)).drop(columns=["pass_count", "machine_on"])
    begun = record["place_end"]
    parts = [("first_end", 30), ("last_end", 70), ("first_end", 100), ("last_end", 130)]
    rows = [
        (record["pour_id"][0], k + 1, part, begun[0] + pd.Timedelta(minutes=at))
        for k, (part, at) in enumerate(parts)
    ] + [(record["pour_id"][1], 1, "whole", begun[1] + pd.Timedelta(minutes=90))]
    passes = pd.DataFrame(rows, columns=["pour_id", "pass_no", "part", "start"])
    passes["end"] = passes["start"] + pd.Timedelta(minutes=20)
    kept = gathered(record, passes)
    assert list(kept.count) == [2, 1]
    since = (kept.first_h - kept.start_h) * 60, (kept.last_end_h - kept.start_h) * 60
    assert since[0][0] == 0
    assert since[1][0] == pytest.approx(40)
    assert np.isnan(kept.last_end_h[1])


def test_the_ends_logged_apart_tell_how_far_the_machine_chases():
    """Slabs of one length: only the last end's own start parts a chase from slow concrete."""
    weather = _steady_season()[1]
    rng = np.random.default_rng(6)
    record = _pours(14, 1.0, rng, slab_type="warehouse", area=8000.0)
    record["place_end"] = record["place_start"] + pd.Timedelta(minutes=180)
    age = 150.0 * np.exp(0.06 * rng.normal(size=14))
    first = record["place_end"] + pd.to_timedelta((age - 0.75 * 135).round(), unit="min")
    last = record["place_end"] + pd.to_timedelta(age.round(), unit="min")
    record = record.drop(columns="machine_on").assign(passes_done=last + pd.Timedelta(hours=3))
    whole = [
        pd.DataFrame({"pour_id": record["pour_id"], "pass_no": no, "part": part, "start": start})
        for no, part, start in ((1, "first_end", first), (2, "last_end", last))
    ]
    passes = pd.concat(whole, ignore_index=True)
    passes["end"] = passes["start"] + pd.Timedelta(minutes=25)
    fitted = clock.fit(record, passes, weather=weather)
    assert np.mean(np.isin(fitted.chases, [0.5, 0.75, 1.0])) > 0.9
    new = job(slab_type="warehouse", area=8000.0, place_start=pd.Timestamp("2031-06-20 07:00"))
    cast = fitted.forecast(new.assign(place_end=pd.Timestamp("2031-06-20 10:00")), weather)
    between = np.median((cast.last_end_ready_h - cast.first_h) * 60)
    assert between == pytest.approx(0.75 * 135, rel=0.25)
    assert np.all(cast.last_end_ready_h >= cast.first_h - 1e-9)


def test_a_tool_that_goes_on_later_is_told_where_the_finish_calls_for_it():
    weather = _steady_season()[1]
    record = _pours(40, 120.0, np.random.default_rng(7))
    hard = np.arange(40) % 2 == 0
    record["finish"] = np.where(hard, "hard_trowel", "trowel")
    passes = _first_passes(record, np.where(hard, 20.0, 0.0), "no")
    passes["tool"] = np.where(hard, "combination_blades", "pan")
    fitted = clock.fit(record, passes, weather=weather)
    names, share = fitted.tools.names, fitted.tools.share(["hard_trowel", "trowel", ""])
    assert share[0, names.index("combination_blades")] > 0.9
    assert share[1, names.index("pan")] > 0.9
    assert share[2] == pytest.approx([0.5, 0.5])
    new = job(
        place_start=pd.Timestamp("2031-06-20 07:00"), place_end=pd.Timestamp("2031-06-20 07:40")
    )
    q = {
        f: np.median(fitted.forecast(new.assign(finish=f), weather).since_placed_min)
        for f in ("hard_trowel", "trowel")
    }
    assert 10 < q["hard_trowel"] - q["trowel"] < 25
    # nobody wrote a tool: nothing is made of it
    assert clock.fit(record, passes.drop(columns="tool"), weather=weather).tools.names == ()


@pytest.mark.parametrize(
    ("ratios", "low", "high"),
    [
        ([], -0.05, 0.05),
        (np.full(15, np.log(0.6)), -0.62, -0.35),  # always well before the published opening
        (np.full(15, np.log(1.3)), 0.0, 0.30),  # together, a little after it
        (np.log(np.linspace(2.0, 5.0, 15)), -0.25, 0.25),  # the next morning: tells next to nothing
    ],
)  # fmt: skip
def test_the_saws_opening_leans_on_the_crews_cuts_as_far_as_they_tell(ratios, low, high):
    from pourstats.learning.clock import physics, saw
    from pourstats.science.joints import saw_hours

    science = physics.ready(physics.steady_conditions(70.0))
    science = physics.Ready(
        **{**vars(science), "day_f": np.full(max(len(ratios), 1), 70.0)},
    )
    after = float(saw_hours(21.111, "conventional")[0])
    placed = pd.Timestamp("2031-06-01 08:00")
    pours = pd.DataFrame(
        {
            "place_end": placed, "saw_type": "conventional",
            "saw_start": [placed + pd.Timedelta(hours=after * float(np.exp(r))) for r in ratios],
        }
    )  # fmt: skip
    found, cuts = saw.own_openings(pours, science, np.full(len(pours), np.nan), 1000, 0)
    if not len(ratios):
        assert found == {}
        return
    assert cuts == {"conventional": 15}
    middle, spread = np.median(found["conventional"]), np.std(found["conventional"])
    assert low < middle < high
    late = np.min(ratios) > 0.5
    assert (0.12 < spread < 0.25) if late else spread < 0.1


@pytest.mark.parametrize("air_f", [50, 70, 90])
@pytest.mark.parametrize("finish", ["broom", "trowel"])
def test_an_early_entry_saw_is_no_later_than_a_conventional_one(air_f, finish):
    """Common practice, no source: that is what it is for. After finishing: 1 h hot to 4 h cold."""
    from pourstats.learning.clock import saw

    fitted = clock.fit(None)
    cast = fitted.forecast(job(finish=finish, concrete_temp=float(air_f)), steady(air_f))
    early, wet = (
        saw.window_draws(cast, [method], fitted.cuts_earlier, 0)[0][0] for method in saw.METHODS
    )
    assert np.all(early <= wet) and np.all(early >= cast.last_h[0])
    # ACI FAQ 915 on ACI 224.4R-13, from finishing: 1 h hot to about 4 h cold
    assert 0.9 < np.median(early - cast.last_h[0]) < 4.3
    # and on ACI 302.1R-15: 4 to 12 h from placing, up to three days when cold (Concrete Construction)
    assert 4 <= np.median(wet - cast.place_end_h[0]) < 16


@pytest.mark.parametrize("slips", [0, 1])
def test_cuts_after_the_trowel_say_nothing_of_a_broomed_slab(slips):
    """Trowelled floors cut ten minutes after the last pass, broomed ones after an hour and more."""
    from pourstats.learning.clock import physics, saw

    science = physics.ready(physics.steady_conditions(70.0))
    light, n = 8, 38
    science = physics.Ready(**{**vars(science), "day_f": np.full(n, 70.0)})
    wait_min = np.r_[np.full(n - light, 10.0), np.linspace(70.0, 110.0, light)]
    wait_min[n - slips :] = 8.0
    last = pd.Timestamp("2031-06-01 12:00")
    pours = pd.DataFrame(
        {
            "place_end": last - pd.Timedelta(hours=4), "saw_type": "early_entry",
            "finish": ["trowel"] * (n - light) + ["broom"] * light,
            "saw_start": [last + pd.Timedelta(minutes=float(m)) for m in wait_min],
        }
    )  # fmt: skip
    last_h = np.full(n, pd.Timedelta(last - pd.Timestamp(0)).total_seconds() / 3600)
    found, cuts = saw.own_openings(pours, science, last_h, 1000, 0)
    assert cuts == {"early_entry": n}
    # minutes after the last pass at 70 degF, where two hours are printed
    broomed, trowelled = (
        120.0 * np.exp(np.median(found[key])) for key in (saw.BROOMED, "early_entry")
    )
    assert 55 < broomed < 95
    assert trowelled < 15
    # a crew that only trowels leaves the printed time for the broomed slab
    pours["finish"] = "trowel"
    only = saw.own_openings(pours, science, last_h, 1000, 0)[0]
    assert saw.BROOMED not in only


def test_concrete_of_a_warm_plant_is_expected_warm():
    """Loads logged at 75 degF in 50 degF air: a job that doesn't say gets the like, not 55."""
    weather = steady(50.0, time=pd.date_range("2031-04-30", periods=72, freq="h"))
    weather = pd.concat(
        [weather.assign(time=weather["time"] + pd.Timedelta(days=3 * k)) for k in range(20)]
    )
    record = _pours(30, 150.0, np.random.default_rng(9), concrete_temp=75.0)
    record.loc[::3, "concrete_temp"] = np.nan
    new = job(place_start=pd.Timestamp("2031-06-10 07:00"))
    told = clock.fit(record, weather=weather).forecast(new, weather).conditions.concrete_f
    assert told[0] == pytest.approx(75, abs=3)
    assert clock.fit(None).forecast(new, weather).conditions.concrete_f[0] == pytest.approx(
        55, abs=1
    )


@pytest.mark.parametrize("mean_f", [50.0, 70.0, 90.0])
def test_concrete_is_expected_as_its_stone_and_cement_make_it(mean_f):
    """ACI 305R's mixing formula (memory) for a usual mix; a cool morning doesn't cool the stone."""
    stone, cement, water = 3000.0, 550.0, 275.0
    heat = 0.22 * (stone * mean_f + cement * (mean_f + 30)) + water * (60 + mean_f) / 2
    expected = heat / (0.22 * (stone + cement) + water)
    times = pd.date_range("2031-06-02", periods=72, freq="h")
    swing = steady(mean_f, time=times, air_temp=mean_f - 12 * np.sin((times.hour + 2) / 24 * 6.283))
    fitted = clock.fit(None)
    assert swing["air_temp"][31] < mean_f - 7  # at seven
    for weather in (steady(mean_f), swing):
        found = fitted.forecast(job(), weather).conditions.concrete_f[0]
        assert found == pytest.approx(expected, abs=1)
    # five rows off a phone don't tell the night: within a few degrees
    few = swing[
        swing["time"].isin([pd.Timestamp(f"2031-06-03 {h}:00") for h in (5, 9, 12, 15, 18)])
    ]
    found = fitted.forecast(job(), few).conditions.concrete_f[0]
    assert found == pytest.approx(expected, abs=4)


def test_the_sun_of_a_forecast_by_hand_is_that_of_every_half_hour():
    """Four readings hours apart, no sun: as pvlib has it at nine o'clock and in between."""
    from pourstats.learning.clock.conditions import conditions
    from pourstats.science import sun

    day = pd.Timestamp("2031-06-03")
    few = steady(70.0).iloc[:4].assign(
        time=[day + pd.Timedelta(hours=h) for h in (5, 9, 14, 18)], sun=np.nan, cloud=0.0
    )  # fmt: skip
    place = {"latitude": 40.0, "longitude": -90.0, "zone": "America/Chicago"}
    found = conditions(job(place_end=day + pd.Timedelta("7h30min")), few, None, place)
    # Chicago in June is five hours behind UTC
    middle = pd.DatetimeIndex([day + pd.Timedelta(hours=found.start_h[0] % 24 + k / 3 + 1 / 6 + 5)
                               for k in range(12)])  # fmt: skip
    expected = sun.clear_sky_w_m2(sun.zenith_deg(middle, 40.0, -90.0))
    assert found.sun_w_m2[0, :12] == pytest.approx(expected, rel=0.02)
