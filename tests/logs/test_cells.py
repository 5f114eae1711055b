"""Single cells: units from header and cell, numbers and lengths as the trade writes them, choices.

Conversion factors are the exact definitions of NIST Special Publication 811 (2008), app. B: the
inch is 25.4 mm, the US gallon 3.785 411 784 L, the mile 1609.344 m, the nautical mile 1852 m; psi
from the pound (0.453 592 37 kg), standard gravity (9.806 65 m/s2) and the inch.
"""

from __future__ import annotations

import pint
import pytest

from pourstats.logs.cell import Cell, Reading
from pourstats.logs.cells import read_cell
from pourstats.logs.files import marked
from pourstats.logs.tables import TABLES, Column

FT, IN, YD = 0.3048, 0.0254, 0.9144
GALLON_L = 3.785411784
PSI_PA = 0.45359237 * 9.80665 / IN**2
MPH = 1609.344 / 3600


def cell(text: str, where: str, **reading: object) -> Cell:
    table, _, name = where.partition(".")
    return read_cell(text, TABLES[table].column(name), Reading(**reading))  # type: ignore[arg-type]


def value(text: str, where: str, **reading: object) -> object:
    found = cell(text, where, **reading)
    assert found.fault is None, found.fault
    return found.value


# Units --------------------------------------------------------------------------------------------

EXACT = [
    # where, written unit, one of it in the house unit, a number that is in range
    ("pours.area", "ft2", 1, 600), ("pours.area", "m2", 1 / FT**2, 60),
    ("pours.area", "yd2", 9, 60), ("pours.area", "sf", 1, 600), ("pours.area", "SF", 1, 600),
    ("pours.area", "sq ft", 1, 600), ("pours.area", "ft²", 1, 600), ("pours.area", "m²", 1 / FT**2, 60),
    ("pours.thickness", "in", 1, 4), ("pours.thickness", "mm", 0.001 / IN, 100),
    ("pours.thickness", "cm", 0.01 / IN, 10), ("pours.thickness", "m", 1 / IN, 0.1),
    ("pours.thickness", "ft", 12, 0.5), ("pours.thickness", "yd", 36, 0.1),
    ("pours.saw_length", "ft", 1, 60), ("pours.saw_length", "m", 1 / FT, 20),
    ("pours.saw_length", "yd", 3, 20), ("pours.saw_length", "in", 1 / 12, 600),
    ("pours.ordered_volume", "yd3", 1, 9), ("pours.ordered_volume", "cy", 1, 9),
    ("pours.ordered_volume", "CY", 1, 9), ("pours.ordered_volume", "cu yd", 1, 9),
    ("pours.ordered_volume", "m3", 1 / YD**3, 7), ("pours.ordered_volume", "m³", 1 / YD**3, 7),
    ("pours.ordered_volume", "ft3", 1 / 27, 200), ("pours.ordered_volume", "L", 0.001 / YD**3, 7000),
    ("trucks.water_added", "gal", 1, 5), ("trucks.water_added", "L", 1 / GALLON_L, 20),
    ("trucks.water_added", "ft3", 1728 / 231, 1),
    ("pours.strength", "psi", 1, 4000), ("pours.strength", "ksi", 1000, 4),
    ("pours.strength", "kPa", 1000 / PSI_PA, 27600), ("pours.strength", "MPa", 1e6 / PSI_PA, 28),
    ("weather.wind", "mph", 1, 7), ("weather.wind", "m/s", 1 / MPH, 3),
    ("weather.wind", "ft/s", FT / MPH, 10), ("weather.wind", "km/h", 1 / 3.6 / MPH, 11),
    ("weather.wind", "knot", 1852 / 1609.344, 6), ("weather.wind_height", "m", 1, 10),
    ("weather.wind_height", "ft", FT, 33), ("weather.rain", "in", 1, 0.1),
    ("weather.rain", "mm", 1 / 25.4, 3), ("weather.humidity", "percent", 1, 55),
    ("weather.humidity", "%", 1, 55), ("weather.sun", "W/m2", 1, 500),
    ("weather.sun", "W/m²", 1, 500), ("jobs.travel", "min", 1, 30), ("jobs.travel", "h", 60, 0.5),
    ("bids.bid_hours", "h", 1, 40), ("bids.bid_hours", "min", 1 / 60, 2400),
    ("bids.labor_rate", "USD/h", 1, 60), ("bids.bid_price", "USD", 1, 5000),
    ("crew.pay", "$/h", 1, 30), ("sites.latitude", "deg", 1, 45),
]  # fmt: skip


