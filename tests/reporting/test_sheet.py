"""The week and a pour on paper and in one HTML file: read back, counted, and fed hostile text."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
import time
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest

from pourstats.faults import Refusal
from pourstats.reporting.page_html import week_html
from pourstats.reporting.pour import PRIVATE_KEYS, pour_whole
from pourstats.reporting.sheet import saved
from pourstats.reporting.sheet_pour import pour_pdf
from pourstats.reporting.sheet_week import week_pdf, week_sheet
from pourstats.reporting.week_record import review
from pourstats.reporting.week_sentences import headline_text
from pourstats.reporting.week_text import week_text
from pourstats.reporting.week_trend import trend_told
from pourstats.store.database import Store
from pourstats.store.loading import load
from pourstats.store.sample import sample_folder

LEVELS = (0.05, 0.1, 0.5, 0.9, 0.95)
HOSTILE = (
    "*bold* #panic(\"x\") $a^2$ <label> @ref \\ `raw` =SUM(A1) [#pagebreak()] // /* "
    "<script>alert(1)</script><img src=x onerror=y> & \"quoted\" ñ ü 𝄞 漢字"
)  # fmt: skip


def read_back(pdf: bytes) -> str:
    """The PDF's text, every run of blanks one blank."""
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def page_count(pdf: bytes) -> int:
    return len(pypdf.PdfReader(io.BytesIO(pdf)).pages)


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Store:
    store = Store(tmp_path_factory.mktemp("store") / "s.duckdb")
    load(store, sorted(sample_folder().glob("*.csv")))
    return store


def more_pours(folder: Path, count: int, site: str = "Oak", notes: str = "") -> Store:
    """The season and ``count`` more pours in the week of 2025-11-10."""
    import csv

    with (folder / "pours.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["pour_id", "date", "site", "slab_type", "area", "thickness", "hands",
                         "crew_in", "crew_out", "place_start", "place_end", "trouble",
                         "notes"])  # fmt: skip
        for i in range(count):
            slab = ("garage", "basement", "shop")[i % 3]
            writer.writerow([f"X{i:03d}", f"2025-11-{10 + i % 6}", site, slab, 500 + 37 * i, 4,
                             3 + i % 4, "6:30", f"{14 + i % 6}:10", "7:30", "9:10",
                             "late_truck;rain;machine", notes])  # fmt: skip
    store = Store(folder / "s.duckdb")
    load(store, [*sorted(sample_folder().glob("*.csv")), folder / "pours.csv"])
    return store


def test_the_pdf_says_what_the_json_says(season: Store) -> None:
    found = review(season, None)
    text = read_back(week_pdf(found))
    assert " ".join(found["headline"]["sentence"].split()) in text
    for pour in found["pours"]:
        # Rounded here by Python's own formatting; hours are whole from ten on.
        assert f"{pour['labor_h']:.0f} h {pour['usual_low_h']:.0f} to" in text, pour["pour_id"]
        assert f"{pour['area_ft2']:,.0f} ft2" in text
    figures = found["figures"]
    assert f"labor-hours on the floors {figures['labor_h']['value']:.0f}" in text
    assert f"ft2 a labor-hour {figures['ft2_per_labor_h']['value']:.0f}" in text
    assert f"hours bid {figures['spent_to_bid_pct']['value']:.0f}%" in text
    assert f"crew without concrete {figures['starved_min_per_pour']['total']:.0f} min" in text
    for name in ("place", "finish", "wait"):
        figure = figures[f"{name}_share_pct"]
        assert f"{figure['value']:.0f}% ({figure['total']:.0f} h)" in text
    for item in found["stands_out"]:
        assert item["sentence"] in text
    assert found["trend"]["answer"] in text
    assert " ".join(found["trend"]["sentence"].split()) in text
    assert f"{100 * (found['trend']['change'] - 1):.0f}% more hours" in text
    plain = text.replace("`", "")
    for change in found["changes"]:
        assert f"{change['do'].replace('`', '')}. Because {change['because']}." in plain


