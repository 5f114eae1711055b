"""The weekly review in an owner's words, for a terminal or a printed page."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import Any

from pourstats.reporting.week_sentences import (
    System,
    call_text,
    count_text,
    day_text,
    earlier_text,
    figure_label,
    figure_span,
    figure_value,
    floor_word,
    headline_text,
    help_text,
    hours_text,
    par_pours,
    reason_text,
    shown,
    standout_text,
    unit_text,
)
from pourstats.reporting.week_trend import because_text
from pourstats.reporting.week_words import (
    FIGURE_ROWS,
    LACK_WORDS,
    MISSING_WORDS,
    number_text,
    plain,
)

WIDTH = 92


def week_text(review: Mapping[str, Any], units: System = "us") -> str:
    """The whole review for a terminal of 80 to 100 columns, or a printed page."""
    week = review["week"]
    lines = []
    if week["start"]:
        lines.append(
            f"THE WEEK OF {day_text(week['start'])} TO {day_text(week['end'], year=True)}".upper()
        )
        lines.append("")
    lines += _block(headline_text(review), "", "")
    if review["state"] not in ("no_pours", "quiet_week"):
        lines += _trend(review["trend"])
        lines += _stood_out(review, units)
        lines += _changes(review["changes"], units)
        lines += _floors(review, units)
        lines += _figures(review, units)
        lines += _pars(review, units)
    elif review["callbacks"]:
        lines += _quiet_calls(review)
    lines += _not_counted(review)
    lines += _notes(review, units)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _block(text: str, first: str, rest: str) -> list[str]:
    """Wrapped lines; what stands in backticks is to be typed and stays in one piece."""
    held = re.sub(r"`[^`]*`", lambda typed: typed[0].replace(" ", "\0"), text)
    lines = wrap(held, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
    return [line.replace("\0", " ") for line in lines]


def _trend(trend: Mapping[str, Any]) -> list[str]:
    return ["", *_block(f"ARE WE GETTING BETTER? {trend['answer']}. {trend['sentence']}", "", "")]


def _changes(changes: Sequence[Mapping[str, Any]], units: System) -> list[str]:
    if not changes:
        return []
    lines = ["", "WHAT TO CHANGE NEXT WEEK"]
    for place, change in enumerate(changes, 1):
        because = because_text(change["why"], units)
        lines += _block(f"{change['do']}: because {because}.", f"  {place}. ", "     ")
    return lines


def _stood_out(review: Mapping[str, Any], units: System) -> list[str]:
    items = review["stands_out"]
    lines = ["", "WHAT STOOD OUT, WORST FIRST"]
    if not items:
        return [*lines, "  Nothing that the log can show yet."]
    calm = [item for item in items if not item["news"]]
    if len(calm) == len(items):
        lines.append("  Nothing out of the ordinary. The nearest to it:")
    for place, item in enumerate(items, 1):
        mark = "Went well: " if item["kind"] == "went_well" else ""
        if not item["news"] and len(calm) < len(items):
            mark = "Ordinary: "
        lines += _block(mark + standout_text(item, units), f"  {place}. ", "     ")
        why = reason_text(item, units)
        if why:
            lines += _block(why, "     ", "     ")
        if item.get("help"):
            lines += _block(help_text(item), "     ", "     ")
        if item.get("note") and item["unusual"]:
            lines += _block(f"Note in the log: {_short(item['note'])}", "     ", "     ")
    return lines


def _short(note: str) -> str:
    flat = " ".join(note.split())
    return flat if len(flat) <= 120 else flat[:117].rstrip() + "..."


def _figures(review: Mapping[str, Any], units: System) -> list[str]:
    figures = review["figures"]
    ofs = {f["usual_of"] for f in figures.values() if f["usual_of"]}
    of = "pours" if ofs == {"pours"} else "weeks"
    title = f"usual, eight {of} in ten" if ofs else ""
    lines = ["", f"{'THE FIGURES':<39}{'this week':<25}{title}".rstrip()]
    for rows in FIGURE_ROWS:
        group = [line for name in rows.figures if (line := _row(name, review, units, len(ofs)))]
        if group:
            lines += [f"  {rows.title}", *group]
    return lines


def _row(name: str, review: Mapping[str, Any], units: System, kinds_of_usual: int) -> str | None:
    figure = review["figures"].get(name)
    if figure is None or figure["value"] is None:
        return None
    label = figure_label(name, review["figures"], units)
    value = figure_value(name, figure, len(review["pours"]), units)
    usual = figure_span(name, figure, units)
    if usual:
        if figure["usual_of"] == "pours" and kinds_of_usual > 1:
            usual += ", of pours"
        if figure["verdict"] in ("above", "below"):
            usual += f"  <- {figure['verdict']}"
    return f"    {label:<35}{value:<25}{usual}"


def _floors(review: Mapping[str, Any], units: System) -> list[str]:
    pours = review["pours"]
    judged = any(pour["usual_h"] is not None for pour in pours)
    head = f"{'FLOOR BY FLOOR':<26}{'site':<15}{'floor':<21}{'hours':>6}"
    lines = ["", head + ("  usual (8 in 10)" if judged else "")]
    for pour in pours:
        area = shown(pour["area_ft2"], "ft2", units)
        floor = f"{number_text(area, 0)} {unit_text('ft2', units)} {floor_word(pour['slab_type'])}"
        hours = "-" if pour["labor_h"] is None else hours_text(pour["labor_h"])
        line = (
            f"  {day_text(pour['date']):<12}{_cut(pour['pour_id'], 11):<12}"
            f"{_cut(pour['site'], 14):<15}{_cut(floor, 20):<21}{hours:>6}"
        )
        if pour["usual_h"] is not None:
            line += (
                f"  {hours_text(pour['usual_h'])} ({hours_text(pour['usual_low_h'])} to "
                f"{hours_text(pour['usual_high_h'])})"
            )
            line += _VERDICT_MARKS.get(pour["verdict"], "")
        lines.append(line)
    control = review["control"]
    if control:
        text = (
            f"By ordinary ups and downs this crew takes {control['lower']:.2f} to "
            f"{control['upper']:.2f} times the usual hours of a floor (the last "
            f"{control['pours']} pours); far over or far under means beyond that, with a cause "
            "worth finding."
        )
        lines += _block(text, "  ", "  ")
    return lines


_VERDICT_MARKS = {
    "slow": "  over", "far_slow": "  far over", "fast": "  under", "far_fast": "  far under",
}  # fmt: skip


def _cut(text: object, width: int) -> str:
    told = "" if text is None else str(text)
    return told if len(told) <= width else told[: width - 1] + "~"


def _pars(review: Mapping[str, Any], units: System) -> list[str]:
    lines = []
    for par in review["par"]:
        if par["par_h"] is None:
            continue
        area, label = unit_text("ft2", units), floor_word(par["slab_type"])
        low = number_text(shown(par["from_ft2"], "ft2", units), 0)
        if par["from_ft2"] == 0.0:
            size = f"under {number_text(shown(par['to_ft2'], 'ft2', units), 0)} {area}"
        elif par["to_ft2"] is None:
            size = f"over {low} {area}"
        else:
            size = f"of {low} to {number_text(shown(par['to_ft2'], 'ft2', units), 0)} {area}"
        rate = shown(1.0 / par["hours_per_ft2"], "ft2", units)
        lines += _block(
            f"{label.capitalize()} {size}: {number_text(rate)} {area} a labor-hour, by which "
            f"this week's "
            f"{count_text(len(par['pour_ids']), 'floor')} would take {hours_text(par['par_h'])} h; "
            f"spent {hours_text(par['labor_h'])}. Of {par_pours(par, review)} "
            f"{par['disrupted_pours'] or 'none'} took over twice par.",
            "  ", "    ",
        )  # fmt: skip
    return ["", "PAR, WHAT THIS CREW DOES WHEN IT GETS MOST DONE", *lines] if lines else []


def _quiet_calls(review: Mapping[str, Any]) -> list[str]:
    lines = ["", "CALLBACKS"]
    for call in review["callbacks"]:
        lines += _block(call_text(call), "  ", "    ")
        if call["help"]:
            lines += _block(help_text(call), "    ", "    ")
    return lines


def _not_counted(review: Mapping[str, Any]) -> list[str]:
    lines: list[str] = []
    for pour in review["unfinished"]:
        site = f" at {pour['site']}" if pour.get("site") else ""
        tail = (
            f"; last tap {day_text(last)} {last[11:16]}" if (last := pour.get("last_tap")) else ""
        )
        lacks = pour.get("missing") or []
        still = f"; still missing {', '.join(plain(str(what)) for what in lacks)}" if lacks else ""
        lines += _block(f"{pour.get('pour_id')}{site} is unfinished{tail}{still}.", "  ", "    ")
    aside = review["set_aside"]
    if aside["rows"]:
        lines += _block(
            f"{count_text(aside['rows'], 'row')} set aside, waiting to be mended "
            "(`pourstats table set_aside` shows all):", "  ", "  ",
        )  # fmt: skip
        for entry in aside["first"]:
            place = ", ".join(
                str(part)
                for part in (
                    entry.get("file"),
                    entry.get("sheet"),
                    f"line {entry['line']}" if entry.get("line") is not None else None,
                    entry.get("column"),
                )
                if part
            )
            lines += _block(f"{place}: {entry.get('reason') or 'no reason kept'}", "    ", "      ")
    return ["", "NOT COUNTED ABOVE", *lines] if lines else []


def _notes(review: Mapping[str, Any], units: System) -> list[str]:
    lines: list[str] = []
    for entry in review["lately"]:
        lines += _block(str(entry.get("text", "")), "  ", "    ")
    found = ["", "HOW WELL IT WAS TOLD AHEAD", *lines] if lines else []
    if review["look_at"]:
        found += ["", "FLOORS TO LOOK AT while they are young (`pourstats callbacks`)"]
        for entry in review["look_at"]:
            found += _block(f"{entry['text']}.", "  ", "    ")
    lines = [
        text
        for told in (
            _too_early(review["cannot_tell"]),
            _bids_apart(review.get("bids") or {}),
            *(_assumption(rule, units) for rule in review["assumed"]),
            _later_pours(review["headline"]),
            *_lacks(review["missing"], len(review["pours"])),
        )
        if told
        for text in _block(told, "  ", "    ")
    ]
    return [*found, "", "GOOD TO KNOW", *lines] if lines else found


def _too_early(entries: Sequence[Mapping[str, Any]]) -> str | None:
    told = []
    for entry in entries:
        if entry["what"] == "usual_hours":
            told.append("whether these hours are usual, fast or slow")
        elif entry["what"] == "natural_limits":
            told.append("how much ups and downs are ordinary, and par")
        else:
            told.append("what is usual for the other figures")
    if not told:
        return None
    pours = entries[0]["pours"]
    return (
        f"Too early to tell: {'; '.join(told)}. The log has {earlier_text(pours)}; ten, or eight "
        "earlier weeks, make a usual range."
    )


def _bids_apart(bids: Mapping[str, Any]) -> str | None:
    alike: dict[str, list[str]] = {}
    for entry in bids.get("not_compared", ()):
        alike.setdefault(entry["why"], []).append(entry["pour_id"])
    told = [f"{', '.join(ids)}: {why}" for why, ids in alike.items()]
    if bids.get("compared"):
        told.insert(
            0,
            f"bid against spent counts {count_text(bids['compared'], 'pour')} with the same scope "
            "as the log's hours",
        )
    return "Bids: " + "; ".join(told) + "." if told else None


def _assumption(rule: Mapping[str, Any], units: System) -> str | None:
    if rule["name"] == "free_min_per_yd3":
        per = rule["value"] if units == "us" else rule["value"] / (shown(1.0, "yd3", units) or 1.0)
        return (
            f"Free truck time: {number_text(per)} min a {unit_text('yd3_one', units)}, assumed, "
            "check your supplier (`pourstats settings free_min_per_yd3 N`)."
        )
    return (
        f"Taxes and insurance on top of pay: {100 * rule['value']:.0f}%, assumed "
        "(`pourstats settings burden N`)."
    )


def _later_pours(head: Mapping[str, Any]) -> str | None:
    if head.get("basis") != "before_and_after" or head.get("verdict") is None:
        return None
    return (
        "Before this week the log has fewer than ten pours, so what is usual comes from the pours "
        "after it too."
    )


def _lacks(entries: Sequence[Mapping[str, Any]], pours: int) -> list[str]:
    """What the log lacks, and for which pours."""
    whole = [MISSING_WORDS[entry["what"]] + "." for entry in entries if not entry["pours"]]
    parts = [
        f"{LACK_WORDS[entry['what']]} ({_named(entry['pours'], pours)})"
        for entry in entries
        if entry["pours"]
    ]
    return whole + (["Not in the log: " + "; ".join(parts) + "."] if parts else [])


def _named(ids: Sequence[str], pours: int) -> str:
    if len(ids) == pours > 1:
        return f"all {pours} pours"
    return ", ".join(ids[:5]) + (f" and {len(ids) - 5} more" if len(ids) > 5 else "")
