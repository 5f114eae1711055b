"""What a load did, for people: help with each row that was set aside, not an error dump."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from pourstats.faults import Fault
from pourstats.store.report import Report

MOST_SHOWN = 40
_WIDTH = 96


def load_text(report: Report, brief: bool = False) -> str:
    """The counts a table, then the rows set aside file by file with what to do, then warnings.

    ``brief`` gives one line that says why nothing could be stored.
    """
    if brief:
        return _why_nothing(report) + "\n"
    lines = _counts(report)
    if report.set_aside:
        rows = len({(f.file, f.sheet, f.line) for f in report.set_aside})
        lines += ["", f"Set aside: {rows} to mend. They are kept; load the file again once mended."]
        lines += _by_file(report.set_aside)
    if report.warnings:
        lines += ["", "Stored, but look at these:" if report.rows else "Look at these:"]
        told = _grouped(report.warnings)
        for line in told[:MOST_SHOWN]:
            lines += _wrapped(_brief(line), "  ")
        if len(told) > MOST_SHOWN:
            lines.append(f"  and {len(told) - MOST_SHOWN} more")
    return "\n".join(lines) + "\n"


MOST_CHARACTERS = 1500


def _brief(line: str) -> str:
    """A warning that lists hundreds of names, without most of them: they would push what matters
    off the screen."""
    if len(line) <= MOST_CHARACTERS:
        return line
    head, _, rest = line[:MOST_CHARACTERS].rpartition(", ")
    if not head:
        return f"{rest}…"
    left = line[len(head) :].count(", ")
    return f"{head} … and {left:,} more; `pourstats load --json` lists them all"


_NO_ROWS = ": has a header but no rows"


def _grouped(warnings: list[str]) -> list[str]:
    """The warnings, blank tables on one line: a template is filled in bit by bit."""
    blank = [line.removesuffix(_NO_ROWS) for line in warnings if line.endswith(_NO_ROWS)]
    rest = [line for line in warnings if not line.endswith(_NO_ROWS)]
    return [*rest, *([f"a header but no rows: {'; '.join(blank)}"] if blank else [])]


def _counts(report: Report) -> list[str]:
    lines = []
    for name, counts in report.tables.items():
        if not counts["read"] and not counts["taken_up"] and report.rows:
            continue
        parts = [
            f"{counts[what]:,} {words}"
            for what, words in (
                ("added", "added"), ("replaced", "replaced"), ("unchanged", "as before"),
                ("set_aside", "set aside"), ("taken_up", "taken up from earlier"),
            )
            if counts[what]
        ]  # fmt: skip
        lines.append(f"{name:<10} {counts['read']:>7,} read: {', '.join(parts) or 'none'}")
    return lines or ["No rows; only kept mappings." if report.ways else "Nothing was read."]


def _by_file(faults: Iterable[Fault]) -> list[str]:
    lines: list[str] = []
    shown, place = 0, ""
    faults = list(faults)
    for fault in faults:
        where = fault.file + (f", sheet {fault.sheet}" if fault.sheet else "")
        if where != place:
            lines.append(f"  {where}")
            place = where
        spot = "" if fault.line is None else f"line {fault.line}"
        if fault.column is not None:
            spot += f", {fault.column}"
        lines += _wrapped(f"{spot}: {fault.reason}" if spot else fault.reason, "    ")
        shown += 1
        if shown == MOST_SHOWN and len(faults) > shown:
            lines.append(
                f"    and {len(faults) - shown} more: `pourstats table set_aside` lists them all"
            )
            break
    return lines


def _wrapped(line: str, indent: str) -> list[str]:
    return textwrap.wrap(
        line, _WIDTH, initial_indent=indent, subsequent_indent=indent + "    ",
        break_long_words=False,
    )  # fmt: skip


def _why_nothing(report: Report) -> str:
    if report.set_aside:
        return f"nothing could be used: {report.set_aside[0]}"
    return (
        "no file held a row; `pourstats template DIR` makes blank logs, and the README says how to"
        " fill them"
    )
