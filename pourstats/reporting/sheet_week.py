"""The weekly review as a sheet for the wall: what stands on it, as plain data.

PDF and one-file HTML are made from the same data, and these from the review, so they agree.
Nothing here gives pay away: a sheet on the wall is read by everyone.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import log
from typing import Any

from pourstats.reporting.sheet import cut, pages, typeset
from pourstats.reporting.week import without_private
from pourstats.reporting.week_sentences import (
    System,
    call_text,
    count_text,
    day_text,
    figure_label,
    figure_span,
    figure_value,
    floor_word,
    headline_text,
    help_text,
    hours_text,
    par_lines,
    reason_text,
    shown,
    standout_text,
    unit_text,
)
from pourstats.reporting.week_trend import because_text
from pourstats.reporting.week_words import number_text

TILES = (
    "labor_h", "ft2_per_labor_h", "yd3_per_crew_h", "spent_to_bid_pct", "wait_share_pct",
    "starved_min_per_pour", "late_min_per_load", "first_pass_min", "placed_yd3", "callbacks_opened",
    "pours",
)  # fmt: skip
"""Figures for the six places, most wanted first; unknown ones give way to the next."""
SHARES = (
    "place_share_pct", "finish_share_pct", "saw_share_pct", "wait_share_pct", "other_share_pct",
)  # fmt: skip
FLOORS_MOST = (14, 14, 14, 14, 10, 7, 4)
"""How many floors get a line of their own, from the largest type to the smallest."""
VERDICTS = {
    "slow": "over", "far_slow": "far over", "fast": "under", "far_fast": "far under",
}  # fmt: skip
TILE_WORDS = {"late_min_per_load": "trucks late", "wait_share_pct": "hours spent waiting",
              "first_pass_min": "first pass, from strike-off"}  # fmt: skip
"""Where a figure's label is clear only under the heading that it has in the text."""
NOTHING_TOLD = (
    "Can't be scored yet: it takes four logged floors that a bid or the finishing clock told ahead."
)
BIG = {"above": "A slow week", "below": "A fast week", "usual": "An ordinary week"}


def week_pdf(review: Mapping[str, Any], system: System = "us") -> bytes:
    """The weekly review as one page (letter in US units, A4 in metric ones)."""
    sheet: dict[str, Any] = {}
    for tight in range(len(FLOORS_MOST)):
        sheet = week_sheet(review, system, tight)
        if pages("week", sheet) == 1:
            break
    return typeset("week", sheet)


def week_sheet(review: Mapping[str, Any], system: System = "us", tight: int = 0) -> dict[str, Any]:
    """All that stands on the sheet. ``tight`` 0 to 6: how much is left off to fit one page."""
    review = without_private(dict(review))
    start, end = review["week"]["start"], review["week"]["end"]
    title = f"{day_text(start)} to {day_text(end, year=True)}" if start else "No week yet"
    counted = review["state"] not in ("no_pours", "quiet_week")
    return {
        "paper": "us-letter" if system == "us" else "a4",
        "tight": tight,
        "title": f"The week of {title}",
        "big": _big(review),
        "sentence": cut(headline_text(review), 520),
        "trend": _trend(review) if counted else None,
        "changes": [
            {"do": change["do"], "because": because_text(change["why"], system)}
            for change in review["changes"]
        ],
        "tiles": _tiles(review, system) if counted else [],
        "floors": _floors(review, system, FLOORS_MOST[tight]) if counted else None,
        "shares": _shares(review, system) if counted else [],
        "stood_out": _stood_out(
            review,
            system,
            (5, 5, 5, 4, 3, 3, 2)[tight],
            (420, 420, 420, 420, 330, 240, 150)[tight],
        ),
        "par": par_lines(review, system, (5, 5, 5, 4, 3, 2, 1)[tight]),
        "forecasts": [cut(line.get("text"), 220) for line in review["lately"][:3]]
        or ([NOTHING_TOLD] if counted else []),
        "notes": _notes(review),
    }


