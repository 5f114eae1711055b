"""A mapping: how one kind of file of another program is read as one of our tables.

What is declared here is filled in by a proposal (:mod:`pourstats.logs.proposing`) and carried out
by :mod:`pourstats.logs.translating`.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from dataclasses import asdict, dataclass, field, replace

from pourstats.logs import moments
from pourstats.logs.as_written import AsWritten
from pourstats.logs.files import Sheet, shown
from pourstats.logs.moments import Order
from pourstats.logs.tables import TABLES, Table

ROLES = ("at", "date", "clock", "hour", "year", "month", "day", "minute")
"""What a column can give to a time: the whole of it, or a part."""


@dataclass(frozen=True)
class Drawn:
    """What one of our columns is drawn from: theirs (several are joined by a space), and how."""

    theirs: tuple[str, ...]
    unit: str | None = None
    scale: float = 1.0


@dataclass(frozen=True)
class FileMapping:
    """How one kind of file is read.

    ``columns``: ours → what it is drawn from (for crew_time also ``site``, which finds the pour,
    and ``kind``, in or out); ``moments``: ours → role → their column (``at`` for punches);
    ``given``: ours → one value for every row; ``clock``: local, utc, standard, or an offset as
    -07:00; ``layout``: rows, or punches (one row a punch); ``kind``: table, epw or tmy3.
    """

    table: str
    columns: dict[str, Drawn]
    moments: dict[str, dict[str, str]]
    given: dict[str, str] = field(default_factory=dict)
    order: Order | None = None
    clock: str = "local"
    zone: str | None = None
    comma: bool = False
    layout: str = "rows"
    kind: str = "table"
    year: int | None = None
    name: str = ""
    by_file: dict[str, dict[str, str]] = field(default_factory=dict)
    """File name (as :func:`file_key` has it) → the site given for it, and its zone: two stations'
    files may have one header."""

    def as_json(self) -> str:
        """The mapping as text that :func:`from_json` takes."""
        return json.dumps(asdict(self), ensure_ascii=False)


def from_json(text: str) -> FileMapping:
    """The mapping that :meth:`FileMapping.as_json` wrote."""
    parts = json.loads(text)
    parts["columns"] = {
        ours: Drawn((*_listed(drawn["theirs"]),), drawn["unit"], drawn["scale"])
        for ours, drawn in parts["columns"].items()
    }
    return FileMapping(**parts)


def _listed(value: list[str]) -> list[str]:
    if not isinstance(value, list):  # a text would come apart into its letters
        raise TypeError
    return value


def is_sound(mapping: FileMapping) -> bool:
    """Whether every part of a mapping that came as text is of its kind, so that it can be used."""
    table = TABLES.get(mapping.table)
    texts = [
        mapping.name, mapping.clock, mapping.layout, mapping.kind,
        *mapping.given, *mapping.given.values(), *mapping.by_file,
        *(value for entry in mapping.by_file.values() for value in (entry["site"], entry["zone"])),
        *(theirs for roles in mapping.moments.values() for theirs in roles.values()),
        *(theirs for drawn in mapping.columns.values() for theirs in drawn.theirs),
        *(drawn.unit for drawn in mapping.columns.values() if drawn.unit is not None),
    ]  # fmt: skip
    zones = [mapping.zone, *(entry["zone"] or None for entry in mapping.by_file.values())]
    clocks = ("local", "utc", "standard")
    return (
        table is not None
        and all(is_text(text) for text in texts)
        and _fits(mapping, table)
        and all(drawn.theirs and _is_scale(drawn.scale) for drawn in mapping.columns.values())
        and mapping.order in (None, *moments.ORDERS)
        and (mapping.clock in clocks or moments.fixed_offset(mapping.clock) is not None)
        and all(zone is None or moments.zone_named(zone) is not None for zone in zones)
        and mapping.kind in ("table", "epw", "tmy3")
        and (mapping.year is None or (type(mapping.year) is int and 1970 <= mapping.year <= 2199))
        and isinstance(mapping.comma, bool)
    )


def is_text(value: object) -> bool:
    """Whether a value is a text that can be stored: half of a surrogate pair can't."""
    return isinstance(value, str) and value.encode("utf-8", "replace").decode() == value


