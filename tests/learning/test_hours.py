"""The labor-hours model: published rates when empty, the crew's own when not, honest in between."""

import numpy as np
import pandas as pd
import pytest

from pourstats.learning.draws import quantiles
from pourstats.learning.hours import drivers, hours_frame, hours_model, outside, similar
from pourstats.learning.hours.calibration import past_scores, stretch_of
from pourstats.learning.hours.features import SQUARE_FEET_PER_YARD_INCH, Habit
from pourstats.learning.hours.model import fitted_model, usable
from pourstats.learning.hours.readings import read_h
from pourstats.learning.hours.structure import PARTS, Levels, Logged, design, effects
from tests import published_productivity as published
from tests.simulators import hours_ratebook, hours_rough, hours_stages


def jobs(**columns):
    """One job or several, a garage unless said otherwise."""
    usual = {
        "pour_id": "J1", "date": "2031-06-03", "site": "S1", "slab_type": "garage", "area": 600.0,
        "thickness": 4.0, "placement": "chute", "finish": "trowel", "hands": 4.0,
        "finish_hands": 2.0,
    }  # fmt: skip
    table = {**usual, **columns}
    rows = max([len(v) for v in table.values() if isinstance(v, list)], default=1)
    return pd.DataFrame({k: v if isinstance(v, list) else [v] * rows for k, v in table.items()})


def past(count, seed=0, level=1.0, noise=0.12, **columns):
    """Pours of one plain rule: 4 h, 0.5 h a yard and 1 h a hundred feet, times the level."""
    rng = np.random.default_rng(seed)
    area = rng.uniform(300, 2000, count)
    frame = jobs(area=list(area), pour_id=[f"P{k}" for k in range(count)])
    dates = pd.Timestamp("2030-03-01") + pd.to_timedelta(np.arange(count) * 2, unit="D")
    frame["date"] = dates.strftime("%Y-%m-%d")
    yards = area * 4.0 / SQUARE_FEET_PER_YARD_INCH
    hours = (4.0 + 0.5 * yards + area / 100.0) * level
    frame["labor_h"] = hours * np.exp(noise * rng.standard_normal(count))
    frame["crew_h"], frame["hours_from"] = frame["labor_h"] / 3.0, "crew_time"
    return frame.assign(**columns)


def median(model, table):
    return float(np.median(model.draws(table).labor_h[0]))


def width(model, table):
    found = quantiles(model.draws(table).labor_h)
    return float(np.log(found["p90"] / found["p10"])[0])


# Published rates.


def test_empty_record_lies_in_the_published_range_of_placing():
    """Placing 0.32 to 1.00 labor-hours a yard (two handbooks, published_productivity)."""
    low, high = published.PLACE_H_PER_YD3
    for area in (300.0, 600.0, 1500.0, 4000.0):
        for thickness in (4.0, 6.0):
            table = jobs(area=area, thickness=thickness, hands=np.nan, finish_hands=np.nan)
            model = hours_model()
            laid, f = model.design(table)
            rate = laid.parts(model.beta)[0, PARTS.index("place")] / f.volume_yd3[0]
            assert low < rate < high


def test_empty_record_machine_trowels_at_the_published_rate():
    """One labor-hour per 100 ft2 of machine trowel; 15 % for hands and size."""
    table = jobs(area=[400.0, 800.0, 1600.0], hands=np.nan, finish_hands=np.nan)
    model = hours_model()
    laid, _ = model.design(table)
    rate = laid.parts(model.beta)[:, PARTS.index("finish")] / np.array([4.0, 8.0, 16.0])
    assert rate == pytest.approx(published.TROWEL_H_PER_100FT2, rel=0.15)


def test_empty_record_is_wide():
    """Handbooks differ threefold for one item: so must nine answers in ten."""
    found = quantiles(hours_model().draws(jobs()).labor_h)
    assert found["p95"][0] / found["p05"][0] > 3.0


