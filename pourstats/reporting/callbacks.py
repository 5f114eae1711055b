"""Callbacks on one page that an owner reads: what has evidence first."""

from __future__ import annotations

import re
from collections.abc import Mapping
from textwrap import wrap
from typing import Any

from pourstats.faults import Refusal
from pourstats.planning.callbacks import round_up
from pourstats.reporting.amounts import in_system
from pourstats.reporting.callbacks_sentences import (
    FEW_FLOORS,
    counted,
    gaps_sentence,
    missing_sentence,
    percent,
    run_sentence,
    still_to_come_sentence,
)
from pourstats.units import System, unit_sign

WIDTH = 92
SHOWN_BY = {
    "slab_type": "slab type",
    "finish": "finish",
    "base": "base",
    "cure": "cure",
    "lead": "lead, by the alphabet",
    "month": "month",
    "evaporation_class": "drying, lb/ft2 an hour",
    "first_pass_timing": "first pass after strike-off, thirds of your own",
    "saw_delay": "saw after strike-off, thirds of your own",
    "mix": "mix",
    "water_added": "water added at the site",
    "truck_age": "age of the oldest load",
    "fault": "whose fault it was",
}
"""What floors can be grouped by, and how that is called."""
ON_PAGE = ("slab_type", "finish", "evaporation_class", "cure", "lead")
"""The groupings on the page; the others with `--by`."""
MOST_GROUPS = 5
MOST_SILENT = 5
MOST_FLOORS = 5
MOST_DEFECTS = 3
FAR = 20.0
"""A cost whose ends lie this many times apart is hardly known."""


def callbacks_text(picture: Mapping[str, Any], system: System = "us") -> str:
    """The picture for a terminal of 80 to 100 columns, or a printed page."""
    if picture["state"] == "no_pours":
        return "No pours yet. Load a log with `pourstats load`, callbacks in callbacks.csv.\n"
    lines = ["FLOORS THAT CAME BACK", ""]
    lines += _paragraph(cost_sentence(picture))
    lines += _paragraph(year_sentence(picture["this_year"]))
    lines += _paragraph(run_sentence(picture["watch"]))
    lines += _paragraph(gaps_sentence(picture["watch"]))
    lines += _paragraph(coming_sentence(picture))
    lines += _advice(picture["advice"])
    lines += _silent(picture["risk"])
    lines += _floors(picture["floors"])
    lines += _defects(picture)
    lines += _groups(picture, system)
    return in_system("\n".join(line.rstrip() for line in lines).rstrip() + "\n", system)


def _named(group: object, by: str, system: System) -> str:
    """A group as it is called; a class of drying with its limits in the units shown."""
    text = str(group).replace("_", " ")
    if by == "evaporation_class":
        text = re.sub(
            r"\d\.\d+", lambda one: in_system(f"{one[0]} lb/ft²/h", system).partition(" ")[0], text
        )
    return text[:24]


def _headed(by: str, system: System) -> str:
    unit = unit_sign("lb/ft2/h", system).removesuffix("/h")
    return SHOWN_BY[by].replace("lb/ft2", unit) if system != "us" else SHOWN_BY[by]


def share_text(row: Mapping[str, Any]) -> str:
    """A share with its count and interval: `6 of 40 floors, 15 % (8 to 27 %)`."""
    span = f"{percent(row['rate_p05'])} to {percent(row['rate_p95'])} %"
    return f"{_counted_share(row)} ({span})"


def _counted_share(row: Mapping[str, Any]) -> str:
    floors = counted(row["pours"], "floor", "floors")
    return f"{row['pours_called_back']} of {floors}, {percent(row['rate'])} %"


