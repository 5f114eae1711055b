"""What a cell's text turned into, how a column's cells are to be read, and how texts are told."""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Cell:
    """What a text turned into: a value, nothing known, or a fault; with a warning or none.

    ``value`` is a float, int, str, datetime.date or datetime.datetime; ``clock`` the seconds of a
    time of day that stands without its date.
    """

    value: object = None
    clock: int | None = None
    fault: str | None = None
    warning: str | None = None


@dataclass(frozen=True)
class Reading:
    """How a column's cells are to be read: the header's unit, and what a comma means."""

    unit: str | None = None
    decimal_comma: bool = False


BLANK = Cell()


def quoted(text: str) -> str:
    """The text between quotes for an error, on one line and not endless."""
    line = text if text.isprintable() else text.encode("unicode_escape").decode()
    return f"'{line}'" if len(line) <= 60 else f"'{line[:57]}...'"


def normalized(name: str) -> str:
    """A name without case, spaces, hyphens and underscores."""
    return re.sub(r"[\s_\-]+", "", name).lower()
