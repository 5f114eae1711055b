"""How another program's file would be read: for people, and for programs."""

from __future__ import annotations

import textwrap
from dataclasses import asdict
from typing import Any

from pourstats.logs.mapping import FileMapping
from pourstats.logs.proposal import Proposal
from pourstats.logs.tables import TABLES
from pourstats.store.mappings import Trial

_WIDTH = 96
_MOST_LEFT_OUT = 12


def map_text(found: Proposal, trial: Trial, asking: bool = False) -> str:
    """The proposal as a small table, and the first rows as they would be read. What is open is
    listed with its options, unless it is asked for next."""
    sheet, table = found.sheet, TABLES[found.mapping.table]
    place = f"{sheet.file}" + (f", sheet {sheet.sheet}" if sheet.sheet else "")
    layout = {"epw": ", an EPW weather year", "tmy3": ", a TMY3 weather year"}.get(sheet.kind, "")
    head = "" if layout else f", header in line {sheet.header_line}"
    rows = f"{trial.read:,} row" + ("" if trial.read == 1 else "s")
    lines = [f"{place}{layout}{head}, {rows}: read as {table.name}, {table.meaning}", ""]
    lines += _aligned(
        ["ours", "from", "unit", "how sure"],
        [[each.ours, _short(each.theirs, 34), each.unit or "", _sure(each.sure, each.because)]
         for each in found.guesses],
    )  # fmt: skip
    lines += _left_out(found.left_out)
    lines += [text for note in found.notes for text in _wrapped(f"note: {note}")]
    if trial.rows:
        lines += ["", "The first rows, as they would be read:"]
        lines += _aligned(
            [_headed(name, found.mapping.table) for name in trial.rows[0]],
            [[_short(text, 30) for text in row.values()] for row in trial.rows],
        )
    lines += _aside(found, trial)
    for warning in trial.warnings[:5]:
        lines += _wrapped(warning)
    if found.questions and not asking:
        lines += ["", "Can't be told from the file:"]
        for question in found.questions:
            lines += _wrapped(f"{question.text}  ({question.option})")
    return "\n".join(lines) + "\n"


def map_json(found: Proposal, trial: Trial, kept: FileMapping | None) -> dict[str, Any]:
    """The proposal for programs."""
    mapping = kept or found.mapping
    return {
        "file": found.sheet.file, "sheet": found.sheet.sheet, "kind": found.sheet.kind,
        "header_line": found.sheet.header_line, "table": mapping.table, "rows": trial.read,
        "columns": [
            {"ours": g.ours, "theirs": g.theirs, "unit": g.unit, "sure": g.sure,
             "because": g.because}
            for g in found.guesses
        ],
        "left_out": found.left_out, "given": mapping.given, "zone": mapping.zone,
        "clock": mapping.clock, "dates": mapping.order, "layout": mapping.layout,
        "questions": [asdict(question) for question in found.questions],
        "first_rows": trial.rows, "would_be_set_aside": len(trial.set_aside),
        "kept": None if kept is None else kept.name,
    }  # fmt: skip


def kept_text(kept: list[FileMapping]) -> str:
    """The kept mappings, a line each."""
    if not kept:
        return "No mapping is kept; `pourstats map FILE` proposes one.\n"
    rows = []
    for each in sorted(kept, key=lambda m: m.name):
        drawn = [f"{ours} from {' + '.join(d.theirs)}" for ours, d in each.columns.items()]
        times = [f"{ours} from {' + '.join(r.values())}" for ours, r in each.moments.items()]
        given = [f"{ours} {value}" for ours, value in each.given.items() if ours != "site"]
        sites = {f"{key} of site {entry['site']}" for key, entry in each.by_file.items()}
        given += sorted(sites) if len(each.by_file) > 1 else [
            f"site {entry['site']}" for entry in each.by_file.values()
        ]  # fmt: skip
        rows.append([each.name, each.table, _short("; ".join([*given, *times, *drawn]), 70)])
    return "\n".join(_aligned(["name", "table", "how"], rows)) + "\n"


def kept_json(kept: list[FileMapping]) -> list[dict[str, Any]]:
    """The kept mappings for programs."""
    return [asdict(each) for each in sorted(kept, key=lambda m: m.name)]


def to_add(found: Proposal, name: str) -> str:
    """What a call needs so that the mapping is kept."""
    options = " ".join(question.option.split(" or, ")[0] for question in found.questions)
    if found.questions:
        return f"nothing is kept yet: `pourstats map {name}` needs {options} and then --yes"
    return f"nothing is kept yet: add --yes to keep it, as `pourstats map {name} --yes`"


def _sure(sure: str, because: str) -> str:
    return f"{'not sure' if sure == 'open' else sure}: {because}"


def _headed(name: str, table: str) -> str:
    unit = TABLES[table].column(name).unit
    return f"{name} [{unit}]" if unit else name


def _aside(found: Proposal, trial: Trial) -> list[str]:
    if not trial.set_aside or any(q.about != "zone" for q in found.questions):
        return []
    count = f"{len(trial.set_aside):,} of {trial.read:,} rows would be set aside"
    return ["", *_wrapped(f"{count}; the first: {trial.set_aside[0]}")]


def _left_out(names: list[str]) -> list[str]:
    if not names:
        return []
    shown = ", ".join(names[:_MOST_LEFT_OUT])
    more = f" and {len(names) - _MOST_LEFT_OUT} more" if len(names) > _MOST_LEFT_OUT else ""
    return _wrapped(f"left out: {shown}{more}")


def _aligned(head: list[str], rows: list[list[str]]) -> list[str]:
    widths = [max(len(row[i]) for row in [head, *rows]) for i in range(len(head))]
    return [
        ("  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)))
        .rstrip()
        for row in [head, *rows]
    ]  # fmt: skip


def _short(text: str, most: int) -> str:
    line = " ".join(text.split())
    return line if len(line) <= most else line[: most - 1] + "…"


def _wrapped(line: str) -> list[str]:
    return textwrap.wrap(
        line, _WIDTH, initial_indent="  ", subsequent_indent="    ", break_long_words=False
    )
