"""How rows stood in another program's file, so that their faults are told in its own words."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from pourstats.faults import Fault
from pourstats.logs.files import shown


@dataclass
class AsWritten:
    """How the rows of a sheet stood in another program's file, for telling their faults.

    ``columns``: our column → their name of it; ``texts``: our column → their text, a row;
    ``faults``: (row, our column, text, reason) found while it was turned into our format;
    ``covered``: cells (row, our column) of which nothing more is to be said.
    """

    columns: dict[str, str] = field(default_factory=dict)
    texts: dict[str, list[str]] = field(default_factory=dict)
    faults: list[tuple[int, str, str | None, str]] = field(default_factory=list)
    covered: list[tuple[int, str]] = field(default_factory=list)

    def told(self, row: int, fault: Fault) -> Fault:
        """The fault with their column and their text."""
        ours = fault.column
        if ours is None or ours not in self.columns:
            return fault
        text = shown(self.texts[ours][row]).strip() if ours in self.texts else ""
        return replace(fault, column=self.columns[ours], value=text or None)
