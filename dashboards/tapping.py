"""What the logging page knows and does: the store's taps, asked for and written, no sums.

Every tap goes to the store before its tick is shown, and every page load reads it from there.
"""

import datetime as dt
import functools
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import kept
import numpy as np
import streamlit as st
import words
from words import say

from pourstats import units
from pourstats.faults import Refusal
from pourstats.logs import forms
from pourstats.logs.stamps import FROM_JOB, described, escaped
from pourstats.logs.tables import POURS
from pourstats.reporting import ready
from pourstats.store import filling, openpours, reading, taps
from pourstats.store import tapping as stamps

ORDER = (
    "hands", "first_concrete", "strike_off_done", "bull_float_done", "machine_on",
    "last_pass_off", "saw_done", "gone",
)  # fmt: skip


def now() -> dt.datetime:
    """The clock on the phone's wall, without zone, to the second."""
    try:
        zone = ZoneInfo(st.context.timezone) if st.context.timezone else None
    except (ZoneInfoNotFoundError, ValueError):
        zone = None
    return dt.datetime.now(zone).replace(tzinfo=None, microsecond=0)


@dataclass
class Current:
    """The load or pass under way: its number, its label, the taps that it has."""

    number: int
    label: str
    times: dict[str, dict[str, Any]] = field(default_factory=dict)


@dataclass
class State:
    """A pour's standing taps, and what they give."""

    taps: list[dict[str, Any]]
    row: dict[str, str]
    missing: list[str]
    elsewhere: bool = False
    """It is in the record from a form or a file, so that taps change nothing."""

    def last(self, event: str) -> dict[str, Any] | None:
        """The tap of that event that counts."""
        return next((tap for tap in reversed(self.taps) if tap["event"] == event), None)

    def of(self, events: tuple[str, ...]) -> list[dict[str, Any]]:
        """The taps of those events, in time order, without what a form added to them."""
        return [tap for tap in self.taps if tap["event"] in events and not typed(tap)]

    @property
    def next(self) -> str | None:
        """The first tap of the short log that is not yet there."""
        return next((event for event in ORDER if self.last(event) is None), None)

    @property
    def undescribed(self) -> list[str]:
        """What a pour needs beside taps."""
        return [name for name in self.missing if name != "gone"]

    def described(self, name: str) -> str | None:
        """A column's text as it stands, from taps or the planned job."""
        if self.row.get(name):
            return self.row[name]
        for tap in reversed(self.of(("describe",))):
            value = described(tap["subject"]).get(name)
            if value:
                return value
        return None

    def number(self, name: str) -> float | None:
        """The same as a number, in the units shown."""
        text = self.described(name)
        if text is None:
            return None
        unit = POURS.column(name).unit
        value = float(text)
        return float(units.to_system(value, unit, words.units())) if unit else value

    def current(self, kind: str, events: tuple[str, ...]) -> Current:
        """The last load or pass if something of it is still to tap, else the next."""
        found: dict[str, Current] = {}
        for tap in self.taps:
            if tap["event"] not in events:
                continue
            label = tap["subject"].partition(";")[0] or f"{kind}-1"
            number = int(label.rpartition("-")[2]) if label.rpartition("-")[2].isdigit() else 1
            each = found.setdefault(label, Current(number, label))
            if not typed(tap):
                each.times[tap["event"]] = tap
        last = max(found.values(), key=lambda each: each.number, default=None)
        if last is not None and last.times and events[-1] not in last.times:
            return last
        number = 1 if last is None else last.number + 1
        return Current(number, str(number) if kind == "pass" else f"load-{number}")


def state(pour_id: str) -> State:
    """The pour as the store has it."""
    if not kept.store().exists():
        return State([], {"pour_id": pour_id}, [*POURS.required[1:], "gone"])
    with kept.store().read() as connection:
        derived = taps.of_pour(connection, pour_id)
        standing = stamps.standing(connection, pour_id)
        elsewhere = filling.elsewhere(connection, pour_id)
    return State(standing, derived.rows["pours"][0], derived.missing, elsewhere)


