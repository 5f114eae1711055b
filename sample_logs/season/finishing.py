"""After the bull float: when the crew gets on the slab, every pass, and the saw."""

from __future__ import annotations

from season.chance import Chance
from season.crew import Day, can_saw, slowness
from season.slabs import BAD_DAY, Slab
from season.stiffening import Stiffening, boot_print_in
from season.valley import Valley

PASS_AT = {"hard_trowel": (1.0, 1.24, 1.44, 1.61, 1.75), "trowel": (1.0, 1.26, 1.47, 1.65),
           "float": (1.0, 1.28), "broom": (0.50,)}  # fmt: skip
FT2_PER_H = {"walk_behind": 1650.0, "ride_on": 5600.0, "broom": 900.0}
SAW_FT_PER_H = {"early_entry": 165.0, "conventional": 145.0}
SAW_AT = {"early_entry": 1.50, "conventional": 2.60}
LAST_LIGHT_H = 20.5


class Finishing:
    """The finishing of one slab: its people, its machine, and the chance of the day."""

    def __init__(self, valley: Valley, day: Day, slab: Slab, finishers: list[str]) -> None:
        self.valley, self.day, self.slab, self.finishers = valley, day, slab, finishers
        self.chance = Chance(valley.seed, f"finishing {slab.pour_id}")
        self.stiff = Stiffening(valley, slab)
        self.machine = "ride_on" if slab.area_ft2 >= 2300 else "walk_behind"
        self.broom = slab.finish == "broom"
        pace = FT2_PER_H["broom" if self.broom else self.machine]
        if self.machine == "walk_behind" and slab.area_ft2 > 1150 and not self.broom:
            pace *= 1.6  # two machines
        slower = slowness(slab.day, slab.poured) * slab.spread
        self.pass_min = slab.area_ft2 / pace * 60 * slower
        self.before_end = 0
        self.breaks = slab.day == BAD_DAY or ("machine" in slab.trouble and not self.broom)

    def targets(self) -> list[float]:
        """At which stiffness each pass is wanted."""
        count = {"hard_trowel": self.chance.pick((4, 5, 3), (5, 3, 2)),
                 "trowel": self.chance.pick((3, 4, 2)), "float": self.chance.pick((2, 1)),
                 "broom": 1}[self.slab.finish]  # fmt: skip
        return list(PASS_AT[self.slab.finish][:count])

    def arrive(self, first_ready: int) -> int:
        """Everyone who finishes is at the slab; when the first of them is."""
        here = []
        for person in self.finishers:
            free, day = self.day.free[person], self.day
            if person in self.slab.placers and day.last.get(person) == self.slab.pour_id:
                here.append(free)
                continue
            leave = max(free, self.slab.times["bull_float_end"],
                        first_ready - 20 - day.distance(person, self.slab))  # fmt: skip
            if day.distance(person, self.slab):
                here.append(day.go(self.slab, person, leave))
            else:
                day.free[person] = leave
                here.append(leave)
        return min(here)

    def stand_by(self, person: str, until: int, wait_for: str = "set") -> None:
        """Wait until then, with a lunch (unpaid) or a paid break if it is long."""
        day, slab, chance = self.day, self.slab, self.chance
        start = day.free[person]
        if until - start >= 95 and chance.yes(0.55):
            half = start + round((until - start) * chance.between(0.3, 0.5))
            day.work(slab, person, "wait", start, half, wait_for)
            day.free[person] = half + 30
        elif until - start >= 60 and chance.yes(0.5):
            half = start + round((until - start) * chance.between(0.3, 0.6))
            day.work(slab, person, "wait", start, half, wait_for)
            day.work(slab, person, "wait", half, half + 15, "break")
        day.work(slab, person, "wait", day.free[person], until, wait_for)

    def between(self, person: str, until: int, wait_for: str) -> None:
        """The gap before a pass: edges by hand first, then stand by."""
        start = self.day.free[person]
        edges = 0 if self.broom else round(self.chance.between(6, 18))
        if until - start <= edges + 6:
            self.day.work(self.slab, person, "finish", start, until)
            return
        self.day.work(self.slab, person, "finish", start, start + edges)
        self.stand_by(person, until, wait_for)

    def log(self, begin: int, end: int, tool: str, **more: object) -> None:
        """Write a pass down."""
        by_hand = tool in ("hand", "broom")
        self.slab.passes.append({
            "tool": tool, "machine": "" if by_hand else self.machine, "part": "whole",
            "start": begin, "end": end, "worker": self.finishers[0], "print": None, **more,
        })  # fmt: skip

    def chase(self) -> int:
        """On a big slab the machine starts on the first end before the last is struck off."""
        slab, lead = self.slab, self.finishers[0]
        first_end = self.day.free[lead] + round(self.chance.between(2, 6))
        half = round(self.pass_min * 0.55)
        self.log(first_end, first_end + half, self.tool(0, 4), part="first_end",
                 **{"print": boot_print_in(1.0)})  # fmt: skip
        self.between(lead, first_end, "set")
        self.day.work(slab, lead, "finish", first_end, first_end + half)
        last = Stiffening(self.valley, slab, 0.8)
        begin = max(first_end + half + 2, slab.times["bull_float_end"] + 3, last.when(1.0))
        for person in self.finishers:
            self.between(person, begin, "set")
            start = max(begin, self.day.free[person])
            self.day.work(slab, person, "finish", start, begin + half)
        self.log(begin, begin + half, self.tool(0, 4), part="last_end",
                 **{"print": boot_print_in(last.share(begin))})  # fmt: skip
        self.before_end = begin + half
        return first_end

    def tool(self, nth: int, count: int) -> str:
        """What is on the machine on that pass."""
        if self.broom:
            return "broom"
        if nth == 0:
            return "float_blades" if count < 4 else "pan"
        if self.slab.finish == "float":
            return "float_blades"
        return "finish_blades" if nth == count - 1 else "combination_blades"

    def first_start(self, ready: int) -> tuple[int, str]:
        """When the crew gets on it, and what held it up."""
        slab, chance = self.slab, self.chance
        crew_at = self.arrive(ready)
        habit = chance.between(-6, 10) + (chance.between(8, 25) if chance.yes(0.12) else 0)
        start = max(round(ready + habit), slab.times["bull_float_end"] + 6)
        if self.slab.day == BAD_DAY:
            start = max(start, ready + 35)
        if crew_at + 4 <= start:
            return start, "no"
        late = crew_at + round(chance.between(4, 9))
        return late, "other_slab" if late - ready > 8 else "no"

    def edge_first(self, start: int) -> None:
        """Sometimes the edges are floated by hand just before the machine goes on."""
        edge = min(24, round(0.010 * self.slab.area_ft2 + self.chance.between(6, 12)))
        free = max(self.day.free[x] for x in self.finishers)
        if not self.broom and self.chance.yes(0.45) and start - edge > free + 5:
            for person in self.finishers:
                self.stand_by(person, start - edge)
                self.day.work(self.slab, person, "finish", start - edge, start)
            self.log(start - edge, start, "hand", part="edges", worker=self.finishers[-1])

    def dry_again(self, at: int) -> int:
        """When the rain on an open slab has stopped; now, if there is none."""
        site, open_air = self.slab.site, self.slab.exposure in ("sun", "mixed")
        while open_air and self.valley.rained(site, at, at + 1) > 0.02:
            at += 15
        return at

    def one_pass(self, nth: int, target: float, begin: int, why: str, count: int) -> None:
        """One pass over the whole slab, with what the day puts in its way."""
        slab, chance = self.slab, self.chance
        ready = self.stiff.when(target)
        minutes = self.pass_min * chance.factor(0.08) * (1.0 if nth == 0 else 0.9)
        tool = self.tool(nth, count)
        more: dict[str, object] = {}
        if self.breaks and nth == 1:
            begin, why = begin + round(chance.between(20, 35)), "machine"
            if slab.day == BAD_DAY:
                begin += 30
                tool, minutes = "hand", minutes * 2.2
                slab.notes = "ride-on quit, slab got away on us, then it rained"
        dry = self.dry_again(begin)
        if dry > begin:
            begin, why, minutes = dry + 10, "rain", minutes * 1.6
            if "rain" not in slab.trouble:
                slab.trouble.append("rain")
        if slab.day == BAD_DAY and nth >= 2:
            more["machine"] = "walk_behind"
        late = self.stiff.share(begin) - target
        if late > 0.25 and not self.broom:
            minutes *= 1 + 0.8 * min(late, 0.6)
        end = begin + max(8, round(minutes))
        for rank, person in enumerate(self.finishers):
            if rank < 2 or nth < 2 or slab.day == BAD_DAY:
                self.between(person, begin, "weather" if why == "rain" else "set")
                start = max(begin, self.day.free[person])
                self.day.work(slab, person, "finish", start, end)
        if nth < 2 and not self.broom and tool != "hand":
            more["print"] = boot_print_in(self.stiff.share(begin))
        if why != "no" and begin - ready > 8:
            more["ready"] = ready
        self.log(begin, end, tool, held=why, **more)
        self.before_end = end

    def run(self) -> None:
        """From the bull float to the last one off."""
        slab, targets = self.slab, self.targets()
        ready = self.stiff.when(targets[0])
        if slab.chaser:
            slab.times["machine_on"] = self.chase()
        else:
            start, why = self.first_start(ready)
            slab.first_late_min = start - max(ready, slab.times["bull_float_end"])
            slab.times["machine_on"] = start
            self.edge_first(start)
            self.one_pass(0, targets[0], start, why, len(targets))
            slab.times["machine_on"] = int(slab.passes[-1]["start"])
        for nth, target in list(enumerate(targets))[1:]:
            begin = self.stiff.when(target) + round(self.chance.between(-4, 7))
            self.one_pass(nth, target, max(self.before_end + 2, begin), "no", len(targets))
        slab.pass_count = len(targets)
        slab.times["passes_done"] = self.before_end
        slab.finish_hands = len(self.finishers)
        self.saw()
        for person in self.finishers:
            begin = self.day.free[person]
            end = begin + round(self.chance.between(14, 26))
            self.day.work(slab, person, "clean_up", begin, end)

    def saw(self) -> None:
        """Cut the joints while there, or leave it to a trip back."""
        slab, chance = self.slab, self.chance
        if slab.saw_type in ("none", "tooled"):
            return
        slab.saw_length_ft = 5.0 * round(slab.area_ft2 * 2 / slab.joint_spacing_ft * 0.82 / 5)
        minutes = slab.saw_length_ft / SAW_FT_PER_H[slab.saw_type] * 60 * chance.factor(0.1) + 8
        ready = self.stiff.when(SAW_AT[slab.saw_type] * chance.between(0.93, 1.12))
        begin = max(self.before_end + round(chance.between(6, 20)), ready)
        if begin - self.before_end > 80 or begin % 1440 > LAST_LIGHT_H * 60:
            slab.saw_trip = (begin, round(minutes))
            return
        sawyer = next((x for x in self.finishers if can_saw(x, slab.day)), self.finishers[0])
        self.stand_by(sawyer, begin)
        begin = max(begin, self.day.free[sawyer])
        self.day.work(slab, sawyer, "saw", begin, begin + round(minutes))
        slab.times["saw_start"], slab.times["saw_end"] = begin, begin + round(minutes)


def finish_slab(valley: Valley, day: Day, slab: Slab, finishers: list[str]) -> None:
    """Fill the slab's times, its passes, and the finishers' day."""
    Finishing(valley, day, slab, finishers).run()
