"""Amounts that stand in a finished text, in the units that are shown.

Texts are written in US units, each number with its unit behind it: ``55 °F``, ``17:42, 10 yd³``,
``0.1 to 0.2 lb/ft²/h``. A number without one is left alone.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from pourstats.units import System, to_system, unit_sign

# The signs of each unit that is shown otherwise, its house name and the digits that it is worth.
_UNITS: dict[str, tuple[str, Callable[[float], str]]] = {
    "lb/ft[²2]/h": ("lb/ft2/h", lambda value: f"{value:.2f}"),
    "°F": ("degF", lambda value: f"{value:.0f}"),
    "yd[³3]|yards?(?= of | in |[.,;])": ("yd3", lambda value: _digits(value, 3)),
    "ft[²2](?!/)": ("ft2", lambda value: _digits(value, 3)),
    "mph": ("mph", lambda value: f"{value:.0f}"),
    "psi": ("psi", lambda value: f"{value:.0f}"),
    "in(?=[.,;])": ("in", lambda value: f"{value:.0f}"),
}
_NUMBER = r"(?<![\w.:,/])[-−]?\d[\d,]*(?:\.\d+)?"
# What may stand between numbers that share the unit behind the last.
_LINK = r"(?:\s+(?:to|or|and)\s+|–|,\s+up\s+to\s+)"
_PATTERNS = [
    (re.compile(rf"(?P<pad> *)(?P<numbers>{_NUMBER}(?:{_LINK}{_NUMBER})*)(?P<gap>\s+)(?:{sign})"
                r"(?!\w)(?P<more>\s+(?:warmer|cooler|more|less))?"), house, written)
    for sign, (house, written) in _UNITS.items()
]  # fmt: skip
_PER_YARD = [
    (re.compile(r"(?P<number>\d+(?:\.\d+)?) min/yd[³3]"), "{:.0f} min/m³"),
    (
        re.compile(r"\$(?P<number>[\d,]+\.\d\d)(?=\s+(?:a\s+yard|to\s+\$[\d,]+\.\d\d[):]))"),
        "${:,.2f}",
    ),
    (re.compile(r"(?<=to\s)\$(?P<number>[\d,]+\.\d\d)(?=[):])"), "${:,.2f}"),
]


def in_system(text: str, system: System) -> str:
    """The text with each amount in the units shown; as it is where those are US units.

    Columns keep their places: what a number gains in width, the blanks before it lose.
    """
    if system == "us":
        return text
    if re.search(r"\$[\d,.]+\s+a\s+yard", text):
        text = re.sub(r"\ba(\s+)yard\b", r"a\1m³", _per_yard(text, _PER_YARD))
    else:
        text = _per_yard(text, _PER_YARD[:1])
    for pattern, house, written in _PATTERNS:
        text = pattern.sub(lambda found, h=house, w=written: _changed(found, h, w), text)  # type: ignore[misc]
    return text


def _changed(found: re.Match[str], house: str, written: Callable[[float], str]) -> str:
    """One amount, or a range of them, with its unit."""
    more = found["more"] or ""
    none = float(to_system(0.0, house, "metric")) if more else 0.0

    def number(one: re.Match[str]) -> str:
        value = float(one[0].replace(",", "").replace("−", "-"))
        shown = float(to_system(value, house, "metric")) - none
        return f"{shown:.1f}".removesuffix(".0") if more else written(shown)

    new = re.sub(_NUMBER, number, found["numbers"])
    new += found["gap"] + unit_sign(house, "metric") + more
    pad = found["pad"]
    if len(pad) >= 2:
        pad = " " * max(1, len(found[0]) - len(new))
    return pad + new


def _per_yard(text: str, patterns: list[tuple[re.Pattern[str], str]]) -> str:
    yards = float(to_system(1.0, "yd3", "metric"))
    for pattern, shape in patterns:
        text = pattern.sub(
            lambda found, s=shape: s.format(float(found["number"].replace(",", "")) / yards),  # type: ignore[misc]
            text,
        )
    return text


def _digits(value: float, count: int) -> str:
    """So many digits that tell, whole from there on."""
    return f"{value:,.0f}" if abs(value) >= 10 ** (count - 1) else f"{value:.{count}g}"
