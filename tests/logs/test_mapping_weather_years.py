"""Weather years in the open layouts TMY3 and EPW, against pvlib's own reading of the same files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from pvlib.iotools import read_epw, read_tmy3

from pourstats.faults import Refusal
from pourstats.logs import foreign
from pourstats.logs.mapping import Known
from pourstats.logs.proposal import Wish
from pourstats.logs.proposing import proposed
from pourstats.store import mappings
from pourstats.store.database import Store
from pourstats.store.loading import load
from pourstats.store.report import Report

TMY3 = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
"""A TMY3 file that pvlib ships: standard time of UTC−9."""
ZONE = "America/Anchorage"


def taken_in(file: Path, folder: Path, wish: Wish) -> tuple[pd.DataFrame, Report]:
    """The weather of a file, mapped as proposed and loaded."""
    store = Store(folder / "s.duckdb")
    (sheet,) = foreign.read(file)
    found = proposed(sheet, wish, Known())
    assert found.questions == []
    mappings.keep(store, sheet, found.mapping)
    report = load(store, [file])
    with store.read() as connection:
        frame = connection.execute("SELECT * FROM weather ORDER BY time").df()
    return frame.set_index("time"), report


def on_the_wall(frame: pd.DataFrame) -> pd.DataFrame:
    """By pandas: the wall clock of the zone, the later of two readings of the repeated hour."""
    local = frame.sort_index()
    local.index = local.index.tz_convert(ZONE).tz_localize(None)  # type: ignore[attr-defined]
    return local[~local.index.duplicated(keep="last")].sort_index()


def compared(ours: pd.DataFrame, theirs: pd.DataFrame, sky: str) -> None:
    assert list(ours.index) == list(theirs.index)
    # Exact by definition: F = 1.8 C + 32; 1 mi/h = 0.44704 m/s (NIST SP 811, appendix B).
    np.testing.assert_allclose(ours["air_temp"], theirs["temp_air"] * 1.8 + 32, atol=1e-9)
    np.testing.assert_allclose(ours["wind"], theirs["wind_speed"] / 0.44704, atol=1e-9)
    np.testing.assert_array_equal(ours["humidity"], theirs["relative_humidity"])
    np.testing.assert_array_equal(ours["sun"], theirs["ghi"])
    np.testing.assert_allclose(ours["cloud"], theirs[sky] * 10)
    assert (ours["wind_height"] == 10).all()
    assert (ours["source"] == "estimated").all()
    assert (ours["site"] == "Harbor").all()


@pytest.fixture(scope="module")
def theirs() -> pd.DataFrame:
    return read_tmy3(TMY3, map_variables=True)[0]


def test_tmy3_is_read_as_pvlib_reads_it(tmp_path: Path, theirs: pd.DataFrame) -> None:
    given = Wish(given={"site": "Harbor"}, zone=ZONE)
    ours, report = taken_in(TMY3, tmp_path, given)
    assert report.status == 0
    expected = on_the_wall(theirs)
    assert len(expected) == 8759  # October is of 1999: its 31st had the hour from 1:00 twice
    compared(ours, expected, "TotCld (tenths)")
    assert any("twice on 1999-10-31; 1 reading" in line for line in report.warnings)
    assert any("703165TY.csv" in line for line in report.warnings if "twice" in line)


def test_tmy3_in_one_year(tmp_path: Path) -> None:
    coerced = read_tmy3(TMY3, map_variables=True, coerce_year=2031)[0]
    ours, report = taken_in(TMY3, tmp_path, Wish(given={"site": "Harbor"}, zone=ZONE, year=2031))
    compared(ours, on_the_wall(coerced), "TotCld (tenths)")
    # US clocks go forward on 9 March 2031 (second Sunday) and back on 2 November (first Sunday).
    assert pd.Timestamp("2031-03-09 02:00") not in ours.index
    assert pd.Timestamp("2031-03-09 03:00") in ours.index
    assert any("twice on 2031-11-02; 1 reading" in line for line in report.warnings)


def epw_text(frame: pd.DataFrame) -> str:
    """A year in the EPW layout: eight lines of head, then 35 fields an hour, hour 1 ending at 1:00
    (EnergyPlus, Auxiliary Programs, EPW data dictionary)."""
    head = [
        "LOCATION,Sand Point,AK,USA,TMY3,703165,55.317,-160.517,-9.0,7.0", "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0", "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,made for a test", "COMMENTS 2,", "DATA PERIODS,1,1,Data,Sunday,1/1,12/31",
    ]  # fmt: skip
    rows = []
    for at, row in frame.iterrows():
        begun = at - pd.Timedelta(hours=1)  # type: ignore[operator]
        rows.append(
            f"{begun.year},{begun.month},{begun.day},{begun.hour + 1},0,?9?9,{row['temp_air']},"
            f"{row['temp_dew']},{row['relative_humidity']:g},{row['pressure'] * 100:g},0,0,"
            f"9999,{row['ghi']:g},{row['dni']:g},{row['dhi']:g},0,0,0,0,{row['wind_direction']:g},"
            f"{row['wind_speed']},{row['TotCld (tenths)']:g},{row['OpqCld (tenths)']:g},16,77777,9,"
            "999999999,10,0.1,0,88,0.2,0,1"
        )
    return "\n".join(head + rows) + "\n"


def test_the_same_year_as_epw_is_read_as_pvlib_reads_it(
    tmp_path: Path, theirs: pd.DataFrame
) -> None:
    file = tmp_path / "harbor.epw"
    file.write_text(epw_text(theirs))
    pvlibs = read_epw(str(file))[0]
    # pvlib names the hour by its beginning, the log by its end, at which temperature and wind are.
    pvlibs.index = pvlibs.index + pd.Timedelta(hours=1)
    ours, report = taken_in(file, tmp_path, Wish(given={"site": "Harbor"}, zone=ZONE))
    assert report.status == 0, report.set_aside[:3]
    compared(ours, on_the_wall(pvlibs), "total_sky_cover")
    assert any("harbor.epw: the clock showed an hour twice" in line for line in report.warnings)


def test_what_an_epw_file_does_not_know_is_no_reading(tmp_path: Path, theirs: pd.DataFrame) -> None:
    """99.9 °C, 999 % and 999 m/s stand for missing ones (EPW data dictionary)."""
    lines = epw_text(theirs.iloc[:4]).splitlines()
    for line, field, code in ((8, 6, "99.9"), (9, 8, "999"), (10, 21, "999"), (11, 13, "9999")):
        cells = lines[line].split(",")
        cells[field] = code
        lines[line] = ",".join(cells)
    file = tmp_path / "gaps.epw"
    file.write_text("\n".join(lines))
    ours, report = taken_in(file, tmp_path, Wish(given={"site": "Harbor"}, zone=ZONE))
    assert [(f.line, f.column, f.value) for f in report.set_aside] == [
        (9, "Dry Bulb Temperature [C]", "99.9"), (10, "Relative Humidity [%]", "999"),
        (11, "Wind Speed [m/s]", "999"),
    ]  # fmt: skip
    assert len(ours) == 1
    assert ours["sun"].isna().all()


def test_site_and_zone_are_asked_for() -> None:
    (sheet,) = foreign.read(TMY3)
    found = proposed(sheet, Wish(), Known())
    assert [q.about for q in found.questions] == ["site", "zone"]
    assert "SAND POINT" in found.questions[0].text
    assert found.questions[1].default == ZONE  # the US clock nine hours behind UTC in winter
    assert proposed(sheet, Wish(given={"site": "H"}), Known({"H": ZONE})).questions == []
    assert proposed(sheet, Wish(given={"site": "H"}), Known(zone=ZONE)).questions == []


@pytest.mark.parametrize("first", ["LOCATION,", "LOCATION,x,y,z,a,b,north,west,-7,1",
                                   "LOCATION,x,y,z,a,b,95,-100,-7,1"])  # fmt: skip
def test_a_broken_head_is_refused(tmp_path: Path, first: str) -> None:
    file = tmp_path / "x.epw"
    file.write_text(first + "\nDATA PERIODS,1\n2031,1,1,1,0\n")
    with pytest.raises(Refusal, match="line 1"):
        mappings.opened(file)
    file.write_text(first + "\n2031,1,1,1,0\n")
    with pytest.raises(Refusal, match="DATA PERIODS"):
        mappings.opened(file)