@pytest.mark.parametrize(("where", "unit", "factor", "number"), EXACT)
def test_units_from_header_and_cell_against_exact_definitions(
    where: str, unit: str, factor: float, number: float
) -> None:
    expected = pytest.approx(number * factor, rel=1e-12)
    assert value(str(number), where, unit=unit) == expected
    assert value(f"{number} {unit}", where) == expected
    assert value(f"{number}{unit}", where) == expected
    # A cell's own unit goes before the header's.
    other = TABLES[where.split(".", maxsplit=1)[0]].column(where.split(".")[1]).unit
    assert value(f"{number} {unit}", where, unit=other) == expected


@pytest.mark.parametrize(
    ("unit", "celsius"), [("degC", 1), ("C", 1), ("°C", 1), ("degF", 0), ("F", 0), ("°F", 0)]
)
@pytest.mark.parametrize(("c", "f"), [(0, 32), (20, 68), (37, 98.6), (-40, -40)])
def test_temperatures(unit: str, celsius: int, c: float, f: float) -> None:
    """Fixed points of the two scales: t/degF = 1.8 t/degC + 32 (NIST SP 811, app. B.8)."""
    written = c if celsius else f
    assert value(f"{written} {unit}", "weather.air_temp") == pytest.approx(f, abs=1e-9)
    assert value(str(written), "weather.air_temp", unit=unit) == pytest.approx(f, abs=1e-9)


@pytest.mark.parametrize(
    ("ours", "pints"),
    [("ksi", "kilopound_force_per_square_inch"), ("MPa", "megapascal"), ("kPa", "kilopascal")],
)
def test_strengths_against_pint(ours: str, pints: str) -> None:
    expected = pint.UnitRegistry().Quantity(20, pints).to("psi").magnitude
    column = Column("strength", "number", "", "", "", unit="psi")
    assert read_cell(f"20 {ours}", column, Reading()).value == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("18 yd3", "pours.area"), ("600 ft", "pours.area"), ("4 ft2", "pours.thickness"),
        ("600 ft2", "pours.ordered_volume"), ("9 yd", "pours.ordered_volume"),
        ("60 psi", "weather.air_temp"), ("60 deg", "weather.air_temp"), ("7 F", "weather.wind"),
        ("55 mph", "weather.humidity"), ("30 USD", "crew.pay"), ("30 USD/h", "callbacks.cost"),
        ("3 lightyears", "pours.thickness"), ("55 %", "pours.area"), ("12 h", "pours.thickness"),
        ("45 %", "sites.latitude"), ("5 people", "pours.hands"), ("5 ft", "pours.hands"),
        ("5 %", "pours.hands"), ("2 deg", "weather.humidity"), ("4 pt", "trucks.water_added"),
    ],
)  # fmt: skip
def test_units_of_the_wrong_dimension_or_unknown_set_aside(text: str, where: str) -> None:
    assert cell(text, where).fault is not None
    number, _, unit = text.partition(" ")
    if TABLES[where.split(".", maxsplit=1)[0]].column(where.split(".")[1]).unit:
        assert cell(number, where, unit=unit).fault is not None


def test_a_blank_under_a_wrong_header_unit_is_blank() -> None:
    assert cell("", "pours.slump", unit="psi") == Cell()


