"""The weekly review in an owner's words, for a terminal or a printed page.

Every sentence is made from the review's own numbers, so that text, page and sheet agree.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from textwrap import wrap
from typing import Any, Literal

from pourstats.reporting.week_words import (
    FIGURE_ROWS,
    MISSING_WORDS,
    REASON_WORDS,
    TASK_WORDS,
    UNIT_WORDS,
    plain,
)

System = Literal["us", "metric"]
WIDTH = 92


# ---------------------------------------------------------------------------------------------
# Numbers and dates as an owner writes them.


def day_text(iso: str | None, year: bool = False) -> str:
    """``2031-06-03`` as ``Tue Jun 3``; with the year if wanted."""
    if not iso:
        return "unknown day"
    when = date.fromisoformat(iso[:10])
    return f"{when:%a %b} {when.day}" + (f", {when.year}" if year else "")


def number_text(value: float | None, digits: int | None = None) -> str:
    """Three figures at most, thousands with a comma; unknown is a dash."""
    if value is None:
        return "-"
    if digits is None:
        size = abs(value)
        digits = 0 if size >= 20 or abs(size - round(size)) < 1e-9 else 1 if size >= 2 else 2
    return f"{value:,.{digits}f}"


def minutes_text(minutes: float | None) -> str:
    """``45 min``, ``2 h 05 min``."""
    if minutes is None:
        return "-"
    whole = round(minutes)
    if abs(whole) < 90:
        return f"{whole} min"
    sign = "-" if whole < 0 else ""
    return f"{sign}{abs(whole) // 60} h {abs(whole) % 60:02d} min"


def shown(value: float | None, unit: str, system: System) -> float | None:
    """A value in a house unit, in the unit that is to be shown."""
    if value is None or system == "us" or unit not in UNIT_WORDS["metric"]:
        return value
    from pourstats import units

    return float(units.to_system(value, unit, system))


def unit_text(unit: str, system: System) -> str:
    """The unit's name on the page."""
    return UNIT_WORDS[system].get(unit, UNIT_WORDS["us"].get(unit, unit))


def _count(number: int, one: str, many: str | None = None) -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


def _hours(value: float) -> str:
    return f"{value:,.0f}" if value >= 10 else f"{value:,.1f}"


# ---------------------------------------------------------------------------------------------
# Sentences.


def headline_text(review: Mapping[str, Any]) -> str:
    """The week in one or two sentences: hours spent against what such floors usually take."""
    head, week = review["headline"], review["week"]
    if review["state"] == "no_pours":
        return (
            "No pours in the log yet. Load a folder of logs with `pourstats load FOLDER`; "
            "`pourstats template DIR` makes blank ones. The least that a pour needs: date, site, "
            "slab type, area, thickness, hands, and when placing and finishing began and ended."
        )
    if review["state"] == "quiet_week":
        return (
            f"No pours from {day_text(week['start'])} to {day_text(week['end'], year=True)}. "
            f"The latest in the log is of {day_text(week['latest_pour'], year=True)}."
        )
    floors = _count(head["pours_with_hours"], "floor")
    if head["spent_h"] is None:
        return (
            f"{_count(head['pours'], 'pour')}, but no hours: log hands, crew in and gone "
            "(or each person's times), and the week can be judged."
        )
    part = ""
    if head["pours_with_hours"] < head["pours"]:
        part = f" (hours are known for {head['pours_with_hours']} of {head['pours']} pours)"
    spent = f"{_hours(head['spent_h'])} labor-hours went into {floors}{part}"
    if head["verdict"] is None:
        earlier = _count(head["earlier_pours"], "earlier pour")
        return (
            f"{spent}. Whether that is usual can't be told yet: the log has {earlier} to judge "
            "by, and it takes five for a rough answer, ten for a good one."
        )
    return f"{spent}; such floors usually take {_hours(head['usual_h'])}: {_verdict(head)}"


def _verdict(head: Mapping[str, Any]) -> str:
    change = round(100.0 * (head["ratio"] - 1.0))
    much = (
        "just the usual"
        if change == 0
        else f"{abs(change)}% {'more' if change > 0 else 'less'} than usual"
    )
    low, high = _hours(head["usual_low_h"]), _hours(head["usual_high_h"])
    ends = f"eight times in ten such a week takes {low} to {high}"
    if head["verdict"] == "usual":
        end = f"{much}, an ordinary week ({ends})."
        if head["far_out"]:
            end += f" But one floor was far out: {', '.join(head['far_out'])}."
            if len(head["far_out"]) > 1:
                end = end.replace("one floor was", "these were")
    elif head["verdict"] == "above":
        end = f"{much}, a slow week ({ends})."
    else:
        end = f"{much}, a fast week ({ends})."
    if head["earlier_pours"] < 10:
        end += f" Rough: only {head['earlier_pours']} earlier pours to judge by."
    return end


