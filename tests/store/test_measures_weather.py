"""The weather of a gap and of a pour: by hand, against a printed example and against science."""

from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pourstats.science.air import wind_at_slab_mph
from pourstats.science.evaporation import uno_lb_ft2_h
from pourstats.store import measures

MEANS = ("air_temp_f", "humidity_pct", "wind_mph", "sun_w_m2", "evaporation_lb_ft2_h")


def one_pass(number, start, end=None, **more):
    return {"pour_id": "A", "pass_no": number, "start": start, "end": end} | more


def reading(time, air=70, humidity=50, wind=10, **more):
    return {"site": "oak", "time": time, "air_temp": air, "humidity": humidity, "wind": wind} | more


def test_means_are_weighted_by_time(log):
    log.pour(place_end="9:00", bull_float_end="9:30")
    log.add("weather", reading("9:00", air=60, humidity=80, wind=0, sun=0),
            reading("10:00", air=70, humidity=60, wind=10, sun=200),
            reading("12:00", air=80, humidity=40, wind=10, sun=600))  # fmt: skip
    log.add("passes", one_pass(1, "11:00"))
    row = log.one("pass_intervals")
    # half an hour from 65 to 70 degF, an hour from 70 to 75
    assert row["air_temp_f"] == pytest.approx((0.5 * 67.5 + 72.5) / 1.5)
    assert row["humidity_pct"] == pytest.approx((0.5 * 65 + 55) / 1.5)
    assert row["wind_mph"] == pytest.approx((0.5 * 7.5 + 10) / 1.5)
    assert row["sun_w_m2"] == pytest.approx((0.5 * 150 + 300) / 1.5)


def test_a_printed_evaporation_example(log):
    # ACI 305R's nomograph example, as quoted by others: air 80 degF, humidity 50 %, concrete
    # 87 degF, wind 12 mph at the slab give about 0.25 lb/ft2/h; chart reading is good to 0.02.
    log.pour(place_end="9:00", concrete_temp=87)
    log.add("passes", one_pass(1, "10:00"))
    log.add("weather", *(reading(f"{h}:00", 80, 50, 12, wind_height=0.5) for h in (8, 9, 10)))
    row = log.one("pass_intervals")
    assert row["evaporation_lb_ft2_h"] == pytest.approx(0.25, abs=0.02)
    assert row["evaporation_class"] == "0.2 and over"


def test_evaporation_by_hand(log):
    # 70^2.5 = 40996.34; (1 - 0.5) x 40996.34 x (1 + 0.4 x 5) x 1e-6 = 0.0614945
    log.pour(place_end="9:00", concrete_temp=70)
    log.add("passes", one_pass(1, "10:00"))
    log.add("weather", *(reading(f"{h}:00", 70, 50, 5, wind_height=0.5) for h in (9, 10)))
    row = log.one("pass_intervals")
    assert row["evaporation_lb_ft2_h"] == pytest.approx(0.0614945, abs=1e-7)
    assert (row["tc_from"], row["evaporation_class"]) == ("pour", "under 0.1")


@pytest.mark.parametrize(
    ("height", "factor"),
    [(None, 0.4843), (10, 0.4843), (2, 0.6699), (0.5, 1), (0.3, 1), (0.03, 1), (0, 1)],
)
def test_wind_is_brought_down_to_half_a_metre(log, height, factor):
    # ln(0.5 / 0.03) / ln(height / 0.03); a reading at or under half a metre counts as it is
    log.pour(place_end="9:00", concrete_temp=70)
    log.add("passes", one_pass(1, "10:00"))
    log.add("weather", *(reading(f"{h}:00", 70, 50, 10, wind_height=height) for h in (9, 10)))
    row = log.one("pass_intervals")
    expected = 0.5 * 40996.34 * (1 + 0.4 * 10 * factor) * 1e-6
    assert row["evaporation_lb_ft2_h"] == pytest.approx(expected, rel=1e-4)
    assert row["wind_mph"] == 10, "the wind itself is given as logged"


def test_no_evaporation_where_water_condenses(log):
    log.pour(place_end="9:00", concrete_temp=50)
    log.add("passes", one_pass(1, "10:00"))
    log.add("weather", reading("9:00", 90, 90), reading("10:00", 90, 90))
    assert log.one("pass_intervals")["evaporation_lb_ft2_h"] == 0