BOUNDS = [
    ("pours.area", 1, 10_000_000), ("pours.thickness", 0.5, 60), ("trucks.returned", 0, 100),
    ("weather.humidity", 0, 100), ("pours.scm", 0, 100), ("weather.cloud", 0, 100),
    ("weather.wind", 0, 200), ("weather.air_temp", -80, 140), ("pours.concrete_temp", 0, 140),
]  # fmt: skip


@pytest.mark.parametrize(("where", "low", "high"), BOUNDS)
def test_both_ends_of_a_range_are_allowed(where: str, low: float, high: float) -> None:
    assert value(str(low), where) == low
    assert value(str(high), where) == high
    step = max(abs(high), 1) * 1e-6
    assert cell(f"{low - step:.9f}", where).fault is not None
    assert cell(f"{high + step:.6f}", where).fault is not None


@pytest.mark.parametrize(
    ("text", "where", "bound"),
    [
        ("0.09290304 m2", "pours.area", 1), ("929030.4 m2", "pours.area", 10_000_000),
        ("12.7 mm", "pours.thickness", 0.5), ("1.27 cm", "pours.thickness", 0.5),
        ("0.0127 m", "pours.thickness", 0.5), ("1524 mm", "pours.thickness", 60),
        ("152.4 cm", "pours.thickness", 60), ("1.524 m", "pours.thickness", 60),
        ("5 ft", "pours.thickness", 60), ("2700 ft3", "trucks.volume", 100),
        ("76.4554857984 m3", "trucks.volume", 100), ("76455.4857984 L", "trucks.returned", 100),
        ("321.8688 km/h", "weather.wind", 200), ("89.408 m/s", "weather.wind", 200),
        ("60 degC", "weather.air_temp", 140), ("60 degC", "pours.concrete_temp", 140),
    ],
)  # fmt: skip
def test_both_ends_are_allowed_in_other_units_too(text: str, where: str, bound: float) -> None:
    assert value(text, where) == pytest.approx(bound, rel=1e-9)
    number, _, unit = text.partition(" ")
    assert value(number, where, unit=unit) == pytest.approx(bound, rel=1e-9)


@pytest.mark.parametrize(
    "where", ["trucks.volume", "pours.ordered_volume"]
)  # fmt: skip
def test_volumes_are_above_nought(where: str) -> None:
    assert cell("0", where).fault is not None
    assert cell("-1", where).fault is not None
    assert value("0.001", where) == 0.001


def test_ordered_volume_has_no_upper_limit() -> None:
    assert value("123456789", "pours.ordered_volume") == 123456789


@pytest.mark.parametrize(
    "where",
    ["trucks.wait_charge", "callbacks.cost", "callbacks.hours", "bids.bid_hours", "bids.bid_price",
     "bids.billed", "bids.labor_rate", "crew.pay", "pours.saw_length", "pours.joint_spacing",
     "pours.joint_depth", "pours.slump", "trucks.slump", "passes.footprint"],
)  # fmt: skip
def test_money_hours_and_lengths_are_not_below_nought(where: str) -> None:
    assert value("0", where) == 0
    assert cell("-0.01", where).fault is not None


# Numbers ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("4", 4), ("4.5", 4.5), ("4 1/2", 4.5), ('3 1/2"', 3.5), ("10'", 120), ("3-1/2", 3.5),
        ("1/8", 0.125), ('1/4"', 0.25), ("4½", 4.5), ("4 ½ in", 4.5), ('10\' 6"', 126),
        ("1'6\"", 18), ("1′ 6″", 18), ("1 ft 6 in", 18), ("4 in.", 4), ("4 inches", 4), (".5", 0.5),
        ("5.", 5), ("+5", 5), ("1e1", 10), ("4 1/2 in", 4.5), ("  4  ", 4), ('1\' 6 1/2"', 18.5),
    ],
)  # fmt: skip
def test_lengths_as_the_trade_writes_them(text: str, inches: float) -> None:
    column = Column("joint_depth", "number", "", "", "", unit="in", low=0)
    found = read_cell(text, column, Reading())
    assert found.fault is None, found.fault
    assert found.value == pytest.approx(inches, rel=1e-12)