def test_the_sheet_says_how_well_it_was_told_ahead(season: Store) -> None:
    found = review(season, None)
    assert "Can't be scored yet" in read_back(week_pdf(found)).replace("’", "'")
    found["lately"] = [{"text": "Told ahead, labor hours: 7 of the last 9 pours came within."}]
    found["look_at"] = [{"pour_id": "B297", "text": "B297: without a cure"}]
    text = read_back(week_pdf(found))
    assert "How well it was told ahead Told ahead, labor hours: 7 of the last 9 pours" in text
    assert "To look at while young: B297: without a cure." in text


def test_forecasts_are_scored_as_of_the_week(tmp_path: Path) -> None:
    from pourstats.store import forecasts

    store = Store(tmp_path / "s.duckdb")
    load(store, sorted(sample_folder().glob("*.csv")))
    with store.write() as connection:
        # Told before the pours: as a kept forecast of that time would be.
        ids = [
            row[0]
            for row in connection.execute(
                "SELECT pour_id FROM pours WHERE date < '2025-06-01' ORDER BY date LIMIT 6"
            ).fetchall()
        ]
    told = [forecasts.Told(i, "labor_h", q, 30.0 * q) for i in ids for q in LEVELS]
    assert forecasts.keep(store, "bid", told) is None
    with store.write() as connection:
        connection.execute("UPDATE forecasts SET issued_at = '2025-01-01 06:00'")
    assert any("6 pours" in line["text"] for line in review(store, date(2025, 8, 17))["lately"])
    assert review(store, date(2025, 4, 13))["lately"] == []


def test_calls_of_a_quiet_week_are_on_the_sheet(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    load(store, sorted(sample_folder().glob("*.csv")))
    (tmp_path / "callbacks.csv").write_text(
        "callback_id,pour_id,reported,defect\nQ1,B266,2025-12-23,dusting\n", encoding="utf-8"
    )
    load(store, [tmp_path / "callbacks.csv"])
    found = review(store, date(2025, 12, 25))
    assert found["state"] == "quiet_week"
    for text in (read_back(week_pdf(found)), week_text(found)):
        assert "called back to the shop at Sorrel Creek (B266) for dusting." in " ".join(
            text.split()
        )
        assert "[NRMCA CIP 1]" in " ".join(text.split())


def test_a_floor_is_most_of_it_only_where_it_is() -> None:
    head = {"verdict": "above", "pours": 3, "pours_with_hours": 3, "spent_h": 130.0,
            "usual_h": 100.0, "usual_low_h": 90.0, "usual_high_h": 110.0, "ratio": 1.3,
            "earlier_pours": 40, "far_out": [],
            "most_over": {"pour_id": "A", "site": "Oak", "slab_type": "shop", "labor_h": 50.0,
                          "usual_h": 30.0}}  # fmt: skip
    told = {"state": "full", "headline": head, "week": {}}
    assert "Most of it was the shop at Oak (A, 20 over)" in headline_text(told)
    head["most_over"]["usual_h"] = 40.0
    assert "Furthest over was the shop at Oak (A, 10 over)" in headline_text(told)


def test_html_says_the_same_and_asks_nothing_of_a_network(season: Store) -> None:
    found = review(season, None)
    page = week_html(found)
    seen = Seen()
    seen.feed(page)
    text = " ".join("".join(seen.text).split())
    assert found["headline"]["sentence"] in text
    assert all(item["sentence"] in text for item in found["stands_out"])
    assert not {"script", "link", "img", "iframe", "object"} & seen.tags
    assert not seen.links
    assert "url(" not in page and "@import" not in page
    assert "prefers-color-scheme:dark" in page


class Seen(HTMLParser):
    """A page's tags, links and words, by Python's own parser."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.links: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.links += [value or "" for name, value in attrs if name in ("src", "href", "onerror")]

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two #rgb or #rrggbb colours (WCAG 2.2, relative luminance)."""

    def luminance(colour: str) -> float:
        digits = colour.lstrip("#")
        digits = "".join(c * 2 for c in digits) if len(digits) == 3 else digits
        parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
        red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4
                            for c in parts)  # fmt: skip
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_html_is_readable_in_light_dark_and_print(season: Store) -> None:
    # WCAG 2.2 AA: 4.5 to 1 for text (1.4.3), 3 to 1 for what a chart is read by (1.4.11).
    schemes = re.findall(r":root\{([^}]*)\}", week_html(review(season, None)))
    assert len(schemes) == 3
    for scheme in schemes:
        colour = dict(re.findall(r"--(\w+):\s*(#\w+)", scheme))
        assert contrast(colour["text"], colour["page"]) >= 4.5
        assert contrast(colour["quiet"], colour["page"]) >= 4.5
        assert contrast(colour["edge"], colour["page"]) >= 3
        assert contrast(colour["mark"], colour["band"]) >= 3
        assert contrast(colour["text"], colour["band"]) >= 4.5