def cost_sentence(picture: Mapping[str, Any]) -> str:
    """How many came back, and what that costs a yard."""
    whole, cost = picture["whole"], picture["cost_per_yd3"]
    ages = picture["counts_at_days"]
    if not whole["pours"]:
        return (
            f"No floor is old enough to count: that takes {ages['indoors']:g} days,"
            f" {ages['outdoors']:g} outdoors, so that a winter has passed."
            f" {counted(whole['young_pours'], 'floor is', 'floors are')} younger, with"
            f" {counted(whole['young_callbacks'], 'call', 'calls')} so far."
        )
    said = (
        f"Came back: {_counted_share(whole)} ({percent(whole['rate_p05'])} to"
        f" {percent(whole['rate_p95'])} %: the true share, nine times in ten)."
    )
    if not whole["callbacks"]:
        return (
            f"{said} No call on a floor old enough, so nothing to pay for yet; if there were any,"
            " log them in callbacks.csv."
        )
    if whole["all_in_cost_per_yd3"] is None:
        return (
            f"{said} What that costs a yard can't be told yet."
            f" {missing_sentence(picture['blank_calls'], whole['callbacks'])}"
        )
    span = ""
    if cost:
        few = ": too few calls to say closer" if cost["p95"] > FAR * cost["p05"] else ""
        span = f" ({_money(cost['p05'])} to {_money(cost['p95'])}{few})"
    blank = whole["callbacks_part_blank"]
    missing = missing_sentence(picture["blank_calls"], whole["callbacks"])
    dearest = picture["dearest_call"]
    left = f" {missing}" if missing else ""
    if dearest and dearest["share"] > 0.5 and whole["callbacks"] > 2:
        left = (
            f" {percent(dearest['share'])} % of it is one call, {dearest['callback_id']}"
            f" ({dearest['pour_id']}).{left}"
        )
    least = "at least " if blank else ""
    return (
        f"{said} Coming back costs {least}{_money(whole['all_in_cost_per_yd3'])} a yard"
        f" placed{span}, labor in, on {counted(whole['callbacks'], 'call', 'calls')} and"
        f" {whole['placed_yd3']:,.0f} yards.{left}"
    )


def year_sentence(year: Mapping[str, Any] | None) -> str:
    """Whether this year is worse than luck."""
    if year is None:
        return "Too early to compare one year with another."
    if year["pours"] == 1:
        came = "came" if year["pours_called_back"] else "hasn't come"
        counts = f"The one floor of the last twelve months {came} back so far"
    else:
        counts = (
            f"{year['pours_called_back']} of the {year['pours']} floors of the last twelve months"
            " came back so far"
        )
    if year["verdict"] == "too_early":
        return f"{counts}: too little yet to tell one year from another."
    told = {
        "worse": "This year is worse than luck explains",
        "better": "This year is better than luck explains",
        "no_difference": "This year is no different from earlier ones, beyond luck",
    }[year["verdict"]]
    if year["verdict"] == "no_difference":
        # Nine times in ten is not sure enough to call a year: it is one look of many.
        if year["ratio_p05"] > 1.0:
            told = "This year may be worse, but luck could still explain it"
        elif year["ratio_p95"] is not None and year["ratio_p95"] < 1.0:
            told = "This year may be better, but luck could still explain it"
    if year["before_winter"]:
        counts += f" ({year['before_winter']} outdoors that wait for their first winter left out)"
    expected = f"at the pace of earlier years it would be {year['expected']:.1f}"
    if year["ratio"] is None:
        return f"{told}: {counts}; {expected}."
    top = "" if year["ratio_p95"] is None else f" to {year['ratio_p95']:.1f}"
    return (
        f"{told}: {counts}; {expected} ({year['ratio']:.1f} times the pace;"
        f" nine times in ten {year['ratio_p05']:.1f}{top or ' or more'})."
    )


def coming_sentence(picture: Mapping[str, Any]) -> str:
    """How many are still to come, and when calls come."""
    coming = picture["still_to_come"]
    said = []
    young = counted(coming["pours"], "floor", "floors")
    floors_in_all = picture["whole"]["pours"] + picture["whole"]["young_pours"]
    which = f"How many of the {young}" if coming["pours"] > 1 else "Whether the one floor"
    which += " too young to count will come back can't be told"
    if coming["pours"] and not picture["time_to_call"]["all"]["calls"]:
        said.append(f"{which} before a first call; calls go into callbacks.csv.")
    elif coming["pours"] and floors_in_all < FEW_FLOORS:
        # The last floor at risk would take all the others with it.
        said.append(f"{which} from {counted(floors_in_all, 'floor', 'floors')}.")
    elif coming["pours"]:
        said.append(still_to_come_sentence(coming))
    if coming["outdoors_before_first_winter"]:
        floors = counted(
            coming["outdoors_before_first_winter"],
            "floor outdoors hasn't",
            "floors outdoors haven't",
        )
        said.append(f"{floors} been through a winter yet.")
    for name, time in picture["time_to_call"].items():
        if name != "all" and time["calls"] >= 5:
            said.append(
                f"Half of the calls {name} came within {time['median_days_to_call']:.0f} days"
                f" ({time['calls']} calls)."
            )
    return " ".join(said)


