"""The day sheet: a row a person, a row a slab, machines beside; to be handed out at the shop."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from textwrap import wrap
from typing import Any

WIDTH = 78
TASKS = {
    "set_up": "set up", "place": "place", "finish": "finish", "saw": "saw", "clean_up": "clean up",
    "travel": "drive", "wait": "wait", "return_visit": "go back",
}  # fmt: skip
WAITS = {
    "concrete": "for concrete", "set": "until it's ready", "others": "", "weather": "for weather",
}  # fmt: skip
SAWS = {"early_entry": "early entry", "conventional": "wet saw", "handheld": "handheld saw"}


def plan_text(plan: Mapping[str, Any], costs: bool = True) -> str:
    """What `pourstats plan` prints, from the dict that `planning.day.plan` gives.

    Without ``costs`` it is the crew's: no reasons, no second best, and nothing of what it costs.
    """
    if not costs:
        plan = _free_of_costs(plan)
    blocks = ["\n".join(_day(day, plan)) for day in plan["days"]]
    base = (
        f"From {plan['pours']} pours of your own and published values."
        if plan["pours"]
        else "From published values and common practice only."
    )
    tail = wrap(base + " Ranges hold eight days in ten; times are the likely ones.", WIDTH)
    tail += [line for note in plan["notes"] for line in wrap(str(note), WIDTH)]
    tail += wrap(
        "Keep wet concrete off the skin. No engine inside without proven ventilation. Local codes"
        " and the drawings go first.",
        WIDTH,
    )
    return "\n\n".join([*blocks, "\n".join(tail)]) + "\n"


def _free_of_costs(plan: Mapping[str, Any]) -> dict[str, Any]:
    days = [
        {
            **day,
            # Only what is wrong: what would mend it costs money, and is the owner's to decide.
            "too_much": list(day.get("too_much", []))[:1],
            "why": [],
            "runner_up": None,
            "notes": [note for note in day["notes"] if not _PAY.search(note)],
        }
        for day in plan["days"]
    ]
    return {**plan, "days": days, "notes": [n for n in plan["notes"] if not _PAY.search(n)]}


_PAY = re.compile(r"\b(?:pay|paid|unpaid|wages?|USD|dollars?)\b|\$")


def _day(day: Mapping[str, Any], plan: Mapping[str, Any]) -> list[str]:
    date = datetime.fromisoformat(day["date"])
    lines = [f"{date:%A} {date.day} {date:%B %Y}{as_of(day, plan)}", "=" * WIDTH]
    for line in day.get("too_much", []):
        lines += wrap(line, WIDTH, subsequent_indent="    ")
    if day["pours"]:
        sawn = any(pour["saw"] for pour in day["pours"])
        lines.append(done_in_day(day, sawn))
    for out in day["unplanned"]:
        lines += wrap(
            f"NOT PLANNED  {out['pour_id']}: {out['reason'].removeprefix(out['pour_id'] + ': ')}.",
            WIDTH,
            subsequent_indent="    ",
        )
    if not day["pours"]:
        return lines
    lines += ["", "SLABS"]
    for pour in in_turn(day):
        lines += _slab(pour, day)
    lines += ["", "PEOPLE"]
    names = list(dict.fromkeys(task["worker"] for task in day["tasks"]))
    for name in names:
        lines += person_lines(name, day)
    if day["not_needed"]:
        lines.append(f"  Not needed: {', '.join(day['not_needed'])}")
    if day["machines"]:
        lines += ["", "MACHINES"]
        for line in machine_lines(day):
            lines += wrap(line, WIDTH, initial_indent="  ", subsequent_indent="    ")
    if day["what_to_watch"]:
        lines += ["", "WATCH"]
        for line in day["what_to_watch"]:
            lines += wrap(
                f"If {line['if']}: {line['do']} ({line['because']}).", WIDTH,
                initial_indent="  ", subsequent_indent="    ",
            )  # fmt: skip
    lines += ["", "WHY"] if day["why"] else [""] if day["cautions"] else []
    for line in day["why"]:
        lines += wrap(line, WIDTH, initial_indent="  ", subsequent_indent="    ")
    lines += _second(day["runner_up"])
    for caution in day["cautions"]:
        text = f"{caution['do']} {caution['because']} ({caution['source']})"
        lines += wrap(text, WIDTH, initial_indent="  ! ", subsequent_indent="    ")
    for note in day["notes"]:
        if note not in plan["notes"]:
            lines += wrap(note, WIDTH, initial_indent="  ", subsequent_indent="  ")
    return lines


def as_of(day: Mapping[str, Any], plan: Mapping[str, Any]) -> str:
    """What tells a day planned anew from the morning's; empty where it is the morning's."""
    now = plan.get("now")
    return f" — as of {now[11:]}" if now and now[:10] == day["date"] else ""


def in_turn(day: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The day's slabs, the one poured first above."""
    return sorted(day["pours"], key=lambda pour: str(pour["place_start"]))


