"""Formulas, markup, SQL and odd letters in every text column come out as the text that they are.

The same season is loaded with plain texts and with nasty ones; every output is read back with a
reader of its own kind (csv, openpyxl, html.parser, pypdf, icalendar) and must have the same shape,
and the nasty text to the letter.
"""

from __future__ import annotations

import csv
import html.parser
import io
import json
import unicodedata
from pathlib import Path
from typing import Any

import icalendar
import openpyxl
import pypdf
import pytest

from pourstats.logs.tables import TABLES
from pourstats.reporting import calendar, export, page_html, sheet, sheet_pour, sheet_week, tables
from pourstats.reporting.check import check_text, checked
from pourstats.reporting.pour import pour_text, pour_whole
from pourstats.reporting.week import week_text
from pourstats.reporting.week_record import review
from pourstats.store import reading
from pourstats.store.database import Store
from pourstats.store.loading import load

NASTY = {
    "formula": "=1+1",
    "at": "@SUM(A1)",
    "minus": "-2+3",
    "tab": "x\ty",
    "script": "<script>alert(1)</script>",
    "image": '"><img src=x onerror=alert(1)>',
    "markdown": "**b** [a](http://x.invalid) $x$ `c` # h",
    "typst": "#panic() *b* $x$ @a <b> \\",
    "sql": "'; DROP TABLE pours; --",
    "quotes": "a\"b'c;d,e",
    "calendar": "a\\nEND:VEVENT;,b",
    "terminal": "a\x1b[31mb\x07c\x9b2Jd",
    "letters": "Ñandú — ½ 日本",
}
OUT_OF_JOBS = ("latest_end", "place_start", "travel", "plant_travel")
TEXTS = {
    table.name: [c.name for c in table.columns if c.kind in ("id", "text", "notes")]
    for table in TABLES.values()
    if table.log
}
REST: dict[str, dict[str, str]] = {
    "pours": {"date": "2031-06-03", "slab_type": "garage", "area": "600", "thickness": "4",
              "hands": "3", "crew_in": "6:00", "place_start": "6:30", "place_end": "8:00",
              "crew_out": "14:00"},
    "trucks": {"volume": "9", "arrived": "6:20", "pour_start": "6:30", "pour_end": "7:00",
               "left": "7:10"},
    "passes": {"pass_no": "1", "start": "10:00", "end": "10:30"},
    "crew_time": {"task": "place", "start": "6:30", "end": "8:00"},
    "weather": {"time": "2031-06-03 06:00", "air_temp": "70", "humidity": "50", "wind": "5"},
    "sites": {"latitude": "40", "longitude": "-100", "zone": "America/Denver"},
    "callbacks": {"reported": "2031-07-01", "defect": "dusting", "hours": "3"},
    "bids": {"bid_date": "2031-05-01", "bid_hours": "30"},
    "crew": {"pay": "25"},
    "jobs": {"date": "2031-06-10", "slab_type": "garage", "area": "600", "thickness": "4"},
}  # fmt: skip


def season(folder: Path, text: str) -> Store:
    """A pour with all that hangs on it, and that text in every text column."""
    folder.mkdir()
    for name, rest in REST.items():
        row = dict.fromkeys(TEXTS[name], text) | rest
        if name == "jobs":
            row["pour_id"] = text + " job"
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, list(row))
            writer.writeheader()
            writer.writerow(row)
    store = Store(folder / "s.duckdb")
    report = load(store, [folder])
    assert not report.set_aside, report.set_aside
    return store


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return season(tmp_path_factory.mktemp("plain") / "log", "Oak")