@pytest.mark.parametrize("count", [1, 10, 60])
def test_a_week_is_one_page_however_many_pours(tmp_path: Path, count: int) -> None:
    found = review(more_pours(tmp_path, count), None)
    assert len(found["pours"]) == count
    pdf = week_pdf(found)
    assert page_count(pdf) == 1
    assert len(pdf) <= 300_000
    assert page_count(week_pdf(found, "metric")) == 1
    text = read_back(pdf)
    assert f"{found['headline']['spent_h']:,.0f} labor-hours went into {count} floor" in text
    if count == 60:
        named = sum(f"X{i:03d} Oak" in text for i in range(count))
        rest = re.search(r"and (\d+) floors nearer to their usual hours", text)
        assert rest is not None
        assert 4 <= len(set(re.findall(r"Nov \d+ (X\d{3}) ", text))) <= named
        assert len(set(re.findall(r"Nov \d+ (X\d{3}) ", text))) + int(rest[1]) == count


def test_changes_follow_from_what_the_log_says(season: Store) -> None:
    # The week of B266, whose row in the sample log says machine and rain; its second pass was
    # ready at 12:10 and begun at 17:11, 5 h 01 later.
    found = review(season, date(2025, 8, 17))["changes"]
    assert [set(each) for each in found] == [{"do", "why", "because", "source"}] * len(found)
    assert 1 <= len(found) <= 3
    assert found[0]["do"].startswith("Run every machine the day before")
    assert "B266" in found[0]["because"]
    assert "5 h 01 min" in found[0]["because"]
    assert any("rain" in each["do"] for each in found)
    text = read_back(week_pdf(review(season, date(2025, 8, 17))))
    assert all(f"Because {each['because']}." in text for each in found)


def test_hostile_text_comes_out_as_text(tmp_path: Path) -> None:
    store = more_pours(tmp_path, 60, site=HOSTILE, notes=HOSTILE * 8)
    found = review(store, None)
    found["lately"] = [{"text": HOSTILE * 3}] * 3
    found["unfinished"] = [{"pour_id": HOSTILE, "missing": []}] * 9
    pdf = week_pdf(found)
    assert page_count(pdf) == 1
    text = read_back(pdf)
    # The headline names a site whole; in tables names are shortened.
    assert '*bold* #panic("x") $a^2$ <label> @ref \\ `raw` =SUM(A1) [#pagebreak()] // /*' in text
    page = week_html(found)
    seen = Seen()
    seen.feed(page)
    assert not {"script", "img", "label"} & seen.tags
    whole = read_back(pour_pdf(pour_whole(store, "X003")))
    assert '*bold* #panic("x") $a^2$ <label> @ref \\ `raw` =SUM(A1) [#pagebreak()] // /*' in whole
    assert "<script>alert(1)</script>" in whole


def test_ink_is_black_and_grey_only(season: Store) -> None:
    page = pypdf.PdfReader(io.BytesIO(week_pdf(review(season, None)))).pages[0]
    content = page.get_contents()
    assert content is not None
    # ISO 32000: g, sc and scn with one operand are grey; rg and k set red-green-blue and inks.
    used = {(bytes(how), len(what)) for what, how in content.operations}
    assert (b"scn", 1) in used or (b"g", 1) in used
    assert not {how for how, _ in used} & {b"rg", b"RG", b"k", b"K"}
    assert not [how for how, count in used if how in (b"sc", b"SC", b"scn", b"SCN") and count > 1]