def test_a_length_in_feet_keeps_its_own_house_unit() -> None:
    assert value("10'", "pours.saw_length") == pytest.approx(10)
    assert value("10 1/2", "pours.saw_length") == pytest.approx(10.5)
    assert value("10' 6\"", "pours.saw_length") == pytest.approx(10.5)


def test_a_fraction_takes_the_header_unit() -> None:
    assert value("1/2", "pours.thickness", unit="ft") == pytest.approx(6)


@pytest.mark.parametrize(
    ("text", "number"),
    [("1,200", 1200), ("12,345", 12345), ("1,234,567", 1234567), ("1,200.5", 1200.5),
     ("1,200 sf", 1200)],
)  # fmt: skip
def test_thousands_where_the_pattern_leaves_no_doubt(text: str, number: float) -> None:
    assert value(text, "pours.area") == number


@pytest.mark.parametrize(
    "text",
    ["12,34", "1,2", "1,20", "1,2000", "12,3456", "1,23,456", "0,500", "1,200,30", "1234,567",
     "1 200", "1.200,5", "1.2.3", "1..2", "12 34", "5-6", "1/0", "4 1/0", "0x10", "1_000", "12a",
     "inf", "-inf", "Infinity", "1e999", "abc", "~5", "5?", "(5)", "--5", "=5", "∞", "５a", "5;6", "1'200", "10' 14\""],
)  # fmt: skip
def test_what_is_no_clear_number_sets_aside(text: str) -> None:
    for where in ("pours.ordered_volume", "pours.hands", "pours.thickness"):
        assert cell(text, where).fault is not None, (text, where)


@pytest.mark.parametrize(
    ("text", "number"),
    [("4,5", 4.5), ("12,34", 12.34), ("10,5", 10.5), ("1.234,5", 1234.5), ("1.234.567", 1234567),
     ("4.5", 4.5), ("1200", 1200), ("4,5 m2", 4.5 / FT**2), ("1,200", 1.2)],
)  # fmt: skip
def test_a_comma_is_a_decimal_comma_in_a_semicolon_file(text: str, number: float) -> None:
    found = value(text, "pours.area", decimal_comma=True)
    assert found == pytest.approx(number, rel=1e-12)


@pytest.mark.parametrize("text", ["1,2,3", "1,200.5", "1,234,567", "1.200", "12.345"])
def test_two_commas_in_a_semicolon_file_set_aside(text: str) -> None:
    assert cell(text, "pours.area", decimal_comma=True).fault is not None


def test_money_as_people_write_it() -> None:
    assert value("$1,200.50", "bids.bid_price") == 1200.5
    assert value("1200 USD", "bids.bid_price") == 1200
    assert value("$28/h", "crew.pay") == 28
    assert cell("-$5", "bids.bid_price").fault is not None


@pytest.mark.parametrize("text", ["1.5", "0", "-1", "two", "1st"])
def test_pass_no_is_a_whole_number_from_one(text: str) -> None:
    assert cell(text, "passes.pass_no").fault is not None


def test_pass_no_is_one_however_written() -> None:
    assert value("1", "passes.pass_no") == value("1.0", "passes.pass_no") == 1
    assert isinstance(value("1.0", "passes.pass_no"), int)


# Unknown, blank, odd ------------------------------------------------------------------------------

WORDS = ["n/a", "na", "nan", "null", "none", "unknown", "-", "?"]


@pytest.mark.parametrize("word", WORDS)
@pytest.mark.parametrize("where", ["pours.slump", "pours.place_end", "pours.cure_start",
                                   "pours.placement", "crew.since", "pours.trouble"])  # fmt: skip
