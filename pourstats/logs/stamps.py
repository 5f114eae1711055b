"""Taps during a pour → rows of pours, trucks, passes and crew time.

A tap has an event, a time and a subject. The subject is what it is about, and may carry more:
``load-2;volume=9.5;ticket=48113``, ``1;tool=pan;footprint=1/8``, ``area=1200`` (event describe).
A value's own ``;``, ``=`` and ``%`` are written ``%3B``, ``%3D`` and ``%25``.
A pour stays open until somebody tapped that the crew is gone and all that a pour needs is known.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from pourstats.logs.tables import JOBS, PASSES, POURS, TRUCKS

Row = dict[str, str]

POUR_TIMES = {
    "hands": "crew_in", "first_concrete": "place_start", "strike_off_done": "place_end",
    "bull_float_done": "bull_float_end", "machine_on": "machine_on",
    "last_pass_off": "passes_done", "saw_on": "saw_start", "saw_done": "saw_end",
    "gone": "crew_out",
}  # fmt: skip
LOAD_TIMES = {
    "load_in": "arrived", "load_unloading": "pour_start", "load_empty": "pour_end",
    "load_off": "left",
}  # fmt: skip
PASS_TIMES = {"pass_on": "start", "pass_off": "end", "was_ready": "ready"}
FROM_JOB = tuple(
    name for name in POURS.names
    if name in JOBS.names and name not in ("pour_id", "place_start", "hands", "finish_hands")
)  # fmt: skip
PLANNED = "planned"
"""Begins a description that a device took from the job it was given: a stored job, which may have
been corrected since, goes before it."""


@dataclass
class Derived:
    """What one pour's taps give: rows by table, as text in house units, and what is still missing.

    ``waiting`` names rows that wait for something typed later, as a load for its volume.
    """

    rows: dict[str, list[Row]] = field(default_factory=dict)
    missing: list[str] = field(default_factory=list)
    waiting: list[str] = field(default_factory=list)

    @property
    def whole(self) -> bool:
        """Whether the pour can be stored."""
        return not self.missing


def derived(
    pour_id: str, taps: Iterable[Mapping[str, Any]], job: Mapping[str, Any] | None
) -> Derived:
    """The rows that a pour's taps give.

    ``taps``: event, subject, at (datetime) and undone of each, any order; of several taps of one
    event and subject the last counts. ``job``: the planned job's row in house units, or None.
    """
    standing = sorted(
        (tap for tap in taps if tap.get("undone") != "yes" and tap.get("at") is not None),
        key=lambda tap: tap["at"],
    )
    found = Derived()
    pour = _pour(pour_id, standing, job)
    found.missing = [name for name in POURS.required if not pour.get(name)]
    if not any(tap["event"] == "gone" for tap in standing):
        found.missing.append("gone")
    found.rows["pours"] = [pour]
    loads = _numbered(standing, LOAD_TIMES, "load")
    for label, load in loads.items():
        row = {"pour_id": pour_id, "ticket": load.pop("ticket", label), **load}
        if row.get("volume"):
            found.rows.setdefault("trucks", []).append(_known(row, TRUCKS.names))
        else:
            found.waiting.append(f"{row['ticket']} waits for its volume")
    for label, each in _numbered(standing, PASS_TIMES, "pass").items():
        row = {"pour_id": pour_id, "pass_no": label.removeprefix("pass-"), **each}
        if row.get("start"):
            found.rows.setdefault("passes", []).append(_known(row, PASSES.names))
        else:
            found.waiting.append(f"pass {row['pass_no']} waits for its start")
    people = {tap["subject"] for tap in standing if tap["event"] == "arrives" and tap["subject"]}
    if len(people) >= _count(pour.get("hands")):
        # Of a crew of which only some tapped, the head count tells the hours better.
        found.rows["crew_time"] = _crew_time(pour_id, standing)
    return found


def _count(text: str | None) -> float:
    """A head count as tapped; what is no number counts nobody, and its row is set aside later."""
    try:
        return float(text or 0)
    except ValueError:
        return 0.0


def _pour(pour_id: str, taps: list[Mapping[str, Any]], job: Mapping[str, Any] | None) -> Row:
    pour: Row = {"pour_id": pour_id}
    for tap in taps:
        if _planned(tap):
            pour |= {k: v for k, v in _pairs(tap["subject"]).items() if k in FROM_JOB}
    for name in FROM_JOB:
        value = (job or {}).get(name)
        if value is not None and value == value:
            pour[name] = str(value)
    # A job slips a day or a week: the pour's day is the one that it was tapped on.
    begun = next((tap["at"] for tap in taps if tap["event"] != "describe"), None)
    if begun is None and "date" not in pour:
        begun = taps[0]["at"] if taps else None
    if begun is not None:
        pour["date"] = begun.date().isoformat()
    for tap in taps:
        event, subject = tap["event"], (tap.get("subject") or "").strip()
        if event in POUR_TIMES:
            pour[POUR_TIMES[event]] = _text(tap["at"])
            if event == "hands" and subject:
                pour["hands"] = subject
        elif event == "describe" and not _planned(tap):
            pour |= _pairs(subject)
    if "hands" in pour and not any(tap["event"] == "hands" for tap in taps):
        pour.pop("crew_in", None)
    return _known(pour, POURS.names)


def _numbered(taps: list[Mapping[str, Any]], times: Mapping[str, str], word: str) -> dict[str, Row]:
    """label → row of loads or passes."""
    rows: dict[str, Row] = {}
    for label, tap, rest in _by_label(taps, times, word):
        row = rows.setdefault(label, {})
        row[times[tap["event"]]] = _text(tap["at"])
        row |= _pairs(rest)
    return rows


def _by_label(
    taps: list[Mapping[str, Any]], times: Mapping[str, str], word: str
) -> list[tuple[str, Mapping[str, Any], str]]:
    """Each tap with its label and what else it says; taps without a label go to the first load or
    pass that still lacks that time."""
    seen: dict[str, set[str]] = {}
    found = []
    for tap in taps:
        column = times.get(tap["event"])
        if column is None:
            continue
        label, _, rest = (tap.get("subject") or "").partition(";")
        if "=" in label:
            label, rest = "", tap["subject"]
        label = label.strip()
        if not label:
            label = next((name for name, had in seen.items() if column not in had), "")
            label = label or f"{word}-{len(seen) + 1}"
        elif label.isdigit():
            label = f"{word}-{label}"
        seen.setdefault(label, set()).update((column, *_pairs(rest)))
        found.append((label, tap, rest))
    return found


def _crew_time(pour_id: str, taps: list[Mapping[str, Any]]) -> list[Row]:
    """A worker sets up until the first concrete, then places until he goes to finish or the slab
    is struck off, then finishes until he leaves."""
    at = {tap["event"]: tap["at"] for tap in taps}
    first, struck, gone = (at.get(e) for e in ("first_concrete", "strike_off_done", "gone"))
    rows: list[Row] = []
    people: dict[str, dict[str, dt.datetime]] = {}
    for tap in taps:
        if tap["event"] in ("arrives", "leaves", "to_finish") and tap.get("subject"):
            people.setdefault(tap["subject"].strip(), {})[tap["event"]] = tap["at"]
    for worker, own in people.items():
        begins, ends = own.get("arrives"), own.get("leaves") or gone
        if begins is None or ends is None or ends <= begins:
            continue
        placing = min(max(first or begins, begins), ends)
        finishing = own.get("to_finish") or struck or ends
        finishing = min(max(finishing, placing), ends)
        for task, start, end in (
            ("set_up", begins, placing), ("place", placing, finishing), ("finish", finishing, ends),
        ):  # fmt: skip
            if end > start:
                rows.append({"pour_id": pour_id, "worker": worker, "task": task,
                             "start": _text(start), "end": _text(end)})  # fmt: skip
    return rows


def _planned(tap: Mapping[str, Any]) -> bool:
    return tap["event"] == "describe" and (tap.get("subject") or "").startswith(f"{PLANNED};")


def _pairs(text: str) -> Row:
    pairs = (part.partition("=") for part in text.split(";") if "=" in part)
    return {name.strip(): _unescaped(value.strip()) for name, _, value in pairs}


def labelled(taps: Iterable[Mapping[str, Any]]) -> tuple[dict[str, Row], dict[str, Row]]:
    """Loads and passes as tapped, by label in time order, whole or not: of a load without a number
    ``ticket`` is missing, of one not yet typed in ``volume``."""
    standing = _standing(taps)
    loads, passes = (
        _numbered(standing, times, word)
        for times, word in ((LOAD_TIMES, "load"), (PASS_TIMES, "pass"))
    )
    return loads, passes


def of_label(taps: Iterable[Mapping[str, Any]], label: str) -> list[Mapping[str, Any]]:
    """The standing taps of the load or pass with that label (as :func:`labelled` has it)."""
    standing = _standing(taps)
    return [
        tap
        for times, word in ((LOAD_TIMES, "load"), (PASS_TIMES, "pass"))
        for name, tap, _ in _by_label(standing, times, word)
        if name == label
    ]


def _standing(taps: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    return sorted(
        (tap for tap in taps if tap.get("undone") != "yes" and tap.get("at") is not None),
        key=lambda tap: tap["at"],
    )


def described(subject: str) -> Row:
    """What a description says: values by column, as they were before :func:`escaped`."""
    return _pairs(subject)


def escaped(value: str) -> str:
    """A value as a subject carries it."""
    return value.replace("%", "%25").replace(";", "%3B").replace("=", "%3D")


def _unescaped(value: str) -> str:
    return value.replace("%3B", ";").replace("%3D", "=").replace("%25", "%")


def _known(row: Row, names: tuple[str, ...]) -> Row:
    return {name: value for name, value in row.items() if name in names and value}


def _text(moment: dt.datetime) -> str:
    return moment.isoformat(sep=" ", timespec="seconds")
