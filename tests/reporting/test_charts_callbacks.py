"""The chart of floors between callbacks: its limits, a bad run, and too few to draw."""

import numpy as np
import pandas as pd
import pytest

from pourstats.learning.callbacks.rare import g_limits, latest_run, watch
from pourstats.reporting.callbacks_sentences import run_sentence
from pourstats.reporting.charts import VERMILLION
from pourstats.reporting.charts_record import MOST_DRAWN, calls_apart, calls_apart_rows
from tests.published_callbacks import G_MEAN, G_UPPER


def picture(gaps, since=3.0, in_part=0):
    run = latest_run(gaps, since)
    limits = g_limits(gaps[: -run["calls"]] if run and run["told"] else gaps)
    floors = {**limits, "gaps": gaps, "pour_ids": [f"P{k}" for k in range(len(gaps))],
              "since": since, "in_part": in_part}  # fmt: skip
    return {"watch": {"g": floors, "bad_run": run}}


def layers(drawn):
    spec = drawn.chart.to_dict()
    for layer in spec["layer"]:
        for name, rows in spec.get("datasets", {}).items():
            if layer.get("data", {}).get("name") == name:
                layer["data"] = {"values": rows}
    return spec["layer"]


def rows_of(drawn, mark):
    """The rows behind the layers of that mark."""
    return [
        row for layer in layers(drawn)
        if layer["mark"]["type"] == mark for row in layer["data"]["values"]
    ]  # fmt: skip


def test_the_limits_drawn_are_the_printed_ones():
    drawn = calls_apart(picture([G_MEAN] * 12))
    lines = {row.get("name"): row["gap"] for row in rows_of(drawn, "text")}
    # Benneyan 2001 as in published_callbacks: mean 20, limit 81.48; median 0.693 of the mean.
    assert lines["luck seldom goes over 81"] == pytest.approx(G_UPPER, abs=5.1e-3)
    assert lines["middle: 14"] == pytest.approx(0.693 * G_MEAN)
    (band,) = rows_of(drawn, "rect")
    assert (band["gap"], band["high"]) == (0, lines["luck seldom goes over 81"])
    assert "luck seldom goes over 81" in drawn.words


def test_a_steady_crew_is_shown_no_bad_run():
    drawn = calls_apart(picture([20.0, 9.0] * 8))
    assert drawn.title == (
        "No bad run: the latest 5 of 17 came back 14 good floors apart, earlier ones 15"
    )
    kinds = [row["run"] for row in rows_of(drawn, "point")]
    assert kinds == ["earlier"] * 11 + ["latest"] * 5
    assert "3 good ones since" in drawn.reading
    assert "20, 9, 20" in drawn.words


def test_a_bad_run_is_shown_by_shape_and_colour_and_the_limits_are_those_before_it():
    shown = picture([20.0] * 12 + [1.0] * 9)
    drawn = calls_apart(shown)
    run = shown["watch"]["bad_run"]
    assert (run["told"], run["calls"]) == (True, 9)
    assert (
        drawn.title == "A bad run: the latest 9 of 22 came back 1 good floor apart, earlier ones 20"
    )
    assert shown["watch"]["g"]["upper"] == pytest.approx(G_UPPER, abs=5.1e-3)
    (dots,) = [layer for layer in layers(drawn) if layer["mark"]["type"] == "point"]
    assert [row["run"] for row in dots["data"]["values"]].count("bad run") == 9
    scales = {name: dots["encoding"][name]["scale"] for name in ("color", "shape")}
    kind = scales["color"]["domain"].index("bad run")
    assert scales["color"]["range"][kind] == VERMILLION
    assert scales["shape"]["range"][kind] != scales["shape"]["range"][0]
    assert run_sentence(shown["watch"]).startswith("A bad run: the latest 9 that came back")


def test_the_line_of_the_run_lies_under_its_limit_only_where_a_run_is_told():
    for gaps, told in (([20.0, 9.0] * 8, False), ([20.0] * 12 + [1.0] * 9, True)):
        run = picture(gaps)["watch"]["bad_run"]
        assert run["told"] is told
        assert (run["apart"] < run["told_under"]) is told


def test_few_calls_are_not_drawn_or_drawn_without_a_verdict():
    day = pd.Timestamp("2030-01-01") + pd.to_timedelta(np.arange(60), unit="D")
    for calls in (0, 1, 2, 5):
        back = np.arange(60) < calls
        pours = pd.DataFrame(
            {"pour_id": [str(k) for k in range(60)], "date": day, "outdoors": True,
             "old_enough": True, "age_days": 900.0, "counts_at_days": 365.0, "called_back": back,
             "first_call_days": np.where(back, 30.0, np.nan)}
        )  # fmt: skip
        assert watch(pours) is None
        assert calls_apart({"watch": None}) is None
    drawn = calls_apart(picture([3.0, 0.0, 8.0, 2.0, 5.0]))
    assert drawn.title == "6 floors came back: too few to tell a bad run from luck"
    assert "Thick line" not in drawn.reading
    assert {row["run"] for row in rows_of(drawn, "point")} == {"earlier"}


def test_a_long_record_draws_the_latest_and_holds_all_in_its_table():
    many = [float(5 + k % 7) for k in range(60)]
    drawn = calls_apart(picture(many))
    assert len(rows_of(drawn, "point")) == MOST_DRAWN
    assert f"The latest {MOST_DRAWN} are drawn" in drawn.reading
    table = calls_apart_rows(picture(many))
    assert (len(table), table[0]["came back"], table[-1]["came back"]) == (60, "P59", "P0")
    assert calls_apart_rows(picture([0.25] * 6))[0]["good floors before it"] == "0.2"


def test_a_good_stretch_is_told():
    assert calls_apart(picture([4.0, 6.0] * 6, since=40.0)).title == (
        "A good stretch: 40 good floors since the latest came back"
    )


def test_young_floors_are_said_to_count_in_part():
    assert "7 young floors count in part" in calls_apart(picture([4.0] * 10, in_part=7)).reading
    assert "in part" not in calls_apart(picture([4.0] * 10)).reading


def test_light_and_dark_differ_in_ink_alone():
    light, dark = (calls_apart(picture([20.0, 9.0] * 8), each) for each in (False, True))
    assert (light.title, light.reading, light.words) == (dark.title, dark.reading, dark.words)
    assert light.chart.to_dict() != dark.chart.to_dict()
