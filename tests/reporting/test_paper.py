"""The paper log: the whole short log on one page, in the order of the day, from the tables."""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path

import pypdf
import pytest

from pourstats.logs.choice_words import SPANISH, Lang, choice_label
from pourstats.logs.tables import PASSES, POURS, TASKS, TRUCKS, WAITS
from pourstats.reporting.paper import LARGE, LOADS, PASS, SMALL, TASK_ORDER, paper_pdf
from pourstats.reporting.paper_words import TITLES
from pourstats.units import System


def pages_of(lang: Lang, system: System = "us") -> list[str]:
    reader = pypdf.PdfReader(io.BytesIO(paper_pdf(lang, system)))
    return [" ".join(page.extract_text().split()) for page in reader.pages]


@pytest.mark.parametrize("lang", ["en", "es"])
@pytest.mark.parametrize("system", ["us", "metric"])
def test_the_pour_sheet_is_one_page_and_the_crew_sheet_another(lang: Lang, system: System) -> None:
    pages = pages_of(lang, system)
    assert len(pages) == 2
    assert pages[0].startswith(TITLES[lang]["pour"])
    assert pages[1].startswith(TITLES[lang]["day"])


def test_every_column_of_the_short_log_is_large() -> None:
    large = {name for row in LARGE for name, _ in row}
    assert large == {column.name for column in POURS.columns if column.short}


@pytest.mark.parametrize("lang", ["en", "es"])
def test_labels_units_and_choices_are_the_tables(lang: Lang) -> None:
    front = pages_of(lang)[0]
    names = [name for row in (*LARGE, *SMALL) for name, _ in row]
    columns = [POURS.column(name) for name in names]
    columns += [TRUCKS.column(name) for name in LOADS] + [PASSES.column(name) for name in PASS]
    for column in columns:
        assert (column.spanish if lang == "es" else column.english) in front
        for word in column.choices:
            assert choice_label(word, lang) in front
    assert "[ft2]" in front
    assert "[m2]" in pages_of(lang, "metric")[0]


def test_boxes_follow_the_day() -> None:
    front = pages_of("en")[0]
    steps = [POURS.column(name).english for name in (
        "place_start", "place_end", "bull_float_end", "machine_on", "passes_done", "saw_end",
        "crew_out")]  # fmt: skip
    places = [front.index(step) for step in steps]
    assert places == sorted(places)


def test_the_crew_sheet_has_every_task_and_wait() -> None:
    assert sorted(TASK_ORDER) == sorted(TASKS)
    assert set(TASKS) | set(WAITS) <= set(SPANISH)
    back = pages_of("es")[1]
    for word in (*TASKS, *WAITS):
        assert choice_label(word, "es") in back


def test_the_large_boxes_have_room_for_a_pencil() -> None:
    # Common practice, no source: 6 mm (17 pt) of height to write in, so 37 pt with the label above.
    page = pypdf.PdfReader(io.BytesIO(paper_pdf("en"))).pages[0]
    tops: dict[str, float] = {}

    def seen(text: str, cm: list[float], tm: list[float], _font: object, _size: object) -> None:
        if text.strip():
            tops.setdefault(text.strip(), tm[4] * cm[1] + tm[5] * cm[3] + cm[5])

    page.extract_text(visitor_text=seen)
    first, machine = tops["First concrete"], tops["Last pass off"]
    assert abs(first - machine) >= 37


def test_the_command_needs_no_folder(tmp_path: Path) -> None:
    file = tmp_path / "sheet.pdf"
    run = subprocess.run(
        [sys.executable, "-m", "pourstats.cli", "template", "--paper", str(file), "--lang", "es"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    assert run.stdout == f"{file}\n"
    assert file.read_bytes().startswith(b"%PDF-")


def test_a_call_that_names_nothing_says_what_to_name() -> None:
    run = subprocess.run(
        [sys.executable, "-m", "pourstats.cli", "template"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 2
    assert "--paper FILE" in run.stderr
