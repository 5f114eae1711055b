"""One thing wrong in a log: where it stands, what stands there, and what to do about it."""

from __future__ import annotations

from dataclasses import asdict, dataclass


@dataclass(frozen=True)
class Fault:
    """A rule that a cell, a row or a file broke; a value, never raised.

    ``line`` is the file's line or the sheet's row (1 = first), None for a whole file.
    """

    file: str
    line: int | None
    column: str | None
    value: str | None
    reason: str
    sheet: str | None = None

    def __str__(self) -> str:
        place = self.file
        if self.sheet is not None:
            place += f", sheet {self.sheet}"
        if self.line is not None:
            place += f", line {self.line}"
        if self.column is not None:
            place += f", {self.column}"
        return f"{place}: {self.reason}"

    def as_json(self) -> dict[str, object]:
        """The entry as `load --json` prints it."""
        return asdict(self)


def legible(name: object) -> str:
    """A file's name or path as a text that can be stored and printed: bytes of it that are no
    UTF-8, as older systems write accents, come out as ``\\udcf1``."""
    return str(name).encode("utf-8", "backslashreplace").decode()


class Refusal(Exception):  # noqa: N818 - it is an answer, not a mishap
    """A call, a file or a store that can't be used; the text says what to do instead.

    ``status`` is the command's exit status: 1 nothing to work with, 2 can't be used.
    """

    def __init__(self, reason: str, status: int = 2) -> None:
        super().__init__(reason)
        self.status = status