def test_learning_follows_crawford():
    """The learning effect at 90 % (b = log2 0.9) gives Crawford's unit times 0.9, 0.81, 0.729."""
    b = np.log2(0.9)
    zero = np.zeros(4)
    # The model counts from the fourth pour on, as no crew is new to it all.
    order = np.array([1.0, 2.0, 4.0, 8.0]) * 4.0 - 4.0
    model = hours_model()
    frame = jobs(area=[600.0] * 4)
    _, f = model.design(frame)
    laid = design(effects(f, Levels(pours=100), Logged(order, zero, zero), 0.0), f)
    beta = np.where(np.array(laid.names) == "learning", b, laid.mean)
    hours = laid.parts(beta).sum(axis=1)
    for unit, row in ((2, 1), (4, 2), (8, 3)):
        assert hours[row] / hours[0] == pytest.approx(published.CRAWFORD_90[unit], rel=1e-9)


# The crew's own record.


def test_record_takes_over():
    """With 120 pours of a known rule the answer is the rule's, within a twelfth."""
    model = hours_model(past(120, level=1.6))
    for area in (400.0, 1000.0, 1800.0):
        truth = 1.6 * (4.0 + 0.5 * area * 4.0 / 324.0 + area / 100.0)
        assert median(model, jobs(area=area)) == pytest.approx(truth, rel=1 / 12)


def test_doubt_shrinks_with_the_record():
    widths = [width(hours_model(past(n) if n else None), jobs()) for n in (0, 3, 12, 60)]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] > 2.0 * widths[3]


def test_scatter_is_learned():
    calm, rough = (hours_model(past(100, noise=s)).noise.sigma for s in (0.08, 0.3))
    assert calm < 0.11 < 0.24 < rough


def test_a_wrecked_day_neither_steers_nor_is_thrown_out():
    """Three days in forty at 2.5 times: the mean of logs would rise by 3/40 ln 2.5 = 6.9 %."""
    moved = []
    for seed in range(4):
        clean = past(40, seed)
        wrecked = clean.copy()
        wrecked.loc[[10, 20, 35], "labor_h"] *= 2.5
        usual, after = hours_model(clean), hours_model(wrecked)
        moved.append(np.log(median(after, jobs()) / median(usual, jobs())))
        assert after.noise.wreck_share_ahead > usual.noise.wreck_share_ahead
        top = [
            quantiles(m.draws(jobs()).labor_h)["p95"][0] / median(m, jobs()) for m in (usual, after)
        ]
        assert top[1] > top[0]
        assert set(np.argsort(after.fit.wrecked)[-3:]) == {10, 20, 35}
    assert np.mean(moved) < 0.03


@pytest.mark.parametrize("factor", [0.01, 20.0])
def test_a_slip_of_the_pen_moves_little(factor):
    clean = past(40)
    slipped = clean.copy()
    slipped.loc[20, "labor_h"] *= factor
    usual, after = hours_model(clean), hours_model(slipped)
    assert median(after, jobs()) == pytest.approx(median(usual, jobs()), rel=0.02)
    assert width(after, jobs()) < 1.25 * width(usual, jobs())


def test_a_crew_that_slowed_down_is_told_as_it_is_now():
    frame = past(80)
    frame.loc[40:, "labor_h"] *= 1.35
    truth = 1.35 * (4.0 + 0.5 * 600 * 4 / 324 + 6.0)
    model = hours_model(frame)
    assert median(model, jobs()) == pytest.approx(truth, rel=0.08)
    assert model.stray > hours_model(past(80)).stray


def test_a_type_seen_twice_borrows_from_the_rest():
    frame = past(60)
    frame.loc[[30, 50], "slab_type"] = "shop"
    frame.loc[[30, 50], "labor_h"] *= 1.5
    model = hours_model(frame)
    lift = median(model, jobs(slab_type="shop")) / median(model, jobs())
    assert 1.05 < lift < 1.45
    assert width(model, jobs(slab_type="walk")) > width(model, jobs())


def test_task_hours_tell_the_parts_apart():
    """Two crews with the same totals but other tasks differ in what a thicker slab costs."""
    shares = {}
    for name, place in (("placers", 0.6), ("finishers", 0.2)):
        frame = past(60)
        rest = 1.0 - place - 0.2
        split = {"other": 0.1, "place": place, "finish": rest, "wait": 0.1, "saw": 0.0}
        for task, share in split.items():
            frame[f"{task}_labor_h"] = frame["labor_h"] * share
        model = hours_model(frame)
        shares[name] = median(model, jobs(thickness=6.0)) / median(model, jobs())
    assert shares["placers"] > shares["finishers"] + 0.1


