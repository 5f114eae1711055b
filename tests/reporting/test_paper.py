"""The paper log: the whole short log on one page, in the order of the day, from the tables."""

from __future__ import annotations

import csv
import io
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pypdf
import pytest

from pourstats.logs.choice_words import SPANISH, Lang, choice_label
from pourstats.logs.forms import write_templates
from pourstats.logs.tables import PASSES, POURS, TABLES, TASKS, TRUCKS, WAITS
from pourstats.reporting.paper import LARGE, LOADS, PASS, SMALL, TASK_ORDER, paper_pdf
from pourstats.reporting.paper_words import TITLES
from pourstats.store import reading
from pourstats.store.database import Store
from pourstats.store.loading import load
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


FILLED = {
    "date": "2031-06-03", "pour_id": "C7", "site": "Obra 4", "slab_type": "warehouse",
    "area": "2400", "thickness": "5 1/2", "hands": "6", "place_start": "6:40", "place_end": "8:50",
    "bull_float_end": "9:05", "machine_on": "11:20", "passes_done": "3:05 PM", "saw_end": "16:30",
    "crew_out": "16:45", "ordered_volume": "42", "crew_in": "5:50", "concrete_temp": "71",
    "slump": "4 1/2", "mix": "4000 psi", "finish_hands": "3", "pass_count": "3",
    "saw_start": "15:20", "saw_length": "310", "joint_spacing": "12", "cure_start": "16:00",
    "lead": "RB", "placement": "pump", "finish": "hard_trowel", "base": "vapor_sheet",
    "reinforcement": "rebar", "exposure": "indoors", "wind_felt": "calm",
    "saw_type": "early_entry", "cure": "compound", "trouble": "late_truck",
}  # fmt: skip
"""A sheet as a crew would fill it: every box, choices circled."""
ON_LOADS = {
    "ticket": "0815", "called": "ordered", "volume": "9.5", "due": "6:45", "batched": "6:12",
    "arrived": "6:51", "pour_start": "6:55", "pour_end": "7:20", "left": "7:31", "returned": "0",
    "water_added": "2",
}  # fmt: skip
ON_PASSES = {
    "pass_no": "1", "tool": "pan", "ready": "11:05", "held_up": "other_slab", "start": "11:20",
    "end": "12:10",
}  # fmt: skip


@pytest.mark.parametrize("lang", ["en", "es"])
@pytest.mark.parametrize("full", [False, True])
def test_a_filled_sheet_typed_into_the_blank_files_loads(
    tmp_path: Path, lang: Lang, full: bool
) -> None:
    assert set(FILLED) == {name for row in (*LARGE, *SMALL) for name, _ in row}
    assert (list(ON_LOADS), list(ON_PASSES)) == (list(LOADS), list(PASS))
    log = tmp_path / "log"
    write_templates(log, full=full, lang=lang)
    typed: dict[str, list[dict[str, str]]] = {
        "pours": [FILLED],
        "trucks": [{**ON_LOADS, "pour_id": "C7"}],
        "passes": [{**ON_PASSES, "pour_id": "C7"}],
        "crew_time": [
            {"pour_id": "C7", "worker": "JB", "task": task, "start": start, "end": end,
             "wait_for": "set" if task == "wait" else ""}
            for task, start, end in (("set_up", "5:50", "6:40"), ("place", "6:40", "9:05"),
                                     ("wait", "9:05", "11:20"), ("finish", "11:20", "3:05 PM"))
        ],
    }  # fmt: skip
    for name, rows in typed.items():
        with (log / f"{name}.csv").open("r+", encoding="utf-8", newline="") as file:
            (heads,) = csv.reader(file)
            columns = [TABLES[name].column(head.split(" [")[0]) for head in heads]
            writer = csv.writer(file)
            for row in rows:
                # What is circled is typed as it is printed.
                writer.writerow([choice_label(row.get(c.name, ""), lang) if c.choices
                                 else row.get(c.name, "") for c in columns])  # fmt: skip
    store = Store(tmp_path / "s.duckdb")
    report = load(store, [log])
    assert (report.status, report.set_aside) == (0, [])
    with store.read() as connection:
        stored = {name: reading.frame(connection, name) for name in (*typed, "pour_output")}
    pour = stored["pours"].iloc[0]
    assert (pour["slab_type"], pour["thickness"]) == ("warehouse", 5.5)
    assert str(pour["passes_done"]) == "2031-06-03 15:05:00"
    # One person, 5:50 to 15:05 without a gap, is 9 h 15.
    assert stored["pour_output"]["labor_h"][0] == pytest.approx(9.25)
    assert stored["crew_time"]["task"].tolist() == ["set_up", "place", "wait", "finish"]
    if full:
        for name, rows in typed.items():
            for row, (_, found) in zip(rows, stored[name].iterrows(), strict=True):
                for column, text in row.items():
                    assert text == "" or not pd.isna(found[column]), column
                    if TABLES[name].column(column).choices and text:
                        assert found[column] == text
        assert (pour["slump"], pour["saw_length"]) == (4.5, 310)
        assert stored["trucks"]["ticket"][0] == "0815"


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