def standout_text(item: Mapping[str, Any], system: System = "us") -> str:
    """What one thing that stood out was, and its evidence."""
    where = f"{plain(item['slab_type'] or 'floor')} at {item['site'] or 'an unknown site'}"
    if item["kind"] == "callback":
        fact = item["evidence"][0]
        poured = f", poured {day_text(fact['poured'])}" if fact["poured"] else ""
        spent = f", {_hours(fact['hours'])} hours spent on it" if fact["hours"] else ""
        defect = plain(fact["defect"] or "defect not named")
        return (
            f"{day_text(item['date'])}: called back to the {where} ({item['pour_id']}{poured}) "
            f"for {defect}{spent}."
        )
    lead = f"{day_text(item['date'])}, {where} ({item['pour_id']}): "
    parts = [text for fact in item["evidence"] if (text := _fact_text(fact, system))]
    if not parts:
        parts = ["hours not logged"]
    return lead + "; ".join(parts) + "."


def _fact_text(fact: Mapping[str, Any], system: System) -> str:
    value, usual, high = fact["value"], fact.get("usual_middle"), fact.get("usual_high")
    measure = fact["measure"]
    most = f" (mostly up to {minutes_text(high)})" if high is not None else ""
    if measure == "labor_h":
        if usual is None:
            return f"{_hours(value)} labor-hours"
        over = round(value) - round(usual) if value >= 10 and usual >= 10 else value - usual
        side = "over" if over > 0 else "under"
        gap = f", {number_text(abs(over))} {side}" if abs(over) >= 0.5 else ""
        return (
            f"{_hours(value)} labor-hours{gap}; such floors usually take {_hours(usual)} "
            f"({_hours(fact['usual_low'])} to {_hours(high or 0)} eight times in ten)"
        )
    if measure in TASK_WORDS:
        return (
            f"most of it in {TASK_WORDS[measure]}: {_hours(value)} h, usually {_hours(usual or 0)}"
        )
    if measure == "starved_min":
        return f"stood {minutes_text(value)} without concrete between trucks{most}"
    if measure == "late_min":
        return f"trucks {minutes_text(value)} late in all{most}"
    if measure == "over_min":
        return f"trucks held {minutes_text(value)} over their free time{most}"
    if measure == "on_late_min":
        return f"got on it {minutes_text(value)} after it was ready"
    if measure == "first_pass_min":
        return f"first pass {minutes_text(value)} after strike-off{most}"
    if measure == "passes":
        return f"{value:.0f} passes, usually {number_text(usual)}"
    if measure == "overrun_pct":
        return f"took {value:.0f}% more concrete than the plan"
    if measure == "over_bid_h":
        return f"{_hours(value)} h over the {_hours(fact['bid_h'])} h that were bid"
    if measure == "oldest_min":
        return f"oldest concrete {minutes_text(value)}, limit {minutes_text(fact['limit_min'])}"
    if measure == "evaporation_max_lb_ft2_h":
        rate = shown(value, "lb/ft2/h", system) or 0.0
        return (
            f"drying up to {rate:.2f} {unit_text('lb/ft2/h', system)}: cracks threaten from "
            f"{shown(0.2, 'lb/ft2/h', system):.1f} on, cover or fog early"
        )
    return f"{plain(measure)} {number_text(value)}"


def reason_text(item: Mapping[str, Any], system: System = "us") -> str | None:
    """Why: the log's own word, or what is likely and called so; None where there is none to give."""
    reason = item["reason"]
    if reason["source"] == "log":
        told = ", ".join(REASON_WORDS.get(word, plain(word)) for word in reason["words"])
        return f"The log says: {told}."
    if reason["source"] == "likely":
        word = reason["words"][0]
        text = REASON_WORDS[word]
        if word in ("cold_set", "heat") and reason["value"] is not None:
            air = shown(reason["value"], "degF", system)
            text += f" ({air:.0f} {unit_text('degF', system)})"
        return f"Likely: {text} (about {_hours(reason['hours'])} h of it)."
    if item["kind"] == "floor" and (item["over_h"] or 0) > 0 and item["unusual"]:
        return "The log gives no reason."
    return None