def test_words_for_unknown_are_blank_with_a_warning(word: str, where: str) -> None:
    for text in (word, word.upper(), f" {word.title()} "):
        found = cell(text, where)
        assert (found.value, found.fault, found.clock) == (None, None, None)
        assert found.warning is not None


@pytest.mark.parametrize("where", ["pours.reinforcement", "pours.saw_type", "pours.cure"])
def test_none_is_a_choice_where_the_column_has_it(where: str) -> None:
    assert cell("None", where) == Cell("none")
    assert cell("n/a", where).value is None


@pytest.mark.parametrize("word", WORDS)
@pytest.mark.parametrize("where", ["pours.pour_id", "pours.site", "trucks.ticket", "pours.mix",
                                   "pours.lead", "pours.notes", "crew.worker", "passes.worker"])  # fmt: skip
def test_in_ids_and_labels_only_blank_means_unknown(word: str, where: str) -> None:
    assert cell(word, where) == Cell(word)


@pytest.mark.parametrize("text", ["", " ", "\t", "\u00a0"])
@pytest.mark.parametrize("where", ["pours.slump", "pours.date", "pours.pour_id", "pours.notes",
                                   "pours.placement", "pours.trouble", "pours.place_start"])  # fmt: skip
def test_blank_means_unknown(text: str, where: str) -> None:
    assert cell(text, where) == Cell()


def test_odd_values_are_stored_and_warned_of() -> None:
    half = cell("0.5", "weather.humidity")
    assert half.value == 0.5
    assert "did you mean 50 percent?" in (half.warning or "")
    thick = cell("40", "pours.thickness")
    assert thick.value == 40
    assert thick.warning
    assert cell("55", "weather.humidity").warning is None
    for name, odd in (("hours", "99999"), ("cost", "1e9")):
        assert "unusually high" in (cell(odd, f"callbacks.{name}").warning or "")
        assert cell("225", f"callbacks.{name}").warning is None
    assert cell("0", "weather.cloud").warning is None


# Choices ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["hard_trowel", "Hard Trowel", "HARD-TROWEL", "hardtrowel",
                                  " hard  trowel "])  # fmt: skip
def test_choices_are_read_leniently(text: str) -> None:
    assert value(text, "pours.finish") == "hard_trowel"


def test_a_near_miss_suggests_the_right_word() -> None:
    assert "garage" in (cell("garaje", "pours.slab_type").fault or "")
    fault = cell("xyz", "pours.placement").fault or ""
    assert "wheelbarrow" in fault


def test_several_choices_keep_one_order_however_written() -> None:
    assert value("rebar; mesh", "pours.reinforcement") == "mesh;rebar"
    assert value("Mesh;REBAR;mesh", "pours.reinforcement") == "mesh;rebar"
    assert value(";late truck;", "pours.trouble") == "late_truck"
    assert cell("mesh;string", "pours.reinforcement").fault is not None
    assert cell("none;mesh", "pours.reinforcement").fault is not None
    assert cell(";;", "pours.trouble").value is None


# Dates and times ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text", ["2031-06-03", "2031-6-3", "2031-06-03 00:00", "2031-06-03T00:00:00"]
)
def test_dates(text: str) -> None:
    assert str(value(text, "pours.date")) == "2031-06-03"


@pytest.mark.parametrize(
    "text",
    ["6/3/2031", "03.06.2031", "2031-02-30", "2031-13-01", "1969-12-31", "2200-01-01", "June 3",
     "46176", "2031-06-03 06:40", "6:40", "2031", "yes", "0000-00-00", "2031-06"],
)  # fmt: skip
def test_what_is_no_clear_date_sets_aside(text: str) -> None:
    assert cell(text, "pours.date").fault is not None


