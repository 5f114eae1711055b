"""Whether a day is too much for its people, said first: for whom, until when, and what to change.

The best plan of a day may still be none that a foreman would take: sixteen hours of work, a slab
that is off after its site's end, a finish likely lost, wet concrete that nobody can get to.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pourstats.planning.day.advice import differences
from pourstats.planning.day.built import Builder
from pourstats.planning.day.choice import Choice, Day
from pourstats.planning.day.fetching import few_vehicles
from pourstats.planning.day.fitting import Fit
from pourstats.planning.day.mornings import clock_text, mean, middle
from pourstats.planning.day.people import SKILLS, Person
from pourstats.planning.day.run import run
from pourstats.planning.day.search import Found, bettered, thinned
from pourstats.planning.day.unplanned import reason_of

LONG_H, TOO_LONG_H = 12.0, 14.0
"""Paid hours of one person that are a long day, and too long a one. Common practice, no source."""
RUNS = 200
"""Ways tried of each day that might be the better one."""
SHARED_OUT = 3.0
"""Premium of overtime in the search for a day with shorter hours."""
LOST = 0.2
"""Share of mornings with a finish lost that nobody would take on."""


def too_much(day: Day, fit: Fit) -> list[str]:
    """Sentences to read before anything else, for the slabs that are in the plan; none if it is a
    day like others. The first says what is wrong, the others what would mend it.
    """
    if not fit.kept or not fit.found:
        return []
    kept, best = day.only(fit.kept), fit.found[0]
    wrong = _wrong(kept, best)
    tired = _tired(best, LONG_H)
    if not wrong and not tired:
        return []
    lines = []
    if tired:
        names = _all([kept.people[p].name for p in tired])
        hours = max(middle(best.outcome.paid_h[p]) for p in tired)
        spans = [_span(best, p) for p in tired]
        out, back = min(span[0] for span in spans), max(span[1] for span in spans)
        work = "works" if len(tired) == 1 else "work"
        wrong.append(
            f"{names} {work} over {np.floor(hours):.0f} hours, between {clock_text(out)} and"
            f" {clock_text(back)}"
        )
    heavy = len(wrong) > bool(tired) or bool(_tired(best, TOO_LONG_H))
    lines.append(f"{'Too much for one day' if heavy else 'A long day'}: {'; '.join(wrong)}.")
    fits = "it fits, and " if len(wrong) > bool(tired) else ""
    return [*lines, *_instead(day, fit, fits)]


def _wrong(day: Day, found: Found) -> list[str]:
    """What nobody would take on, long hours apart."""
    out, wrong = found.outcome, []
    if any(not breach.startswith("late") for breach in out.breaches):
        wrong.append(reason_of(day, found))
    for slab, one in enumerate(day.slabs):
        if one.happened.last is not None:
            continue
        last = middle(out.last[slab])
        if last > one.latest:
            wrong.append(
                f"{one.pour_id} is likely finished at {clock_text(last)}, its end is"
                f" {clock_text(one.latest)}"
            )
        elif mean(out.lost[slab]) > LOST:
            wrong.append(
                f"on {10 * mean(out.lost[slab]):.0f} days in ten the machine gets on"
                f" {one.pour_id} too late"
            )
    return wrong


def _tired(found: Found, over_h: float) -> list[int]:
    """People with more paid hours than this on most mornings, or out for two hours more still."""
    out = found.outcome
    return [
        person
        for person, hours in out.paid_h.items()
        if middle(hours) > over_h
        or (out.stretches and _span(found, person)[1] - _span(found, person)[0] > over_h + 2.0)
    ]


def _span(found: Found, person: int) -> tuple[float, float]:
    """When somebody leaves the shop, and when he is back."""
    own = [s for s in found.outcome.stretches if s.person == person]
    return (
        min(float(np.nanmedian(s.start)) for s in own),
        max(float(np.nanmedian(s.end)) for s in own),
    )


def _instead(day: Day, fit: Fit, fits: str) -> list[str]:
    """Other parts, a slab less, a hand more: each only where it was tried and mends the day."""
    kept, best = day.only(fit.kept), fit.found[0]
    lines = []
    spread = _tried(kept, best.choice)
    if spread is not None:
        more = max(mean(run(kept, spread.choice).cost - best.outcome.cost), 0.0)
        told = "; ".join(differences(kept, best.choice, spread.choice))
        lines.append(
            f"For {more:.0f} dollars more {fits}nobody works over {_longest(spread):.0f} h: {told}."
        )
    free = [place for place, slab in enumerate(kept.slabs) if not slab.wet]
    if len(kept.slabs) > 1 and free:
        # Rather keep what is agreed on: it is tried only where nothing else would do.
        for agreed in (False, True):
            ways = []
            for place in (p for p in free if (kept.slabs[p].fixed is not None) is agreed):
                rest = [other for other in range(len(kept.slabs)) if other != place]
                found = _tried(kept.only(rest), _of(best.choice, rest))
                if found is not None:
                    ways.append((_longest(found), place))
            if ways:
                hours, place = min(ways)
                name = kept.slabs[place].pour_id
                lines.append(f"With {name} on another day {fits}nobody works over {hours:.0f} h.")
                break
    if spread is None and few_vehicles(kept):
        rules = replace(kept.rules, vehicles=kept.rules.vehicles + 1)
        found = _tried(replace(kept, rules=rules), best.choice)
        if found is not None:
            lines.append(f"With one more vehicle {fits}nobody works over {_longest(found):.0f} h.")
    cost = max(who.usd_h for who in day.people)
    helped = replace(
        kept,
        people=(*day.people, Person("one more", SKILLS, cost)),
        week_h=(*day.week_h, 0.0) if day.week_h else (),
    )
    found = None if spread is not None else _tried(helped, best.choice)
    if found is not None:
        lines.append(
            f"With one more hand who can finish {fits}nobody works over {_longest(found):.0f} h."
        )
    if lines:
        return lines
    if not free:
        return ["One hand more doesn't mend it, and the concrete is in: get what people you can."]
    if len(fit.kept) == 1:
        return ["One hand more doesn't mend it: more people, an earlier start or another day."]
    return ["Neither one slab less nor one hand more mends it: put two of them on other days."]


def _longest(found: Found) -> float:
    hours = [middle(h) for h in found.outcome.paid_h.values()]
    return float(np.ceil(max(hours, default=0.0)))


def _of(choice: Choice, rest: list[int]) -> Choice:
    """The part of a way that some of the slabs have."""
    return Choice(
        tuple(choice.starts[i] for i in rest),
        tuple(choice.place[i] for i in rest),
        tuple(choice.finish[i] for i in rest),
        tuple(choice.saw[i] for i in rest),
    )


def _tried(day: Day, begun: Choice) -> Found | None:
    """The best way to do a changed day, where it is one that a foreman would take."""
    # Dear hours past eight share the day out more evenly.
    rules = replace(day.rules, overtime_premium=max(day.rules.overtime_premium, SHARED_OUT))
    dear = replace(day, rules=rules)
    ways = bettered(dear, [begun, *Builder(thinned(dear)).all_starts(RUNS // 2)], RUNS)
    if ways[0].outcome.breaches or _wrong(day, ways[0]):
        return None
    return None if _tired(ways[0], LONG_H) else ways[0]


def _all(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
