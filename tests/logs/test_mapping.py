"""Other programs' files: what is proposed, on which clock, in which unit, and how sure."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from pourstats.faults import Refusal
from pourstats.logs import foreign, intake, moments
from pourstats.logs.checked import Checked
from pourstats.logs.mapping import Drawn, FileMapping, Known, from_json
from pourstats.logs.proposal import Proposal, Wish, answered
from pourstats.logs.proposing import proposed
from pourstats.logs.tables import TABLES
from pourstats.logs.translating import translated

SITE = Wish(given={"site": "Mill"})


def sheet_of(text: str | bytes, name: str = "station.csv") -> foreign.Foreign:
    (sheet,) = foreign.sheets(text if isinstance(text, bytes) else text.encode(), name)
    return sheet


def read(text: str | bytes, wish: Wish = SITE, known: Known | None = None) -> Checked:
    sheet = sheet_of(text)
    found = proposed(sheet, wish, known or Known())
    ours, written = translated(sheet, found.mapping, known or Known())
    return intake.checked(ours, TABLES[found.mapping.table], written)


def drawn(found: Proposal) -> dict[str, tuple[str, str | None]]:
    """Ours → (theirs, unit), without times and given values."""
    return {g.ours: (g.theirs, g.unit) for g in found.guesses
            if g.ours in found.mapping.columns}  # fmt: skip


def values(checked: Checked, name: str) -> list[Any]:
    found: list[Any] = checked.columns[name].to_pylist()
    return found


def at(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text)


# Times as they are written ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "order", "expected", "offset"),
    [
        ("2031-06-03T06:40:00-05:00", None, "2031-06-03 06:40", -300),
        ("2031-06-03T11:40:00Z", None, "2031-06-03 11:40", 0),
        ("2031-06-03T11:40:00.000+0000", None, "2031-06-03 11:40", 0),
        ("20310603T114000Z", None, "2031-06-03 11:40", 0),
        ("203106030640", None, "2031-06-03 06:40", None),
        ("6/3/2031 6:40 AM", "mdy", "2031-06-03 06:40", None),
        ("3/6/2031 6:40 pm", "dmy", "2031-06-03 18:40", None),
        ("6/3/31 06:40", "mdy", "2031-06-03 06:40", None),
        ("03.06.2031 06:40", "dmy", "2031-06-03 06:40", None),
        ("13/06/2031 06:40", None, "2031-06-13 06:40", None),
        ("2031/06/03 24:00", None, "2031-06-04 00:00", None),
        ("Tue, Jun 3, 2031 6:40 AM", None, "2031-06-03 06:40", None),
        ("Mar 3, 2031 6:40 AM", None, "2031-03-03 06:40", None),
        ("3-Jun-31 06:40", None, "2031-06-03 06:40", None),
        ("3 junio 2031 06:40", None, "2031-06-03 06:40", None),
        ("2031-06-03 06:40 CDT", None, "2031-06-03 06:40", -300),
        ("2031-06-03 06:40 (UTC-05:00)", None, "2031-06-03 06:40", -300),
        ("2031-06-03 06:40 GMT", None, "2031-06-03 06:40", 0),
        # 61 × 365 + 15 leap days + 153 = 22 433 days to 3 June; 22 433 × 86 400 + 40 800 s (11 h 20).
        ("1938252000", None, "2031-06-03 11:20", 0),
        ("1938252000000", None, "2031-06-03 11:20", 0),
    ],
)  # fmt: skip
def test_moments(text: str, order: Any, expected: str, offset: int | None) -> None:
    assert moments.moment(text, order) == moments.Moment(at(expected), offset)


@pytest.mark.parametrize("text", ["soon", "", "2031-02-30 06:40", "6/3/2031 6:40", "2031-06-03",
                                  "2031-06-03 25:00", "9999999999999999", "2031-06-03 6:40 XM",
                                  "0001-01-01 00:00", "2031-06-03T06:40:00+99:99"])  # fmt: skip
def test_what_is_no_moment_has_a_reason(text: str) -> None:
    reason = moments.moment(text, None)
    assert isinstance(reason, str)
    assert reason


@pytest.mark.parametrize(("text", "hour"), [("1", 1), ("24", 24), ("0100", 1), ("2400", 24),
                                            ("7.0", 7), ("07:00", 7), ("0", 0)])  # fmt: skip
def test_hours_of_a_day(text: str, hour: int) -> None:
    assert moments.hour_of_day(text) == hour * 3600


# Daylight saving, by hand -------------------------------------------------------------------------

HOURLY = "time (UTC),Temp (°C),RH %,Wind km/h\n"


@pytest.mark.parametrize(
    ("zone", "utc", "wall"),
    [
        # US 2031: forward on the second Sunday of March, the 9th, at 2:00 = 8:00 UTC in Chicago.
        ("America/Chicago", "2031-03-09T07:30", "2031-03-09 01:30"),
        ("America/Chicago", "2031-03-09T08:30", "2031-03-09 03:30"),
        # Back on the first Sunday of November, the 2nd, at 2:00 = 7:00 UTC.
        ("America/Chicago", "2031-11-02T06:30", "2031-11-02 01:30"),
        ("America/Chicago", "2031-11-02T07:30", "2031-11-02 01:30"),
        ("America/Chicago", "2031-11-02T08:30", "2031-11-02 02:30"),
        # EU: back on the last Sunday of October, the 26th, at 1:00 UTC.
        ("Europe/Berlin", "2031-10-26T00:30", "2031-10-26 02:30"),
        ("Europe/Berlin", "2031-10-26T01:30", "2031-10-26 02:30"),
        # Sydney: back on the first Sunday of April, the 6th, at 3:00 (UTC+11).
        ("Australia/Sydney", "2031-04-05T15:30", "2031-04-06 02:30"),
        ("Australia/Sydney", "2031-04-05T16:30", "2031-04-06 02:30"),
        ("America/Phoenix", "2031-07-01T12:00", "2031-07-01 05:00"),  # keeps UTC−7
        ("Asia/Kathmandu", "2031-07-01T12:00", "2031-07-01 17:45"),
        ("America/Denver", "2031-01-01T03:00", "2030-12-31 20:00"),
    ],
)  # fmt: skip
def test_utc_on_the_sites_clock(zone: str, utc: str, wall: str) -> None:
    found = read(f"{HOURLY}{utc},20,50,10\n", Wish(given={"site": "Mill"}, zone=zone))
    assert values(found, "time") == [at(wall)]


@pytest.mark.parametrize(
    "rows",
    [
        ["2031-11-02T06:00Z,10", "2031-11-02T06:30Z,11", "2031-11-02T07:00Z,12",
         "2031-11-02T07:30Z,13", "2031-11-02T08:00Z,14"],
        ["2031-11-02T01:00-05:00,10", "2031-11-02T01:30-05:00,11", "2031-11-02T01:00-06:00,12",
         "2031-11-02T01:30-06:00,13", "2031-11-02T02:00-06:00,14"],
        ["2031-11-02 01:00 CDT,10", "2031-11-02 01:30 CDT,11", "2031-11-02 01:00 CST,12",
         "2031-11-02 01:30 CST,13", "2031-11-02 02:00 CST,14"],
        ["2031-11-02 01:00,10", "2031-11-02 01:30,11", "2031-11-02 01:00,12", "2031-11-02 01:30,13",
         "2031-11-02 02:00,14"],
    ],
)  # fmt: skip
@pytest.mark.parametrize("backwards", [False, True])
def test_the_repeated_hour_keeps_the_later_reading(rows: list[str], backwards: bool) -> None:
    text = "time,Temp (°C),RH %,Wind km/h\n" + "\n".join(
        f"{row},50,10" for row in (reversed(rows) if backwards else rows)
    )
    found = read(text, Wish(given={"site": "Mill"}, zone="America/Chicago"))
    kept = sorted(zip(values(found, "time"), values(found, "air_temp"), strict=True))
    assert [(f"{time:%H:%M}", round((f - 32) / 1.8)) for time, f in kept] == [
        ("01:00", 12), ("01:30", 13), ("02:00", 14),
    ]  # fmt: skip
    (told,) = [line for line in found.warnings if "twice" in line]
    assert told.startswith("station.csv: ")
    assert "2 readings" in told
    assert "2031-11-02" in told
    assert found.read == 3


def test_a_spring_day_of_23_hours_is_no_fault() -> None:
    hours = [0, 1, *range(3, 24)]
    text = "time,Temp (°C),RH %,Wind km/h\n" + "".join(
        f"2031-03-09 {hour:02d}:00,10,50,10\n" for hour in hours
    )
    found = read(text, Wish(given={"site": "Mill"}, zone="America/Chicago"))
    assert (found.read, found.faults, found.warnings) == (23, [], [])


def test_a_time_that_no_clock_showed_is_told() -> None:
    text = "time,Temp (°C),RH %,Wind km/h\n2031-03-09 02:00,10,50,10\n"
    found = read(text, Wish(given={"site": "Mill"}, zone="America/Chicago"))
    assert "standard time" in found.warnings[0]
    assert "line 2" in found.warnings[0]
    text = text.replace("02:00", "02:30").replace("2031-03-09", "2031-07-01")
    standard = Wish(given={"site": "Mill"}, zone="America/Chicago", clock="standard")
    assert values(read(text, standard), "time") == [at("2031-07-01 03:30")]
    fixed = Wish(given={"site": "Mill"}, zone="America/Chicago", clock="-07:00")
    assert values(read(text, fixed), "time") == [at("2031-07-01 04:30")]


def test_the_zone_is_the_sites_then_the_mappings_then_the_houses() -> None:
    text = f"site,{HOURLY}Mill,2031-07-01T12:00,20,50,10\nOak,2031-07-01T12:00,20,50,10\n"
    sites = Known({"Mill": "America/Denver"}, "America/New_York")
    assert values(read(text, Wish(), sites), "time") == [
        at("2031-07-01 06:00"), at("2031-07-01 08:00"),
    ]  # fmt: skip
    given = Wish(zone="America/Chicago")
    assert values(read(text, given, sites), "time") == [
        at("2031-07-01 06:00"), at("2031-07-01 07:00"),
    ]  # fmt: skip
    found = read(text, Wish(), Known({"Mill": "America/Denver"}))
    ((row, fault),) = found.faults
    assert (row, fault.column, fault.value) == (1, "time (UTC)", "2031-07-01T12:00")
    assert "--zone" in fault.reason
    assert "'Oak'" in fault.reason


# Units --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "column", "written", "expected"),
    [
        # NIST SP 811 (2008), appendix B: exact factors.
        ("Temp (°C)", "air_temp", "-40", -40.0), ("Temp_F", "air_temp", "68", 68.0),
        ("AirTC_Avg", "air_temp", "100", None), ("temp [K]", "air_temp", "273.15", 32.0),
        ("tempf", "air_temp", "50", 50.0), ("Wind km/h", "wind", "1.609344", 1.0),
        ("wind_ms", "wind", "0.44704", 1.0), ("WS_ms_Avg", "wind", "4.4704", 10.0),
        ("wind (kt)", "wind", "10", 11.507794), ("windspeedmph", "wind", "7", 7.0),
        ("Rain_mm_Tot", "rain", "25.4", 1.0), ("rain (in)", "rain", "0.5", 0.5),
        ("Cloud cover (tenths)", "cloud", "7", 70.0), ("cloud (oktas)", "cloud", "6", 75.0),
        ("Solar Rad (W/m^2)", "sun", "612", 612.0),
    ],
)  # fmt: skip
def test_units_from_headers(header: str, column: str, written: str, expected: float | None) -> None:
    cells = {"air_temp": ("Temp (°C)", "20"), "humidity": ("RH %", "50"),
             "wind": ("Wind km/h", "10")} | {column: (header, written)}  # fmt: skip
    head = ",".join(["time", *(name for name, _ in cells.values())])
    row = ",".join(["2031-06-03 06:00", *(text for _, text in cells.values())])
    found = read(f"{head}\n{row}\n")
    if expected is None:
        assert [fault.column for _, fault in found.faults] == [header]
        return
    assert values(found, column) == [pytest.approx(expected, abs=1e-6)]
    assert found.faults == []


@pytest.mark.parametrize(
    ("temps", "wind", "date", "unit", "sure"),
    [
        ((60, 95), "Wind", "2031-07-01", "degF", "sure"),
        ((285, 301), "Wind", "2031-07-01", "kelvin", "sure"),
        ((5, 30), "Wind", "2031-07-01", "degC", "likely"),  # 30 °F is no summer's high
        ((5, 30), "Wind", "2031-01-10", "degC", "open"),
        ((5, 30), "Wind mph", "2031-01-10", "degF", "likely"),
        ((5, 30), "Wind m/s", "2031-01-10", "degC", "likely"),
        ((30, 52), "Wind m/s", "2031-07-01", "degF", "likely"),
    ],
)  # fmt: skip
def test_a_unit_from_the_values_range_says_how_sure_it_is(
    temps: tuple[int, int], wind: str, date: str, unit: str, sure: str
) -> None:
    text = f"time,Temp,RH,{wind}\n{date} 06:00,{temps[0]},50,3\n{date} 15:00,{temps[1]},40,5\n"
    found = proposed(sheet_of(text), SITE, Known())
    (guess,) = [g for g in found.guesses if g.ours == "air_temp"]
    assert (guess.unit, guess.sure) == (unit, sure)
    assert ("unit:air_temp" in {q.about for q in found.questions}) is (sure == "open")
    said = proposed(sheet_of(text), Wish(units={"air_temp": "°F"}, given={"site": "M"}), Known())
    assert said.mapping.columns["air_temp"].unit == "degF"


def test_shares_of_one_are_percent() -> None:
    found = read("time,Temp_F,RH,Wind mph\n2031-06-03 06:00,60,0.55,3\n2031-06-03 07:00,61,1,3\n")
    assert values(found, "humidity") == [55.0, 100.0]


def test_gaps_and_traces() -> None:
    text = (
        "time,Temp_F,RH %,Wind mph,Solar (W/m2),Rain (in)\n"
        "2031-06-03 06:00,60,50,3,-9999,T\n2031-06-03 07:00,-9999,50,3,M,0.1\n"
    )
    found = read(text)
    assert values(found, "sun") == [None, None]
    assert values(found, "rain") == [0.0, 0.1]
    ((row, fault),) = found.faults
    assert (row, fault.column, fault.value) == (1, "Temp_F", "-9999")


# Dates --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("days", "order", "sure"),
    [
        (["6/3/2031", "6/13/2031"], "mdy", True), (["3/6/2031", "13/6/2031"], "dmy", True),
        (["1/6/2031", "2/6/2031", "3/6/2031"], "dmy", True),  # day follows day
        (["6/1/2031", "6/2/2031", "6/3/2031"], "mdy", True),
        (["6/3/2031"], "mdy", False), (["03.06.2031"], "dmy", True),
        (["13/6/2031", "6/13/2031"], "mdy", False), (["2031-06-03"], None, True),
    ],
)  # fmt: skip
def test_the_order_of_a_date(days: list[str], order: str | None, sure: bool) -> None:
    rows = "".join(f"{day} 06:00,60,50,3\n" for day in days)
    found = proposed(sheet_of(f"time,Temp_F,RH %,Wind mph\n{rows}"), SITE, Known())
    assert found.mapping.order == order
    assert ("dates" in {q.about for q in found.questions}) is not sure


@pytest.mark.parametrize(
    ("head", "row", "expected"),
    [
        ("Date,Hour", "2031-06-03,24", "2031-06-04 00:00"),
        ("Date,HE", "6/13/2031,1", "2031-06-13 01:00"),
        ("Date,Time", "6/13/2031,6:40 PM", "2031-06-13 18:40"),
        ("Date,Time", "2031-06-03,0640", "2031-06-03 06:40"),
        ("Year,Month,Day,Hour", "2031,6,3,24", "2031-06-04 00:00"),
        ("YYYY,MM,DD,HH,Minute", "2031,06,03,06,40", "2031-06-03 06:40"),
        ("Fecha,Hora", "03.06.2031,06:40", "2031-06-03 06:40"),
        ("Date and time", "13 Jun 2031 06:40", "2031-06-13 06:40"),
    ],
)  # fmt: skip
def test_times_in_several_columns(head: str, row: str, expected: str) -> None:
    found = read(f"{head},Temp_F,RH %,Wind mph\n{row},60,50,3\n")
    assert found.faults == []
    assert values(found, "time") == [at(expected)]


# Files --------------------------------------------------------------------------------------------


def test_lines_above_the_header_units_below_it_and_odd_delimiters() -> None:
    text = (
        '"TOA5","Mill","Logger","7"\n"TIMESTAMP","RECORD","AirT_Avg","RH","WS_Avg"\n'
        '"TS","RN","Deg C","%","meters/second"\n"","","Avg","Smp","Avg"\n'
        '"2031-06-03 06:00:00",1,20,50,4.4704\n"2031-06-03 07:00:00",2,x,50,4.4704\n'
    )
    sheet = sheet_of(text)
    assert (sheet.header_line, len(sheet.below), list(sheet.lines)) == (2, 2, [5, 6])
    found = read(text)
    assert values(found, "wind")[0] == pytest.approx(10)
    assert values(found, "air_temp")[0] == pytest.approx(68)
    ((_, fault),) = found.faults
    assert (fault.line, fault.column, fault.value) == (6, "AirT_Avg", "x")


@pytest.mark.parametrize(
    "text",
    [
        "Zeit;Temp (°C);RH %;Wind m/s\n13.06.2031 06:00;14,5;50;2,5\n",
        "Zeit\tTemp (°C)\tRH %\tWind m/s\n13.06.2031 06:00\t14,5\t50\t2,5\n",
        "Zeit;Temp (°C);RH %;Wind m/s\n13.06.2031 06:00;14.5;50;2.5\n",
        "sep=;\nZeit;Temp (°C);RH %;Wind m/s\n13.06.2031 06:00;14,5;50;2,5\n",
    ],
)  # fmt: skip
@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_commas_and_codings(text: str, coding: str) -> None:
    found = read(text.encode(coding))
    assert found.faults == []
    assert values(found, "air_temp") == [pytest.approx(58.1)]  # 14.5 × 1.8 + 32
    assert values(found, "wind") == [pytest.approx(2.5 / 0.44704)]


def test_a_workbook_with_a_title_and_true_dates(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.title = "Export"
    for row in (["Mill Flats, hourly"], [], ["Date", "Hour", "Air Temp °F", "Rel Hum %", "Wind MPH"],
                [dt.date(2031, 6, 3), 23, 60, 0.5, 3], [dt.date(2031, 6, 3), 24, "n/a", 50, 3]):  # fmt: skip
        page.append(row)
    page["D4"].number_format = "0%"
    book.create_sheet("Empty")
    book.save(tmp_path / "b.xlsx")
    (sheet,) = foreign.read(tmp_path / "b.xlsx")
    assert (sheet.header_line, list(sheet.lines)) == (3, [4, 5])
    found = proposed(sheet, SITE, Known())
    assert found.questions == []
    ours, written = translated(sheet, found.mapping)
    checked = intake.checked(ours, TABLES["weather"], written)
    assert values(checked, "time") == [at("2031-06-03 23:00"), at("2031-06-04 00:00")]
    assert values(checked, "humidity") == [50.0, 50.0]
    assert [(f.line, f.column) for _, f in checked.faults] == [(5, "Air Temp °F")]


def test_the_same_header_in_another_order_has_the_same_signature() -> None:
    one = sheet_of("a note\nTime,Temp_F,RH %\n2031-06-03 06:00,60,50\n")
    two = sheet_of("rh %;time;temp f\n50;2031-06-03 06:00;60\n")
    assert one.signature == two.signature
    known = foreign.sheets(b"x,y\n1,2\nT,U\n3,4\n", "s.csv", {"t|u"})
    assert (known[0].header, known[0].header_line) == (["T", "U"], 3)


def test_columns_of_the_same_name_are_told_apart() -> None:
    assert sheet_of("T,T,,x\n1,2,3,4\n").header == ["T", "T (2)", "column 3", "x"]


# What is proposed ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        ("dt_iso,Outdoor Temp (°C),Indoor Temp (°C),Dew Point (°C),Humidity (%),Wind Gust (km/h),"
         "Wind Speed (km/h)",
         {"air_temp": "Outdoor Temp (°C)", "humidity": "Humidity (%)", "wind": "Wind Speed (km/h)"}),
        ("valid,tmpf,dwpf,relh,drct,sknt,gust",
         {"air_temp": "tmpf", "humidity": "relh", "wind": "sknt"}),
        ("timestamp,soil_temp_c,temp_c,rh_max,rh,wind_dir,wind_ms",
         {"air_temp": "temp_c", "humidity": "rh", "wind": "wind_ms"}),
        ("fecha,temperatura (°C),humedad (%),viento (km/h)",
         {"air_temp": "temperatura (°C)", "humidity": "humedad (%)", "wind": "viento (km/h)"}),
    ],
)  # fmt: skip
def test_which_column_is_which(head: str, expected: dict[str, str]) -> None:
    count = head.count(",")
    text = f"{head}\n2031-06-03 06:00{',20' * count}\n2031-06-03 07:00{',21' * count}\n"
    found = proposed(sheet_of(text), SITE, Known())
    assert found.mapping.table == "weather"
    assert {ours: theirs for ours, (theirs, _) in drawn(found).items()} == expected
    assert len(found.left_out) == count - 3


def test_what_the_owner_says_goes_first() -> None:
    text = "When,T1,T2,RH,Gust mph\n2031-06-03 06:00,60,70,50,3\n"
    wish = Wish("weather", {"air_temp": "T2", "wind": "Gust mph", "humidity": ""},
                {"air_temp": "F"}, {"site": "Mill", "humidity": "40"})  # fmt: skip
    found = proposed(sheet_of(text), wish, Known())
    assert found.questions == []
    assert drawn(found) == {"air_temp": ("T2", "degF"), "wind": ("Gust mph", "mph")}
    checked = read(text, wish)
    assert (values(checked, "air_temp"), values(checked, "humidity")) == ([70.0], [40.0])


@pytest.mark.parametrize(
    ("wish", "words"),
    [
        (Wish("wether"), "weather"), (Wish(sets={"air_temp": "Tmp"}), "Temp_F"),
        (Wish(sets={"air_tmp": "Temp_F"}), "air_temp"), (Wish(zone="Mars/Base"), "America/Denver"),
        (Wish(units={"wind": "degC"}), "mph"), (Wish(units={"wind": "furlong"}), "km/h"),
        (Wish("stamps"), "no log table"),
    ],
)  # fmt: skip
def test_a_wish_that_cannot_be_met_says_what_can(wish: Wish, words: str) -> None:
    sheet = sheet_of("time,Temp_F,RH %,Wind mph\n2031-06-03 06:00,60,50,3\n")
    with pytest.raises(Refusal, match=words):
        proposed(sheet, wish, Known())


def test_a_question_answered_is_asked_no_more() -> None:
    sheet = sheet_of("stamp UTC,Temp,Wind\n6/3/2031 06:00,10,3\n6/3/2031 07:00,11,3\n")
    wish = Wish("weather", {"time": "stamp UTC"})
    found = proposed(sheet, wish, Known())
    assert {q.about for q in found.questions} == {
        "site", "zone", "dates", "unit:air_temp", "unit:wind", "column:humidity",
    }  # fmt: skip
    answers = {"site": "Mill", "zone": "America/Denver", "dates": "mdy", "unit:air_temp": "°C",
               "unit:wind": "m/s", "column:humidity": "55"}  # fmt: skip
    for question in found.questions:
        wish = answered(wish, question, answers[question.about], sheet.header)
    found = proposed(sheet, wish, Known())
    assert found.questions == []
    ours, written = translated(sheet, found.mapping)
    checked = intake.checked(ours, TABLES["weather"], written)
    assert checked.faults == []
    assert values(checked, "time") == [at("2031-06-03 00:00"), at("2031-06-03 01:00")]
    assert values(checked, "humidity") == [55.0, 55.0]


def test_files_of_other_tables_too() -> None:
    text = "Pour,Fecha,Obra,Slab type,Area (m2),Espesor (mm)\nA1,13.06.2031,Oak,garage,55.7,100\n"
    sheet = sheet_of(text)
    found = proposed(sheet, Wish(), Known())
    assert found.mapping.table == "pours"
    assert found.questions == []
    checked = read(text, Wish())
    assert checked.faults == []
    assert values(checked, "date") == [dt.date(2031, 6, 13)]
    # 1 ft = 0.3048 m exactly.
    assert values(checked, "area") == [pytest.approx(55.7 / 0.3048**2)]


def test_a_header_that_says_nothing_is_refused_with_what_to_say() -> None:
    with pytest.raises(Refusal, match="--table weather") as caught:
        proposed(sheet_of("qq,ww\nx,y\n"), Wish(), Known())
    assert caught.value.status == 1


def test_a_mapping_is_kept_whole_as_text() -> None:
    mapping = FileMapping(
        "weather", {"air_temp": Drawn(("T", "U"), "degC", 10.0)}, {"time": {"date": "D", "hour": "H"}},
        {"site": "Mill"}, "dmy", "-07:00", "America/Denver", True, "rows", "epw", 2031, "x",
    )  # fmt: skip
    assert from_json(mapping.as_json()) == mapping


@pytest.mark.parametrize(
    ("header", "height"),
    [("wind_speed_2m (km/h)", 2.0), ("Wind speed 10 m [m/s]", 10.0), ("Wind m/s", None),
     ("wind_ms", None)],
)  # fmt: skip
def test_the_height_of_the_wind_stands_in_its_header(header: str, height: float | None) -> None:
    found = read(f"time,Temp_F,RH %,{header}\n2031-06-03 06:00,60,50,3\n")
    assert found.faults == []
    assert (values(found, "wind_height") if height else found.columns.get("wind_height")) == (
        [height] if height else None
    )


@pytest.mark.parametrize(
    "text",
    [
        "when|temp_f|rh|wind_mph\n2031-06-03 06:00|55|70|5\n",
        "# hourly\nDATE       TIME  TEMP_F  RH  WSPD_MPH\n2031-06-03 06:00 55   70  5\n",
    ],
)
def test_columns_that_stand_apart_by_bars_or_spaces(text: str) -> None:
    found = read(text)
    assert found.faults == []
    assert values(found, "time") == [at("2031-06-03 06:00")]
    assert (values(found, "air_temp"), values(found, "wind")) == ([55.0], [5.0])


def test_a_header_that_comes_again_in_the_file_is_set_aside() -> None:
    head = "time,Temp_F,RH %,Wind mph\n"
    found = read(f"{head}2031-06-03 06:00,55,70,5\n{head}2031-06-03 07:00,56,70,5\n")
    assert {fault.line for _, fault in found.faults} == {3}
    assert list(found.whole) == [True, False, True]


def test_what_cannot_be_taken_is_noted() -> None:
    days = proposed(sheet_of("Date,Tmax,Temp_F,RH,Wind mph\n2031-06-03,9,8,7,6\n"), SITE, Known())
    assert any("no hour" in note for note in days.notes)
    hours = proposed(sheet_of("Employee,Date,Hours\nJo,2031-06-03,8\n"), Wish("crew_time"), Known())
    assert any("hours but no times" in note for note in hours.notes)
    text = "Employee,In,Out,Break (min)\nJo,2031-06-03 06:00,2031-06-03 14:00,30\n"
    breaks = proposed(sheet_of(text), Wish(), Known())
    assert any("'Break (min)' is not taken off" in note for note in breaks.notes)


def test_figures_alone_are_no_header() -> None:
    with pytest.raises(Refusal, match="row of names"):
        proposed(sheet_of("2031-06-03 06:00,55,70,5\n2031-06-03 07:00,56,71,5\n"), SITE, Known())


def test_a_zone_above_the_header_is_the_files_own() -> None:
    text = (
        "timezone: America/Denver (GMT-6)\n\ntime,Temp_F,RH %,Wind mph\n2031-06-03 06:00,55,70,5\n"
    )
    found = proposed(sheet_of(text), SITE, Known())
    assert (found.mapping.clock, found.mapping.zone) == ("local", "America/Denver")
    text = text.replace("America/Denver (GMT-6)", "UTC-7")
    found = proposed(sheet_of(text), SITE, Known())
    assert found.mapping.clock == "-7"
    assert [(q.about, q.default) for q in found.questions] == [("zone", "America/Denver")]
