"""Sentences about callbacks that several pages share: what is blank, a run, what is to come."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

MOST_MISSING = 4


def missing_sentence(calls: list[Mapping[str, Any]], of: int) -> str:
    """Which of the ``of`` calls leave hours, dollars or pay blank, and how to fill them in."""
    said = []
    for name, words in (("hours", "the hours"), ("cost", "the dollars beside labor")):
        lacking = [call for call in calls if name in call["missing"]]
        if not lacking:
            continue
        named = [f"{call['callback_id']} ({call['pour_id']})" for call in lacking[:MOST_MISSING]]
        if len(lacking) > len(named):
            named.append(f"{len(lacking) - len(named)} more")
        listed = named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"
        said.append(f"{words} of {len(lacking)} of {counted(of, 'call', 'calls')}: {listed}")
    found = ""
    if said:
        found = f"Blank in callbacks.csv: {'; '.join(said)}; write 0 where there were none."
    if any("pay" in call["missing"] for call in calls):
        found += " No wage is known for the hours: set one, `pourstats settings default_pay 30`."
    return found.strip()


def run_sentence(charts: Mapping[str, Any] | None) -> str:
    """The latest calls, if they come closer together than luck brings them."""
    run = charts["bad_run"] if charts else None
    if not charts or not run:
        return ""
    if not run["told"]:
        return (
            f"The latest {run['calls']} that came back are among {run['floors']} floors in a row,"
            f" before as a rule among {run['usual_floors']:.0f}; that by itself can be luck."
        )
    return (
        f"A bad run: the latest {run['calls']} that came back are among {run['floors']} floors"
        f" in a row; before, that took about {run['usual_floors']:.0f}. Luck alone tells"
        " about one steady crew in ten so, in ten years."
    )


def gaps_sentence(charts: Mapping[str, Any] | None) -> str:
    """The g and the t chart in words: how far apart calls come, and how far luck alone puts them.

    Empty with too few gaps for charts.
    """
    if not charts:
        return ""
    floors, days = charts["g"], charts["t"]
    part = f" ({in_part_words(floors)})" if floors["in_part"] else ""
    return (
        f"Between one floor that comes back and the next lie {floors['mean']:.0f} good ones on"
        f" average, lately {floors['gaps'][-1]:.0f}{part}; luck alone seldom makes it over"
        f" {floors['upper']:.0f}. Between calls lie"
        f" {counted(round(days['mean']), 'day', 'days')}, lately"
        f" {days['gaps'][-1]:.0f}; luck seldom makes it over {days['upper']:.0f}. The days alone"
        " raise no alarm, since more work brings calls closer together."
    )


def in_part_words(floors: Mapping[str, Any]) -> str:
    """That young floors count, but not whole; ``floors`` is the g chart."""
    young = counted(floors["in_part"], "young floor counts", "young floors count")
    return f"{young} in part, as calls may still come"


FEW_FLOORS = 10
"""Of fewer floors no share is told for those still young."""


def still_to_come_sentence(coming: Mapping[str, Any]) -> str:
    """How many of the young floors, in words that hold for a few floors too."""
    expected, most = coming["expected"], round(coming["p95"])
    if coming["pours"] == 1:
        return (
            "Still to come: the one floor too young to count comes back with a chance of"
            f" {percent(expected)} %."
        )
    among = f"of the {coming['pours']} floors too young to count"
    if not most:
        return f"Still to come: nine times in ten or more, none {among}."
    about = f"about {expected:.0f}" if expected >= 0.95 else "less than one"
    least = round(coming["p05"])
    return f"Still to come: {about} {among} (nine times in ten {least} to {most})."


def outlook_sentences(outlook: Mapping[str, Any] | None) -> list[str]:
    """What a pour's own page says of its coming back: marked or not, the chance, the reasons.

    ``outlook`` as :func:`pourstats.planning.callbacks.floor_outlook` gives it.
    """
    if outlook is None:
        return []
    reasons = [f"{reason['words']} ({reason['source']})" for reason in outlook["reasons"]]
    if outlook["state"] != "waiting":
        came = "It came back." if outlook["state"] == "called_back" else "It didn't come back."
        return [f"{came} That day: {'; '.join(reasons)}."] if reasons else []
    marked = {
        "record": "Look at it while it is young: your own record marks it.",
        "guidance": "Look at it while it is young: published guidance marks it, not your record.",
    }
    lines = [marked.get(outlook["look_at"], "Not marked to be looked at.")]
    seen = (
        f"{counted(outlook['floors'], 'floor', 'floors')}, {outlook['called_back']} called back so"
        " far."
    )
    if outlook["floors"] < FEW_FLOORS:
        lines.append(f"No chance of its coming back can be told from {seen}")
    else:
        lines.append(
            f"When it was finished, its chance of coming back was {percent(outlook['chance'])} %"
            f" ({percent(outlook['p05'])} to {percent(outlook['p95'])} %, nine times in ten); your"
            f" usual is {percent(outlook['usual'])} %. It rests on {seen}"
        )
    if reasons:
        lines.append(f"Reasons: {'; '.join(reasons)}.")
    return lines


def counted(count: int, one: str, many: str) -> str:
    """A count with its noun: `1 floor`, `2 floors`."""
    return f"{count} {one if count == 1 else many}"


def percent(share: float) -> str:
    """A share of 0 to 1 in whole percent, without the sign."""
    return f"{100.0 * share:.0f}"
