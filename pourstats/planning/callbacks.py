"""Callbacks: the whole picture, which habit to change, and which floors to look at."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from pourstats.learning.callbacks.features import FEATURES, beside
from pourstats.learning.callbacks.groups import defect_counts, fault_rates, groupings
from pourstats.learning.callbacks.looks import DOUBLED, POWER
from pourstats.learning.callbacks.rare import watch
from pourstats.learning.callbacks.rates import LEVEL, cost_interval, group_rates, rates
from pourstats.learning.callbacks.record import (
    blank_calls,
    counting_ages,
    dearest_call,
    pours_record,
    priced_calls,
    rule,
)
from pourstats.learning.callbacks.risk import (
    PRIOR_M,
    PRIOR_ODDS_RATIO_95,
    TEST_M,
    Effect,
    Risk,
    correction,
    risk,
)
from pourstats.learning.callbacks.waiting import still_to_come
from pourstats.learning.callbacks.year import (
    LEAST_CALLS,
    before_first_winter,
    luck_limits,
    this_year,
    time_to_call,
)
from pourstats.logs.defects import DEFECTS
from pourstats.planning.habits import HABITS

PEOPLE = ("lead",)
"""Groupings by person: counts and intervals only, in the order of the alphabet, never marked."""
COUNTED = ("group", "pours", "pours_called_back", "callbacks", "rate", "rate_p05", "rate_p95",
           "young_pours", "young_callbacks")  # fmt: skip
"""What is said of them."""
MARKED = 1.5
"""A floor is marked from this many times the usual chance on, if a habit told of is among it."""
GUIDANCE_MARKS = 2
"""So many things against published guidance mark a floor while the record is silent."""


def callback_picture(
    frames: Mapping[str, pd.DataFrame], house: Mapping[str, object]
) -> dict[str, Any]:
    """What `pourstats callbacks --json` prints, and what page and sheet draw.

    ``frames`` are the log tables and measures of learning.callbacks.record.FRAMES by name, in house
    units; ``house`` the house rules that are set. Pure: the same log gives the same picture. Money
    is in USD; shares are 0 to 1; intervals are 90 % two-sided; unknown is None.
    """
    pours = pours_record(frames, house)
    if not len(pours):
        return {"state": "no_pours"}
    age_limit = age_limit_min(house)
    whole = rates(pours)
    found, values = risk(frames, pours, age_limit)
    calls = priced_calls(frames, house)
    south = (rule(house, "latitude") or 0.0) < 0.0
    picture: dict[str, Any] = {
        "state": _state(whole),
        "level": LEVEL,
        "counts_at_days": dict(zip(("indoors", "outdoors"), counting_ages(house), strict=True)),
        "whole": whole,
        "cost_per_yd3": cost_interval(pours),
        "blank_calls": blank_calls(pours, calls),
        "dearest_call": dearest_call(pours, calls),
        "still_to_come": {
            **still_to_come(pours),
            "outdoors_before_first_winter": before_first_winter(pours, south),
        },
        "time_to_call": time_to_call(pours),
        "this_year": this_year(pours, south),
        "watch": watch(pours),
        "advice": _advice(found),
        "risk": _risk(found),
        "floors": _floors(found, values, pours),
        "by": {
            **_by(frames, pours, age_limit, whole["rate"]),
            "fault": fault_rates(pours, calls),
        },
        "defects": _defects(defect_counts(pours, calls)),
    }
    return {name: plain(part) for name, part in picture.items()}


def floor_outlook(
    frames: Mapping[str, pd.DataFrame], house: Mapping[str, object], pour_id: str
) -> dict[str, Any] | None:
    """One pour's row of the picture's ``floors``, with ``state``: waiting (too young to count, not
    called back), called_back or counted. The chance and its interval, from all floors so far, are
    told of a waiting one alone; those of the others are None, as what came of them is known.

    Takes frames and house as :func:`callback_picture`. None for a pour that isn't logged.
    """
    pours = pours_record(frames, house)
    mine = (pours["pour_id"].astype(str) == pour_id).to_numpy(bool)
    if not mine.any():
        return None
    found, values = risk(frames, pours, age_limit_min(house), sizes=False)
    about = pours[mine].iloc[0]
    state = "called_back" if about["called_back"] else "counted"
    if state == "counted" and not about["old_enough"]:
        state = "waiting"
    (row,) = outlooks(
        found, values[mine].reset_index(drop=True), beside(pours)[mine].reset_index(drop=True)
    )
    if state != "waiting":
        row = {**row, "chance": None, "p05": None, "p95": None, "look_at": None}
    told = {"pour_id": pour_id, "state": state, **row, "floors": len(pours)}
    return {name: plain(part) for name, part in {**told, "called_back": found.called}.items()}


def age_limit_min(house: Mapping[str, object]) -> float:
    """The house's oldest concrete, minutes."""
    return rule(house, "age_limit_min") or 90.0


