"""The unit of each figure of another program's file: from its header, the others', its values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from pourstats.faults import Refusal
from pourstats.logs import header_words as words
from pourstats.logs.column_kinds import Sure, figures, guessed_unit
from pourstats.logs.foreign import Foreign
from pourstats.logs.header_words import SCALES
from pourstats.logs.mapping import Drawn
from pourstats.logs.proposal import Guess, Proposal, Question, Wish
from pourstats.logs.tables import TABLES, Column


def is_number(table: str, ours: str) -> bool:
    """Whether a column of ours holds a figure."""
    names = TABLES[table].names
    return ours in names and TABLES[table].column(ours).kind in ("number", "whole")


def fix_units(found: Proposal, wish: Wish, summer: bool) -> None:
    """Put every column's unit into the proposal, how sure it is, and a question where it isn't."""
    table = TABLES[found.mapping.table]
    written = {
        ours: _written_unit(found.sheet, drawn, table.column(ours))
        for ours, drawn in found.mapping.columns.items() if is_number(table.name, ours)
    }  # fmt: skip
    hint = _system([*written.values(), _by_range(found, written, wish, summer)])
    columns = dict(found.mapping.columns)
    for ours, drawn in found.mapping.columns.items():
        theirs = " + ".join(drawn.theirs)
        if not is_number(table.name, ours):
            found.guesses.append(Guess(ours, theirs, None, "sure", "by its name"))
            continue
        column = table.column(ours)
        unit, sure, because = written[ours], "sure", "the header says so"
        if ours in wish.units:
            unit, because = _wished(wish.units[ours], column), "as you said"
        elif unit is None and column.unit is not None:
            unit, sure, because = guessed_unit(
                ours, figures(found.sheet, drawn.theirs[0]), hint, summer
            ) if table.name == "weather" else (column.unit, "likely", "the house unit")  # fmt: skip
        elif column.unit is None:
            because = "by its name"
        fixed: Sure = sure  # type: ignore[assignment]
        if fixed == "open" and unit is not None:
            found.questions.append(Question(
                f"unit:{ours}", f"{theirs!r} ({because}): which unit is it in?",
                f"--unit {ours}={unit}", unit,
            ))  # fmt: skip
        found.guesses.append(Guess(ours, theirs, unit, fixed, because))
        kept, scale = SCALES.get(unit or "", (unit, 1.0))
        columns[ours] = replace(drawn, unit=kept, scale=scale)
    found.mapping = replace(found.mapping, columns=columns)


def _by_range(
    found: Proposal, written: dict[str, str | None], wish: Wish, summer: bool
) -> str | None:
    """The unit of an air temperature whose figures leave no doubt, which tells of the others."""
    drawn = found.mapping.columns.get("air_temp")
    if drawn is None or found.mapping.table != "weather" or written.get("air_temp"):
        return None
    if "air_temp" in wish.units:
        return words.unit_word(wish.units["air_temp"])
    unit, sure, _ = guessed_unit("air_temp", figures(found.sheet, drawn.theirs[0]), None, summer)
    return None if sure == "open" else unit


def _written_unit(sheet: Foreign, drawn: Drawn, column: Column) -> str | None:
    """The unit that a header, or the row of units below it, names for a column."""
    if column.unit is None:
        return None
    _, written = words.split(drawn.theirs[0])
    place = sheet.header.index(drawn.theirs[0])
    for text in [written, *(row[place] for row in sheet.below if place < len(row))]:
        unit = words.unit_word(text) if text else None
        if unit is not None and words.stands_in(unit, column):
            return unit
    return None


def _wished(unit: str, column: Column) -> str:
    found = words.unit_word(unit)
    if found is None or not words.stands_in(found, column):
        raise Refusal(
            f"--unit {column.name}: {unit!r} can't stand there; write as {column.unit or 'nothing'}"
            + (f" or {_metric(column)}" if column.unit else "")
        )
    return found


def _metric(column: Column) -> str:
    from pourstats import units

    return units.METRIC.get(column.unit or "", "percent")


def _system(written: Iterable[str | None]) -> str | None:
    us = metric = 0
    for unit in written:
        us += unit in ("degF", "mph", "in")
        metric += unit in ("degC", "kelvin", "m/s", "km/h", "mm", "cm")
    return None if us == metric else "us" if us > metric else "metric"