# ---------------------------------------------------------------------------------------------
# The page.


def week_text(review: Mapping[str, Any], units: System = "us") -> str:
    """The whole review for a terminal of 80 to 100 columns, or a printed page."""
    week = review["week"]
    lines = []
    if week["start"]:
        lines.append(
            f"THE WEEK OF {day_text(week['start'])} TO {day_text(week['end'], year=True)}".upper()
        )
        lines.append("")
    lines += wrap(headline_text(review), WIDTH)
    if review["state"] not in ("no_pours", "quiet_week"):
        lines += _stood_out(review, units)
        lines += _figures(review, units)
        lines += _floors(review, units)
        lines += _pars(review, units)
    elif review["callbacks"]:
        lines += _quiet_calls(review)
    lines += _not_counted(review)
    lines += _notes(review, units)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _block(text: str, first: str, rest: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest)


def _stood_out(review: Mapping[str, Any], units: System) -> list[str]:
    items = review["stands_out"]
    lines = ["", "WHAT STOOD OUT, WORST FIRST"]
    if not items:
        return [*lines, "  Nothing that the log can show yet."]
    calm = [item for item in items if not item["unusual"]]
    if len(calm) == len(items):
        lines.append("  Nothing out of the ordinary. The nearest to it:")
    for place, item in enumerate(items, 1):
        mark = "went well: " if item["kind"] == "went_well" else ""
        if not item["unusual"] and len(calm) < len(items):
            mark = "as usual: "
        lines += _block(mark + standout_text(item, units), f"  {place}. ", "     ")
        why = reason_text(item, units)
        if why:
            lines += _block(why, "     ", "     ")
        if item.get("note") and item["unusual"]:
            lines += _block(f"Note in the log: {_short(item['note'])}", "     ", "     ")
    return lines


def _short(note: str) -> str:
    flat = " ".join(note.split())
    return flat if len(flat) <= 120 else flat[:117].rstrip() + "..."


def _figures(review: Mapping[str, Any], units: System) -> list[str]:
    figures = review["figures"]
    ofs = {f["usual_of"] for f in figures.values() if f["usual_of"]}
    head = {"weeks": "usual, eight weeks in ten", "pours": "usual, eight pours in ten"}
    title = head[next(iter(ofs))] if len(ofs) == 1 else "usual, eight weeks in ten" if ofs else ""
    lines = ["", f"{'THE FIGURES':<38}{'this week':<26}{title}".rstrip()]
    for row in FIGURE_ROWS:
        group = [line for name in row.figures if (line := _row(name, review, units, ofs))]
        if group:
            lines += [f"  {row.title}", *group]
    return lines


def _row(name: str, review: Mapping[str, Any], units: System, ofs: set[str]) -> str | None:
    from pourstats.reporting.week_words import FIGURE_WORDS

    figure = review["figures"].get(name)
    if figure is None or (figure["value"] is None and figure["total"] is None):
        return None
    words = FIGURE_WORDS[name]
    label = words.label.format(
        yd=unit_text("yd3", units), ft=unit_text("ft2", units),
        hands=number_text((review["figures"].get("mean_hands") or {}).get("value")),
    )  # fmt: skip
    value = words.value(figure, lambda v: shown(v, figure["unit"], units), units)
    usual = ""
    if figure["usual_low"] is not None:
        low, high = (shown(figure[k], figure["unit"], units) for k in ("usual_low", "usual_high"))
        usual = words.span(low, high)
        if figure["usual_of"] == "pours" and len(ofs) > 1:
            usual += ", of pours"
        if figure["verdict"] in ("above", "below"):
            usual += f"   <- {figure['verdict']}"
    return f"    {label:<34}{value:<26}{usual}"


