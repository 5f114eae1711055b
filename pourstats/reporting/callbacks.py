"""Callbacks on one page that an owner reads: what has evidence first."""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import wrap
from typing import Any

WIDTH = 92
BY_WORDS = {
    "slab_type": "slab type", "finish": "finish", "base": "base", "cure": "cure",
    "evaporation_class": "drying, lb/ft2 an hour", "first_pass_timing": "machine on after placing",
    "saw_delay": "first cut after placing", "mix": "mix", "water_added": "water at the site",
    "truck_age": "oldest load", "lead": "lead", "month": "month",
}  # fmt: skip


def callbacks_text(picture: Mapping[str, Any]) -> str:
    """The picture for a terminal of 80 to 100 columns, or a printed page."""
    if picture["state"] == "no_pours":
        return "No pours yet. Load a log with `pourstats load`, callbacks in callbacks.csv.\n"
    lines = ["FLOORS THAT CAME BACK", ""]
    lines += _paragraph(_cost_sentence(picture))
    lines += _paragraph(_year_sentence(picture["this_year"]))
    lines += _paragraph(_coming_sentence(picture["still_to_come"]))
    lines += _groups(picture)
    lines += _defects(picture)
    return "\n".join(line.rstrip() for line in lines).rstrip() + "\n"


def share_text(row: Mapping[str, Any]) -> str:
    """A share with its count and interval: `6 of 40 floors, 15 % (8 to 27 %)`."""
    if not row["pours"]:
        return "no floor old enough yet"
    return (
        f"{row['pours_called_back']} of {row['pours']} floors, {_percent(row['rate'])} %"
        f" ({_percent(row['rate_p05'])} to {_percent(row['rate_p95'])} %)"
    )


def _cost_sentence(picture: Mapping[str, Any]) -> str:
    whole, cost = picture["whole"], picture["cost_per_yd3"]
    ages = picture["counts_at_days"]
    if not whole["pours"]:
        return (
            f"No floor is old enough to count: {ages['indoors']:g} days, outdoors"
            f" {ages['outdoors']:g} (a winter). {whole['young_pours']} are younger,"
            f" with {_counted(whole['young_callbacks'], 'call', 'calls')} so far."
        )
    said = f"Came back: {share_text(whole)}."
    if not whole["callbacks"]:
        return said + " No call on a floor old enough: nothing to pay for yet."
    if whole["all_in_cost_per_yd3"] is None:
        return (
            f"{said} What that costs can't be told: hours, cost or pay of the calls is missing"
            " (set a wage with `pourstats settings default_pay 30`)."
        )
    span = f" ({_money(cost['p05'])} to {_money(cost['p95'])})" if cost else ""
    return (
        f"{said} Coming back costs {_money(whole['all_in_cost_per_yd3'])} a yard placed{span},"
        f" labor in, on {_counted(whole['callbacks'], 'call', 'calls')} and"
        f" {whole['placed_yd3']:,.0f} yards."
    )


def _year_sentence(year: Mapping[str, Any] | None) -> str:
    if year is None:
        return "Too early to compare one year with another."
    counts = (
        f"{year['pours_called_back']} of {year['pours']} floors of the last twelve months are back"
        f" so far"
    )
    if year["verdict"] == "too_early":
        return f"{counts}. Too few calls to tell one year from another."
    told = {
        "worse": "This year is worse than luck explains",
        "better": "This year is better than luck explains",
        "no_difference": "This year is no different from earlier ones beyond luck",
    }[year["verdict"]]
    if year["ratio"] is None:
        return f"{told}: {counts}; as in earlier years it would be {year['expected']:.1f}."
    top = "any" if year["ratio_p95"] is None else f"{year['ratio_p95']:.1f}"
    return (
        f"{told}: {counts}; as in earlier years it would be {year['expected']:.1f} by now"
        f" ({year['ratio']:.1f} times the rate; {year['ratio_p05']:.1f} to {top})."
    )


def _coming_sentence(coming: Mapping[str, Any]) -> str:
    if not coming["pours"]:
        return ""
    return (
        f"Still to come: about {coming['expected']:.0f} ({coming['p05']:.0f} to"
        f" {coming['p95']:.0f}) of the {_counted(coming['pours'], 'floor', 'floors')} too young to"
        f" count may yet be called back."
    )


def _groups(picture: Mapping[str, Any]) -> list[str]:
    if picture["state"] != "calls":
        return []
    lines = ["", "BY GROUP  (floors old enough; nine times in ten the true share lies within)"]
    for name, rows in picture["by"].items():
        told = [row for row in rows if row["pours"] and row["group"] != "unknown"]
        if len(told) < 2 or name == "month":
            continue
        lines.append(f"  {BY_WORDS[name]}")
        for row in told:
            word = str(row["group"]).replace("_", " ")
            lines.append(f"    {word[:24]:<24} {share_text(row)}")
    return lines


def _defects(picture: Mapping[str, Any]) -> list[str]:
    if not picture["defects"]:
        return []
    lines = ["", "WHAT CAME BACK"]
    for row in picture["defects"][:5]:
        lines += wrap(
            f"{row['name']} ({_counted(row['pours'], 'floor', 'floors')}): {row['looks']}. Usual"
            f" causes: {row['causes']}. [{row['source']}]",
            WIDTH, initial_indent="  ", subsequent_indent="    ",
        )  # fmt: skip
    return lines


def _paragraph(text: str) -> list[str]:
    return wrap(text, WIDTH, break_on_hyphens=False) if text else []


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f}"


def _money(usd: float) -> str:
    return f"${usd:,.2f}"