def machine_lines(day: Mapping[str, Any]) -> list[str]:
    """A line a trowel or saw: on which slab, from when to when, and who has it."""
    lines = []
    for unit in dict.fromkeys(row["machine"] for row in day["machines"]):
        where = ", then ".join(
            f"{row['pour_id']} {_at(row['start'])} to {_at(row['end'])}"
            f" ({' and '.join(row['worker'])})"
            for row in day["machines"]
            if row["machine"] == unit
        )
        lines.append(f"{unit}: {where}")
    return lines


def done_in_day(day: Mapping[str, Any], sawn: bool) -> str:
    """How likely all of a day is done in it, as a sentence."""
    what = f"All placed, finished{' and sawn' if sawn else ''} that day"
    if day["unplanned"]:
        return f"{what}: no, not all slabs are planned."
    chance = float(day["chance_done_in_day"])
    later = [p["pour_id"] for p in day["pours"] if p["saw"] and p["saw_done"] is None]
    if later:
        return f"Not all is sawn that day: {_names(later)} the next morning."
    if chance <= 0.015:
        return f"{what}: hardly ever."
    return f"{what}: {_tens(chance)}."


def loads_apart(pour: Mapping[str, Any]) -> str:
    """How far apart a planned pour's loads are ordered, and whether the last is called late."""
    apart = "" if pour["spacing_min"] is None else f", {pour['spacing_min']:g} min apart"
    return apart + (", the last as balance" if pour["balance"] else "")


def _saw(pour: Mapping[str, Any]) -> str:
    return SAWS.get(pour.get("saw_tool") or pour["saw"], SAWS[pour["saw"]])


def _slab(pour: Mapping[str, Any], day: Mapping[str, Any]) -> list[str]:
    site = f", {pour['site']}" if pour["site"] else ""
    loads = "one load" if pour["loads"] == 1 else f"{pour['loads']} loads{loads_apart(pour)}"
    agreed = " (under way)" if pour.get("begun") else " (agreed)" if pour["agreed"] else ""
    own = day["choice"][pour["pour_id"]]
    lines = [f"  {pour['pour_id']}{site}: first load {_at(pour['place_start'])}{agreed}, {loads}"]

    def row(what: str, spread: Mapping[str, str] | None, more: str = "") -> None:
        if spread is not None:
            lines.append(
                f"    {what:<16}{_at(spread['p50']):>6}   {_at(spread['p10'])} to"
                f" {_at(spread['p90'])}{more}"
            )

    lines.append(f"    {'set up from':<16}{_at(pour['set_up']):>6}   {_names(own['place'])}")
    row("placed", pour["place_end"])
    row("first pass", pour["first_pass"], f"   {_names(own['finish'])}")
    row("last pass off", pour["last_pass_end"])
    if pour["saw"]:
        if pour["saw_done"] is None:
            lines.append(f"    {'sawn':<16}{'next morning':>12}")
        else:
            more = f"   {own['saw']}, {_saw(pour)}, {_tens(pour['chance_sawn_in_day'])}"
            row("sawn", pour["saw_done"], more)
    return lines


def person_lines(name: str, day: Mapping[str, Any]) -> list[str]:
    """A person's day: when to be where and do what, in one wrapped paragraph."""
    parts = []
    for task in day["tasks"]:
        if task["worker"] != name:
            continue
        words = TASKS[task["task"]]
        if task["task"] == "wait":
            words = "break" if task["wait_for"] == "break" else f"wait {WAITS[task['wait_for']]}"
        place = "" if task["task"] in ("travel", "wait") else f" {task['pour_id']}"
        parts.append((_at(task["start"]), words.strip() + place, task))
    parts = [
        (time, f"drive to {_target(name, task, day)}" if task["task"] == "travel" else words, task)
        for time, words, task in parts
    ]
    home = _at(max(t["end"] for t in day["tasks"] if t["worker"] == name))
    line = "; ".join(f"{time} {words}" for time, words, _ in parts)
    return wrap(
        f"{name}: {line}; {home} at the shop",
        WIDTH,
        initial_indent="  ",
        subsequent_indent="      ",
    )


def _target(name: str, task: Mapping[str, Any], day: Mapping[str, Any]) -> str:
    for move in day["moves"]:
        if move["worker"] == name and move["at"] == task["start"]:
            rides = f" with {_names(move['rides_with'])}" if move["rides_with"] else ""
            return f"{move['to']}{rides}"
    return str(task["pour_id"])


def _second(other: Mapping[str, Any] | None) -> list[str]:
    if other is None:
        return []
    text = (
        f"Second best, {other['costs_more_usd']:.0f} dollars more:"
        f" {'; '.join(other['differences'])}. {other['best_if']}."
    )
    return wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")


def _names(names: list[str]) -> str:
    return ", ".join(names)


def _at(time: str) -> str:
    return f"{datetime.fromisoformat(time):%H:%M}"


def _tens(chance: float) -> str:
    """A chance in the owner's words."""
    if chance >= 0.985:
        return "almost sure"
    if chance <= 0.015:
        return "hardly ever"
    return f"{max(1, min(9, round(chance * 10)))} days in 10"