def open_pours() -> list[dict[str, Any]]:
    """Pours under way."""
    if not kept.store().exists():
        return []
    with kept.store().read() as connection:
        return openpours.unfinished(connection)


@dataclass
class Planned:
    """Jobs that are neither begun nor poured."""

    ahead: list[dict[str, Any]] = field(default_factory=list)
    """Today's and later ones, the nearest day first."""
    gone: list[dict[str, Any]] = field(default_factory=list)
    """Those whose day has passed, the latest first."""


def planned() -> Planned:
    """Jobs to choose from."""
    if not kept.store().exists():
        return Planned()
    with kept.store().read() as connection:
        jobs = reading.frame(connection, "jobs")
        begun = {*reading.frame(connection, "pours")["pour_id"],
                 *reading.frame(connection, "stamps")["pour_id"]}  # fmt: skip
    today = now().date()
    listed = ready.next_jobs({"jobs": jobs[~jobs["pour_id"].isin(begun)], "pours": jobs[:0]}, today)
    found = Planned()
    for row in listed.to_dict("records"):
        job = {str(name): value for name, value in row.items()}
        (found.gone if job["date"].date() < today else found.ahead).append(job)
    return found


def sites(also: str | None = None) -> list[str]:
    """Sites that the log knows, the latest first."""
    mark = kept.mark()
    known: list[str] = [] if mark is None else list(kept.frame(mark, "pours")["site"][::-1])
    return list(dict.fromkeys([*([also] if also else []), *known]))


def poured() -> dict[str, str]:
    """Labels of the last pours of the record, the newest first, with their sites."""
    mark = kept.mark()
    if mark is None:
        return {}
    last = kept.frame(mark, "pours").sort_values("date").tail(30)[::-1]
    return dict(zip(last["pour_id"], last["site"], strict=True))


def crew() -> list[str]:
    """Labels of the crew."""
    mark = kept.mark()
    if mark is None:
        return []
    names = kept.frame(mark, "crew")["worker"]
    return list(dict.fromkeys(names))


def fields(table: str) -> dict[str, forms.Field]:
    """The form's fields, in the language chosen."""
    lang = "es" if words.language() == "es" else "en"
    return {each.name: each for each in forms.form_fields(table, lang)}


def with_unit(each: forms.Field) -> str:
    """A field's label with the unit in which it is asked for."""
    return words.with_unit(each.label, each.unit or "")


def same(text: str | None, value: str) -> bool:
    """Whether a column says that choice, or that number however written."""
    if text is None or text == value:
        return text == value
    try:
        return float(text) == float(value)
    except ValueError:
        return False


def amount(column: str, value: float) -> str:
    """An amount in house units as people read it, in the units shown."""
    house = POURS.column(column).unit or ""
    shown = units.to_system(value, house, words.units())
    return f"{shown:.0f} {units.unit_label(house, words.units())}"


def whole(number: float | None) -> int | None:
    """A head count."""
    return None if number is None else round(number)


def place(listed: list[str], value: str | None) -> int | None:
    """Where a value stands in a list."""
    return listed.index(value) if value in listed else None


def title(pour_id: str) -> str:
    """What the pour under way is called on the page."""
    row = state(pour_id).row
    kind = words.word("slab_type", row["slab_type"]) if row.get("slab_type") else ""
    return " · ".join(part for part in (pour_id, kind, row.get("site")) if part)


def missing_text(found: State) -> str:
    """What a pour under way still lacks, or that it is whole."""
    if not found.missing:
        return say("log.whole")
    labels = {name: each.label for name, each in fields("pours").items()}
    told = [say("tap.gone") if name == "gone" else labels[name] for name in found.missing]
    return say("log.missing", what=", ".join(told))


def told(act: Callable[..., None]) -> Callable[..., None]:
    """A tap that the store refuses is said on the page, and shows no tick."""

    @functools.wraps(act)
    def wrapped(*args: Any) -> None:
        try:
            act(*args)
        except Refusal as error:
            st.session_state.refused = str(error)

    return wrapped


def typed(tap: dict[str, Any]) -> bool:
    """Whether a load's or pass's tap is what a form added: it then says its own time."""
    return any(f";{column}=" in tap["subject"] for column in ("arrived", "start"))


