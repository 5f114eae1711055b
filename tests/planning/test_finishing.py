"""The finishing clock of jobs ahead: its shape, its odds, its cautions, and what it says of gaps."""

import json
from datetime import datetime

import numpy as np
import pandas as pd
import pytest

from pourstats.faults import Refusal
from pourstats.planning.cautions import Slab, cautions
from pourstats.planning.finishing import finishing, kept_numbers
from pourstats.reporting.finishing import finishing_text

DAY = pd.Timestamp("2031-07-08")


def jobs(**changes):
    row = {
        "pour_id": "B1", "date": DAY, "site": "A", "slab_type": "basement", "area": 1000.0,
        "thickness": 4.0, "exposure": "shade", "finish": "trowel", "base": "stone;vapor_sheet",
        "place_start": DAY + pd.Timedelta(hours=7), "saw_type": "early_entry", "slump": 5.0,
        "concrete_temp": 75.0, "admixtures": None, "latest_end": pd.NaT,
    }  # fmt: skip
    return pd.DataFrame([row | changes])


def weather(hours=72, step=1, **changes):
    times = pd.date_range(DAY - pd.Timedelta(days=1), periods=hours // step, freq=f"{step}h")
    frame = pd.DataFrame(
        {
            "site": "A", "time": times, "air_temp": 75.0, "humidity": 50.0, "wind": 6.0,
            "wind_height": np.nan, "sun": 300.0, "cloud": np.nan,
        }
    )  # fmt: skip
    return frame.assign(**changes)


def one(job=None, forecast=None, record=None, house=None):
    result = finishing(
        jobs() if job is None else job, weather() if forecast is None else forecast, record, house
    )
    return result["jobs"][0]


def test_the_promised_keys_are_there_and_it_is_json():
    result = finishing(jobs(), weather(), None, {})
    json.dumps(result, allow_nan=False)
    job = result["jobs"][0]
    promised = {
        "pour_id", "place_end", "since_placed_min", "passes", "last_pass_end", "saw_open",
        "saw_open_p90", "saw_close", "saw_close_p10", "evaporation_lb_ft2_h", "cautions",
    }  # fmt: skip
    assert promised <= set(job)
    assert set(job["evaporation_lb_ft2_h"]) == {"mean", "max"}
    assert list(job["last_pass_end"]) == ["p05", "p10", "p25", "p50", "p75", "p90", "p95"]
    datetime.strptime(job["place_end"], "%Y-%m-%dT%H:%M")
    for caution in job["cautions"]:
        assert {"do", "because", "source"} <= set(caution)
        assert all(caution.values())


def test_times_come_in_order():
    job = one()
    order = [
        job["place_start"], job["place_end"], *(p["start"]["p50"] for p in job["passes"]),
        job["last_pass_end"]["p50"], job["saw_open"], job["saw_close"],
    ]  # fmt: skip
    assert order == sorted(order)
    assert all(p["chance"] >= 0.5 for p in job["passes"])
    assert [p["pass_no"] for p in job["passes"]] == list(range(1, len(job["passes"]) + 1))
    assert 4 <= len(job["passes"]) <= 6  # about five on a basement floor: common practice


def test_since_placed_is_the_first_pass_less_the_end_of_placing():
    job = one(jobs(place_end=DAY + pd.Timedelta("07:45:00")))
    assert job["place_end"] == "2031-07-08T07:45"
    first = datetime.fromisoformat(job["passes"][0]["start"]["p50"])
    minutes = (first - datetime.fromisoformat(job["place_end"])).total_seconds() / 60
    assert job["since_placed_min"]["p50"] == pytest.approx(minutes, abs=1)


def test_the_odds_of_the_day_fall_with_an_earlier_end():
    late = one()["chance_finished"]
    early = one(jobs(latest_end=DAY + pd.Timedelta(hours=11)))["chance_finished"]
    none = one(jobs(latest_end=DAY + pd.Timedelta(hours=7)))["chance_finished"]
    assert late > 0.95
    assert 0.02 < early < 0.98
    assert none == 0
    assert one(house={"day_end": "12:00"})["chance_finished"] < late
    assert one()["chance_sawn"] <= late


def test_saw_windows_stay_near_the_published_ones():
    # ACI FAQ 915: conventional 4 to 12 h after placing; early entry 1 h hot to 4 h cold after it
    job = one(jobs(saw_type="conventional"))
    placed = datetime.fromisoformat(job["place_end"])
    opens = (datetime.fromisoformat(job["saw_open"]) - placed).total_seconds() / 3600
    closes = (datetime.fromisoformat(job["saw_close"]) - placed).total_seconds() / 3600
    assert 4 <= opens <= 12
    assert opens + 2 < closes <= 18
    early = one(jobs(saw_type="early_entry"))
    after = datetime.fromisoformat(early["saw_open"]) - datetime.fromisoformat(
        early["last_pass_end"]["p50"]
    )
    assert 0.7 <= after.total_seconds() / 3600 <= 4.3
    assert one(jobs(saw_type="none"))["saw_open"] is None


def test_a_long_slab_tells_its_two_ends_apart():
    job = one(jobs(slab_type="warehouse", area=9000.0, thickness=6.0))
    assert job["last_placed_end"]["p50"] > job["first_pass"]["p50"]
    assert one()["last_placed_end"] is None


@pytest.mark.parametrize("area", [1000.0, 2500.0, 9000.0, 20000.0])
def test_the_end_placed_last_is_told_under_the_first_pass_or_not_at_all(area):
    result = finishing(jobs(slab_type="warehouse", area=area, thickness=6.0), weather(), None, {})
    job, lines = result["jobs"][0], finishing_text(result).splitlines()
    first = next(i for i, line in enumerate(lines) if "first pass" in line)
    told = [i for i, line in enumerate(lines) if "end placed last" in line]
    assert told in ([], [first + 1])
    if area == 1000.0:
        assert not told
    if job["last_placed_end"]:
        for level, time in job["first_pass"].items():
            assert job["last_placed_end"][level] >= time


def test_five_rows_copied_off_a_phone_will_do():
    hours = [5, 9, 12, 15, 18]
    phone = weather().iloc[: len(hours)].assign(
        time=[DAY + pd.Timedelta(hours=h) for h in hours],
        air_temp=[62, 70, 79, 83, 80], humidity=[80, 62, 45, 40, 46], wind=[3, 5, 8, 9, 7],
        sun=np.nan, cloud=[10, 20, 20, 40, 50],
    )  # fmt: skip
    job = one(
        forecast=phone, house={"latitude": 40.0, "longitude": -105.0, "zone": "America/Denver"}
    )
    assert any("reckoned from the cloud" in note for note in job["notes"])
    assert not any("mild day" in note for note in job["notes"])
    assert 60 < job["since_placed_min"]["p50"] < 200


@pytest.mark.parametrize(
    ("forecast", "words"),
    [
        (weather(hours=33), "too early for"),
        (weather(hours=24), "before the pour begins"),
        (
            weather().assign(time=lambda w: w["time"] + pd.Timedelta(days=200)),
            "not for the pour's day",
        ),
        (weather(site="B"), "that of B stands in"),
        (weather(sun=np.nan), "neither sun nor cloud"),
        (weather(sun=np.nan, cloud=20.0), "no sun"),
        (weather(hours=72, step=9), "lie 9 hours"),
        (pd.DataFrame(), "No forecast is given"),
    ],
)
def test_a_forecast_that_lacks_something_says_so_and_the_rest_is_told(forecast, words):
    job = one(forecast=forecast)
    assert any(words in note for note in job["notes"]), job["notes"]
    assert job["since_placed_min"]["p50"] > 30


def test_a_forecast_of_another_month_is_not_used():
    """January's frost, told for a July pour, gives what no forecast gives."""
    far = weather().assign(time=lambda w: w["time"] + pd.Timedelta(days=200), air_temp=20.0)
    assert one(forecast=far)["since_placed_min"] == one(forecast=pd.DataFrame())["since_placed_min"]


def test_a_forecast_that_ends_just_before_the_pour_is_carried_on_and_said_so():
    """Its last reading, two hours old, is what the answer rests on; no mild day is made up."""
    late = jobs(place_start=DAY + pd.Timedelta(hours=20))
    cold, warm = (one(late, weather(hours=43, air_temp=air)) for air in (50.0, 90.0))
    assert cold["since_placed_min"]["p50"] > 1.3 * warm["since_placed_min"]["p50"]
    assert any("ends Tue 18:00, too early for the pour" in note for note in cold["notes"])
    assert not any("mild day" in note for note in cold["notes"])


def test_under_a_roof_nobody_asks_for_the_sun():
    result = finishing(jobs(exposure="indoors"), weather(sun=np.nan), None, {})
    assert not [n for n in result["notes"] + result["jobs"][0]["notes"] if "sun" in n]
    outdoors = finishing(jobs(exposure="sun"), weather(sun=np.nan), None, {})
    # of the sky once, of the latitude once
    assert finishing_text(outdoors).count("40 percent covered") == 1
    assert finishing_text(outdoors).count("latitude") == 1


@pytest.mark.parametrize(("air_f", "freezes"), [(18.0, True), (38.0, False)])
def test_a_slab_that_freezes_first_is_told_so(air_f, freezes):
    """Fresh concrete freezes below about 25 degF (NRMCA CIP 27): no hour is a forecast then."""
    job = one(jobs(exposure="shade", concrete_temp=50.0), weather(air_temp=air_f, sun=0.0))
    assert any("freezes before" in note for note in job["notes"]) is freezes
    if freezes:
        # nor does doubt make a frozen slab ready sooner than a cold one
        cold = one(jobs(exposure="shade", concrete_temp=50.0), weather(air_temp=38.0, sun=0.0))
        for level in ("p05", "p25", "p50"):
            assert job["since_placed_min"][level] > cold["since_placed_min"][level]


def test_rain_while_it_is_soft_is_told_and_later_rain_is_not():
    rain = np.zeros(72)
    rain[24 + 10] = 0.15  # at ten, three hours after first concrete
    wet = [c for c in one(forecast=weather(rain=rain))["cautions"] if "Rain" in c["because"]]
    assert "Rain from 10:00, 0.15 in" in wet[0]["because"]
    dry = np.roll(rain, 20)
    assert not [c for c in one(forecast=weather(rain=dry))["cautions"] if "Rain" in c["because"]]
    roofed = one(jobs(exposure="indoors"), weather(rain=rain))
    assert not [c for c in roofed["cautions"] if "Rain" in c["because"]]


def test_a_saw_that_nobody_ordered_is_assumed_and_said():
    assert any("wet saw is assumed" in note for note in one(jobs(saw_type=None))["notes"])
    slow = [
        one(jobs(saw_type=t, saw_length=900.0))["chance_sawn"] for t in ("conventional", "handheld")
    ]
    assert slow[0] > slow[1]


def test_a_start_that_nobody_agreed_is_assumed_and_said():
    job = one(jobs(place_start=pd.NaT, earliest_start=DAY + pd.Timedelta(hours=9)))
    assert job["place_start"] == "2031-07-08T09:00"
    assert any("assumed" in note for note in job["notes"])


def test_no_jobs_are_refused():
    with pytest.raises(Refusal, match="no jobs"):
        finishing(jobs().iloc[:0], weather(), None, {})


def test_what_is_kept_can_be_scored():
    result = finishing(jobs(), weather(), None, {})
    kept = kept_numbers(result)
    first = {q: v for pid, target, q, v in kept if target == "first_pass_min"}
    told = result["jobs"][0]["first_pass"]["p50"]
    assert first[0.5] == pytest.approx(int(told[11:13]) * 60 + int(told[14:16]))
    assert {target for _, target, _, _ in kept} == {
        "since_placed_min", "first_pass_min", "last_pass_end_min",
    }  # fmt: skip


def test_it_reads_at_five_in_the_morning():
    result = finishing(jobs(), weather(), None, {})
    text = finishing_text(result)
    assert "Tuesday 8 July" in text
    assert "first pass" in text
    assert "One of you can be away until" in text
    assert "published values only" in text
    for word in ("quantile", "censored", "pinball", "nan", "None", "p50"):
        assert word not in text
    assert max(len(line) for line in text.splitlines()) <= 100
    clocks = [line.split()[0] for line in text.splitlines() if line[2:11].strip().endswith("0")]
    assert clocks == sorted(clocks)


@pytest.mark.parametrize(
    ("first", "words"),
    [("09:05", "1 h 20 after placing"), ("07:30", "15 min before placing ends"),
     ("05:35", "2 h 10 before placing ends"), ("07:46", "as placing ends")],
)  # fmt: skip
def test_the_delay_is_that_of_the_two_printed_times(first, words):
    """The middle of a difference needn't be the difference of the middles, even in sign."""
    result = finishing(jobs(), weather(), None, {})
    told = result["jobs"][0]
    told["place_end"] = "2031-07-08T07:45"
    told["first_pass"] = dict.fromkeys(told["first_pass"], f"2031-07-08T{first}")
    told["since_placed_min"] = dict.fromkeys(told["since_placed_min"], 10.0)
    line = next(ln for ln in finishing_text(result).splitlines() if "first pass" in ln)
    assert line.split(", ")[-1] == words


def test_what_two_slabs_share_is_said_once():
    two = pd.concat([jobs(), jobs(pour_id="B2"), jobs(pour_id="B3", exposure="indoors")])
    text = finishing_text(finishing(two, weather(sun=np.nan), None, {}))
    assert text.count("neither sun nor cloud") == 1
    assert "B1, B2: The forecast has neither sun nor cloud" in text


@pytest.mark.parametrize(("closes", "lane"), [("22:00", "safe"), ("13:00", "likely")])
def test_the_charts_saw_bar_never_runs_backwards(closes, lane):
    """Where the slab may crack before it surely holds a saw, no window is safe beforehand."""
    from pourstats.reporting.charts_ahead import finishing_clock

    told = one() | {
        "saw_open": "2031-07-08T13:30", "saw_open_p90": "2031-07-08T15:00",
        "saw_close": "2031-07-08T22:30", "saw_close_p10": f"2031-07-08T{closes}",
    }  # fmt: skip
    drawn = finishing_clock(told)
    # Whoever reads only the title goes no sooner than the bar says.
    window, hours = drawn.words.rpartition("; ")[2].split(": ")
    assert drawn.title.endswith(f"{window} {hours.replace('–', ' to ')}")
    words = drawn.words
    bar = words.split(f"saw window, {lane}: ")[1].split(";")[0]
    assert bar == {"safe": "15:00–22:00", "likely": "13:30–22:30"}[lane]


def test_a_caution_of_two_slabs_is_said_once():
    two = pd.concat([jobs(), jobs(pour_id="B2", saw_type="none")], ignore_index=True)
    text = finishing_text(finishing(two, weather(), None, {}))
    assert text.count("carbon monoxide") == 1
    assert "B1: Make a short trial cut" in text


def _slab(**changes):
    usual = {
        "slab_type": "garage", "exposure": "shade", "finish": "trowel", "saw": "none",
        "thickness_in": 4.0, "slump_in": 4.0, "concrete_f": 70.0, "slab_f": 70.0, "air_low_f": 60.0,
        "air_high_f": 75.0, "heat_index_f": 75.0, "evaporation_lb_ft2_h": 0.04,
        "evaporation_max_lb_ft2_h": 0.06, "latitude": 40.0, "wind_chill_f": 60.0, "rain_in": 0.0,
        "rain_from": "", "crust": False, "wet": False,
    }  # fmt: skip
    return Slab(**(usual | changes))


@pytest.mark.parametrize(
    ("changes", "word", "source"),
    [
        ({"admixtures": frozenset({"air_entrainer"})}, "delaminates", "302.1R"),
        ({"wet": True}, "bleed water", "CIP 1"),
        ({"slab_type": "driveway", "finish": "broom"}, "air-entrained", "CIP 2"),
        ({"saw": "conventional"}, "water at the blade", "1926.1153"),
        ({"saw": "conventional", "exposure": "indoors"}, "APF 10", "1926.1153"),
        ({"saw": "early_entry"}, "own dust assessment", "1926.1153"),
        ({"saw": "early_entry"}, "trial cut", "302.1R"),
        ({"slab_type": "basement"}, "carbon monoxide", "NIOSH"),
        ({"air_low_f": 30.0}, "freezes below", "306R"),
        ({"air_low_f": 20.0, "slab_f": 27.0}, "Put it off", "306R"),
        ({"air_low_f": 30.0, "slab_type": "basement"}, "vented heaters", "CIP 1"),
        ({"heat_index_f": 95.0}, "Heat index up to 95", "NWS"),
        ({"rain_in": 0.2, "rain_from": "11:00"}, "Rain from 11:00", "forecast"),
        ({"wind_chill_f": 5.0}, "Wind chill down to 5", "NWS"),
        ({"wind_chill_f": -20.0}, "freezes within half an hour", "NWS"),
        ({"evaporation_max_lb_ft2_h": 0.25}, "over 0.2", "ACI 305R"),
        ({"evaporation_max_lb_ft2_h": 0.15}, "over 0.1", "FHWA"),
        ({"crust": True}, "crust", "CIP 13"),
        ({"concrete_f": 97.0}, "usual limit is 95", "ACI 301"),
        (
            {"base": frozenset({"vapor_sheet"}), "slab_f": 60.0, "evaporation_lb_ft2_h": 0.1},
            "blisters",
            "CIP 13",
        ),
    ],
)  # fmt: skip
def test_a_caution_comes_where_it_matters_and_not_elsewhere(changes, word, source):
    def found(slab):
        return [c for c in cautions(slab) if word in c["do"] + c["because"]]

    assert found(_slab(**changes))
    assert source in found(_slab(**changes))[0]["source"]
    assert not found(_slab())


def test_an_ordinary_slab_has_no_cautions():
    assert cautions(_slab()) == []


@pytest.mark.parametrize("seed", range(8))
def test_whatever_is_blank_something_true_is_told(seed):
    """Records and jobs with columns and cells missing at random: an answer, in JSON, never NaN."""
    rng = np.random.default_rng(seed)
    n = int(rng.choice([0, 1, 2, 5, 12]))
    start = DAY - pd.to_timedelta(np.arange(n) + 1, unit="D") + pd.Timedelta(hours=7)
    pours = pd.DataFrame(
        {
            "pour_id": [f"P{i}" for i in range(n)], "date": start.normalize(), "site": "A",
            "slab_type": "garage", "area": 900.0, "thickness": 4.0, "finish": "trowel",
            "exposure": "sun", "base": "stone", "mix": "M", "slump": 5.0, "concrete_temp": 70.0,
            "place_start": start, "place_end": start + pd.Timedelta(minutes=50),
            "machine_on": start + pd.Timedelta(minutes=170),
            "passes_done": start + pd.Timedelta(minutes=290), "pass_count": 4.0,
        }
    )  # fmt: skip
    for column in pours.columns[6:]:
        if rng.random() < 0.3:
            pours[column] = pours[column].where(rng.random(n) < 0.5)
    sky = weather().drop(columns=[c for c in ("sun", "cloud", "wind_height") if rng.random() < 0.4])
    job = jobs().drop(
        columns=[c for c in ("exposure", "finish", "base", "saw_type") if rng.random() < 0.5]
    )
    record = {"pours": pours, "weather": sky}
    result = finishing(job, sky, record, {})
    json.dumps(result, allow_nan=False)
    assert result["jobs"][0]["since_placed_min"]["p50"] > 20
    assert finishing_text(result)
