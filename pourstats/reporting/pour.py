"""One pour, whole: what was logged and what the measures make of it, as one object."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from pourstats.faults import Refusal
from pourstats.logs.tables import POURS, TABLES
from pourstats.reporting.callbacks_sentences import outlook_sentences
from pourstats.reporting.columns import time_text
from pourstats.store import measures, reading, schema
from pourstats.store.database import Store
from pourstats.store.history import near_ids
from pourstats.units import System, to_system, unit_sign

if TYPE_CHECKING:
    import pandas as pd

HOURS_FROM = {
    "crew_time": "from each person's times", "headcount": "hands times hours",
    "headcount_part": "hands times hours, a time that is blank stood in for",
}  # fmt: skip
LISTS = ("trucks", "passes", "crew_time", "callbacks", "bids")
MEASURES = ("pour_output", "truck_times", "pass_intervals", "pour_weather")
STEPS = (
    ("crew_in", "crew on site"), ("place_start", "first concrete"), ("place_end", "struck off"),
    ("bull_float_end", "bull float done"), ("machine_on", "machine on"),
    ("passes_done", "last pass off"), ("saw_start", "saw on"), ("saw_end", "saw done"),
    ("cure_start", "cure on"), ("crew_out", "gone"),
)  # fmt: skip
PRIVATE_KEYS = frozenset(
    {column.name for table in TABLES.values() for column in table.columns if column.private}
    | {
        column.name
        for name in MEASURES
        for column in measures.header(name).columns
        if column.private
    }
)
"""Keys that a page for others leaves out: pay, prices, and every cost that gives them away."""


def pour_whole(store: Store, pour_id: str) -> dict[str, Any]:
    """Everything the store knows of a pour: ``pour``, the rows of each log table, the measures,
    what was ``forecast``, the ``history`` of its rows, and ``callback_outlook``, whether it may
    come back and why (planning's floor_outlook). Raises Refusal if there is no such pour.
    """
    from pourstats.learning.callbacks.record import FRAMES
    from pourstats.planning.callbacks import floor_outlook

    with store.read() as connection:
        pours = reading.frame(connection, "pours")
        mine = pours[pours["pour_id"] == pour_id]
        if mine.empty:
            hint = near_ids(pour_id, list(pours["pour_id"]))
            raise Refusal(f"no pour {pour_id!r} is stored{hint}", 1)
        found: dict[str, Any] = {"pour": _rows(mine)[0]}
        for name in (*LISTS, "forecasts", *MEASURES):
            frame = reading.frame(connection, name)
            found[name] = _rows(frame[frame["pour_id"] == pour_id])
        found["history"] = connection.execute(
            """SELECT count(*) FROM history WHERE json_extract_string("values", '$.pour_id') = ?""",
            [pour_id],
        ).fetchall()[0][0]
        frames, house = reading.frames(connection, *FRAMES), schema.house(connection)
    found["callback_outlook"] = floor_outlook(frames, house, pour_id)
    for name in ("pour_output", "pour_weather"):
        found[name] = found[name][0] if found[name] else None
    return found


def without_private(value: Any) -> Any:
    """The same without private keys, for pages that others see."""
    if isinstance(value, dict):
        return {k: without_private(v) for k, v in value.items() if k not in PRIVATE_KEYS}
    if isinstance(value, list):
        return [without_private(item) for item in value]
    return value


_DAYS = frozenset(
    column.name for table in TABLES.values() for column in table.columns if column.kind == "date"
)


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [
        {str(name): _plain(value, str(name) in _DAYS) for name, value in row.items()}
        for row in frame.to_dict(orient="records")
    ]


def _plain(value: Any, day: bool) -> Any:
    import pandas as pd

    if value is None or value is pd.NaT or (isinstance(value, float) and value != value):
        return None
    if value is pd.NA:
        return None
    if isinstance(value, datetime):
        # A frame holds dates as times.
        return value.date().isoformat() if day else time_text(value)
    if isinstance(value, date):
        return value.isoformat()
    return value.item() if hasattr(value, "item") else value


def pour_text(found: Mapping[str, Any], system: System = "us") -> str:
    """The pour for a terminal: what it was, the day on one line each, hours, loads, passes."""
    pour, output = found["pour"], found["pour_output"] or {}
    day = datetime.fromisoformat(pour["date"][:10])
    lines = [
        f"{pour['pour_id']}: {_size(pour, system)} {pour['slab_type']} at {pour['site']},"
        f" {day:%A} {day:%B} {day.day}, {day.year}"
    ]
    lines += _described(pour, system)
    lines += ["", "THE DAY"]
    steps = sorted((pour[name], words) for name, words in STEPS if pour.get(name))
    lines += [f"  {moment[11:16]}  {words}{_later(moment, pour)}" for moment, words in steps]
    lines += _hours(output, system)
    lines += _loads(found["truck_times"], system)
    lines += _passes(found["pass_intervals"], system)
    weather = found["pour_weather"] or {}
    if weather.get("air_temp_f") is not None:
        lines += ["", "THE AIR, first concrete to first pass", "  " + _air(weather, system)]
    for call in found["callbacks"]:
        lines += ["", f"CALLED BACK {call['reported'][:10]}: {call['defect'].replace('_', ' ')}"]
    said = outlook_sentences(found.get("callback_outlook"))
    if said:
        lines += ["", "WILL IT COME BACK?"]
        for line in said:
            lines += textwrap.wrap(line, 88, initial_indent="  ", subsequent_indent="  ")
    if pour.get("notes"):
        lines += ["", f"NOTES  {' '.join(str(pour['notes']).split())}"]
    if found["history"]:
        lines += ["", f"{found['history']} earlier versions of its rows: `pourstats table history`"]
    return "\n".join(lines) + "\n"


def _shown(value: float, unit: str, system: System) -> str:
    number = to_system(value, unit, system)
    digits = f"{number:,.0f}" if abs(number) >= 100 else f"{number:.3g}"
    return f"{digits} {unit_sign(unit, system)}"


def _size(pour: Mapping[str, Any], system: System) -> str:
    return f"{_shown(pour['area'], 'ft2', system)}, {_shown(pour['thickness'], 'in', system)}"


def _described(pour: Mapping[str, Any], system: System) -> list[str]:
    parts = []
    for name in ("finish", "placement", "mix", "slump", "concrete_temp", "admixtures", "base",
                 "reinforcement", "exposure", "hands", "lead", "trouble"):  # fmt: skip
        value = pour.get(name)
        if value is None:
            continue
        column = POURS.column(name)
        text = _shown(value, column.unit, system) if column.unit else str(value)
        if column.kind == "number" and not column.unit:
            text = f"{value:g}"
        parts.append(f"{column.english.lower()} {text.replace('_', ' ').replace(';', ', ')}")
    return textwrap.wrap("; ".join(parts), 88, initial_indent="  ", subsequent_indent="  ")


def _later(moment: str, pour: Mapping[str, Any]) -> str:
    return "" if moment[:10] == pour["date"][:10] else f"  ({moment[:10]})"


def _hours(output: Mapping[str, Any], system: System) -> list[str]:
    if output.get("labor_h") is None:
        return ["", "HOURS  not known: log crew time, or hands with first and last times"]
    source = HOURS_FROM.get(output["hours_from"], output["hours_from"])
    lines = ["", f"HOURS  {output['labor_h']:.1f} labor-hours, {source}"]
    tasks = [
        (name.removesuffix("_labor_h"), output.get(name))
        for name in (
            "place_labor_h", "finish_labor_h", "saw_labor_h", "wait_labor_h", "other_labor_h",
        )
    ]  # fmt: skip
    told = ", ".join(f"{name} {hours:.1f}" for name, hours in tasks if hours)
    if told:
        lines.append(f"  {told}")
    if output.get("placed_yd3") is not None:
        placed = _shown(output["placed_yd3"], "yd3", system)
        over = output.get("overrun_pct")
        against = f", {over:+.0f}% against the plan" if over is not None else ""
        lines.append(f"  {placed} placed (from {output['placed_from']}){against}")
    return lines


def _loads(loads: list[dict[str, Any]], system: System) -> list[str]:
    if not loads:
        return []
    lines = ["", "LOADS           volume      wait   unload   late   age   over free time, min"]
    for load in loads:
        cells = [load.get(n) for n in ("wait_min", "unload_min", "late_min", "age_min", "over_min")]
        text = "".join(f"{'' if c is None else f'{c:.0f}':>8}" for c in cells)
        volume = _shown(load["volume_yd3"], "yd3", system) if load.get("volume_yd3") else ""
        lines.append(f"  {str(load['ticket'])[:10]:<12}{volume:>10}{text}")
    return lines


def _passes(passes: list[dict[str, Any]], system: System) -> list[str]:
    if not passes:
        return []
    lines = ["", "PASSES   since struck off   gap   length, min      air"]
    for each in passes:
        cells = [each.get(n) for n in ("since_placed_min", "gap_min", "pass_min")]
        text = "".join(
            f"{'' if c is None else f'{c:.0f}':>{w}}"
            for c, w in zip(cells, (16, 9, 8), strict=True)
        )
        air = each.get("air_temp_f")
        shown = _shown(air, "degF", system) if air is not None else ""
        lines.append(f"  {each['pass_no']:>3.0f}{text}{shown:>18}")
    return lines


def _air(weather: Mapping[str, Any], system: System) -> str:
    parts = [_shown(weather["air_temp_f"], "degF", system)]
    if weather.get("humidity_pct") is not None:
        parts.append(f"humidity {weather['humidity_pct']:.0f}%")
    if weather.get("wind_mph") is not None:
        parts.append(f"wind {_shown(weather['wind_mph'], 'mph', system)}")
    drying = weather.get("evaporation_max_lb_ft2_h")
    if drying is not None:
        parts.append(f"drying up to {to_system(drying, 'lb/ft2/h', system):.2f}"
                     f" {unit_sign('lb/ft2/h', system)}")  # fmt: skip
    return ", ".join(parts)
