"""Paper to log a pour on: the short log large, the rest small, in the order of the day.

Labels, units and choices come from the tables' declaration.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pourstats.logs.choice_words import Lang, choice_label
from pourstats.logs.tables import CREW_TIME, PASSES, POURS, TRUCKS, WAITS, Column, Table
from pourstats.reporting.paper_words import TITLES
from pourstats.reporting.sheet import saved, typeset
from pourstats.reporting.week_sentences import System
from pourstats.units import unit_in

LARGE: tuple[tuple[tuple[str, float], ...], ...] = (
    (("date", 2), ("pour_id", 2), ("site", 4)),
    (("slab_type", 1),),
    (("area", 1), ("thickness", 1), ("hands", 1)),
    (("place_start", 1), ("place_end", 1), ("bull_float_end", 1), ("machine_on", 1)),
    (("passes_done", 1), ("saw_end", 1), ("crew_out", 1)),
)
"""The short log, row by row: column and share of the width."""
SMALL: tuple[tuple[tuple[str, float], ...], ...] = (
    (("ordered_volume", 1), ("crew_in", 1), ("concrete_temp", 1), ("slump", 1), ("mix", 1),
     ("finish_hands", 1)),
    (("pass_count", 1), ("saw_start", 1), ("saw_length", 1), ("joint_spacing", 1),
     ("cure_start", 1), ("lead", 1)),
    (("placement", 5), ("finish", 4)),
    (("base", 4), ("reinforcement", 3)),
    (("exposure", 5), ("wind_felt", 4)),
    (("saw_type", 5), ("cure", 4)),
    (("trouble", 1),),
)  # fmt: skip
LOADS = ("ticket", "called", "volume", "due", "batched", "arrived", "pour_start", "pour_end",
         "left", "returned", "water_added")  # fmt: skip
PASS = ("pass_no", "tool", "ready", "held_up", "start", "end")
LOAD_ROWS, PASS_ROWS, PEOPLE = 6, 5, 12
TASK_ORDER = ("travel", "set_up", "place", "wait", "finish", "saw", "clean_up", "return_visit")


def paper_pdf(lang: Lang = "en", system: System = "us") -> bytes:
    """The pour sheet, one page, and the crew's day sheet behind it, as a PDF to print."""
    return typeset("paper", paper_sheet(lang, system))


def write_paper(file: Path, lang: Lang = "en", system: System = "us") -> Path:
    """Writes that PDF and returns its path. Raises Refusal where it can't be written."""
    saved(file, paper_pdf(lang, system))
    return file


def paper_sheet(lang: Lang = "en", system: System = "us") -> dict[str, Any]:
    """All that the paper shows, as plain data."""
    return {
        "paper": "us-letter" if system == "us" else "a4",
        "lang": lang,
        "words": TITLES[lang],
        "large": [[_field(POURS, name, share, lang, system) for name, share in row]
                  for row in LARGE],
        "small": [[_field(POURS, name, share, lang, system) for name, share in row]
                  for row in SMALL],
        "notes": _label(POURS.column("notes"), lang),
        "loads": [_field(TRUCKS, name, 1, lang, system) for name in LOADS],
        "load_rows": LOAD_ROWS,
        "passes": [_field(PASSES, name, 1, lang, system) for name in PASS],
        "pass_rows": PASS_ROWS,
        "who": _label(CREW_TIME.column("worker"), lang),
        "pour": _label(POURS.column("pour_id"), lang),
        "date": _label(POURS.column("date"), lang),
        "site": _label(POURS.column("site"), lang),
        "from": _label(CREW_TIME.column("start"), lang),
        "to": _label(CREW_TIME.column("end"), lang),
        "tasks": [choice_label(task, lang) for task in TASK_ORDER],
        "waits": [choice_label(wait, lang) for wait in WAITS],
        "people": PEOPLE,
    }  # fmt: skip


def _label(column: Column, lang: Lang) -> str:
    return column.spanish if lang == "es" else column.english


def _field(table: Table, name: str, share: float, lang: Lang, system: System) -> dict[str, Any]:
    column = table.column(name)
    return {
        "name": name,
        "label": _label(column, lang),
        "unit": unit_in(column.unit, system) if column.unit else "",
        "kind": column.kind,
        "choices": [choice_label(word, lang) for word in column.choices],
        "share": share,
    }
