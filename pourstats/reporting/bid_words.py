"""Words, amounts and lines that bids, the rate card and the proof share."""

from __future__ import annotations

import re
import textwrap

from pourstats.units import System, to_system, unit_in

WIDTH = 92


def wrap(
    text: str, width: int = WIDTH, initial_indent: str = "", subsequent_indent: str = ""
) -> list[str]:
    """The text in lines; a number stays with its unit."""
    held = re.sub(r"(?<=\d) (?=(h|ft2|m2|in|mm)\b)", "\0", text)
    lines = textwrap.wrap(
        held, width, initial_indent=initial_indent, subsequent_indent=subsequent_indent,
        break_on_hyphens=False,
    )  # fmt: skip
    return [line.replace("\0", " ") for line in lines]


def odds_text(share: float) -> str:
    """0.7 as "seven such jobs in ten"; nearly all, nearly none, and other shares in percent."""
    tenth = round(share * 10)
    names = ("", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
    if abs(share * 10 - tenth) < 1e-6 and 1 <= tenth <= 9:
        return f"{names[tenth]} such jobs in ten"
    return "nearly all such jobs" if share > 0.995 else f"{share:.0%} of such jobs"


def first_up(text: str) -> str:
    """The text with its first letter large."""
    return text[0].upper() + text[1:]


def hours_text(hours: float) -> str:
    """Hours to a tenth below a hundred: 23.3 h, 7.4 h, 140 h."""
    return f"{hours:,.0f} h" if abs(hours) >= 99.95 else f"{hours:,.1f} h"


def dollars_text(usd: float | None) -> str:
    """Whole dollars; unknown is a dash."""
    if usd is None:
        return "-"
    return f"-${-usd:,.0f}" if usd < -0.5 else f"${usd:,.0f}"


def area_text(area_ft2: float, units: System) -> str:
    """An area in the units shown: 620 ft2, 57.6 m2."""
    value = float(to_system(area_ft2, "ft2", units))
    return (
        f"{value:,.1f} m2"
        if units == "metric" and value < 100
        else (f"{value:,.0f} {unit_in('ft2', units)}")
    )


def thickness_text(thickness_in: float, units: System) -> str:
    """A thickness in the units shown: 4.5 in, 114 mm."""
    if units == "metric":
        return f"{to_system(thickness_in, 'in', units):.0f} mm"
    return f"{thickness_in:g} in"


def usd_an_area(usd_per_ft2: float, units: System) -> str:
    """Dollars a foot, or a square metre."""
    if units == "metric":
        return f"${usd_per_ft2 / to_system(1.0, 'ft2', units):,.2f} a m2"
    return f"${usd_per_ft2:.2f} a foot"


def count_text(number: int, one: str) -> str:
    """ "1 pour", "2 pours"."""
    return f"{number} {one}" if number == 1 else f"{number} {one}s"
