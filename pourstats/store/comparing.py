"""When two rows are the same, in SQL and in Python, and how columns are read for it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pourstats.logs.tables import Table

SAME = 1e-9
"""Numbers that differ by less than this share of themselves are the same."""


def bare_clocks(text: str | None) -> dict[str, int]:
    """Column → seconds of day from the kept text of a row's bare times."""
    found = {}
    for part in (text or "").split(";"):
        name, _, clock = part.partition("=")
        if clock:
            hour, minute, second = (int(piece) for piece in clock.split(":"))
            found[name] = hour * 3600 + minute * 60 + second
    return found


def array(column: Any) -> NDArray[Any]:
    """An Arrow column as a NumPy array."""
    if isinstance(column, pa.ChunkedArray):
        column = column.combine_chunks()
    if isinstance(column, pa.ChunkedArray):
        column = pa.concat_arrays(column.chunks) if column.chunks else pa.array([], column.type)
    return np.asarray(column.to_numpy(zero_copy_only=False))


def near(a: float, b: float) -> bool:
    """Whether two numbers are the same however written."""
    return abs(a - b) <= max(SAME * max(abs(a), abs(b)), 1e-12)


def on(names: Any, left: str, right: str) -> str:
    """SQL that joins two aliases on columns of a key; a blank is a key like any other."""
    parts = []
    for name in names:
        sign = "IS NOT DISTINCT FROM" if name in ("since", "quantile") else "="
        parts.append(f'{left}."{name}" {sign} {right}."{name}"')
    return " AND ".join(parts)


def same(table: Table, names: list[str], left: str, right: str) -> str:
    """SQL that tells whether two aliases hold the same values in these columns."""
    parts = []
    for name in names:
        if name in table.key:
            continue
        a, b = f'{left}."{name}"', f'{right}."{name}"'
        equal = f"{a} IS NOT DISTINCT FROM {b}"
        if table.column(name).kind == "number":
            equal = (
                f"({equal} OR coalesce(abs({a} - {b}) <="
                f" greatest({SAME} * greatest(abs({a}), abs({b})), 1e-12), false))"
            )
        parts.append(equal)
    return " AND ".join(parts) or "true"