def _state(whole: Mapping[str, Any]) -> str:
    if not whole["pours"]:
        return "too_young"
    return "no_calls" if not whole["callbacks"] else "calls"


def _risk(found: Risk) -> dict[str, Any]:
    return {
        "floors": found.pours,
        "called_back": found.called,
        "fitted": found.model is not None,
        "correction": correction(found.looks),
        "test": {"family": "log-F", "m": TEST_M, "sides": 1},
        "prior": {
            "family": "log-F",
            "m": PRIOR_M,
            "odds_ratio_95": [1 / PRIOR_ODDS_RATIO_95, PRIOR_ODDS_RATIO_95],
        },
        "shows": {"odds_ratio": DOUBLED, "power": POWER},
        "effects": [
            {**vars(effect), "state": effect_state(effect), "so_words": HABITS[effect.name].so,
             "otherwise_words": HABITS[effect.name].otherwise}
            for effect in found.effects
        ],
    }  # fmt: skip


def effect_state(effect: Effect) -> str:
    """Where a habit stands: told, cant_tell, no_sign, one_sided or not_logged.

    no_sign: the record's own interval leaves doubled odds out.
    one_sided: every floor logged has it, or none.
    """
    if effect.told:
        return "told"
    if not effect.so + effect.not_so:
        return "not_logged"
    if not min(effect.so, effect.not_so):
        return "one_sided"
    if effect.alone_p95 is not None and effect.alone_p95 < DOUBLED:
        return "no_sign"
    return "cant_tell"


def _advice(found: Risk) -> list[dict[str, Any]]:
    """What to change, the surest first; if nothing stands, the one thing to go on with."""
    advice = [
        {
            "do": HABITS[effect.name].do,
            "because": _because(effect),
            "source": f"your own record; {HABITS[effect.name].source}",
            "habit": effect.name,
        }
        for effect in found.effects
        if effect.told
    ]
    if advice:
        return advice
    waiting = [
        effect
        for effect in found.effects
        if effect_state(effect) == "cant_tell" and effect.more_pours
    ]
    blank = [e.name for e in found.effects if effect_state(e) == "not_logged"]
    looks = "one look" if found.looks == 1 else f"{found.looks} looks"
    same = [effect for effect in found.effects if effect_state(effect) == "one_sided"]
    if found.looks:
        because = (
            f"In {looks} no habit stands out from luck, with {found.called} floors called back so"
            " far."
        )
    elif same and found.called >= LEAST_CALLS:
        habit = HABITS[same[0].name]
        which = habit.so if same[0].so else habit.otherwise
        because = (
            f"There is nothing to compare: all {same[0].so + same[0].not_so} floors that tell were"
            f" {which}. A few floors done the other way would begin to show."
        )
    else:
        because = "Too few floors, or calls, to look for habits yet."
    empty = sum(effect_state(effect) == "no_sign" for effect in found.effects)
    if empty:
        because += f" In {empty} of them doubled odds are unlikely by now."
    if waiting:
        because += _next_to_tell(waiting[0])
    missing = list(dict.fromkeys(HABITS[name].log for name in blank))[:3]
    log = f", and log {_listed(missing)}" if missing else ""
    return [
        {
            "do": f"Too early to say: keep to published practice{log}.",
            "because": because,
            "source": "your own record",
            "habit": None,
        }
    ]


def _next_to_tell(effect: Effect) -> str:
    doubled, tripled = effect.more_pours or 0, effect.more_pours_tripled or 0
    strong = f"{round_up(tripled):,} tripled ones" if tripled else "tripled ones would show by now"
    return (
        f" Floors {HABITS[effect.name].so} can be told next: about {round_up(doubled):,} more pours"
        f" would show doubled odds, {strong}."
    )


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _because(effect: Effect) -> str:
    habit = HABITS[effect.name]
    against = (
        "the driest third of days against the mildest is"
        if effect.name == "dried_fast"
        else "that is"
    )
    return (
        f"Floors {habit.so}: {effect.so_called} of {effect.so} came back so far; {habit.otherwise}:"
        f" {effect.not_so_called} of {effect.not_so}. All else alike {against}"
        f" {effect.odds_ratio:.1f} times the odds ({effect.p05:.1f} to {effect.p95:.1f})."
        f" {habit.because}"
    )


