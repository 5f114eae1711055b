"""What stands beside a plan: the runner-up, what to watch, and why it is so."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pourstats.planning.day.choice import Choice, Day
from pourstats.planning.day.run import run
from pourstats.planning.day.search import Found

Array = NDArray[np.float64]

RARE = 0.03
"""What happens on fewer mornings than this is not worth a line."""
MOST = 6
"""Lines to watch."""


def _hm(hour: float) -> str:
    minutes = round(hour * 60.0)
    return f"{minutes // 60 % 24}:{minutes % 60:02d}"


def runner_up(day: Day, found: list[Found], date: pd.Timestamp) -> dict[str, Any] | None:
    """The next best way that differs in people or by half an hour, and when it would be best."""
    del date
    best = found[0]
    others = [
        other
        for other in found[1:]
        if not other.outcome.breaches
        and _differs(best.choice, other.choice)
        and float(np.abs(other.outcome.cost - best.outcome.cost).mean()) > 1.0
    ]
    if not others:
        return None
    other = others[0]
    more = other.outcome.cost - best.outcome.cost
    return {
        "costs_more_usd": round(float(more.mean()), 2),
        "chance_done_in_day": round(float(other.outcome.done.mean()), 3),
        "differences": differences(day, best.choice, other.choice),
        "best_if": _best_if(day, best, more),
        "starts": {
            slab.pour_id: _hm(other.choice.starts[place]) for place, slab in enumerate(day.slabs)
        },
    }


def _differs(one: Choice, other: Choice) -> bool:
    if (one.place, one.finish, one.saw) != (other.place, other.finish, other.saw):
        return True
    return any(abs(a - b) >= 0.5 for a, b in zip(one.starts, other.starts, strict=True))


def differences(day: Day, best: Choice, other: Choice) -> list[str]:
    """What another way does otherwise, in words."""
    lines = []
    for slab, one in enumerate(day.slabs):
        if abs(best.starts[slab] - other.starts[slab]) > 0.01:
            lines.append(
                f"{one.pour_id} starts at {_hm(other.starts[slab])} instead of"
                f" {_hm(best.starts[slab])}"
            )
        for task, ours, theirs in (
            ("places", best.place[slab], other.place[slab]),
            ("finishes", best.finish[slab], other.finish[slab]),
        ):
            come = [day.people[p].name for p in theirs if p not in ours]
            gone = [day.people[p].name for p in ours if p not in theirs]
            if come or gone:
                plain = {"places": "place", "finishes": "finish"}[task]
                does, left = (task if len(who) < 2 else plain for who in (come, gone))
                if come:
                    words = f"{' and '.join(come)} {does} {one.pour_id}"
                    lines.append(words + (f" instead of {' and '.join(gone)}" if gone else " too"))
                else:
                    lines.append(f"{' and '.join(gone)} no longer {left} {one.pour_id}")
        if best.saw[slab] != other.saw[slab]:
            person = other.saw[slab]
            who = "nobody" if person is None else day.people[person].name
            lines.append(f"{who} saws {one.pour_id}" + (" that day" if person is None else ""))
    return lines


def _best_if(day: Day, best: Found, more: Array) -> str:
    """The kind of morning in which the other way is the cheaper one."""
    kinds: list[tuple[str, NDArray[np.bool_]]] = []
    for slab, one in enumerate(day.slabs):
        ready = best.outcome.ready[slab]
        late, early = float(np.quantile(ready, 0.8)), float(np.quantile(ready, 0.2))
        kinds.append((f"{one.pour_id} isn't ready before {_hm(late)}", ready >= late))
        kinds.append((f"{one.pour_id} is ready by {_hm(early)}", ready <= early))
        truck = one.late_h
        slow = float(np.quantile(truck, 0.9))
        kinds.append(
            (f"the first load at {one.pour_id} is {slow * 60:.0f} minutes late", truck >= slow)
        )
    gains = [(float(more[rows].mean()), words) for words, rows in kinds if rows.sum() >= 20]
    if gains and min(gains)[0] < -5.0:
        gain, words = min(gains)
        return f"It is the better one by {-gain:.0f} dollars if {words}"
    share = float(np.mean(more < 0))
    return f"It comes out cheaper on {100 * share:.0f} mornings in a hundred"


def watch(day: Day, found: Found, date: pd.Timestamp) -> list[dict[str, str]]:
    """What decides the day, with the time by which it shows and what to do then."""
    del date
    out, choice = found.outcome, found.choice
    lines: list[tuple[float, dict[str, str]]] = []
    order = sorted(range(len(day.slabs)), key=lambda s: float(np.median(out.ready[s])))
    for place, slab in enumerate(order):
        one = day.slabs[slab]
        for later in order[place + 1 :]:
            shared = [p for p in choice.finish[slab] if p in choice.finish[later]]
            if not shared:
                continue
            other = day.slabs[later]
            # The slab's own later passes and the drive have to fit before the other is ready.
            behind = float(np.median(out.last[slab] - out.first[slab] + one.clean_h))
            limit = float(np.quantile(out.ready[later], 0.25)) - behind - other.travel_h
            if float(np.mean(out.first[slab] > limit)) < RARE:
                continue
            who = day.people[shared[0]].name
            rest = [day.people[p].name for p in choice.finish[slab] if p != shared[0]]
            able = [
                day.people[p].name for p in day.able("finish") if day.people[p].name not in (who,)
            ]
            do = (
                f"send {who} to {other.pour_id} first; {' and '.join(rest)} stay"
                if rest
                else f"get {' or '.join(able[:2])} to {other.pour_id}"
                if able
                else f"call for a finisher for {other.pour_id}"
            )
            lines.append(
                (
                    limit,
                    {
                        "if": f"{one.pour_id} hasn't taken the machine by {_hm(limit)}",
                        "do": do,
                        "because": f"{other.pour_id} may be ready at"
                        f" {_hm(float(np.quantile(out.ready[later], 0.1)))}, likely at"
                        f" {_hm(float(np.median(out.ready[later])))}",
                    },
                )
            )
    for slab, one in enumerate(day.slabs):
        if one.happened.first is not None:
            continue
        early = float(np.quantile(out.ready[slab], 0.1))
        away = [
            p
            for p in choice.finish[slab]
            if any(
                s.person == p and s.road is not None and s.road[1] == slab
                and float(np.median(s.start)) > float(np.median(out.place_end[slab]))
                for s in out.stretches
            )
        ]  # fmt: skip
        if away:
            names = " and ".join(day.people[p].name for p in away)
            lines.append(
                (
                    early,
                    {
                        "if": f"{one.pour_id} takes a boot print before {_hm(early)}",
                        "do": f"{names}: drive there at once, the drive is"
                        f" {one.travel_h * 60:.0f} minutes",
                        "because": "one day in ten it is ready that early",
                    },
                )
            )
        slow = choice.starts[slab] + float(np.quantile(one.late_h, 0.9))
        rest_ = [s for s in order if choice.starts[s] > choice.starts[slab] + 0.1]
        more = ""
        if rest_:
            shared_place = [s for s in rest_ if set(choice.place[s]) & set(choice.place[slab])]
            if shared_place:
                following = day.slabs[shared_place[0]].pour_id
                more = f", and move {following}'s first load back by as much"
        if one.happened.begin is None and one.happened.truck is None:
            now = day.now
            late = now is not None and slow <= now
            when = "yet" if late else f"by {_hm(slow)}"
            due = f"it was due at {_hm(choice.starts[slab])}"
            lines.append(
                (
                    slow,
                    {
                        "if": f"the first load at {one.pour_id} isn't there {when}",
                        "do": f"call the plant{' now' if late else ''}{more}",
                        "because": due if late else "nine days in ten it is there by then",
                    },
                )
            )
        if choice.saw[slab] is not None and out.opens[slab] is not None:
            latest = one.latest - one.saw_h
            if float(np.mean(out.opens[slab] > latest)) > 0.1:  # type: ignore[operator]
                lines.append(
                    (
                        latest - 0.5,
                        {
                            "if": f"{one.pour_id} still ravels at {_hm(latest)}",
                            "do": "leave it for the morning",
                            "because": "it can't be cut by the end of the day after that",
                        },
                    )
                )
    return [line for _, line in sorted(lines, key=lambda pair: pair[0])][:MOST]


def why(day: Day, found: Found) -> list[str]:
    """What the plan costs, and what another start would."""
    out, choice = found.outcome, found.choice
    lines = [
        f"People {out.labor_usd.mean():.0f} dollars ({out.overtime_h:.1f} h of overtime), waiting"
        f" trucks {out.truck_usd.mean():.0f}, mishaps and late hours {out.risk_usd.mean():.0f},"
        " expected."
    ]
    for slab, one in enumerate(day.slabs):
        if one.wet:
            continue
        if one.fixed is not None:
            lines.append(f"{one.pour_id} starts at {_hm(one.fixed)} as agreed.")
            continue
        for shift, words in ((-1.0, "an hour earlier"), (1.0, "an hour later")):
            start = choice.starts[slab] + shift
            if not one.starts[0] - 1e-9 <= start <= one.starts[-1] + 1e-9:
                continue
            other = run(day, choice.with_start(slab, start))
            if other.breaches:
                lines.append(f"{one.pour_id} {words} doesn't fit with the rest of the day.")
            else:
                more = float((other.cost - out.cost).mean())
                lines.append(
                    f"{one.pour_id} {words} would cost {abs(more):.0f} dollars"
                    f" {'more' if more >= 0 else 'less'} with the same people."
                )
    return lines