def test_a_bigger_share_of_headcount_leaves_more_doubt():
    timed, counted = past(40), past(40, hours_from="headcount")
    assert width(hours_model(counted), jobs()) > width(hours_model(timed), jobs())


def test_short_log_reading_by_hand():
    """4 hands from 7:00, first concrete 8:00 to 10:00, gone 15:00; no finishers, no crew in.

    By hand: the usual set-up of an hour, 4 x (1 + 2) + 0.6 x 4 x 5 = 24 h, not 4 x 7 = 28 h.
    """
    day = "2031-06-03 "
    frame = jobs(
        labor_h=28.0, hours_from="headcount_part", finish_hands=np.nan,
        place_start=pd.Timestamp(day + "08:00"), place_end=pd.Timestamp(day + "10:00"),
        crew_out=pd.Timestamp(day + "15:00"),
    )  # fmt: skip
    assert read_h(frame, Habit())[0] == pytest.approx(24.0)
    complete = frame.assign(hours_from="crew_time")
    assert read_h(complete, Habit())[0] == 28.0


# Ranges held against the crew's own past.


def test_stretch_by_hand():
    """Twenty scores' worth at one and five scores of two: sqrt((20 + 5 x 4) / 25) = 1.2649."""
    assert stretch_of(np.full(5, 2.0)) == pytest.approx(np.sqrt(40 / 25))
    assert stretch_of(np.zeros(0)) == 1.0
    assert stretch_of(np.full(20, 1.0)) == pytest.approx(1.0)
    # No score counts as farther out than three.
    assert stretch_of(np.full(5, 50.0)) == pytest.approx(np.sqrt((20 + 45) / 25))


def test_a_long_past_draws_in_less_than_it_widens():
    """Forty scores of a half: held by 2.5 x 40 = 100, sqrt((100 + 10) / 140) = 0.886; five of them
    by the usual twenty, sqrt(21.25 / 25) = 0.922. Forty of 1.5 widen by sqrt((20 + 90) / 60).
    """
    assert stretch_of(np.full(40, 0.5)) == pytest.approx(0.8864, abs=1e-4)
    assert stretch_of(np.full(5, 0.5)) == pytest.approx(0.9220, abs=1e-4)
    assert stretch_of(np.full(40, 1.5)) == pytest.approx(np.sqrt(110 / 60))


def test_past_scores_are_standard_where_the_model_is_right():
    """Twenty records of 60 pours of one rule, ten pours told ahead of each: variance one.

    The scores of a record share its rates, so the 200 are worth fewer: 0.65 to 1.5 is wide enough
    that a right model fails about once in a thousand (chi-squared on about a hundred).
    """
    scores = []
    for seed in range(20):
        frame = usable(past(60, seed))
        scores.append(past_scores(fitted_model(frame.head(50)), frame.iloc[50:]))
    assert 0.65 < np.square(np.concatenate(scores)).mean() < 1.5


def test_a_past_that_was_told_too_narrow_widens_what_is_told_next():
    """The last forty pours scatter three times as wide as the first forty."""
    steady, wild = past(80, noise=0.08), past(80, noise=0.08)
    luck = np.random.default_rng(9).standard_normal(40)
    wild.loc[40:, "labor_h"] *= np.exp(0.24 * luck)
    assert hours_model(steady).stretch < 1.1 < hours_model(wild).stretch


def test_weather_unknown_widens_and_jobs_of_one_day_share_it():
    """A crew that waits long in the cold, with weather logged: no forecast means more doubt."""
    air = 60.0 + 15.0 * np.random.default_rng(3).standard_normal(80)
    frame = past(80, noise=0.05, air_temp_f=air)
    frame["labor_h"] *= np.exp(-0.01 * (air - 60.0))
    model = hours_model(frame)
    assert width(model, jobs()) > 1.1 * width(model, jobs(air_temp_f=60.0))
    assert model.habit.air_scatter_f == pytest.approx(15.0, rel=0.25)
    told = model.draws(jobs(pour_id=["A", "B", "C"], date=["2031-06-03"] * 2 + ["2031-06-04"]))
    same, other = (np.corrcoef(np.log(told.labor_h[[0, row]]))[0, 1] for row in (1, 2))
    assert same > other + 0.1