def test_below_zero_counts_as_zero(log):
    log.pour(place_end="9:00", concrete_temp=40)
    log.add("passes", one_pass(1, "10:00"))
    log.add("weather", *(reading(f"{h}:00", -10, 80, 0) for h in (9, 10)))
    # 40^2.5 = 10119.29
    assert log.one("pass_intervals")["evaporation_lb_ft2_h"] == pytest.approx(0.01011929)


def test_the_concrete_temperature_is_the_pours_else_the_loads_else_the_airs(log):
    log.add("weather", *(reading(f"{h}:00", 60 + h, 50, 0) for h in (8, 9, 10, 11)))
    for pour_id in "ABC":
        log.pour(
            pour_id,
            place_start="8:00",
            place_end="9:00",
            concrete_temp=80 if pour_id == "A" else None,
        )
        log.add("passes", one_pass(1, "10:00") | {"pour_id": pour_id})
    for pour_id in "AB":
        log.add("trucks", {"pour_id": pour_id, "ticket": "1", "volume": 9, "concrete_temp": 70},
                {"pour_id": pour_id, "ticket": "2", "volume": 1, "concrete_temp": 76},
                {"pour_id": pour_id, "ticket": "3", "volume": 9})  # fmt: skip
    for name in ("pass_intervals", "pour_weather"):
        rows = log.rows(name, "pour_id")
        assert [rows[pour_id]["tc_from"] for pour_id in "ABC"] == ["pour", "loads", "air"]
        assert rows["C"]["evaporation_lb_ft2_h"] > 0
        assert rows["C"]["evaporation_class"] is None, "no caution on a guessed temperature"
        assert rows["B"]["evaporation_class"] == "under 0.1"
    rows = log.rows("pass_intervals", "pour_id")
    ends = [(80**2.5 - 0.5 * air**2.5) * 1e-6 for air in (69, 70)]
    assert rows["A"]["evaporation_lb_ft2_h"] == pytest.approx(sum(ends) / 2)
    ends = [(73**2.5 - 0.5 * air**2.5) * 1e-6 for air in (69, 70)]
    assert rows["B"]["evaporation_lb_ft2_h"] == pytest.approx(sum(ends) / 2)
    ends = [0.5 * air**2.5 * 1e-6 for air in (69, 70)]
    assert rows["C"]["evaporation_lb_ft2_h"] == pytest.approx(sum(ends) / 2)


@pytest.mark.parametrize(
    ("heights", "known"),
    [((None, None), False), ((2, 2), True), ((1.5, 2.5), False), ((0.5, 1), True)],
)
def test_indoors_only_a_wind_read_low_tells_the_evaporation(log, heights, known):
    log.pour(place_start="9:00", place_end="9:00", exposure="indoors", concrete_temp=70)
    log.add("passes", one_pass(1, "10:00"))
    log.add("weather", *(reading(time, wind_height=height)
                         for time, height in zip(("9:00", "10:00"), heights, strict=True)))  # fmt: skip
    row, pour = log.one("pass_intervals"), log.one("pour_weather")
    assert (row["evaporation_lb_ft2_h"] is not None) == known
    assert (row["evaporation_class"] is not None) == known
    assert (pour["evaporation_max_lb_ft2_h"] is not None) == known
    assert row["air_temp_f"] == 70


@pytest.mark.parametrize(
    ("times", "covered"),
    [
        (("9:00", "12:00"), True),
        (("7:00", "10:00", "12:00"), True),
        (("9:00", "11:59"), False),
        (("9:01", "12:00"), False),
        (("8:00", "12:00"), False),
        (("5:00", "9:00", "11:00", "13:00", "20:00"), True),
        (("8:30", "11:31", "13:00"), False),
        (("9:00", "12:00:01"), False),
        (("9:00",), False),
        ((), False),
    ],
)
def test_a_gap_counts_as_covered_only_by_readings_on_both_sides(log, times, covered):
    log.pour(place_end="9:00", concrete_temp=70)
    log.add("passes", one_pass(1, "12:00"))
    log.add("weather", *(reading(time, sun=10) for time in times))
    row = log.one("pass_intervals")
    assert [row[name] is not None for name in MEANS] == [covered] * 5
    assert row["tc_from"] == "pour"


