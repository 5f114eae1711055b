"""A forecast copied off a phone: sky in words, the hour without minutes."""

import datetime as dt

import pytest

from pourstats.logs.cell import Reading
from pourstats.logs.cells import read_cell
from pourstats.logs.tables import TABLES

WEATHER = TABLES["weather"]


# US weather service's forecast terms in eighths of opaque cloud, from memory: each class's middle.
@pytest.mark.parametrize(
    ("words", "eighths"),
    [("clear", (0, 1)), ("Mostly Sunny", (1, 3)), ("partly  cloudy", (3, 5)),
     ("Mostly cloudy", (5, 7)), ("overcast", (7, 8)), ("Mayormente nublado", (5, 7))],
)  # fmt: skip
def test_the_sky_in_words_is_its_share_covered(words, eighths):
    cell = read_cell(words, WEATHER.column("cloud"), Reading())
    assert eighths[0] * 12.5 <= cell.value <= eighths[1] * 12.5
    assert cell.fault is None and cell.warning is None


@pytest.mark.parametrize("words", ["Thunderstorms", "light rain", "T-storms", "Tormenta eléctrica"])
def test_a_wet_sky_keeps_its_hour_and_asks_for_the_rain(words):
    # Such an hour set aside would take its temperature, and the rain beside it, out of a forecast.
    cell = read_cell(words, WEATHER.column("cloud"), Reading())
    assert cell.fault is None and cell.value == 95.0
    assert cell.warning is not None and "column rain" in cell.warning and words in cell.warning


def test_other_words_are_no_sky():
    assert "is not a number" in read_cell("pretty", WEATHER.column("cloud"), Reading()).fault
    assert "is not a number" in read_cell("clear", WEATHER.column("humidity"), Reading()).fault


@pytest.mark.parametrize(
    ("text", "hour"), [("5 AM", 5), ("12 pm", 12), ("12am", 0), ("3 p.m.", 15)]
)
def test_an_hour_alone_with_am_or_pm_is_a_time(text, hour):
    cell = read_cell(f"2031-06-03 {text}", WEATHER.column("time"), Reading())
    assert cell.value == dt.datetime(2031, 6, 3, hour)
    assert read_cell(text, WEATHER.column("time"), Reading()).clock == hour * 3600


@pytest.mark.parametrize("text", ["5", "13 PM", "0 AM", "5 XM"])
def test_an_hour_that_can_be_read_otherwise_is_set_aside(text):
    assert read_cell(f"2031-06-03 {text}", WEATHER.column("time"), Reading()).fault
