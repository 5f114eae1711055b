"""What became of the rows of a sheet, and of a whole load: counts, what was set aside, status."""

from __future__ import annotations

from dataclasses import dataclass, field

from pourstats.faults import Fault


@dataclass
class Outcome:
    """What became of the rows of one sheet; read = added + replaced + unchanged + set_aside."""

    read: int = 0
    added: int = 0
    replaced: int = 0
    unchanged: int = 0
    set_aside: int = 0
    faults: list[tuple[int, Fault]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    moved_pours: list[str] = field(default_factory=list)
    """Pours whose date or place_start was corrected, so that their rows' bare times move."""


@dataclass
class Report:
    """What a load did, as `load --json` prints it."""

    tables: dict[str, dict[str, int]] = field(default_factory=dict)
    set_aside: list[Fault] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    usable: int = 0
    unusable: int = 0
    ways: int = 0
    """Files of kept mappings among them."""

    def counts(self, table: str) -> dict[str, int]:
        """The table's counts, begun at nought."""
        names = ("read", "added", "replaced", "unchanged", "set_aside", "taken_up")
        return self.tables.setdefault(table, dict.fromkeys(names, 0))

    def add(self, table: str, outcome: Outcome) -> None:
        """Count the rows of one sheet."""
        counts = self.counts(table)
        for name in ("read", "added", "replaced", "unchanged", "set_aside"):
            counts[name] += getattr(outcome, name)
        self.set_aside += [fault for _, fault in outcome.faults]
        self.warnings += outcome.warnings

    @property
    def rows(self) -> int:
        """Rows read over all tables."""
        return sum(counts["read"] for counts in self.tables.values())

    @property
    def status(self) -> int:
        """The exit status of the command."""
        if self.unusable and not self.usable:
            return 2
        if self.rows == 0 and not self.unusable and not self.ways:
            return 1
        return 3 if self.set_aside else 0

    def as_json(self) -> dict[str, object]:
        """The contract's shape."""
        return {
            "tables": self.tables,
            "set_aside": [fault.as_json() for fault in self.set_aside],
            "warnings": self.warnings,
        }
