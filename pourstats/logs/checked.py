"""The rows of a sheet once they are checked: typed columns, and the faults of rows set aside."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pourstats.faults import Fault
from pourstats.logs.as_written import AsWritten
from pourstats.logs.files import Sheet
from pourstats.logs.tables import Table


@dataclass
class Checked:
    """The rows of one sheet, checked as far as the sheet alone allows.

    ``columns``: our column → typed array, n rows, null where blank, bare or faulty; ``clocks``:
    time column → seconds of day of bare times, else −1; ``written``: time column → text;
    ``whole[i]`` is False for a row with a fault. ``names`` are the columns that the file has.
    """

    table: Table
    file: str
    sheet: str | None
    names: tuple[str, ...]
    columns: dict[str, Any]
    clocks: dict[str, NDArray[np.int32]]
    written: dict[str, Any]
    lines: NDArray[np.int64]
    raw: Any
    whole: NDArray[np.bool_]
    source: Sheet
    faults: list[tuple[int, Fault]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    as_written: AsWritten | None = None

    @property
    def read(self) -> int:
        """How many rows the sheet has."""
        return len(self.lines)

    def fault(self, row: int, column: str | None, value: str | None, reason: str) -> None:
        """Set a row aside for a reason."""
        self.whole[row] = False
        fault = Fault(self.file, int(self.lines[row]), column, value, reason, self.sheet)
        self.faults.append(
            (row, fault if self.as_written is None else self.as_written.told(row, fault))
        )

    def cells(self, row: int) -> str:
        """The row as written, with how to read it, so that it can be read again: JSON."""
        sheet = self.source
        texts = [column[row].as_py() for column in sheet.columns]
        return json.dumps(
            {"cells": texts, "head": sheet.header, "comma": sheet.decimal_comma,
             "typed": sheet.typed},
            ensure_ascii=False,
        )  # fmt: skip
