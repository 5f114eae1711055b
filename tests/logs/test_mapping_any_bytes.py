"""Whatever the bytes: a proposal or a reason, never a traceback; and no row is lost on the way."""

from __future__ import annotations

import contextlib
import datetime as dt

from hypothesis import given, settings
from hypothesis import strategies as st

from pourstats.faults import Refusal
from pourstats.logs import foreign, intake, moments
from pourstats.logs.files import UnusableError
from pourstats.logs.mapping import Known
from pourstats.logs.proposal import Wish
from pourstats.logs.proposing import proposed
from pourstats.logs.tables import TABLES
from pourstats.logs.translating import translated

KNOWN = Known({"Mill": "America/Denver"}, "America/Chicago", (("B1", "Mill", dt.date(2031, 6, 3)),))
GIVEN = Wish(given={"site": "Mill"})

NAMES = st.sampled_from([
    "time", "Time (UTC)", "Date", "Hour", "Temp (°C)", "Temp", "RH %", "Wind", "Wind km/h", "Rain",
    "Employee", "In", "Out", "Punch", "Job", "Task", "Year", "Month", "Day", "site", "x", "",
    "pour_id", "area", "LOCATION", "dt",
])  # fmt: skip
CELLS = st.one_of(
    st.sampled_from([
        "", "2031-06-03 06:40", "6/13/2031 6:40 AM", "13.06.2031", "2031-06-03T06:40:00-05:00",
        "2031-11-02 01:30", "2031-03-09 02:30", "24:00", "6:40", "24", "0", "-40", "1938252000",
        "1e400", "nan", "-9999", "T", "in", "out", "Mill", "B1", "place", "'=1", "\x01n5", "\x01",
        "9999-12-31 23:59", "1970-01-01 00:00 Z", "0001-01-01T00:00:00+14:00", "٣", "²", "1/2", "½",
        "2199-12-31 24:00", "12/31/2199 11:59 PM HST",
    ]),
    st.text(max_size=12),
)  # fmt: skip


def looked_at(data: bytes, name: str, wish: Wish) -> None:
    """Read, propose, translate and check, as the command and a load do."""
    with contextlib.suppress(UnusableError):
        for sheet in foreign.sheets(data, name):
            with contextlib.suppress(Refusal):
                found = proposed(sheet, wish, KNOWN)
                ours, written = translated(sheet, found.mapping, KNOWN)
                checked = intake.checked(ours, TABLES[found.mapping.table], written)
                assert len(checked.raw) == checked.read == len(checked.whole)
                assert {row for row, _ in checked.faults} == {
                    row for row, whole in enumerate(checked.whole) if not whole
                }
                for _, fault in checked.faults:
                    assert fault.line in sheet.lines
                    assert fault.reason
                if found.mapping.layout == "rows" and not any("twice" in w for w in ours.warnings):
                    assert list(checked.lines) == list(sheet.lines)


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=300), st.sampled_from(["a.csv", "a.epw", "a.xlsx", "a.txt"]))
def test_any_bytes(data: bytes, name: str) -> None:
    looked_at(data, name, GIVEN)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(NAMES, min_size=1, max_size=7),
    st.lists(st.lists(CELLS, max_size=8), max_size=6),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from([None, *(t for t in TABLES if TABLES[t].log)]),
    st.lists(st.text(max_size=15), max_size=3),
)
def test_any_table(
    header: list[str], rows: list[list[str]], delimiter: str, table: str | None, above: list[str]
) -> None:
    lines = [*above, delimiter.join(header), *(delimiter.join(row) for row in rows)]
    data = "\n".join(lines).encode("utf-8", "replace")
    looked_at(data, "a.csv", Wish(table, given={} if table else {"site": "Mill"}))


@settings(max_examples=40, deadline=None)
@given(st.lists(st.lists(CELLS, min_size=3, max_size=36), max_size=5), st.booleans())
def test_any_weather_year(rows: list[list[str]], epw: bool) -> None:
    head = (
        ["LOCATION,x,y,z,TMY3,1,55.3,-160.5,-9.0,7.0", "DATA PERIODS,1,1,Data,Sunday,1/1,12/31"]
        if epw else
        ['703165,"SAND POINT",AK,-9.0,55.317,-160.517,7',
         "Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),TotCld (tenths),Dry-bulb (C),RHum (%),Wspd (m/s)"]
    )  # fmt: skip
    text = "\n".join([*head, *(",".join(row) for row in rows)])
    for year in (None, 2031):
        looked_at(text.encode("utf-8", "replace"), "a.csv", Wish(given={"site": "Mill"}, year=year))


@settings(max_examples=300, deadline=None)
@given(CELLS, st.sampled_from([None, "mdy", "dmy", "ymd"]))
def test_any_text_is_a_moment_or_has_a_reason(text: str, order: moments.Order | None) -> None:
    found = moments.moment(text, order)
    assert isinstance(found, moments.Moment) or found
    assert isinstance(moments.clock(text), int) or moments.clock(text)
    assert isinstance(moments.hour_of_day(text), int) or moments.hour_of_day(text)
    assert isinstance(moments.day(text, order), dt.date) or moments.day(text, order)
    moments.fixed_offset(text)
    moments.written_offset(text)


@settings(max_examples=200, deadline=None)
@given(
    st.datetimes(dt.datetime(1975, 1, 1), dt.datetime(2100, 1, 1)).map(
        lambda at: at.replace(microsecond=0)
    ),
    st.sampled_from(["America/Denver", "America/New_York", "Europe/Berlin", "Australia/Lord_Howe",
                     "Asia/Kolkata", "America/St_Johns", "Pacific/Apia"]),
    st.integers(-14 * 4, 14 * 4),
)  # fmt: skip
def test_one_instant_is_one_time_on_the_wall_however_written(
    instant: dt.datetime, zone: str, quarters: int
) -> None:
    """Written in UTC, with any offset, or in seconds: by pandas' own conversion the same."""
    import pandas as pd

    sign, minutes = ("-" if quarters < 0 else "+"), abs(quarters) * 15
    there = instant + dt.timedelta(minutes=quarters * 15)
    texts = [
        f"{instant:%Y-%m-%dT%H:%M:%S}Z",
        f"{there:%Y-%m-%d %H:%M:%S}{sign}{minutes // 60:02d}:{minutes % 60:02d}",
        f"{there:%m/%d/%Y %I:%M:%S %p} {sign}{minutes // 60:02d}{minutes % 60:02d}",
    ]
    if instant.year > 2001:
        texts.append(str(round(instant.replace(tzinfo=dt.UTC).timestamp())))
    expected = pd.Timestamp(instant, tz="UTC").tz_convert(zone).tz_localize(None)
    tz = moments.zone_named(zone)
    assert tz is not None
    for text in texts:
        found = moments.moment(text, "mdy")
        assert isinstance(found, moments.Moment), (text, found)
        assert found.instant is not None
        assert moments.on_the_wall(found.instant, tz) == expected
