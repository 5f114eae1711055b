"""PDF pages: a layout under ``typst/`` and plain data in, the bytes of a PDF out.

What users wrote reaches a layout as JSON data and is set as text, so none of it can act as markup
or code. No date of making is written: the same data give the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pourstats.faults import Refusal

LAYOUTS = Path(__file__).parent / "typst"

SHIPPED_UP_TO = 0x2C0
"""Letters below this code are in the typefaces that come with typst; others ask the system's."""


def typeset(layout: str, data: Mapping[str, Any]) -> bytes:
    """The PDF of ``typst/LAYOUT.typ`` filled with ``data`` (values that JSON takes)."""
    import typst

    text = json.dumps(data, ensure_ascii=False, allow_nan=False)
    return bytes(
        typst.compile(
            str(LAYOUTS / f"{layout}.typ"),
            root=str(LAYOUTS),
            ignore_system_fonts=all(ord(letter) < SHIPPED_UP_TO for letter in text),
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
        sys_inputs={"data": json.dumps(data, ensure_ascii=False, allow_nan=False)},
    )
    return int(json.loads(found))


def saved(file: Path, content: bytes | str) -> None:
    """Writes a page to a file. Raises Refusal, naming the file, where that can't be done."""
    try:
        file.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    except OSError as error:
        why = error.strerror or "can't be written"
        raise Refusal(f"{file}: {why}; name a file in a folder that is there", 2) from None


def cut(text: object, most: int) -> str:
    """On one line, without control characters, at most that many letters."""
    told = "" if text is None else str(text)
    told = " ".join("".join(c if c.isprintable() else " " for c in told).split())
    return told if len(told) <= most else told[: most - 1].rstrip() + "…"
