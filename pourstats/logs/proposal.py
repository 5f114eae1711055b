"""How a file may be read: what was said of it, what is guessed, how surely, what is asked."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from pourstats.faults import Refusal
from pourstats.logs.column_kinds import Sure
from pourstats.logs.foreign import Foreign
from pourstats.logs.mapping import FileMapping
from pourstats.logs.moments import ORDERS, Order

ZONE_OF_OFFSET = {
    -300: "America/New_York", -360: "America/Chicago", -420: "America/Denver",
    -480: "America/Los_Angeles", -540: "America/Anchorage", -600: "Pacific/Honolulu",
}  # fmt: skip
"""The usual zone of a US clock that is so many minutes from UTC in winter."""


@dataclass(frozen=True)
class Wish:
    """What the owner said of a file; what isn't said is proposed."""

    table: str | None = None
    sets: dict[str, str] = field(default_factory=dict)
    """Ours → their column; an empty one leaves ours out."""
    units: dict[str, str] = field(default_factory=dict)
    given: dict[str, str] = field(default_factory=dict)
    zone: str | None = None
    clock: str | None = None
    order: Order | None = None
    year: int | None = None


@dataclass(frozen=True)
class Guess:
    """One of our columns: where it comes from, in which unit, how sure that is, and why."""

    ours: str
    theirs: str
    unit: str | None
    sure: Sure
    because: str


@dataclass(frozen=True)
class Question:
    """What can't be told from the file: the words, the option that answers it, what is likely.

    ``about``: site, zone, dates, unit:air_temp, column:humidity …
    """

    about: str
    text: str
    option: str
    default: str | None = None


@dataclass
class Proposal:
    """How a file may be read, what of it is open, and what is left out."""

    sheet: Foreign
    mapping: FileMapping
    guesses: list[Guess] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def answered(wish: Wish, question: Question, answer: str, header: list[str]) -> Wish:
    """The wish with a question's answer in it."""
    about, _, ours = question.about.partition(":")
    if about == "zone":
        return replace(wish, zone=answer)
    if about == "dates":
        return replace(wish, order=order_named(answer))
    if about == "unit":
        return replace(wish, units={**wish.units, ours: answer})
    if about == "column" and answer in header:
        return replace(wish, sets={**wish.sets, ours: answer})
    return replace(wish, given={**wish.given, ours or about: answer})


def order_named(text: str) -> Order:
    """The order of a date's parts from its word. Raises Refusal."""
    for order in ORDERS:
        if text.strip().lower() == order:
            return order
    raise Refusal(f"{text!r} is no order of a date; write mdy, dmy or ymd")