def go(pour_id: str | None, form: bool = False) -> None:
    """To that pour's taps, or its form; None leaves it."""
    for name in ("fill_faults", "filled", "fill_odd"):
        if not (form and st.session_state.get("filled")):
            st.session_state.pop(name, None)
    for name, value in (("pour", pour_id), ("form", "1" if form else None)):
        if value is None:
            st.query_params.pop(name, None)
        else:
            st.query_params[name] = value


@told
def tap(pour_id: str, event: str, subject: str = "") -> None:
    """Store a tap of now."""
    stamps.tap(kept.store(), pour_id, stamps.Tap(event, subject, now()))


@told
def take_back(stamp_id: str) -> None:
    """Undo a tap."""
    stamps.take_back(kept.store(), stamp_id)


def take_out(found: filling.Filled, name: str, place: int, label: str) -> None:
    """Take a load or pass out of the pour that its form shows."""
    try:
        filling.take_out(kept.store(), found, name, place)
        st.session_state.taken_out = say("fill.taken_out", what=label)
    except Refusal as error:
        st.session_state.fill_faults = {("pours", 1, None): [str(error)]}


@told
def ready_before(pour_id: str, on: dt.datetime, minutes: int) -> None:
    """The machine could have gone on so many minutes before it did."""
    stamps.tap(
        kept.store(), pour_id, stamps.Tap("pass_on", "1", on),
        stamps.Tap("was_ready", "1", on - dt.timedelta(minutes=minutes)),
    )  # fmt: skip


@told
def describe(pour_id: str, name: str, value: str) -> None:
    """Say one thing of the pour, or a boot print of the pass under way."""
    if name == "footprint":
        found = state(pour_id)
        on = found.of(("pass_on",)) or found.of(("machine_on",))
        label = on[-1]["subject"].partition(";")[0] or "1"
        mark = stamps.Tap("pass_on", f"{label};footprint={value}", on[-1]["at"])
        stamps.tap(kept.store(), pour_id, mark)
        return
    stamps.tap(kept.store(), pour_id, stamps.Tap("describe", f"{name}={value}", now()))


@told
def measured(pour_id: str, name: str, key: str) -> None:
    """Say a number of the pour, as typed in the units shown."""
    value = st.session_state[key]
    if value is not None:
        said = f"{name}={_house(name, float(value))}"
        stamps.tap(kept.store(), pour_id, stamps.Tap("describe", said, now()))


@told
def describe_all(pour_id: str, before: State, given: dict[str, object]) -> None:
    """Store what a form says anew, in house units; what is as it was is left alone."""
    said = []
    for name, value in given.items():
        old = before.number(name) if isinstance(value, int | float) else before.described(name)
        if value in (None, "") or value == old:
            continue
        said.append(f"{name}={_house(name, value)}")
    if said:
        stamps.tap(kept.store(), pour_id, stamps.Tap("describe", ";".join(said), now()))


def begin(pour_id: str, about: dict[str, object]) -> None:
    """A new pour with what is known of it; the address holds it from then on.

    Raises Refusal for a label that another pour has.
    """
    mark = kept.mark()
    if mark is not None and any(
        (kept.frame(mark, name)["pour_id"] == pour_id).any() for name in ("pours", "stamps")
    ):
        raise Refusal(say("log.taken", pour_id=pour_id))
    known = {"date": now().date().isoformat(), **about}
    said = ";".join(f"{k}={_house(k, v)}" for k, v in known.items() if v not in (None, ""))
    stamps.tap(kept.store(), pour_id, stamps.Tap("describe", said, now()))
    go(pour_id)


def _house(name: str, value: object) -> str:
    """A value as taps keep it: numbers in house units."""
    if isinstance(value, int | float):
        unit = POURS.column(name).unit
        if unit:
            written = units.checked_unit(units.unit_in(unit, words.units()), unit)
            value = float(units.to_house(np.array([value], dtype=float), written, unit)[0])
        return f"{value:.10g}"
    return escaped(str(value))


assert "site" in FROM_JOB
