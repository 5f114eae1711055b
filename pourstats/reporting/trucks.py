"""Trucks as text: what to tell the plant, how much the spacing matters, what waits have cost."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from textwrap import wrap
from typing import Any

WIDTH = 78
BAR = 24


def trucks_text(result: Mapping[str, Any]) -> str:
    """What `pourstats trucks` prints, from the dict that `planning.trucks` gives."""
    blocks = ["\n".join(_job(job, result["assumed"])) for job in result["jobs"]]
    if result["past"] is not None:
        blocks.append("\n".join(_past(result["past"], result["assumed"])))
    base = (
        f"From {result['loads_logged']} loads of {result['pours']} pours of your own and common"
        " practice."
        if result["loads_logged"]
        else "From published values and common practice only."
    )
    tail = [base + " Ranges hold eight days in ten."]
    rules = result["assumed"]
    tail += wrap(
        f"Free time {rules['free_min_per_yd3']:g} min/yd³ from when the truck is"
        f" {'due' if rules['free_clock'] == 'due' else 'there'}, then"
        f" ${rules['truck_wait_usd_per_min']:.2f} a minute; trucks of {rules['truck_yd3']:g} yd³.",
        WIDTH,
    )
    tail += [line for note in result["notes"] for line in wrap(str(note), WIDTH)]
    return "\n\n".join([*blocks, "\n".join(tail)]) + "\n"


def fixed_loads(job: Mapping[str, Any]) -> int:
    """How many of a job's loads are ordered for a fixed time."""
    return sum(load["called"] == "ordered" for load in job["order"])


def loads_told(job: Mapping[str, Any]) -> str:
    """A job's loads, how far apart they are ordered, and whether the last is called late."""
    loads = "one load" if job["loads"] == 1 else f"{job['loads']} loads"
    fixed = fixed_loads(job)
    apart = "" if fixed < 2 else f", {job['spacing_min']:g} minutes apart"
    return loads + apart + (", the last as a balance load" if fixed < job["loads"] else "")


def order_rows(job: Mapping[str, Any]) -> list[dict[str, str]]:
    """Of each load of a job: how much, for when, and when to call a balance load."""
    return [
        {
            "load": str(load["load_no"]),
            "size": f"{load['yd3']:g} yd³",
            "due": _at(load["due"])
            + (f"; call about {_at(load['call_after'])}" if load["call_after"] else ""),
            "unloads about": _at(load["starts"]),
            "old when empty": f"{load['age_min']['p50']:.0f} min",
        }
        for load in job["order"]
    ]


def _job(job: Mapping[str, Any], rules: Mapping[str, Any]) -> list[str]:
    begin = datetime.fromisoformat(job["order"][0]["due"])
    site = f", {job['site']}" if job["site"] else ""
    lines = [f"{job['pour_id']}{site} — {begin:%A} {begin.day} {begin:%B}"]
    lines.append(f"  Order {job['order_yd3']:g} yd³ in {loads_told(job)}.")
    lines.append(
        f"  Plan {job['plan_yd3']:g} yd³; allowance {job['allowance_pct']:g} %"
        + (f" from {job['overrun_pours']} pours" if job["overrun_pours"] else " (NRMCA CIP 8)")
        + f"; short {_tens(job['chance_short'])}."
    )
    for load in job["order"]:
        age = load["age_min"]
        call = ""
        if load["call_after"]:
            before = f"load {load['load_no'] - 1} is half out"
            call = f"\n{'':9}size and call it when {before}, about {_at(load['call_after'])}"
        lines.append(
            f"  {_at(load['due']):>6}  load {load['load_no']}  {load['yd3']:5g} yd³"
            f"  unloads about {_at(load['starts'])}"
            f"  {age['p50']:.0f} min old when empty{call}"
        )
    lines.append(
        f"  Crew without concrete: {_between(job['starved_min'])} min in all"
        + (", the wait for the balance load apart" if job["balance_yd3"] else "")
        + f"; trucks waiting: {_between(job['wait_min'])} min."
    )
    if job["loads"] > 1:
        lines.append(
            f"  Expect ${job['cost_usd']['mean']:.0f}: ${job['idle_usd']:.0f} of people standing,"
            f" ${job['wait_usd']:.0f} billed by the supplier."
        )
    if fixed_loads(job) > 1:
        lines.append(
            f"  Anything from {job['flat_from_min']:g} to {job['flat_to_min']:g} minutes apart"
            " costs within a twentieth of the least:"
        )
        lines += _curve(job)
    for note in job["notes"]:
        lines += wrap(note, WIDTH, initial_indent="  ", subsequent_indent="  ")
    for caution in job["cautions"]:
        text = f"{caution['do']} {caution['because']} ({caution['source']})"
        lines += wrap(text, WIDTH, initial_indent="  ! ", subsequent_indent="    ")
    return lines


