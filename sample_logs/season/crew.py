"""The crew: who they are, and where each of them is through a day."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field

from season.chance import Chance
from season.slabs import BAD_DAY, Slab
from season.valley import YEAR, drive_min, spot

# worker, since, skills, pay: blank since means always
PEOPLE = (
    ("RB", "", "place;finish;saw", 37.0),
    ("MK", "", "place;finish;saw", 33.5),
    ("TJ", "", "place;finish", 29.0),
    ("LO", "", "place;saw", 27.0),
    ("DV", "", "place", 23.0),
    ("DV", "2025-08-18", "place;finish", 25.0),
    ("SP", "2025-07-07", "place", 19.5),
    ("SP", "2025-10-06", "place;saw", 21.0),
)
NEW_HAND, NEW_HAND_SINCE = "SP", dt.date(YEAR, 7, 7)
DV_FINISHES_SINCE = dt.date(YEAR, 8, 18)
AWAY = {("TJ", dt.date(YEAR, 8, 4) + dt.timedelta(days=k)) for k in range(6)}
AWAY |= {("MK", dt.date(YEAR, 9, 8) + dt.timedelta(days=k)) for k in range(5)}


def present(seed: int, day: dt.date, two_slabs: bool) -> list[str]:
    """Who is there that day, oldest hand first; a day with two slabs is moved if one is sick."""
    chance = Chance(seed, f"present {day}")
    people = ["RB", "MK", "TJ", "LO", "DV"]
    if day >= NEW_HAND_SINCE:
        people.append(NEW_HAND)
    there = []
    for person in people:
        sick = chance.yes(0.0 if person == "RB" else 0.035)
        if (person, day) not in AWAY and (not sick or two_slabs or day == BAD_DAY):
            there.append(person)
    return there


def can_finish(person: str, day: dt.date) -> bool:
    """Whether this person runs a machine."""
    return person in ("RB", "MK", "TJ") or (person == "DV" and day >= DV_FINISHES_SINCE)


def can_saw(person: str, day: dt.date) -> bool:
    """Whether this person cuts joints."""
    return person in ("RB", "MK", "LO") or (person == "SP" and day >= dt.date(YEAR, 10, 6))


def slowness(day: dt.date, poured: int) -> float:
    """How much longer work takes than in late autumn: the crew shakes down over some 25 pours."""
    slower = 1.0 + 0.32 * math.exp(-poured / 20)
    weeks = (day - NEW_HAND_SINCE).days / 7
    if weeks >= 0:
        slower *= 1 + 0.05 * math.exp(-weeks / 3)
    return slower


def strength_of(people: list[str], day: dt.date) -> float:
    """Hands that count for placing: a new one counts half at first."""
    total = float(len(people))
    if NEW_HAND in people:
        total -= 0.5 * math.exp(-(day - NEW_HAND_SINCE).days / 30)
    return total


@dataclass
class Stretch:
    """One person's stretch of time on one task."""

    pour_id: str
    worker: str
    task: str
    wait_for: str
    start: int
    end: int


@dataclass
class Day:
    """Where everyone is, and until when they are busy."""

    people: list[str]
    begins: int
    free: dict[str, int] = field(default_factory=dict)
    where: dict[str, str] = field(default_factory=dict)
    last: dict[str, str] = field(default_factory=dict)
    latest: dict[str, Stretch] = field(default_factory=dict)
    stretches: list[Stretch] = field(default_factory=list)

    def __post_init__(self) -> None:
        for person in self.people:
            self.free.setdefault(person, self.begins)
            self.where.setdefault(person, "shop")

    def work(
        self, slab: Slab, person: str, task: str, start: int, end: int, wait_for: str = ""
    ) -> None:
        """Put a stretch on a person's day; nobody is in two places."""
        if end <= start:
            return
        if start < self.free[person]:
            raise ValueError(f"{person} is busy until {self.free[person]}, asked for {start}")
        before = self.latest.get(person)
        same = before is not None and (slab.pour_id, task, wait_for, start) == (
            before.pour_id, before.task, before.wait_for, before.end,
        )  # fmt: skip
        if before is not None and same:
            before.end = end
        else:
            self.latest[person] = Stretch(slab.pour_id, person, task, wait_for, start, end)
            self.stretches.append(self.latest[person])
        self.free[person] = end
        self.last[person] = slab.pour_id

    def distance(self, person: str, slab: Slab) -> int:
        """Minutes from where the person is to the slab."""
        here = self.where[person]
        return 0 if here == slab.site else round(drive_min(spot(here), spot(slab.site)))

    def go(self, slab: Slab, person: str, leave: int, slower: int = 0) -> int:
        """Drive to the slab's site; the time of arrival."""
        minutes = self.distance(person, slab)
        if minutes:
            minutes += slower
            self.work(slab, person, "travel", leave, leave + minutes)
        self.where[person] = slab.site
        return leave + minutes

    def home(self, slabs: dict[str, Slab], person: str) -> None:
        """Drive to the shop; the drive belongs to the last slab worked on."""
        if person in self.last and self.where[person] != "shop":
            slab = slabs[self.last[person]]
            minutes = round(drive_min(spot(self.where[person]), spot("shop")))
            self.work(slab, person, "travel", self.free[person], self.free[person] + minutes)
            self.where[person] = "shop"
