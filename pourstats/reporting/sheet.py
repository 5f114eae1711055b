"""PDF pages: a layout under ``typst/`` and plain data in, the bytes of a PDF out.

What users wrote reaches a layout as JSON data and is set as text, so none of it can act as markup
or code. No date of making is written: the same data give the same bytes.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pourstats.reporting.outfile import whole

LAYOUTS = Path(__file__).parent / "typst"

SHIPPED_UP_TO = 0x2C0
"""Letters below this code are in the typefaces that come with typst; others ask the system's."""


MAY_BREAK = "\u200b"
"""Where a line may end within a word; it has no width."""


def as_json(data: Mapping[str, Any]) -> str:
    """The data as text for a layout; words too long for a column may break in it."""
    return json.dumps(_breakable(data), ensure_ascii=False, allow_nan=False)


def _breakable(value: Any) -> Any:
    if isinstance(value, str):
        return re.sub(
            r"[^\s-]{21,}", lambda word: MAY_BREAK.join(re.findall(".{1,10}", word[0])), value
        )
    if isinstance(value, Mapping):
        return {name: _breakable(each) for name, each in value.items()}
    return [_breakable(each) for each in value] if isinstance(value, list | tuple) else value


def typeset(layout: str, data: Mapping[str, Any]) -> bytes:
    """The PDF of ``typst/LAYOUT.typ`` filled with ``data`` (values that JSON takes)."""
    import typst

    text = as_json(data)
    return bytes(
        typst.compile(
            str(LAYOUTS / f"{layout}.typ"),
            root=str(LAYOUTS),
            ignore_system_fonts=all(
                ord(letter) < SHIPPED_UP_TO or letter == MAY_BREAK for letter in text
            ),
            sys_inputs={"data": text},
        )
    )


def pages(layout: str, data: Mapping[str, Any]) -> int:
    """How many pages that PDF has."""
    import typst

    found = typst.query(
        str(LAYOUTS / f"{layout}.typ"),
        "<pages>",
        field="value",
        one=True,
        root=str(LAYOUTS),
        ignore_system_fonts=True,
        sys_inputs={"data": as_json(data)},
    )
    return int(json.loads(found))


def saved(file: Path, content: bytes | str) -> None:
    """Writes a page to a file, whole or not at all. Raises Refusal, naming the file, where that
    can't be done."""
    with whole(file, file.suffix[1:] or "pdf") as draft:
        draft.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))


def cut(text: object, most: int) -> str:
    """On one line, without control characters, at most that many letters."""
    told = "" if text is None else str(text)
    told = " ".join("".join(c if c.isprintable() else " " for c in told).split())
    return told if len(told) <= most else told[: most - 1].rstrip() + "…"