def test_a_week_judged_by_later_pours_tells_no_trend(season: Store) -> None:
    found = review(season, date(2025, 4, 10))
    assert found["headline"]["basis"] == "before_and_after"
    assert "Can't be told yet" in read_back(week_pdf(found)).replace("’", "'")


def test_no_pay_on_sheets(season: Store) -> None:
    found = review(season, None)
    assert found["figures"]["labor_cost_usd"]["value"] > 0
    for text in (read_back(week_pdf(found)), week_html(found)):
        assert "$" not in text
        assert "labor cost" not in text
    whole = pour_whole(season, "B266")
    marked = {**whole, "pour_output": {**whole["pour_output"],
              **dict.fromkeys(PRIVATE_KEYS, 98765.0)}}  # fmt: skip
    marked["pour"] = {**whole["pour"], **dict.fromkeys(PRIVATE_KEYS, 98765.0)}
    assert re.search(r"98[,.]?765", read_back(pour_pdf(marked))) is None


def test_a_pours_page_has_its_loads_passes_and_times(season: Store) -> None:
    whole = pour_whole(season, "B266")
    text = read_back(pour_pdf(whole))
    for load_ in whole["trucks"]:
        assert load_["ticket"] in text
        assert load_["arrived"][11:] in text
    for pass_ in whole["passes"]:
        assert f"{pass_['start'][11:]} {pass_['end'][11:]}" in text
    assert f"{whole['pour_output']['labor_h']:.1f} labor-hours" in text
    assert f"{whole['pour_weather']['evaporation_max_lb_ft2_h']:.2f} lb/ft²/h" in text
    assert whole["pour"]["notes"] in text
    # 2,880 ft2 = 268 m2, 5 in = 127 mm (NIST SP 811).
    assert "268 m², 127 mm" in read_back(pour_pdf(whole, "metric"))


@pytest.mark.parametrize("ending", [None, date(2025, 4, 10), date(2025, 5, 1), date(2025, 12, 25)])
def test_small_and_empty_states_have_a_page(season: Store, ending: date | None) -> None:
    found = review(season, ending)
    pdf = week_pdf(found)
    assert page_count(pdf) == 1
    assert " ".join(found["headline"]["sentence"].split()) in read_back(pdf)
    assert "None" not in read_back(pdf)
    assert "None" not in week_html(found)


def test_a_store_without_pours_has_a_page(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    with store.write():
        pass
    found = review(store, None)
    assert "No pours in the log yet" in read_back(week_pdf(found))
    assert "No pours in the log yet" in week_html(found)


def told(ratios: Any) -> dict[str, Any]:
    points = [{"ratio": float(r), "in_week": i >= len(ratios) - 3} for i, r in enumerate(ratios)]
    control = {"centre": 1.0, "lower": 0.5, "upper": 2.0, "points": points}
    return trend_told({"control": control, "headline": {"earlier_pours": len(ratios) - 3}})


@pytest.mark.parametrize(
    ("factor", "answer"), [(0.6, "Better"), (1.6, "Worse"), (1.0, "About the same")]
)
def test_trend_says_which_way(factor: float, answer: str) -> None:
    # The same ten values in each half, so that only the factor parts them.
    ten = np.exp(np.linspace(-0.2, 0.2, 10))
    assert told(np.concatenate([np.tile(ten, 3), ten * factor]))["answer"].startswith(answer)


def test_trend_seldom_cries_wolf() -> None:
    # A crew that never changes: its 95 % interval may miss in about 5 weeks of 100
    # (400 draws, so up to 8 by chance; binomial).
    draws = np.random.default_rng(11).normal(0.0, 0.25, (400, 60))
    words = [told(np.exp(row))["answer"].split(":")[0] for row in draws]
    assert words.count("Better") + words.count("Worse") <= 0.08 * len(words)


def test_too_few_floors_say_so() -> None:
    found = told(np.ones(12))
    assert found["change"] is None
    assert "20 floors" in found["sentence"]


def test_the_same_review_gives_the_same_bytes(season: Store) -> None:
    found = review(season, None)
    assert week_pdf(found) == week_pdf(json.loads(json.dumps(found)))


def test_a_file_that_cant_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match=r"no_such"):
        saved(tmp_path / "no_such" / "w.pdf", b"")


def test_the_command_writes_both_files(season: Store, tmp_path: Path) -> None:
    pdf, html = tmp_path / "w.pdf", tmp_path / "w.html"
    begun = time.perf_counter()
    run = subprocess.run(
        [sys.executable, "-m", "pourstats.cli", "week", "--store", str(season.path),
         "--pdf", str(pdf), "--html", str(html)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    assert run.stdout == ""
    assert str(pdf) in run.stderr
    assert pdf.read_bytes().startswith(b"%PDF-")
    assert html.read_text(encoding="utf-8").startswith("<!doctype html>")
    print(
        f"week --pdf --html from cold: {time.perf_counter() - begun:.2f} s, {pdf.stat().st_size} B"
    )


def right_edges(pdf: bytes) -> list[tuple[float, str]]:
    """Where each piece of text ends, in points from the left, reckoned by its letters' widths."""
    found: list[tuple[float, str]] = []

    def visit(text: str, _cm: Any, tm: Any, font: Any, size: float) -> None:
        if text.strip():
            found.append((tm[4] + 0.45 * size * abs(tm[0]) * len(text.strip()), text))

    pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text(visitor_text=visit)
    return found


def test_a_long_name_without_a_blank_stays_on_the_page(tmp_path: Path) -> None:
    name = "W" * 60
    store = more_pours(tmp_path, 10, site=name)
    for pdf in (week_pdf(review(store, None)), pour_pdf(pour_whole(store, "X003"))):
        # A letter page is 612 points wide; twelve W in a row at 13 points are 150.
        assert name not in read_back(pdf)
        assert "W" * 10 in read_back(pdf)
        assert max(edge for edge, _ in right_edges(pdf)) < 612


@pytest.mark.parametrize("ending", ["2025-05-01", None])
def test_the_bars_of_where_the_hours_went_lie_within_their_column(
    season: Store, ending: str | None
) -> None:
    shares = week_sheet(review(season, date.fromisoformat(ending) if ending else None))["shares"]
    assert len(shares) == 5
    most = max(max(row["at"], row["high"]) for row in shares)
    assert 0.9 < most <= 1.0
    # In proportion to the figures that stand beside them.
    told = [float(row["value"].split("%")[0]) for row in shares]
    assert [row["at"] / shares[0]["at"] for row in shares] == pytest.approx(
        [each / told[0] for each in told], abs=0.02
    )


def test_par_of_an_early_week_does_not_call_later_floors_earlier(season: Store) -> None:
    # One basement was logged before that week; its par rests on seventeen after it too.
    early, late = (review(season, day) for day in (date(2025, 5, 1), None))
    with season.read() as connection:
        (before,) = connection.execute(
            "SELECT count(*) FROM pours WHERE slab_type = 'basement' AND date < '2025-04-28'"
        ).fetchone()  # type: ignore[misc]
    (pours,) = {par["pours"] for par in early["par"] if par["par_h"] is not None}
    assert pours > before
    for text in (read_back(week_pdf(early)), " ".join(week_text(early).split())):
        assert f"{pours} other pours" in text
        assert f"{pours} earlier" not in text
    assert "17 earlier pours" in read_back(week_pdf(late))


@pytest.mark.parametrize(
    ("system", "said"),
    [("us", ("2,880 ft²", "78 °F", "lb/ft²/h", "[yd³]")), ("metric", ("268 m²", "°C", "kg/m²/h"))],
)
def test_a_pours_page_writes_units_as_people_do(season: Store, system: Any, said: Any) -> None:
    text = read_back(pour_pdf(pour_whole(season, "B266"), system))
    assert not [unit for unit in ("degF", "degC", "ft2", "m2", "yd3") if unit in text]
    for words in said:
        assert words in text