@pytest.fixture(scope="module", params=list(NASTY))
def nasty(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Any:
    text = NASTY[request.param]
    return text, season(tmp_path_factory.mktemp("nasty") / "log", text)


class Shape(html.parser.HTMLParser):
    """The tags and attribute names of a page, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(" ".join([tag, *(name for name, _ in attrs)]))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def together(text: str) -> str:
    """Without blanks and control characters, for which what people read has a blank."""
    return "".join(c for c in text if not c.isspace() and unicodedata.category(c)[0] != "C")


def test_tables_in_every_format_hold_the_text_and_no_formula(nasty: Any, tmp_path: Path) -> None:
    text, store = nasty
    for name, columns in TEXTS.items():
        with store.read() as connection:
            frame = reading.frame(connection, name)
        wanted = text + " job" if name == "jobs" else text
        assert set(frame[columns[0]]) == {wanted}
        rows = list(csv.reader(io.StringIO(tables.text(frame, name, "csv", "us"))))
        for cell in rows[1]:
            # What a spreadsheet would take for a formula; a number may begin with a minus.
            assert cell[:1] not in ("=", "+", "@", "\t"), cell
            assert not cell.startswith("-") or cell[1:].replace(".", "").isdigit(), cell
        assert json.loads(tables.text(frame, name, "json", "us"))[0][columns[0]] == wanted
        tables.write(frame, name, "xlsx", "us", tmp_path / f"{name}.xlsx", meanings={})
        book = openpyxl.load_workbook(tmp_path / f"{name}.xlsx")
        cells = [cell for page in book.worksheets for row in page.iter_rows() for cell in row]
        assert not [cell.value for cell in cells if cell.data_type == "f"]


def test_an_export_in_csv_and_in_a_workbook_comes_back_to_the_letter(
    nasty: Any, tmp_path: Path
) -> None:
    text, store = nasty
    export.write_export(store, tmp_path / "out", "us", lambda line: None)
    again = Store(tmp_path / "again.duckdb")
    assert not load(again, [tmp_path / "out"]).set_aside
    for name, columns in TEXTS.items():
        with again.read() as connection:
            frame = reading.frame(connection, name)
        wanted = text + " job" if name == "jobs" else text
        assert list(frame[columns[0]]) == [wanted], name
        for column in columns[1:]:
            if column not in REST[name]:
                assert list(frame[column]) == [text], (name, column)


def test_pages_and_sheets_have_the_shape_that_plain_texts_give(nasty: Any, plain: Store) -> None:
    text, store = nasty
    found, usual = review(store, None), review(plain, None)
    page, usual_page = Shape(page_html.week_html(found)), Shape(page_html.week_html(usual))
    assert sorted(set(page.tags)) == sorted(set(usual_page.tags))
    assert len(page.tags) == len(usual_page.tags)
    assert together(text) in together("".join(page.words))
    assert together(text) in together(week_text(found))
    whole = pour_whole(store, text)
    assert together(text) in together(pour_text(whole, "us"))
    for made in (sheet_week.week_pdf(found), sheet_pour.pour_pdf(whole)):
        document = pypdf.PdfReader(io.BytesIO(made))
        assert not [key for key in document.trailer["/Root"] if key in ("/OpenAction", "/AA")]
        words = together("".join(page.extract_text() for page in document.pages))
        # A long word may break at marks without a width.
        words = words.replace(sheet.MAY_BREAK, "")
        assert together(text).replace("日本", "") in words.replace("日本", "")
    assert check_text(checked(store))


def test_a_calendar_has_one_entry_a_stay_and_the_text_in_it(nasty: Any) -> None:
    text, _ = nasty
    clock = {"p10": "2031-06-10T09:00", "p50": "2031-06-10T09:30", "p90": "2031-06-10T10:00"}
    plan = {"days": [{
        "date": "2031-06-10", "moves": [], "notes": [],
        "pours": [{"pour_id": text, "site": text, "place_start": "2031-06-10T07:00",
                   "place_end": clock, "first_pass": clock, "last_pass_end": clock,
                   "saw_done": None}],
        "tasks": [{"worker": text, "pour_id": text, "task": "place",
                   "start": "2031-06-10T07:00", "end": "2031-06-10T09:00"}],
    }]}  # fmt: skip
    written = calendar.calendar_bytes(plan, {text: "America/Denver"})
    entries = list(icalendar.Calendar.from_ical(written).walk("VEVENT"))
    assert len(entries) == 1
    told = str(entries[0]["SUMMARY"]) + str(entries[0].get("LOCATION", ""))
    # RFC 5545, 3.1: CONTROL is in no text; a tab may be.
    assert not [c for c in told if unicodedata.category(c) == "Cc" and c not in "\t\n"]
    told = together(told)
    assert together(text).replace("\\n", "") in told.replace("\\n", "")


def test_nothing_was_run_as_a_query(nasty: Any) -> None:
    _, store = nasty
    with store.read() as connection:
        counts = {
            name: connection.execute(f"SELECT count(*) FROM {name}").fetchall()[0][0]
            for name in REST
        }
    assert counts == dict.fromkeys(REST, 1)