def _floors(review: Mapping[str, Any], units: System) -> list[str]:
    pours = review["pours"]
    judged = any(pour["usual_h"] is not None for pour in pours)
    head = f"  {'day':<11}{'pour':<12}{'site':<17}{'floor':<28}{'hours':>6}"
    lines = ["", "FLOOR BY FLOOR", head + ("  usual (8 in 10)" if judged else "")]
    for pour in pours:
        area = shown(pour["area_ft2"], "ft2", units)
        floor = f"{number_text(area, 0)} {unit_text('ft2', units)} {plain(pour['slab_type'])}"
        hours = "-" if pour["labor_h"] is None else _hours(pour["labor_h"])
        line = (
            f"  {day_text(pour['date']):<11}{_cut(pour['pour_id'], 11):<12}"
            f"{_cut(pour['site'], 16):<17}{_cut(floor, 27):<28}{hours:>6}"
        )
        if pour["usual_h"] is not None:
            line += (
                f"  {_hours(pour['usual_h'])} ({_hours(pour['usual_low_h'])} to "
                f"{_hours(pour['usual_high_h'])})"
            )
        lines.append(line)
    control = review["control"]
    if control:
        text = (
            f"From floor to floor this crew takes {control['lower']:.2f} to "
            f"{control['upper']:.2f} times the usual hours by ordinary ups and downs "
            f"(the last {control['pours']} pours); a floor beyond that had a cause worth finding."
        )
        lines += _block(text, "  ", "  ")
    return lines


def _cut(text: object, width: int) -> str:
    told = "" if text is None else str(text)
    return told if len(told) <= width else told[: width - 1] + "~"


def _pars(review: Mapping[str, Any], units: System) -> list[str]:
    lines = []
    for par in review["par"]:
        if par["par_h"] is None:
            continue
        area, label = unit_text("ft2", units), plain(par["slab_type"])
        low = number_text(shown(par["from_ft2"], "ft2", units), 0)
        if par["to_ft2"] is None:
            size = f"over {low} {area}"
        else:
            size = f"of {low} to {number_text(shown(par['to_ft2'], 'ft2', units), 0)} {area}"
        rate = shown(1.0 / par["hours_per_ft2"], "ft2", units)
        lines += _block(
            f"{label} {size}: {number_text(rate)} {area} a labor-hour, by which this week's "
            f"{_count(len(par['pour_ids']), 'floor')} would take {_hours(par['par_h'])} h; "
            f"spent {_hours(par['labor_h'])} ({_count(par['pours'], 'earlier pour')}, "
            f"{par['disrupted_pours']} of them took over twice par).",
            "  ", "    ",
        )  # fmt: skip
    return ["", "PAR, WHAT THIS CREW DOES WHEN IT GETS MOST DONE", *lines] if lines else []


def _quiet_calls(review: Mapping[str, Any]) -> list[str]:
    lines = ["", "CALLBACKS"]
    for call in review["callbacks"]:
        lines += _block(
            f"{day_text(call['reported'])}: {plain(call['slab_type'] or 'floor')} at "
            f"{call['site'] or call['pour_id']}, {plain(call['defect'] or 'defect not named')}.",
            "  ", "    ",
        )  # fmt: skip
    return lines


def _not_counted(review: Mapping[str, Any]) -> list[str]:
    lines: list[str] = []
    for pour in review["unfinished"]:
        site = f" at {pour['site']}" if pour.get("site") else ""
        since = next((pour[k] for k in ("last_at", "at", "place_start") if pour.get(k)), None)
        tail = f", last tap {str(since).replace('T', ' ')}" if since else ""
        lines += _block(f"{pour.get('pour_id')}{site} is unfinished{tail}.", "  ", "    ")
    aside = review["set_aside"]
    if aside["rows"]:
        lines += _block(
            f"{_count(aside['rows'], 'row')} set aside, waiting to be mended "
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
    found = ["", "LATELY", *lines] if lines else []
    lines = [
        text
        for told in (
            _too_early(review["cannot_tell"]),
            _bids_apart(review.get("bids") or {}),
            *(_assumption(rule, units) for rule in review["assumed"]),
            *(_lack(entry) for entry in review["missing"]),
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
        f"Too early to tell: {'; '.join(told)}. There are {_count(pours, 'earlier pour')}; "
        "ten earlier pours, or eight weeks, make a usual range."
    )


def _bids_apart(bids: Mapping[str, Any]) -> str | None:
    told = [f"{entry['pour_id']}: {entry['why']}" for entry in bids.get("not_compared", ())]
    if bids.get("compared"):
        told.insert(
            0,
            f"bid against spent counts {_count(bids['compared'], 'pour')} with the same scope "
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


def _lack(entry: Mapping[str, Any]) -> str | None:
    words = MISSING_WORDS.get(entry["what"])
    if words is None:
        return None
    pours = entry["pours"]
    named = ", ".join(pours[:6]) + (" and more" if len(pours) > 6 else "")
    return f"{words} ({named})." if named else f"{words}."