def _advice(advice: list[Mapping[str, Any]]) -> list[str]:
    told = [row for row in advice if row["habit"]]
    several = len(told) > 1
    lines = ["", "THE HABITS TO CHANGE, the surest first" if several else "THE HABIT TO CHANGE"]
    for row in advice:
        lines += wrap(row["do"], WIDTH, initial_indent="  ", subsequent_indent="  ")
        lines += wrap(
            f"{row['because']} [{row['source']}]", WIDTH, initial_indent="    ",
            subsequent_indent="    ",
        )  # fmt: skip
    return lines


def _silent(risk: Mapping[str, Any]) -> list[str]:
    """The looks that the record can't decide, and those that come out empty."""
    rows = [row for row in risk["effects"] if row["state"] == "cant_tell"]
    empty = [row for row in risk["effects"] if row["state"] == "no_sign"]
    if not rows and not empty:
        return []
    looks = risk["correction"]["looks"]
    lines = ["", "WHAT THE RECORD CAN'T TELL YET"]
    if looks:
        lines += wrap(
            f"{counted(looks, 'look', 'looks')} at one record, all floors so far; corrected so"
            " that of the habits told of at most one in twenty is luck (Benjamini and Hochberg).",
            WIDTH, initial_indent="  ", subsequent_indent="  ",
        )  # fmt: skip
    for row in rows[:MOST_SILENT]:
        said = (
            f"{_capital(row['so_words'])}: {row['so_called']} of {row['so']} came back,"
            f" {row['otherwise_words']} {row['not_so_called']} of {row['not_so']}; {_verdict(row)}."
        )
        lines += wrap(said, WIDTH, initial_indent="  ", subsequent_indent="    ")
    if len(rows) > MOST_SILENT:
        lines.append(f"  and {len(rows) - MOST_SILENT} more, with `--json`")
    if empty:
        listed = "; ".join(
            f"{row['so_words']} {row['so_called']} of {row['so']}, {_odds(row)}" for row in empty
        )
        lines += wrap(
            f"No sign so far, twice the odds is unlikely: came back {listed} times the odds.",
            WIDTH, initial_indent="  ", subsequent_indent="    ",
        )  # fmt: skip
    return lines


def _odds(row: Mapping[str, Any]) -> str:
    return f"{row['odds_ratio']:.1f} ({row['p05']:.1f} to {row['p95']:.1f})"


def _verdict(row: Mapping[str, Any]) -> str:
    span = ""
    if row["odds_ratio"] is not None:
        span = f"{row['odds_ratio']:.1f} times the odds ({row['p05']:.1f} to {row['p95']:.1f}); "
    if not row["more_pours"]:
        return f"{span}undecided"
    return f"{span}about {round_up(row['more_pours']):,} more pours would show a doubling"


def _floors(floors: list[Mapping[str, Any]]) -> list[str]:
    marked = [row for row in floors if row["look_at"]]
    if not marked:
        return []
    lines = ["", "FLOORS TO LOOK AT while they are young"]
    for row in marked[:MOST_FLOORS]:
        by = (
            f"{percent(row['chance'])} % ({percent(row['p05'])} to {percent(row['p95'])} %),"
            f" usual {percent(row['usual'])} %"
            if row["look_at"] == "record"
            else "by guidance, not by your record"
        )
        words = "; ".join(
            reason["words"] for reason in row["reasons"]
            if row["look_at"] == "guidance" or reason["by"] == "record"
        )  # fmt: skip
        kind = str(row["slab_type"]).replace("_", " ")
        lines += wrap(
            f"{row['pour_id']}, {kind} of {row['date']}: {by}: {words}",
            WIDTH, initial_indent="  ", subsequent_indent="    ",
        )  # fmt: skip
    if len(marked) > MOST_FLOORS:
        lines.append(f"  and {len(marked) - MOST_FLOORS} more, with `--json`")
    return lines


def _defects(picture: Mapping[str, Any]) -> list[str]:
    defects = picture["defects"]
    if not defects:
        return []
    lines = ["", "WHAT CAME BACK so far, young floors too"]
    for row in defects[:MOST_DEFECTS]:
        lines += wrap(
            f"{row['name']} ({counted(row['pours'], 'floor', 'floors')}): {row['help']}",
            WIDTH, initial_indent="  ", subsequent_indent="    ",
        )  # fmt: skip
    rest = [f"{row['name'].lower()} {row['pours']}" for row in defects[MOST_DEFECTS:]]
    if rest:
        lines += wrap(
            f"Also: {', '.join(rest)}.", WIDTH, initial_indent="  ", subsequent_indent="    "
        )
    return lines