def _curve(job: Mapping[str, Any]) -> list[str]:
    least = min(step["cost_usd"] for step in job["curve"])
    shown = [s for s in job["curve"] if s["cost_usd"] <= max(4.0 * least, least + 100.0)]
    apart = max(1, round(len(shown) / 10))
    at = next(i for i, s in enumerate(shown) if s["spacing_min"] == job["spacing_min"])
    kept = [s for i, s in enumerate(shown) if (i - at) % apart == 0]
    most = max(step["cost_usd"] for step in kept) or 1.0
    return [
        f"    {step['spacing_min']:4g} min  ${step['cost_usd']:6.0f}"
        f"  {'▪' * max(1, round(BAR * step['cost_usd'] / most))}"
        + ("  ◂" if step["spacing_min"] == job["spacing_min"] else "")
        for step in kept
    ]


def _past(past: Mapping[str, Any], rules: Mapping[str, Any]) -> list[str]:
    lines = [f"Waits so far — {past['loads']} loads"]
    lines.append(f"  A truck waited {_mean(past['wait_min'])}.")
    if past["starved_min"]:
        lines.append(
            f"  The crew stood {past['starved_total_min'] / 60:.1f} h without concrete in all"
            + (f", ${past['idle_usd']:.0f} of pay" if past["idle_usd"] is not None else "")
            + "."
        )
    lines.append(
        f"  Beyond the free time: {past['over_min']:.0f} min logged, ${past['logged_usd']:.0f} at"
        f" ${rules['truck_wait_usd_per_min']:.2f}; billed ${past['billed_usd']:.0f} on"
        f" {past['billed_loads']} loads."
    )
    for by, title in (
        ("plant", "plant"), ("hour", "hour"), ("weekday", "weekday"), ("load_no", "load"),
    ):  # fmt: skip
        for row in past[f"by_{by}"]:
            label = f"{title} {row[by]}" if by == "load_no" else row[by]
            late = f"; late {row['late_min']['mean']:.0f}" if row["late_min"] else ""
            lines.append(f"    {label:<18}{_mean(row['wait_min'])}{late}")
    return lines


def _mean(spread: Mapping[str, Any] | None) -> str:
    if spread is None:
        return "unknown"
    range_ = f" ({spread['low']:.0f} to {spread['high']:.0f})" if "low" in spread else ""
    return f"{spread['mean']:.0f} min{range_} on average, {spread['count']} loads"


def _between(spread: Mapping[str, float | None]) -> str:
    return f"{spread['p10']:.0f} to {spread['p90']:.0f}"


def _at(time: str) -> str:
    return f"{datetime.fromisoformat(time):%H:%M}"


def _tens(chance: float) -> str:
    tenths = round(chance * 10)
    if tenths in (0, 10):
        return "hardly ever" if tenths == 0 else "nearly always"
    return "one time in ten" if tenths == 1 else f"{tenths} times in ten"