def test_a_reading_of_up_to_three_hours_before_counts_at_any_time_of_day(log):
    for hour in range(24):
        log.pour(str(hour), site=str(hour), place_start=f"2031-06-04 {hour}:05",
                 machine_on=f"2031-06-04 {hour}:10")  # fmt: skip
        before = datetime(2031, 6, 4, hour, 12) - timedelta(hours=3)
        log.add("weather", reading(str(before), 50) | {"site": str(hour)},
                reading(f"2031-06-04 {hour}:12", 50) | {"site": str(hour)})  # fmt: skip
    assert log.frame("pour_weather")["air_temp_f"].to_list() == [50] * 24


def test_a_gap_without_length_has_no_means(log):
    log.pour(place_end="9:00")
    log.add("passes", one_pass(1, "9:00", "9:30"), one_pass(2, "9:15"))
    log.add("weather", *(reading(f"{h}:00") for h in range(7, 12)))
    rows = log.rows("pass_intervals", "pass_no")
    assert [rows[n]["gap_min"] for n in (1, 2)] == [0, -15]
    assert [rows[n]["air_temp_f"] for n in (1, 2)] == [None, None]


def test_sun_is_blank_where_a_reading_lacks_it(log):
    log.pour(place_end="9:00")
    log.add("passes", one_pass(1, "11:00"))
    log.add("weather", reading("9:00", sun=5), reading("10:00"), reading("11:00", sun=5))
    row = log.one("pass_intervals")
    assert row["sun_w_m2"] is None
    assert row["air_temp_f"] == 70


def test_only_the_sites_own_readings_count_and_no_forecast(log):
    log.pour(place_end="9:00")
    log.add("passes", one_pass(1, "11:00"))
    log.add("weather", reading("9:00", 50), reading("11:00", 50), reading("10:00", 90, source="forecast"),
            reading("10:00", 90) | {"site": "elm"})  # fmt: skip
    assert log.one("pass_intervals")["air_temp_f"] == 50


def test_a_pours_weather_runs_to_its_first_pass_or_two_hours_past_strike_off(log):
    log.add("weather", *(reading(f"{h}:00", air=50 + h, sun=h) for h in range(6, 16)))
    log.pour("A", place_start="7:00", place_end="9:00", concrete_temp=70)
    log.pour("B", place_start="7:00", place_end="9:00", machine_on="12:00", concrete_temp=70)
    log.pour("C", place_end="9:00")
    log.pour("D", place_start="7:00", place_end="9:00", site="elm")
    rows = log.rows("pour_weather", "pour_id")
    assert (rows["A"]["to_from"], rows["A"]["air_temp_f"]) == ("place_end", 59)
    assert (rows["B"]["to_from"], rows["B"]["air_temp_f"]) == ("first_pass", 59.5)
    # linear winds and humidity held still: it dries most where the air is coolest, at 7:00
    expected = (70**2.5 - 0.5 * 57**2.5) * (1 + 0.4 * 10 * 0.4843) * 1e-6
    assert rows["A"]["evaporation_max_lb_ft2_h"] == pytest.approx(expected, rel=1e-4)
    assert rows["A"]["evaporation_lb_ft2_h"] < rows["A"]["evaporation_max_lb_ft2_h"]
    assert rows["C"]["air_temp_f"] is None
    assert rows["D"]["air_temp_f"] is None


# Lerch 1957 (ACI J. Proc. 53(8), from memory): concrete, air degF, humidity %, 10 mph at the slab:
# 0.077, 0.175 and 0.205 lb/ft2/h.
@pytest.mark.parametrize(
    ("concrete", "air", "humidity", "group"),
    [
        (80, 80, 70, "under 0.1"),
        (80, 70, 50, "0.1 to 0.2"),
        (80, 40, 100, "0.2 and over"),
    ],
)
def test_classes_of_evaporation(log, concrete, air, humidity, group):
    log.pour(place_start="8:00", place_end="9:00", concrete_temp=concrete, machine_on="10:00")
    log.add(
        "weather", *(reading(f"{h}:00", air, humidity, 10, wind_height=0.5) for h in range(7, 13))
    )
    assert log.one("pour_weather")["evaporation_class"] == group
    assert log.one("pass_intervals")["evaporation_class"] == group


