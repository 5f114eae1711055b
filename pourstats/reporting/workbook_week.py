"""The weekly review as a workbook: the answers in words, and every figure to go on working with.

Made from the review that text, page and sheet show, in the units wanted. It holds money, as the
text does; the columns and figures that give pay away are called private on the sheet ``about``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pourstats.logs.tables import CALLBACKS, PASSES, POURS, TRUCKS
from pourstats.reporting.columns import Shown, columns, measure_in
from pourstats.reporting.outfile import whole
from pourstats.reporting.week import PRIVATE_KEYS
from pourstats.reporting.week_sentences import (
    System,
    day_text,
    figure_label,
    reason_text,
    standout_text,
    unit_text,
)
from pourstats.reporting.week_trend import because_text
from pourstats.reporting.week_words import FIGURE_WORDS, plain
from pourstats.reporting.workbook import write_workbook
from pourstats.store import measures

Row = Mapping[str, Any]

DATES = ("date", "reported", "poured")
SENTENCES = ("answer", "what", "reason", "note", "help", "do", "because")

WORDS: dict[str, str] = {
    "question": "what is asked of the week",
    "answer": "the answer, as the review gives it",
    "figure": "the figure's name, its unit in it; (private) where it gives pay away",
    "label": "what the review calls it",
    "unit": "unit of value and usual range; blank for counts and shares of one",
    "value": "the figure of this week; a ratio is of the week's sums",
    "usual_low": "lower end of what eight in ten earlier weeks or pours show",
    "usual_middle": "the middle of them",
    "usual_high": "upper end of what eight in ten of them show",
    "usual_of": "weeks or pours: what the usual range is of",
    "usual_count": "how many of them stand behind it",
    "verdict": "against the usual range: below, usual, above; of a floor fast, slow, far out",
    "pours_known": "of the week's pours, how many are in the figure",
    "usual_h": "labor-hours that such a floor usually takes",
    "usual_low_h": "eight such floors in ten take from this",
    "usual_high_h": "to this",
    "ratio": "labor-hours spent over the usual ones",
    "loads": "number of loads logged",
    "over_min": "minutes of its trucks over their free time",
    "late_min": "minutes its trucks came late, in all",
    "starved_min": "minutes without concrete between trucks, balance loads apart",
    "passes": "number of passes",
    "first_pass_min": "minutes from strike-off to the first pass",
    "on_late_min": "most minutes that it stood ready before the crew got on it",
    "bid_h": "hours of the last bid before the pour, where its scope is the log's",
    "bid_spent_h": "hours spent on what was bid",
    "bid_why_not": "why bid and spent hours are not compared",
    "trouble": "what went wrong that day, in the log's words",
    "what": "what stood out, worst first",
    "kind": "floor, callback, went_well, or figure for the week as a whole",
    "over_h": "labor-hours over the usual ones",
    "reason": "why, in the log's words, or what is likely and called so",
    "note": "the log's note",
    "help": "how such a defect is told and where it usually comes from, by published guidance",
    "do": "what to change next week",
    "because": "why",
    "changes.source": "log where the crew wrote the reason, else figures",
    "from_ft2": "the class of floors: from this area",
    "to_ft2": "to below this; blank for no upper end",
    "par.pours": "earlier pours of the class behind it",
    "hours_per_ft2": "labor-hours a foot when the crew gets most done",
    "usual_hours_per_ft2": "labor-hours a foot of the class's middling floor",
    "disrupted_pours": "earlier pours of the class that took over twice par",
    "par.labor_h": "labor-hours that this week's floors of the class took",
    "par_h": "hours that this week's floors of the class would take at par",
    "pour_ids": "this week's floors of the class",
    "in_week": "whether the floor is of this week",
    "lower": "lower natural limit of the ratios: by ordinary ups and downs none is below",
    "centre": "their middle",
    "upper": "upper natural limit",
    "poured": "day of the placement",
    "pour_id": "the crew's own label of the pour",
}  # fmt: skip
"""What the review's own columns mean, by column or sheet.column; those of logs and measures keep
their meaning there."""


def write_week(review: Mapping[str, Any], path: str | Path, system: System = "us") -> None:
    """Writes the review as a workbook, whole or not at all. Raises Refusal naming the file."""
    rows = week_rows(review, system)
    sheets = {name: _shown(each, system) for name, each in rows.items() if each}
    meanings = {name: _meanings(name, each[0]) for name, each in rows.items() if each}
    with whole(path, "xlsx") as draft:
        write_workbook(sheets, draft, system, meanings)


def week_rows(review: Mapping[str, Any], system: System = "us") -> dict[str, list[Row]]:
    """The rows of every sheet, by name; figures and sentences in the units shown, else in house
    units."""
    return {
        "review": _answers(review),
        "figures": _figures(review, system),
        "floors": list(review["pours"]),
        "days": list(review["days"]),
        "stood_out": [
            {
                "date": item["date"], "pour_id": item["pour_id"], "site": item["site"],
                "kind": item["kind"], "over_h": item["over_h"],
                "what": standout_text(item, system), "reason": reason_text(item, system),
                "note": item["note"], "help": item.get("help"),
            }
            for item in review["stands_out"]
        ],
        "changes": [
            {"do": change["do"], "because": because_text(change["why"], system),
             "source": change["source"]}
            for change in review["changes"]
        ],
        "par": list(review["par"]),
        "chart": _chart(review["control"]),
        "called_back": [
            {name: call[name] for name in call if name != "callback_id"}
            for call in review["callbacks"]
        ],
    }  # fmt: skip


def _answers(review: Mapping[str, Any]) -> list[Row]:
    week, trend = review["week"], review["trend"]
    span = f"{day_text(week['start'])} to {day_text(week['end'], year=True)}"
    told = [("The week", span if week["start"] else "no pours yet")]
    told.append(("What did it take?", review["headline"]["sentence"]))
    if trend is not None:
        told.append(("Are we getting better?", f"{trend['answer']}. {trend['sentence']}"))
    told += [("How well was it told ahead?", line["text"]) for line in review["lately"]]
    told += [("Which floors to look at?", line["text"]) for line in review["look_at"]]
    return [{"question": question, "answer": answer} for question, answer in told]


def _figures(review: Mapping[str, Any], system: System) -> list[Row]:
    figures = review["figures"]
    rows: list[Row] = []
    for name, figure in figures.items():
        shown, change = measure_in(name, system)
        values = {
            key: figure[key] if change is None or figure[key] is None
            else float(change(np.array([figure[key]]))[0])
            for key in ("value", "usual_low", "usual_middle", "usual_high")
        }  # fmt: skip
        rows.append({
            "figure": shown + (" (private)" if name in PRIVATE_KEYS else ""),
            "label": figure_label(name, figures, system) if name in FIGURE_WORDS else plain(name),
            "unit": unit_text(figure["unit"], system),
            **values,
            **{key: figure[key] for key in ("usual_of", "usual_count", "verdict", "pours_known")},
        })  # fmt: skip
    return rows


def _chart(control: Mapping[str, Any] | None) -> list[Row]:
    if control is None:
        return []
    limits = {name: control[name] for name in ("lower", "centre", "upper")}
    return [{**point, **limits} for point in control["points"]]


def _shown(rows: Sequence[Row], system: System) -> list[Shown]:
    table = pd.DataFrame(list(rows), dtype=object)
    for name in table:
        if name in DATES:
            table[name] = [_date(cell) for cell in table[name]]
        elif all(cell is None or _is_number(cell) for cell in table[name]):
            # A blank column of numbers is one too, so that its header has the unit shown.
            table[name] = table[name].astype(float)
    return [
        replace(column, sentences=column.header in SENTENCES)
        for column in columns(table, None, "xlsx", system)
    ]


def _date(cell: Any) -> date | None:
    return date.fromisoformat(cell[:10]) if isinstance(cell, str) else None


def _is_number(cell: Any) -> bool:
    return isinstance(cell, (int, float)) and not isinstance(cell, bool)


def _meanings(sheet: str, row: Row) -> dict[str, str]:
    """What the columns mean: to the review, else to the measure, else to the log."""
    measured = ["pour_weather", "day_output", "pour_output"]
    if sheet == "days":
        measured.reverse()
    found = {
        column.name: column.meaning
        for table in (TRUCKS, PASSES, CALLBACKS, POURS)
        for column in table.columns
    }
    for measure in measured:
        for column in measures.header(measure).columns:
            found[column.name] = column.meaning + (" (private)" if column.private else "")
    found |= WORDS
    return {name: found.get(f"{sheet}.{name}") or found.get(name, "") for name in row}