def _big(review: Mapping[str, Any]) -> str:
    head = review["headline"]
    if review["state"] == "no_pours":
        return "No pours in the log yet"
    if review["state"] == "quiet_week":
        return "No pours this week"
    if head["verdict"] is None:
        return "Too early to tell"
    percent = round(100.0 * (head["ratio"] - 1.0))
    side = "the usual hours" if percent == 0 else (
        f"{abs(percent)}% {'more' if percent > 0 else 'fewer'} hours than usual")  # fmt: skip
    return f"{BIG[head['verdict']]}: {side}"


def _trend(review: Mapping[str, Any]) -> dict[str, Any]:
    told = review["trend"]
    afterwards = review["headline"].get("basis") == "before_and_after"
    chart = None if afterwards else _control(review["control"])
    return {"answer": told["answer"], "sentence": told["sentence"], "chart": chart}


def _control(control: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """The control chart as places in a unit square: ratios on a logarithmic scale, in order."""
    points = [p for p in (control or {}).get("points", []) if p["ratio"] > 0.0]
    if control is None or not points:
        return None
    ratios = [p["ratio"] for p in points]
    top = max(control["upper"], *ratios) * 1.08
    bottom = min(control["lower"], *ratios) / 1.08

    def place(ratio: float) -> float:
        return log(ratio / bottom) / log(top / bottom)

    return {
        "dots": [
            [(i + 0.5) / len(points), place(p["ratio"]), bool(p["in_week"])]
            for i, p in enumerate(points)
        ],
        "upper": place(control["upper"]),
        "lower": place(control["lower"]),
        "usual": place(1.0) if bottom < 1.0 < top else None,
        "upper_text": f"{control['upper']:.2f}",
        "lower_text": f"{control['lower']:.2f}",
        "earlier": sum(not p["in_week"] for p in points),
        "now": sum(p["in_week"] for p in points),
    }


def _tiles(review: Mapping[str, Any], system: System) -> list[dict[str, str]]:
    found: list[dict[str, str]] = []
    for name in TILES:
        figure = review["figures"].get(name)
        if figure is None or figure["value"] is None or len(found) == 6:
            continue
        value = figure_value(name, figure, len(review["pours"]), system)
        value, _, more = value.partition(" (")
        more = more.removesuffix(")")
        if name == "spent_to_bid_pct":
            value, more = more or value, value if more else ""
        usual = figure_span(name, figure, system)
        found.append({
            "label": TILE_WORDS.get(name) or figure_label(name, review["figures"], system),
            "value": value,
            "more": more,
            "usual": f"usual {usual}" if usual else "no usual yet",
            "verdict": figure["verdict"] if figure["verdict"] in ("above", "below") else "",
        })  # fmt: skip
    return found


def _floors(review: Mapping[str, Any], system: System, most: int) -> dict[str, Any] | None:
    known = [pour for pour in review["pours"] if pour["labor_h"] is not None]
    if not known:
        return None
    # Where there are too many, those furthest from their usual hours get the lines.
    by_gap = sorted(known, key=lambda p: -abs(p["labor_h"] - (p["usual_h"] or p["labor_h"])))
    kept = {id(pour) for pour in by_gap[:most]}
    rows = [pour for pour in known if id(pour) in kept]
    top = max(max(p["labor_h"], p["usual_high_h"] or 0.0) for p in rows) * 1.02
    lines = []
    for pour in rows:
        area = number_text(shown(pour["area_ft2"], "ft2", system), 0)
        judged = pour["usual_h"] is not None
        lines.append({
            "day": day_text(pour["date"]),
            "what": f"{area} {unit_text('ft2', system)} {floor_word(pour['slab_type'])}",
            "where": cut(f"{cut(pour['pour_id'], 10)} {cut(pour['site'], 40)}", 32),
            "hours": hours_text(pour["labor_h"]),
            "usual": f"{hours_text(pour['usual_low_h'])} to {hours_text(pour['usual_high_h'])}"
            if judged else "",
            "verdict": VERDICTS.get(pour["verdict"], ""),
            "at": pour["labor_h"] / top,
            "low": pour["usual_low_h"] / top if judged else None,
            "middle": pour["usual_h"] / top if judged else None,
            "high": pour["usual_high_h"] / top if judged else None,
        })  # fmt: skip
    rest = len(known) - len(rows)
    off = sum(p["verdict"] in VERDICTS for p in known if id(p) not in kept)
    more = ""
    if rest:
        outside = f"{off} of them outside" if off else "all inside"
        more = f"and {count_text(rest, 'floor')} nearer to their usual hours, {outside} the range"
    without = len(review["pours"]) - len(known)
    if without:
        more += f"{'; ' if more else ''}{count_text(without, 'floor')} without hours"
    return {"rows": lines, "more": more, "judged": any(p["usual_h"] is not None for p in rows)}


def _shares(review: Mapping[str, Any], system: System) -> list[dict[str, Any]]:
    found = []
    figures = {name: review["figures"].get(name) for name in SHARES}
    known = {name: each for name, each in figures.items() if each and each["value"] is not None}
    top = max((max(each["value"], each["usual_high"] or 0.0) for each in known.values()), default=0)
    whole = max(top, 1.0) * 1.04
    for name, figure in known.items():
        low, high = figure["usual_low"], figure["usual_high"]
        found.append({
            "label": figure_label(name, review["figures"], system),
            "value": figure_value(name, figure, len(review["pours"]), system),
            "usual": figure_span(name, figure, system),
            "at": figure["value"] / whole,
            "low": None if low is None else low / whole,
            "high": None if high is None else high / whole,
            "verdict": figure["verdict"] if figure["verdict"] in ("above", "below") else "",
        })  # fmt: skip
    return found


def _stood_out(
    review: Mapping[str, Any], system: System, most: int, letters: int
) -> list[dict[str, str]]:
    if review["state"] == "quiet_week":
        return [
            {"text": call_text(call), "why": help_text(call), "note": ""}
            for call in review["callbacks"][:most]
        ]
    found = []
    for item in review["stands_out"][:most]:
        mark = (
            "Went well: " if item["kind"] == "went_well" else "" if item["news"] else "Ordinary: "
        )
        why = " ".join(filter(None, (reason_text(item, system), help_text(item))))
        found.append({
            "text": cut(mark + standout_text(item, system), letters),
            "why": cut(why, letters),
            "note": cut(item.get("note"), 120) if item["unusual"] else "",
        })  # fmt: skip
    return found


def _notes(review: Mapping[str, Any]) -> list[str]:
    lines = []
    bids = review.get("bids") or {}
    if bids.get("compared"):
        lines.append(
            f"Bid against spent: {count_text(bids['compared'], 'pour')} with the same scope as the"
            " log's hours."
        )
    if review["unfinished"]:
        named = ", ".join(cut(pour.get("pour_id"), 12) for pour in review["unfinished"][:4])
        more = len(review["unfinished"]) - 4
        lines.append(f"Unfinished, not counted: {named}{f' and {more} more' if more > 0 else ''}.")
    if review["look_at"]:
        told = ". ".join(line["text"] for line in review["look_at"][:3])
        lines.append(cut(f"To look at while young: {told}.", 300))
    rows = review["set_aside"]["rows"]
    if rows:
        lines.append(f"{count_text(rows, 'row')} set aside, waiting to be mended; not counted.")
    lacking = [entry for entry in review["missing"] if entry["pours"] and entry["what"] != "pay"]
    if lacking:
        words = {"hours": "hours", "tasks": "hours by task", "loads": "truck times",
                 "first_pass": "the first pass", "bid": "a bid"}  # fmt: skip
        told = "; ".join(
            f"{words[entry['what']]} ({count_text(len(entry['pours']), 'pour')})"
            for entry in lacking
        )
        lines.append(f"Not in the log: {told}.")
    return lines
