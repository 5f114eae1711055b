"""A pour's own page: one pour, whole, for the file or for whoever asks. No private column.

Times, loads with tickets, air and drying, passes, saw, cure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from pourstats.logs.tables import CREW_TIME, PASSES, POURS, TRUCKS, Table
from pourstats.reporting.pour import STEPS, without_private
from pourstats.reporting.sheet import cut, typeset
from pourstats.reporting.week_sentences import System
from pourstats.units import to_system, unit_sign

DESCRIBED = (
    "finish", "placement", "base", "reinforcement", "exposure", "wind_felt", "mix", "strength",
    "slump", "concrete_temp", "admixtures", "scm", "ordered_volume", "hands", "finish_hands",
    "lead", "trouble",
)  # fmt: skip
CUT = ("saw_type", "saw_length", "joint_spacing", "joint_depth", "saw_start", "saw_end", "cure",
       "cure_start")  # fmt: skip
LOADS = ("ticket", "volume", "returned", "plant", "batched", "arrived", "pour_start", "pour_end",
         "left", "slump", "concrete_temp", "water_added")  # fmt: skip
PASS = ("pass_no", "tool", "machine", "part", "ready", "held_up", "start", "end")


def pour_pdf(found: Mapping[str, Any], system: System = "us") -> bytes:
    """The page of a pour as :func:`pourstats.reporting.pour.pour_whole` gives it."""
    return typeset("pour", pour_sheet(found, system))


def pour_sheet(found: Mapping[str, Any], system: System = "us") -> dict[str, Any]:
    """All that stands on the page, private columns left out."""
    found = without_private(dict(found))
    pour, output = found["pour"], found["pour_output"] or {}
    day = datetime.fromisoformat(pour["date"][:10])
    size = ", ".join(_cell(POURS, name, pour, system, True) for name in ("area", "thickness"))
    return {
        "paper": "us-letter" if system == "us" else "a4",
        "title": cut(f"Pour {pour['pour_id']}", 60),
        "where": cut(f"{pour['site']}, {day:%A} {day:%B} {day.day}, {day.year}", 90),
        "what": f"{size} {str(pour['slab_type']).replace('_', ' ')}",
        "facts": _facts(POURS, DESCRIBED, pour, system),
        "cut": _facts(POURS, CUT, pour, system),
        "steps": [
            [_moment(at, pour["date"]), words]
            for at, words in sorted((pour[name], words) for name, words in STEPS if pour.get(name))
        ],
        "hours": _hours(output, system),
        "air": _air(found["pour_weather"] or {}, system),
        "loads": _table(TRUCKS, LOADS, found["trucks"], pour["date"], system),
        "waits": _waits(found["truck_times"]),
        "passes": _table(PASSES, PASS, found["passes"], pour["date"], system),
        "gaps": _gaps(found["pass_intervals"]),
        "crew": _crew(found["crew_time"], pour["date"]),
        "calls": [
            cut(f"{call['reported'][:10]}: {call['defect'] or 'not named'}".replace("_", " "), 160)
            for call in found["callbacks"]
        ],
        "notes": cut(pour.get("notes"), 2000),
    }  # fmt: skip


def _moment(value: str, date: str) -> str:
    """``14:05``; after midnight ``00:20 next day``; on other days with the day."""
    at, day = datetime.fromisoformat(value), datetime.fromisoformat(date[:10])
    days = (at.date() - day.date()).days
    if days in (0, 1):
        return f"{at:%H:%M}" + (" next day" if days else "")
    return f"{at:%b} {at.day} {at:%H:%M}"


def _number(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 100 or float(value).is_integer() else f"{value:.3g}"


def _cell(
    table: Table, name: str, row: Mapping[str, Any], system: System, with_unit: bool,
    date: str | None = None,
) -> str:  # fmt: skip
    value, column = row.get(name), table.column(name)
    if value is None:
        return ""
    if column.kind == "time":
        return _moment(str(value), date or str(value))
    if column.kind in ("number", "whole"):
        if not column.unit:
            return _number(value)
        unit = f" {unit_sign(column.unit, system)}" if with_unit else ""
        return _number(to_system(value, column.unit, system)) + unit
    text = str(value)
    if column.kind in ("choice", "choices"):
        text = text.replace("_", " ").replace(";", ", ")
    return cut(text, 60)


def _facts(
    table: Table, names: Sequence[str], row: Mapping[str, Any], system: System
) -> list[list[str]]:
    date = str(row["date"])
    return [
        [table.column(name).english, told]
        for name in names
        if (told := _cell(table, name, row, system, True, date))
    ]


def _table(
    table: Table, names: Sequence[str], rows: Sequence[Mapping[str, Any]], date: str, system: System
) -> dict[str, Any]:
    """Head and rows; columns that no row fills are left out."""
    used = [name for name in names if any(row.get(name) is not None for row in rows)]
    heads = []
    for name in used:
        column = table.column(name)
        unit = f" [{unit_sign(column.unit, system)}]" if column.unit else ""
        heads.append(column.english + unit)
    ordered = sorted(rows, key=lambda row: str(row.get("pour_start") or row.get("start") or "~"))
    return {
        "head": heads,
        "rows": [[_cell(table, n, row, system, False, date) for n in used] for row in ordered],
    }


def _crew(rows: Sequence[Mapping[str, Any]], date: str) -> dict[str, Any]:
    """One row a person: each stretch of time with its task."""
    people: dict[str, list[str]] = {}
    for row in sorted(rows, key=lambda row: str(row["start"])):
        task = str(row["task"]).replace("_", " ")
        on = f" on {str(row['wait_for']).replace('_', ' ')}" if row.get("wait_for") else ""
        span = f"{_moment(row['start'], date)} to {_moment(row['end'], date)}"
        people.setdefault(str(row["worker"]), []).append(f"{task}{on} {span}")
    head = [CREW_TIME.column("worker").english, CREW_TIME.english]
    return {"head": head, "rows": [[cut(who, 24), "; ".join(all_)] for who, all_ in people.items()]}


def _hours(output: Mapping[str, Any], system: System) -> list[str]:
    lines = []
    if output.get("labor_h") is not None:
        lines.append(f"{output['labor_h']:.1f} labor-hours")
    if output.get("placed_yd3") is not None:
        placed = _number(to_system(output["placed_yd3"], "yd3", system))
        over = output.get("overrun_pct")
        against = f", {over:+.0f}% against the plan" if over is not None else ""
        lines.append(f"{placed} {unit_sign('yd3', system)} placed{against}")
    return lines


def _air(weather: Mapping[str, Any], system: System) -> list[list[str]]:
    lines = []
    for name, unit, label in (
        ("air_temp_f", "degF", "Air"),
        ("humidity_pct", "", "Humidity"),
        ("wind_mph", "mph", "Wind"),
        ("evaporation_lb_ft2_h", "lb/ft2/h", "Evaporation, mean"),
        ("evaporation_max_lb_ft2_h", "lb/ft2/h", "Evaporation, most"),
    ):
        value = weather.get(name)
        if value is None:
            continue
        if not unit:
            lines.append([label, f"{value:.0f}%"])
        else:
            digits = 2 if unit == "lb/ft2/h" else 0
            told = f"{to_system(value, unit, system):.{digits}f}"
            lines.append([label, f"{told} {unit_sign(unit, system)}"])
    return lines


def _waits(loads: Sequence[Mapping[str, Any]]) -> str:
    ages = [load["age_min"] for load in loads if load.get("age_min") is not None]
    return f"Oldest concrete when unloaded: {max(ages):.0f} min from batching." if ages else ""


def _gaps(passes: Sequence[Mapping[str, Any]]) -> str:
    first = next((p for p in passes if p.get("since_placed_min") is not None), None)
    return "" if first is None else (
        f"First pass {first['since_placed_min']:.0f} min after strike-off.")  # fmt: skip
