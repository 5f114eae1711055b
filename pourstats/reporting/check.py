"""The store looked over, for people and for programs: worst first, grouped, with the mend."""

from __future__ import annotations

import datetime as dt
import textwrap
from dataclasses import asdict
from typing import Any

from pourstats.store.checking import look_over
from pourstats.store.database import Store

GRAVE = {1: "wrong", 2: "doubtful", 3: "missing"}
HEADS = {
    "wrong": "WRONG IN THE FIGURES UNTIL MENDED",
    "doubtful": "PERHAPS RIGHT, BUT LOOK",
    "missing": "NOT LOGGED: THE FIGURES SAY LESS THAN THEY COULD",
}
SHOWN, NAMED = 4, 8
_WIDTH = 96


def checked(store: Store, now: dt.datetime | None = None) -> dict[str, Any]:
    """What `check --json` prints: state (clean, found, no_rows), rows looked at a table, and the
    groups, worst first, each finding with file, line, column, value, what and mend.

    ``now`` is local wall-clock time. Raises Refusal where there is no store.
    """
    with store.read() as connection:
        seen = look_over(connection, now or dt.datetime.now())
    groups = [
        {
            "name": found.group.name,
            "grave": GRAVE[found.group.grave],
            "title": found.group.title,
            "count": len(found.findings),
            "mend": found.mend,
            "findings": [asdict(finding) for finding in found.findings],
        }
        for found in seen.found
    ]
    nothing = not seen.rows and not groups
    return {
        "state": "no_rows" if nothing else "found" if groups else "clean",
        "rows": seen.rows,
        "findings": sum(len(found.findings) for found in seen.found),
        "groups": groups,
    }


def check_text(found: dict[str, Any], whole: bool = False) -> str:
    """The findings for people; the first few of a kind unless ``whole``."""
    lines = [_head(found)]
    cut = False
    for grave, head in HEADS.items():
        groups = [group for group in found["groups"] if group["grave"] == grave]
        if groups:
            lines += ["", head]
        for group in groups:
            lines.append(f"  {group['title']} ({group['count']:,})")
            if grave == "missing" and not whole:
                lines += _named(group)
            else:
                lines += _one_by_one(group, whole)
            cut |= not whole and group["count"] > (NAMED if grave == "missing" else SHOWN)
    if cut:
        lines += ["", "`pourstats check --all` lists every one."]
    return "\n".join(lines) + "\n"


def _head(found: dict[str, Any]) -> str:
    pours = found["rows"].get("pours", 0)
    others = sum(found["rows"].values()) - pours
    seen = f"Looked over {pours:,} pour{'' if pours == 1 else 's'} and {others:,} other rows: "
    count = dict.fromkeys(HEADS, 0)
    for group in found["groups"]:
        count[group["grave"]] += group["count"]
    if not found["groups"]:
        return seen + "nothing to mend."
    said = [
        words
        for grave, words in (
            ("wrong", f"{count['wrong']:,} to mend"),
            ("doubtful", f"{count['doubtful']:,} to look at"),
            ("missing", f"{count['missing']:,} gaps in the log"),
        )
        if count[grave]
    ]
    nothing = "" if count["wrong"] else "nothing wrong in the figures; "
    return seen + nothing + ", ".join(said) + "."


def _one_by_one(group: dict[str, Any], whole: bool) -> list[str]:
    findings = group["findings"] if whole else group["findings"][:SHOWN]
    lines: list[str] = []
    for finding in findings:
        lines += _wrapped(_place(finding) + finding["what"], "    ", "      ")
        lines += _wrapped("-> " + finding["mend"], "      ", "         ")
    rest = group["count"] - len(findings)
    return [*lines, *([f"    and {rest:,} more"] if rest else [])]


def _place(finding: dict[str, Any]) -> str:
    """Where a set-aside row stands: its own words don't name it as others' do."""
    if (
        finding["table"] is not None
        and finding["pour_id"]
        and finding["pour_id"] in finding["what"]
    ):
        return ""
    parts = [finding["file"] or "", f"line {finding['line']}" if finding["line"] else "",
             finding["column"] or ""]  # fmt: skip
    place = ", ".join(part for part in parts if part) if finding["file"] else ""
    return f"{place}: " if place else ""


def _named(group: dict[str, Any]) -> list[str]:
    names = [finding["pour_id"] or finding["value"] or "" for finding in group["findings"]]
    told = ", ".join(names[:NAMED])
    rest = len(names) - NAMED
    told += f" and {rest:,} more" if rest > 0 else ""
    return [
        *_wrapped(told, "    ", "    "),
        *_wrapped("-> " + group["mend"], "      ", "         "),
    ]


def _wrapped(text: str, first: str, later: str) -> list[str]:
    return textwrap.wrap(
        " ".join(text.split()), _WIDTH, initial_indent=first, subsequent_indent=later,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip
