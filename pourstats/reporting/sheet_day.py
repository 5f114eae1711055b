"""The planned day as a sheet to hand out: a row a slab, a row a person. No pay and no cost."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from pourstats.reporting.amounts import in_system
from pourstats.reporting.day import (
    TASKS,
    as_of,
    in_turn,
    loads_apart,
    machine_lines,
    person_lines,
)
from pourstats.reporting.sheet import cut, pages, typeset
from pourstats.reporting.week_sentences import System

SHADES = {"set_up": 225, "clean_up": 225, "place": 150, "finish": 0, "saw": 85, "travel": 255,
          "wait": 255, "return_visit": 225}  # fmt: skip
"""How dark a stretch is drawn, 0 black to 255 white; drives and waits are white with an edge."""


SIZES = 5
"""How many sizes of type the layout has."""


def day_pdf(plan: Mapping[str, Any], system: System = "us") -> bytes:
    """The days of a plan (the dict of ``planning.day.plan``), a sheet each, as one PDF.

    A day of very many slabs and people goes over a page, in small type.
    """
    sheet: dict[str, Any] = {}
    for tight in range(SIZES):
        sheet = day_sheet(plan, system, tight)
        if pages("day", sheet) <= len(sheet["days"]):
            break
    return typeset("day", sheet)


def day_sheet(plan: Mapping[str, Any], system: System = "us", tight: int = 0) -> dict[str, Any]:
    """All that stands on the sheets. ``tight`` 0 to 4: how small the type is."""
    return {
        "tight": tight,
        "paper": "us-letter" if system == "us" else "a4",
        "key": [[TASKS[task], SHADES[task]] for task in ("set_up", "place", "finish", "saw")],
        "days": [_day(day, as_of(day, plan), system) for day in plan["days"]],
    }


def _day(day: Mapping[str, Any], again: str, system: System) -> dict[str, Any]:
    date = datetime.fromisoformat(day["date"])
    names = list(dict.fromkeys(task["worker"] for task in day["tasks"]))
    times = [_h(task[end], date) for task in day["tasks"] for end in ("start", "end")]
    first, last = (int(min(times)), -int(-max(times) // 1)) if times else (6, 18)
    span = max(last - first, 1)
    step = 1 if span <= 12 else 2
    return {
        "title": f"{date:%A} {date:%B} {date.day}, {date.year}{again}",
        "hours": [[(hour - first) / span, str(hour % 24)] for hour in range(first, last + 1, step)],
        "slabs": [_slab(pour) for pour in in_turn(day)],
        "people": [
            {
                "name": cut(name, 16),
                "told": cut(_told(name, day), 900),
                "bars": [
                    [(_h(t["start"], date) - first) / span, (_h(t["end"], date) - first) / span,
                     SHADES[t["task"]]]
                    for t in day["tasks"] if t["worker"] == name
                ],
            }
            for name in names
        ],
        "machines": [cut(line, 260) for line in machine_lines(day)],
        "not_needed": cut(", ".join(day["not_needed"]), 200),
        # Only what is wrong: what would mend it costs money, and is the owner's to decide.
        "too_much": [cut(line, 400) for line in day.get("too_much", [])[:1]],
        "unplanned": [
            cut(f"{o['pour_id']}: {o['reason'].removeprefix(o['pour_id'] + ': ')}", 400)
            for o in day["unplanned"]
        ],
        "watch": [
            cut(f"If {w['if']}: {w['do']} ({w['because']}).", 260) for w in day["what_to_watch"]
        ],
        "cautions": [
            cut(in_system(f"{c['do']} {c['because']} ({c['source']})", system), 400)
            for c in day["cautions"]
        ],
    }  # fmt: skip


def _told(name: str, day: Mapping[str, Any]) -> str:
    line = " ".join(" ".join(person_lines(name, day)).split())
    return line.removeprefix(" ".join(name.split()) + ": ")


def _h(time: str, day: datetime) -> float:
    """Hours since that day's midnight."""
    return (datetime.fromisoformat(time) - day).total_seconds() / 3600.0


def _slab(pour: Mapping[str, Any]) -> list[str]:
    sawn = "" if not pour["saw"] else _range(pour["saw_done"]) if pour["saw_done"] else "next day"
    return [
        cut(" ".join(cut(pour[name], 30) for name in ("pour_id", "site") if pour[name]), 50),
        pour["place_start"][11:16],
        f"{pour['loads']}{loads_apart(pour)}",
        _range(pour["place_end"]),
        _range(pour["first_pass"]),
        _range(pour["last_pass_end"]),
        sawn,
    ]


def _range(spread: Mapping[str, str] | None) -> str:
    if spread is None:
        return ""
    middle, low, high = (spread[name][11:16] for name in ("p50", "p10", "p90"))
    return f"{middle} ({low} to {high})"