def _is_scale(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 < value <= 1e6


def _fits(mapping: FileMapping, table: Table) -> bool:
    """Whether what a mapping fills is there in the table, each time from where the reading of such
    a file looks for it, and from there alone."""
    more = {"site", "kind"} if mapping.table == "crew_time" else set()
    times = {column.name for column in table.columns if column.kind in ("time", "date")}
    if mapping.layout == "punches":
        more, times = {*more, "at"}, {"at"} if mapping.table == "crew_time" else set()
    return (
        mapping.layout in ("rows", "punches")
        and {*mapping.columns} <= {*table.names, *more}
        and {*mapping.moments} <= times
        and (mapping.layout == "rows" or "at" in mapping.moments)
        and not (more and {*mapping.moments} & {*mapping.columns, *mapping.given})
        and all(roles and {*roles} <= {*ROLES} for roles in mapping.moments.values())
    )


def file_key(name: str) -> str:
    """What stays of a file's name from one export to the next: its letters, without the ending."""
    stem = re.sub(r"\.\w{2,5}$", "", name.lower())
    return " ".join(re.findall(r"[^\W\d_]+", stem))


def for_file(mapping: FileMapping, name: str) -> FileMapping | None:
    """The mapping with the site of that file; None where several sites are kept and the name is no
    known one's."""
    if len({entry["site"] for entry in mapping.by_file.values()}) < 2:
        return mapping
    entry = mapping.by_file.get(file_key(name))
    if entry is None:
        return None
    given = {**mapping.given, "site": entry["site"]}
    return replace(mapping, given=given, zone=entry["zone"] or None)


@dataclass(frozen=True)
class Known:
    """What the store knows that a file may lack: zones of sites, the house's zone, the pours."""

    zones: dict[str, str] = field(default_factory=dict)
    zone: str | None = None
    pours: tuple[tuple[str, str, dt.date], ...] = ()
    """(pour_id, site, date) of each."""


@dataclass
class Rows:
    """A sheet on its way: texts a column of ours, and what they were drawn from."""

    source: Sheet
    mapping: FileMapping
    known: Known
    texts: dict[str, list[str]] = field(default_factory=dict)
    written: AsWritten = field(default_factory=AsWritten)
    warnings: list[str] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    raw: list[str] = field(default_factory=list)
    beyond: dict[int, str] = field(default_factory=dict)

    def fault(self, row: int, ours: str, reason: str) -> None:
        """Set a row aside for what stands in a cell, or for what doesn't."""
        texts = self.written.texts.get(ours)
        value = shown(texts[row]).strip() or None if texts else None
        self.written.faults.append((row, ours, value, reason))

    def zone(self, row: int) -> dt.tzinfo | None:
        """The zone of a row's site: from the sites, the mapping, or the house."""
        site = self.texts["site"][row].strip() if "site" in self.texts else ""
        name = self.known.zones.get(shown(site)) or self.mapping.zone or self.known.zone
        return moments.zone_named(name) if name else None

    def keep(self, kept: list[int]) -> None:
        """Leave only these rows."""
        place = {old: new for new, old in enumerate(kept)}
        for texts in (self.texts, self.written.texts):
            for name, column in texts.items():
                texts[name] = [column[row] for row in kept]
        self.lines = [self.lines[row] for row in kept]
        self.raw = [self.raw[row] for row in kept]
        self.beyond = {place[row]: text for row, text in self.beyond.items() if row in place}
        self.written.faults = [
            (place[row], ours, value, reason)
            for row, ours, value, reason in self.written.faults
            if row in place
        ]


def column_texts(sheet: Sheet, theirs: str) -> list[str]:
    """The texts of one of their columns; blanks where the file lacks it."""
    if theirs not in sheet.header:
        return [""] * len(sheet.lines)
    texts: list[str] = sheet.columns[sheet.header.index(theirs)].to_pylist()
    return texts


def as_number(plain: str, comma: bool = False) -> float | None:
    """A figure as a logger writes it, or None."""
    text = plain.replace(",", ".") if comma and "." not in plain else plain
    if not re.fullmatch(r"[-+−]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?", text):
        return None
    number = float(text.replace("−", "-"))
    return number if math.isfinite(number) else None