# Draws.


def test_draws_hang_on_the_job_alone():
    model = hours_model(past(30))
    two = jobs(pour_id=["A", "B"], area=[600.0, 900.0])
    alone = model.draws(two.iloc[[1]].reset_index(drop=True)).labor_h[0]
    assert model.draws(two).labor_h[1] == pytest.approx(alone, rel=1e-12)
    assert np.abs(model.draws(two, seed=1).labor_h[1] - alone).max() > 1.0


def test_two_versions_of_a_job_meet_the_same_day():
    model = hours_model(past(30))
    as_is, thicker = model.draws(jobs()).labor_h[0], model.draws(jobs(thickness=5.0)).labor_h[0]
    assert np.corrcoef(np.log(as_is), np.log(thicker))[0, 1] > 0.95
    assert ((thicker - as_is) > 0).mean() > 0.85


def test_crew_hours_follow_hands():
    model = hours_model(past(60))
    found = model.draws(jobs())
    assert np.median(found.crew_h[0]) == pytest.approx(np.median(found.labor_h[0]) / 3.0, rel=0.06)
    assert (found.crew_h <= found.labor_h).all()


def test_parts_add_up():
    found = hours_model(past(30)).draws(jobs())
    assert found.parts_h.sum() == pytest.approx(found.expected_h.mean())


# Sense.


def test_cold_and_hot():
    """Set takes about twice as long 20 degF colder (NRMCA CIP 27), so those who wait wait longer."""
    model = hours_model()
    mild, cold = median(model, jobs(air_temp_f=70.0)), median(model, jobs(air_temp_f=35.0))
    assert cold > mild
    assert median(model, jobs(air_temp_f=100.0)) > 0.9 * mild


@pytest.mark.parametrize(
    ("more", "less"),
    [
        ({"finish": "hard_trowel"}, {"finish": "broom"}),
        ({"placement": "wheelbarrow"}, {"placement": "chute"}),
        ({"thickness": 8.0}, {"thickness": 4.0}),
        ({"saw_type": "conventional", "saw_length": 200.0}, {"saw_type": "none"}),
    ],
)
def test_harder_jobs_take_longer(more, less):
    model = hours_model()
    assert median(model, jobs(**more)) > median(model, jobs(**less))


def test_twice_the_floor_takes_less_than_twice_the_hours():
    """The fixed part of every job; a small job's rate a foot is dearer."""
    for model in (hours_model(), hours_model(past(60))):
        assert 1.3 < median(model, jobs(area=1200.0)) / median(model, jobs()) < 2.0


def test_drivers_are_what_differs():
    frame = past(30)
    found = drivers(hours_model(frame), jobs(finish="hard_trowel", hands=4.0))[0]
    assert [d.column for d in found] == ["finish"]
    assert (found[0].has, found[0].usual) == ("hard_trowel", "trowel")
    assert found[0].hours > 0
    assert drivers(hours_model(frame), jobs())[0] == []


def test_sawing_sets_a_job_apart_only_where_it_is_not_usual():
    """A crew that saws every garage: a sawn one is as usual, one left unsawn takes less."""
    frame = past(30, saw_type="early_entry", saw_length=100.0)
    sawn = {"saw_type": "early_entry", "saw_length": 100.0}
    model = hours_model(frame)
    assert drivers(model, jobs(**sawn))[0] == []
    (less,) = drivers(model, jobs(saw_type="none"))[0]
    assert (less.column, less.usual) == ("saw_type", "early_entry")
    assert less.hours < -0.2
    (more,) = drivers(hours_model(past(30)), jobs(**sawn))[0]
    assert more.hours > 0.2