def _groups(picture: Mapping[str, Any], system: System) -> list[str]:
    if picture["state"] != "calls":
        return []
    lines = []
    for name in ON_PAGE:
        told = [row for row in picture["by"][name] if row["pours"] and row["group"] != "unknown"]
        if len(told) < 2:
            continue
        lines.append(f"  {_headed(name, system)}")
        lines += [
            f"    {_named(row['group'], name, system):<24} {share_text(row)}"
            for row in told[:MOST_GROUPS]
        ]
        if len(told) > MOST_GROUPS:
            lines.append(f"    and {len(told) - MOST_GROUPS} more, with `--by {name}`")
    head = ["", "BY GROUP: counts, and where the true share lies nine times in ten; no finding"]
    rest = ", ".join(name for name in SHOWN_BY if name not in ON_PAGE)
    tail = wrap(f"`--by` shows one whole; also by {rest}.", WIDTH, initial_indent="  ",
                subsequent_indent="  ")  # fmt: skip
    return head + lines + tail if lines else []


def grouping(picture: Mapping[str, Any], by: str) -> list[dict[str, Any]]:
    """The rows of one grouping. Raises Refusal naming what there is."""
    name = by.strip().lower().replace(" ", "_").replace("-", "_")
    if name not in SHOWN_BY:
        raise Refusal(f"'{by}' is no grouping of callbacks; take one of {', '.join(SHOWN_BY)}")
    if picture["state"] == "no_pours":
        return []
    found: list[dict[str, Any]] = picture["by"][name]
    return found


def groups_text(picture: Mapping[str, Any], by: str) -> str:
    """Every group of one grouping: counts, shares and rates with their ranges, cost a yard."""
    rows = grouping(picture, by)
    if picture["state"] == "no_pours":
        return callbacks_text(picture)
    name = by.strip().lower().replace(" ", "_").replace("-", "_")
    lines = [f"FLOORS THAT CAME BACK, BY {SHOWN_BY[name].upper()}", ""]
    rated = any("callbacks_per_1000yd3" in row for row in rows)
    head = f"{'':<22}{'back':>5}{'of':>6}  {'share':<18}"
    lines.append(head + (f"{'calls per 1,000 yd3':<24}{'h/yd3':>7} {'$/yd3':>9}" if rated else ""))
    lines += [_group(row, rated) for row in rows]
    young, calls = (picture["whole"][key] for key in ("young_pours", "young_callbacks"))
    ages = picture["counts_at_days"]
    notes = [
        "In brackets: where the true figure lies nine times in ten. Where two overlap the record"
        " can't tell the groups apart; groups differ in much else, so none is a finding.",
        f"Of floors old enough to count, {ages['indoors']:g} days or {ages['outdoors']:g} outdoors."
        + (f" {counted(young, 'younger floor stands', 'younger floors stand')} apart,"
           f" with {counted(calls, 'call', 'calls')} so far." if young else ""),
    ]  # fmt: skip
    if any(row["callbacks"] and row.get("all_in_cost_per_yd3", 0.0) is None for row in rows):
        notes.insert(0, "-: hours, dollars or a wage are blank for these calls.")
    for note in notes:
        lines += ["", *_paragraph(note)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _group(row: Mapping[str, Any], rated: bool) -> str:
    title = str(row["group"]).replace("_", " ")[:21]
    line = f"{title:<22}{row['pours_called_back']:>5}{row['pours']:>6}  "
    if row["rate"] is None:
        return f"{line}none old enough"
    span = f"({percent(row['rate_p05'])} to {percent(row['rate_p95'])})"
    line += f"{percent(row['rate'])} % {span:<13}".ljust(18)
    if not rated or row["callbacks_per_1000yd3"] is None:
        return line
    calls = (
        f"{row['callbacks_per_1000yd3']:.1f} ({row['callbacks_per_1000yd3_p05']:.1f} to"
        f" {row['callbacks_per_1000yd3_p95']:.1f})"
    )
    told = [row["hours_per_yd3"], row["all_in_cost_per_yd3"]]
    hours, usd = ("-" if value is None else f"{value:,.2f}" for value in told)
    return f"{line}{calls:<23} {hours:>7} {usd:>9}"


def _paragraph(text: str) -> list[str]:
    return wrap(text, WIDTH, break_on_hyphens=False) if text else []


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _money(usd: float) -> str:
    return f"${usd:,.0f}" if usd >= 100.0 else f"${usd:,.2f}"
