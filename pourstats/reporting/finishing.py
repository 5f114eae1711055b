"""The finishing clock as text: one small timeline a slab, to be read at five in the morning."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime
from textwrap import wrap
from typing import Any

WIDTH = 78
WORTH_A_ROW_MIN = 10.0
"""The end placed last is named from so long after the first."""
SAWS = {"early_entry": "early entry", "conventional": "wet saw"}


def finishing_text(result: Mapping[str, Any]) -> str:
    """What `pourstats finishing` prints, from the dict that `planning.finishing` gives."""
    jobs = result["jobs"]
    notes: dict[str, list[str]] = {}
    for job in jobs:
        for note in job["notes"]:
            notes.setdefault(note, []).append(job["pour_id"])
    # What several slabs share is said once, below them all.
    shared = {note: ids for note, ids in notes.items() if len(ids) > 1}
    blocks = ["\n".join(_job(job, shared)) for job in jobs]
    cautions: dict[tuple[str, ...], list[str]] = {}
    for job in jobs:
        for caution in job["cautions"]:
            key = (caution["do"], caution["because"], caution["source"])
            cautions.setdefault(key, []).append(job["pour_id"])
    mind = []
    for (do, because, source), ids in cautions.items():
        # Said once; named where it doesn't hold for every slab.
        whose = "" if len(ids) == len(jobs) else ", ".join(ids) + ": "
        mind += _mark(f"{whose}{do} {because} ({source})")
    for caution in result["always"]:
        mind += _mark(f"{caution['do']} {caution['because']} ({caution['source']})")
    if mind:
        blocks.append("\n".join(["Mind:", *mind]))
    if result["pours"]:
        own = "one pour" if result["pours"] == 1 else f"{result['pours']} pours"
        base = f"From {own} of your own and published values."
    else:
        base = "From published values only."
    tail = [base + " Ranges hold eight days in ten."]
    said = [
        ("" if len(ids) == len(jobs) else ", ".join(ids) + ": ") + note
        for note, ids in shared.items()
    ]
    tail += [line for note in [*said, *result["notes"]] for line in wrap(str(note), WIDTH)]
    return "\n\n".join([*blocks, "\n".join(tail)]) + "\n"


def _mark(text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent="  ! ", subsequent_indent="    ")


def _job(job: Mapping[str, Any], shared: Collection[str]) -> list[str]:
    start = datetime.fromisoformat(job["place_start"])
    site = f", {job['site']}" if job["site"] else ""
    lines = [f"{job['pour_id']}{site} — {start:%A} {start.day} {start:%B}"]
    day = start.date()

    def at(time: str | None) -> str:
        """A clock time, with the day where it isn't the job's own."""
        if time is None:
            return "?"
        moment = datetime.fromisoformat(time)
        return f"{moment:%H:%M}" if moment.date() == day else f"{moment:%a %H:%M}"

    steps: list[tuple[str, str]] = []

    def row(time: str | None, what: str, more: str = "", below: str = "") -> None:
        text = f"  {at(time):>9}  {what:<18}{more}".rstrip()
        steps.append((time or "~", text + (f"\n{'':>31}{below}" if below else "")))

    def between(spread: Mapping[str, str | None]) -> str:
        return f"{at(spread['p10'])} to {at(spread['p90'])}"

    first = job["first_pass"]
    # What the two printed times make; the middle of the difference can be another, even in sign.
    since = _minutes_between(job["place_end"], first["p50"])
    row(job["place_start"], "first concrete")
    row(job["place_end"], "placed")
    ends, last_end = "", job["last_placed_end"]
    behind = _minutes_between(first["p50"], last_end["p50"]) if last_end else None
    if behind is not None and behind >= WORTH_A_ROW_MIN:
        ends = f"end placed last: {at(last_end['p50'])}, {between(last_end)}"
    row(first["p50"], "first pass", f"{between(first)}, {_length(since)}", ends)
    for step in job["passes"][1:]:
        odds = "" if step["chance"] >= 0.95 else f", {_tens(step['chance'])} that it takes one"
        row(step["start"]["p50"], f"pass {step['pass_no']}", between(step["start"]) + odds)
    row(job["last_pass_end"]["p50"], "last pass off", between(job["last_pass_end"]))
    if job["saw"]:
        opens = f"nine days in ten by {at(job['saw_open_p90'])}, {SAWS[job['saw']]}"
        row(job["saw_open"], "saw opens", opens)
        short = job["saw_close_p10"] <= job["saw_open"]
        safe = "as soon as it opens" if short else f"by {at(job['saw_close_p10'])}"
        row(job["saw_close"], "saw closes", f"to be safe, cut {safe}")
    lines += [text for _, text in sorted(steps, key=lambda pair: pair[0])]
    if datetime.fromisoformat(job["away_until"]) > datetime.fromisoformat(job["place_end"]):
        lines.append(f"  One of you can be away until {at(job['away_until'])}.")
    done = f"  Finished by {at(job['day_end'])}: {_tens(job['chance_finished'])}"
    if job["chance_sawn"] is not None:
        done += f"; sawn too: {_tens(job['chance_sawn'])}"
    lines.append(done + ".")
    dries = job["evaporation_lb_ft2_h"]
    if dries["mean"] is not None:
        most = f", up to {dries['max']:.2f}" if round(dries["max"] - dries["mean"], 2) else ""
        lines.append(
            f"  Drying {dries['mean']:.2f}{most} lb/ft²/h (±40 %); caution from 0.1 lb/ft²/h,"
            " precautions from 0.2 lb/ft²/h."
        )
    found = job["set_h"]
    if found["printed"] is not None and not 50 <= found["at_f"] <= 80:
        lines.append(
            f"  Set of a plain mix at {found['at_f']:.0f} °F: {found['final']:.1f} h by maturity,"
            f" {found['printed']:.1f} h by the trade's table."
        )
    for note in [note for note in job["notes"] if note not in shared]:
        lines += ["  " + line for line in wrap(note, WIDTH - 2)]
    return lines


def _minutes_between(first: str | None, last: str | None) -> float | None:
    if first is None or last is None:
        return None
    span = datetime.fromisoformat(last) - datetime.fromisoformat(first)
    return span.total_seconds() / 60.0


def _length(minutes: float | None) -> str:
    if minutes is None:
        return "length unknown"
    whole, rest = divmod(round(abs(minutes) / 5) * 5, 60)
    if not whole and not rest:
        return "as placing ends"
    text = f"{whole} h {rest:02d}" if whole else f"{rest} min"
    return f"{text} before placing ends" if minutes < 0 else f"{text} after placing"


def _tens(chance: float) -> str:
    """A chance in the owner's words."""
    if chance >= 0.985:
        return "almost sure"
    if chance <= 0.015:
        return "hardly"
    return f"{max(1, min(9, round(chance * 10)))} in 10"