def round_up(pours: int) -> int:
    """To one and a half digits: no need is known closer."""
    step = 10 if pours < 200 else 50 if pours < 1000 else 100 if pours < 5000 else 1000
    return -(-pours // step) * step


def _floors(found: Risk, values: pd.DataFrame, pours: pd.DataFrame) -> list[dict[str, Any]]:
    """Floors too young to count and not called back, those to look at first, then by chance."""
    waiting = (~pours["old_enough"] & ~pours["called_back"]).to_numpy(bool)
    own, about = values[waiting].reset_index(drop=True), pours[waiting].reset_index(drop=True)
    kinds = beside(pours)[waiting].reset_index(drop=True)
    rows = [
        {"pour_id": str(pour), "date": day, "slab_type": kind, **outlook}
        for pour, day, kind, outlook in zip(
            about["pour_id"],
            about["date"],
            about["slab_type"],
            outlooks(found, own, kinds),
            strict=True,
        )
    ]
    return sorted(rows, key=lambda row: (row["look_at"] is None, -row["chance"], row["pour_id"]))


def outlooks(found: Risk, values: pd.DataFrame, kinds: pd.DataFrame) -> list[dict[str, Any]]:
    """Of each floor: chance of coming back with its interval, ``usual``, and its reasons.

    ``values`` and ``kinds`` as features and beside of learning.callbacks give them; what isn't
    known yet counts as usual.
    ``look_at`` says what marks the floor: record, guidance or None. The record marks only by habits
    that stand after the correction; guidance by two or more things against it. The record's own
    reasons come first.
    """
    chances = found.chances(values, kinds)
    scaled = found.scaled(values).to_dict("records")
    told = [effect.name for effect in found.effects if effect.told]
    rows: list[dict[str, Any]] = []
    for place, (own, raw) in enumerate(zip(scaled, values.to_dict("records"), strict=True)):
        chance = {name: float(chances[name].iloc[place]) for name in ("chance", "p05", "p95")}
        proven = [name for name in told if own[name] >= 0.5]
        # Dry by guidance is dry against the published limit, not against the crew's other days.
        against = [
            name
            for name in FEATURES
            if name not in told and raw[name] >= (1.0 if name == "dried_fast" else 0.5)
        ]
        by_record = bool(proven) and chance["chance"] >= MARKED * found.usual
        by_guidance = len(proven) + len(against) >= GUIDANCE_MARKS
        rows.append(
            {
                **chance,
                "usual": found.usual,
                "look_at": "record" if by_record else "guidance" if by_guidance else None,
                "reasons": [_reason(name, "record") for name in proven]
                + [_reason(name, "guidance") for name in against],
            }
        )
    return rows


def _reason(name: str, by: str) -> dict[str, str]:
    source = "your own record" if by == "record" else HABITS[name].source
    return {"habit": name, "words": HABITS[name].so, "by": by, "source": source}


def _by(
    frames: Mapping[str, pd.DataFrame], pours: pd.DataFrame, age_limit: float, share: float | None
) -> dict[str, list[dict[str, Any]]]:
    found = {}
    for name, groups in groupings(frames, pours, age_limit).items():
        rows = group_rates(pours, groups)
        if name in (*PEOPLE, "month", "evaporation_class", "first_pass_timing", "saw_delay"):
            rows.sort(key=lambda row: (row["group"] == "unknown", _place(row["group"])))
        if name in PEOPLE:
            rows = [{key: row[key] for key in COUNTED} for row in rows]
        else:
            luck_limits(rows, share)
        found[name] = rows
    return found


def _place(group: str) -> tuple[int, str]:
    """Classes in their own order, all else by the alphabet."""
    classes = ("under 0.1", "0.1 to 0.2", "0.2 and over", "early third", "middle third")
    return (classes.index(group) if group in classes else len(classes), group)


def _defects(counts: pd.Series[int]) -> list[dict[str, Any]]:
    """What came back, the most frequent first, with help on each defect."""
    known = {str(word): int(count) for word, count in counts.items() if str(word) in DEFECTS}
    return [
        {
            "defect": word,
            "pours": count,
            "name": DEFECTS[word].name,
            "looks": DEFECTS[word].looks,
            "causes": DEFECTS[word].causes,
            "source": DEFECTS[word].reference,
            "help": DEFECTS[word].help,
        }
        for word, count in known.items()
    ]


def plain(value: Any) -> Any:
    """The same in what JSON knows: no NaN, no infinity, no numpy."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return None
    return value