def test_a_headcount_is_read_down_to_crew_time():
    """Every other pour is a headcount that reads 20 % high: half of the record shows it."""
    frame = past(80, noise=0.05, hours_from="crew_time")
    odd = frame.index % 2 == 1
    frame.loc[odd, "hours_from"] = "headcount"
    truth = frame["labor_h"].to_numpy().copy()
    frame.loc[odd, "labor_h"] *= 1.2
    seen = usable(frame)
    hours, doubt = hours_model(frame).as_crew_time(seen)
    assert hours[~odd] == pytest.approx(truth[~odd])
    assert hours[odd].sum() / truth[odd].sum() == pytest.approx(1.0, abs=0.04)
    assert (doubt[~odd] == 0.0).all()
    assert 0.0 < doubt[odd][0] < 0.05
    # By headcount alone nobody can tell how much it reads high: the doubt is the prior's 10 %.
    frame["hours_from"] = "headcount"
    alone = hours_model(frame).as_crew_time(usable(frame))[1]
    assert alone == pytest.approx(0.1, rel=0.25)


def test_similar_finds_the_twin():
    frame = past(30)
    frame.loc[7, ["area", "finish"]] = [512.0, "float"]
    model = hours_model(frame)
    place = similar(model, jobs(area=512.0, finish="float"))[0]
    assert len(place) == 5
    assert model.seen["pour_id"].iloc[place[0]] == "P7"
    assert similar(hours_model(), jobs()) == [[]]


def test_outside_is_told_and_widens():
    model = hours_model(past(40))
    assert outside(model, jobs()) == [[]]
    big = outside(model, jobs(area=9000.0))[0]
    assert [item.column for item in big] == ["area"]
    assert big[0].high < 2000.0
    assert width(model, jobs(area=9000.0)) > 1.3 * width(model, jobs(area=1900.0))
    assert [i.column for i in outside(model, jobs(placement="buggy"))[0]] == ["placement"]


# Whatever comes.


@pytest.mark.parametrize(
    "frame",
    [
        past(1), past(2), past(5)[["pour_id", "date", "slab_type", "area", "thickness", "labor_h"]],
        past(8, hands=np.nan, finish_hands=np.nan, placement=None, finish=None, crew_h=np.nan),
        past(6, labor_h=np.nan), past(8, labor_h=12.0), past(10, hours_from="headcount"),
        past(6, area=600.0, thickness=4.0), past(6, lead=["A", None, "", "B", "A", "C"]),
        past(20, noise=2.0), past(12, air_temp_f=[50.0, np.nan] * 6),
    ],
)  # fmt: skip
def test_odd_records_still_answer(frame):
    found = hours_model(frame).draws(jobs(area=[1.0, 600.0, 1e6]))
    for values in (found.labor_h, found.crew_h):
        assert np.isfinite(values).all()
        assert (values > 0).all()


def test_future_pours_of_the_frame_do_not_matter_by_row_order():
    frame = past(30)
    turned = frame.sample(frac=1.0, random_state=4)
    assert median(hours_model(turned), jobs()) == pytest.approx(median(hours_model(frame), jobs()))


def test_hours_frame_joins_the_store():
    pours = jobs()
    output = pd.DataFrame({"pour_id": ["J1"], "labor_h": [20.0], "hours_from": ["crew_time"]})
    weather = pd.DataFrame({"pour_id": ["J1"], "air_temp_f": [61.0]})
    frame = hours_frame({"pours": pours, "pour_output": output, "pour_weather": weather})
    assert frame.loc[0, ["labor_h", "read_h", "air_temp_f"]].tolist() == [20.0, 20.0, 61.0]
    assert hours_frame({}).empty


@pytest.mark.parametrize("simulator", [hours_stages, hours_ratebook, hours_rough])
def test_intervals_hold_on_simulated_seasons(simulator):
    """A smoke test of the benchmark: 15 seasons of 40 pours, 150 jobs. Were eight in ten right,
    fewer than 68 % or more than 97 % would come about once in a thousand or so (season effects
    allowed for)."""
    held = []
    for seed in range(3000, 3015):
        season = simulator.season(seed, 40, truth=50)
        found = quantiles(hours_model(season.record).draws(season.jobs, 1000).labor_h)
        held += list((season.labor_h >= found["p10"]) & (season.labor_h <= found["p90"]))
    assert 0.68 < np.mean(held) < 0.97