@pytest.mark.parametrize("text", ["1970-01-01", "2199-12-31", "2032-02-29"])
def test_first_and_last_date(text: str) -> None:
    assert str(value(text, "pours.date")) == text
    assert str(value(text + " 06:40", "pours.place_start")) == text + " 06:40:00"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2031-06-03 06:40", "2031-06-03 06:40:00"), ("2031-06-03T06:40", "2031-06-03 06:40:00"),
        ("2031-06-03 6:40", "2031-06-03 06:40:00"), ("2031-06-03 6:40 PM", "2031-06-03 18:40:00"),
        ("2031-06-03T06:40:30", "2031-06-03 06:40:30"), ("2031-6-3 0:00", "2031-06-03 00:00:00"),
    ],
)  # fmt: skip
def test_times_with_their_date(text: str, expected: str) -> None:
    assert str(value(text, "pours.place_start")) == expected


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("6:40", 400), ("06:40", 400), ("6:40 AM", 400), ("6:40am", 400), ("6:40 a.m.", 400),
     ("12:00 AM", 0), ("12:30 AM", 30), ("12:00 PM", 720), ("12:30pm", 750), ("11:59 PM", 1439),
     ("0:00", 0), ("23:59", 1439), ("6:40:00", 400)],
)  # fmt: skip
def test_bare_clock_times(text: str, minutes: int) -> None:
    assert cell(text, "pours.place_start").clock == minutes * 60


@pytest.mark.parametrize(
    "text",
    ["24:00", "25:00", "6:60", "0:30 PM", "13:00 PM", "640", "6.40", "6", "2031-06-03",
     "2031-06-03 24:00", "2031-06-03T06:40Z", "2031-06-03 06:40+02:00", "06:40 UTC", "6:40 XM",
     "6/3/2031 6:40", "noon", "-6:40", "6:4", "0.2777", "1:2:3:4"],
)  # fmt: skip
def test_what_is_no_clear_time_sets_aside(text: str) -> None:
    assert cell(text, "pours.place_start").fault is not None


# Workbook cells -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "text", "where", "expected"),
    [
        ("n", "12", "trucks.ticket", "12"), ("n", "12", "pours.area", 12.0),
        ("p", "55", "weather.humidity", 55.0), ("p", "55", "pours.scm", 55.0),
        ("b", "TRUE", "bids.won", "yes"), ("b", "FALSE", "bids.won", "no"),
        ("n", "1", "passes.pass_no", 1),
    ],
)  # fmt: skip
def test_workbook_cells(kind: str, text: str, where: str, expected: object) -> None:
    assert value(marked(kind, text), where) == expected


@pytest.mark.parametrize(
    ("kind", "text", "where"),
    [
        ("n", "46176", "pours.date"), ("b", "TRUE", "pours.date"), ("c", "06:40:00", "pours.date"),
        ("b", "TRUE", "pours.area"), ("n", "0.27", "pours.place_start"),
        ("b", "TRUE", "pours.place_start"), ("e", "#N/A", "pours.area"), ("e", "#REF!", "pours.site"),
        ("e", "#N/A", "pours.notes"), ("f", "=A1", "pours.area"), ("f", "=A1", "pours.pour_id"),
        ("d", "2031-06-03 00:00:00", "pours.area"), ("n", "5", "pours.slab_type"),
        ("p", "55", "pours.hands"), ("n", "inf", "pours.ordered_volume"),
        ("n", "1e999", "passes.pass_no"),
    ],
)  # fmt: skip
def test_workbook_cells_that_break_a_rule(kind: str, text: str, where: str) -> None:
    assert cell(marked(kind, text), where).fault is not None


@pytest.mark.parametrize(
    ("text", "meant"),
    [("140", "40"), ("455", "55"), ("29999999999", None), ("2e300", None), ("1000", "100")],
)
def test_a_humidity_over_a_hundred_is_asked_about(text: str, meant: str | None) -> None:
    fault = cell(text, "weather.humidity").fault
    assert fault is not None
    assert f"was {meant} meant?" in fault if meant else "0 to 100 is allowed" in fault
