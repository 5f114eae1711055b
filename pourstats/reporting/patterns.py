"""What the weather did to finishing, as text."""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import wrap
from typing import Any

WIDTH = 80


def patterns_text(result: Mapping[str, Any]) -> str:
    """What `pourstats patterns` prints, from the dict that `learning.patterns` gives."""
    blocks = [
        "\n".join(_effects(result["first_pass"], "Time to the first pass")),
        "\n".join(_effects(result["gaps"], "Gap between passes")),
    ]
    left_out = [
        f"Left out of the first part: {_count(result[key])} that {why}."
        for key, why in (
            ("held_up_left_out", "waited for people"),
            ("chased_left_out", "began before placing was done, or within five minutes of it"),
        )
        if result[key]
    ]
    if left_out:
        blocks.append("\n".join(line for text in left_out for line in wrap(text, WIDTH)))
    slow = result["slow_finishing"]
    if slow["by_month"]:
        blocks.append("\n".join(_lost(slow["by_month"], "Month", slow["against"])))
        blocks.append("\n".join(_lost(slow["by_start_hour"], "Start", slow["against"])))
    if result["start_earlier"]:
        lines = ["When to start earlier:"]
        for advice in result["start_earlier"]:
            lines += wrap(
                f"{advice['do']} {advice['because']}", WIDTH,
                initial_indent="  ", subsequent_indent="  ",
            )  # fmt: skip
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks) + "\n"


def _count(passes: int) -> str:
    return "one first pass" if passes == 1 else f"{passes} first passes"


def _effects(part: Mapping[str, Any], title: str) -> list[str]:
    if part["says"]:
        return [f"{title}:", *wrap(part["says"], WIDTH, initial_indent="  ")]
    lines = [
        f"{title}: {part['median_min']:.0f} minutes in the middle, {part['pours']} pours.",
        f"  {'':<34}{'minutes':>7}  {'19 in 20 within':<16}{'pours':>5}",
    ]
    for effect in part["effects"]:
        what = f"{effect['cause'].split(': ')[-1].replace('_', ' ')} ({effect['step']})"
        reach = f"{_signed(effect['minutes_low'])} to {_signed(effect['minutes_high'])}"
        mark = "" if effect["clear"] else "  may be none"
        shown = f"{_signed(effect['minutes']):>7}  {reach:<16}{effect['having']:>5}"
        lines.append(f"  {what[:34]:<34}{shown}{mark}")
    for pair in part["apart"]:
        lines.append(f"  {pair[0]} and {pair[1]} went together: this record can't part them.")
    lines.append(
        "  Each is adjusted for the others; pours: those that have it. Weather: the two"
        " hours\n  from placing, or from the last pass."
    )
    return lines


def _signed(value: float, digits: int = 0) -> str:
    """A number with its sign; a bare 0 where nothing is left of it."""
    left = round(value, digits)
    return f"{left:+.{digits}f}" if left else f"{0:.{digits}f}"


def _lost(rows: list[dict[str, Any]], head: str, against: str) -> list[str]:
    lines = [
        f"Hours over {against}:",
        f"  {head:<9}{'pours':>6}{'hours a pour':>14}  {'19 in 20 within':<16}"
        f"{'labor hours':>13}{'dollars':>10}",
    ]
    for row in rows:
        group = row["group"] + (":00" if head == "Start" else "")
        low, high = row["over_h_low"], row["over_h_high"]
        reach = "too few to say" if low is None else f"{_signed(low, 1)} to {_signed(high, 1)}"
        usd = "" if row["lost_usd"] is None else f"{row['lost_usd']:,.0f}"
        lines.append(
            f"  {group:<9}{row['pours']:>6}{_signed(row['over_h_mean'], 1):>14}  {reach:<16}"
            f"{_signed(row['lost_labor_h'], 1):>13}{usd:>10}"
        )
    return lines