# --- against a reckoning of its own with the formulas of science --------------------------------

START = datetime(2031, 6, 3, 5, 0)
at_minute = st.integers(0, 900)
one_reading = st.fixed_dictionaries(
    {
        "minute": at_minute,
        "air_temp": st.floats(-20, 110),
        "humidity": st.floats(0, 100),
        "wind": st.floats(0, 40),
        "wind_height": st.sampled_from([None, 0.2, 0.5, 1.5, 2, 3, 10]),
        "sun": st.one_of(st.none(), st.floats(0, 1000)),
    }
)


def reckoned(readings, start, end, concrete_temp, indoors):
    """The means over minutes start to end from readings in time order, or None if not covered."""
    before = [r for r in readings if r["minute"] <= start]
    after = [r for r in readings if r["minute"] >= end]
    if end <= start or not before or not after:
        return None
    used = readings[readings.index(before[-1]) : readings.index(after[0]) + 1]
    if any(b["minute"] - a["minute"] > 180 for a, b in pairwise(used)):
        return None
    at = [r["minute"] for r in used]
    moments = sorted({start, end, *(m for m in at if start < m < end)})

    def mean(values):
        values = np.asarray(values)
        return np.sum(np.diff(moments) * (values[1:] + values[:-1]) / 2) / (end - start)

    def linear(name):
        return np.interp(moments, at, [np.nan if r[name] is None else r[name] for r in used])

    slab_wind = np.interp(
        moments, at,
        [float(wind_at_slab_mph(r["wind"], np.nan if r["wind_height"] is None else r["wind_height"]))
         for r in used],
    )  # fmt: skip
    air, humidity = linear("air_temp"), linear("humidity")
    rates = uno_lb_ft2_h(air if concrete_temp is None else concrete_temp, air, humidity, slab_wind)
    low = all(r["wind_height"] is not None and r["wind_height"] <= 2 for r in used)
    sunny = all(r["sun"] is not None for r in used)
    known = low or not indoors
    return {
        "air_temp_f": mean(air),
        "humidity_pct": mean(humidity),
        "wind_mph": mean(linear("wind")),
        "sun_w_m2": mean(linear("sun")) if sunny else None,
        "evaporation_lb_ft2_h": mean(rates) if known else None,
        "evaporation_max_lb_ft2_h": rates.max() if known else None,
    }


@pytest.fixture(scope="module")
def weather_log(new_log):
    made = new_log()
    yield made
    made.connection.close()


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    readings=st.lists(one_reading, max_size=14, unique_by=lambda r: r["minute"]),
    span=st.tuples(at_minute, at_minute),
    concrete_temp=st.one_of(st.none(), st.floats(0, 120)),
    indoors=st.booleans(),
)
def test_means_agree_with_the_formulas_of_science(
    weather_log, readings, span, concrete_temp, indoors
):
    log = weather_log
    for table in ("pours", "passes", "weather"):
        log.connection.execute(f"delete from {table}")
    start, end = span
    when = [START + timedelta(minutes=minute) for minute in span]
    log.pour(place_start=str(when[0]), place_end=str(when[0]), concrete_temp=concrete_temp,
             exposure="indoors" if indoors else "sun")  # fmt: skip
    log.add("passes", one_pass(1, str(when[1])))
    readings = sorted(readings, key=lambda r: r["minute"])
    log.add(
        "weather",
        *({"site": "oak", "time": str(START + timedelta(minutes=r["minute"]))}
          | {name: value for name, value in r.items() if name != "minute"} for r in readings),
    )  # fmt: skip
    expected = reckoned(readings, start, end, concrete_temp, indoors)
    measures.define(log.connection, "pass_intervals", "pour_weather")
    for name in ("pass_intervals", "pour_weather"):
        row = measures.frame(log.connection, name).iloc[0]
        for column in MEANS:
            if expected is None or expected[column] is None:
                assert pd.isna(row[column]), column
            else:
                assert row[column] == pytest.approx(expected[column], rel=1e-9, abs=1e-12), column
    if expected is not None and expected["evaporation_max_lb_ft2_h"] is not None:
        assert row["evaporation_max_lb_ft2_h"] == pytest.approx(
            expected["evaporation_max_lb_ft2_h"], rel=1e-9, abs=1e-12
        )
