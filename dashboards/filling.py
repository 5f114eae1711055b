"""The same pour as a form, to fill in after: in the order of the day, held to a load's checks."""

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

import kept
import look
import pandas as pd
import streamlit as st
import tapping
import words
from words import say

from pourstats import units
from pourstats.faults import Refusal
from pourstats.logs.forms import Field
from pourstats.logs.tables import TABLES
from pourstats.store import filling as forms

# The order in which a day is told; what the declaration has beside these follows under "more".
WHAT = ("date", "site", "slab_type", "area", "thickness", "ordered_volume", "placement", "finish",
        "exposure", "wind_felt", "slump")  # fmt: skip
DAY = ("hands", "crew_in", "place_start", "place_end", "bull_float_end", "finish_hands",
       "machine_on", "passes_done", "saw_start", "saw_end", "crew_out")  # fmt: skip
ROWS = ("trucks", "passes")

Text = dict[str, str]


def page(pour_id: str | None) -> None:
    """The form of a pour, or of a new one."""
    found = forms.known(kept.store(), pour_id) if pour_id else forms.Filled(
        "", {"pours": [{}], "trucks": [], "passes": []})  # fmt: skip
    look.answer(say("nav.log"), say("fill.title", pour_id=pour_id or say("log.new")))
    if st.session_state.pop("filled", None):
        st.success(say("fill.stored"))
    for line in st.session_state.pop("fill_odd", []):
        st.warning(look.plain(line))
    faults = st.session_state.get("fill_faults", {})
    if faults:
        st.error(say("fill.mend", count=sum(map(len, faults.values()))))
    with st.form("fill", border=False):
        rows = {"pours": [pour(pour_id, found.rows["pours"][0], faults)]}
        for name in ROWS:
            rows[name] = several(name, pour_id or "new", found.rows[name], faults)
        if st.form_submit_button(say("log.save"), type="primary", width="stretch"):
            store(found, rows)
    told(faults.get(("pours", 1, None), []))
    take_out(found)


def take_out(found: forms.Filled) -> None:
    """Loads and passes that were never there, each out by its own button."""
    listed = [
        (name, place, f"{say(f'fill.one_{name}')} {row.get(forms.KEYS[name], '')}")
        for name in ROWS
        for place, row in enumerate(found.rows[name])
    ]
    if "taken_out" in st.session_state:
        st.success(look.plain(st.session_state.pop("taken_out")))
    if listed:
        with st.expander(say("fill.take_out")), st.container(horizontal=True):
            for name, place, label in listed:
                st.button(look.plain(label), key=f"out-{name}-{label}",
                          on_click=tapping.take_out, args=(found, name, place, label))  # fmt: skip


def store(found: forms.Filled, rows: dict[str, list[Text]]) -> None:
    """Check as a load does; store, or say what is wrong beside each field."""
    pour_id = rows["pours"][0].get("pour_id", "").strip()
    found.pour_id = pour_id
    for name in ROWS:
        rows[name] = [{"pour_id": pour_id, **row} for row in rows[name]]
    try:
        report = forms.look_over(kept.store(), found, rows, words.units())
        faults: dict[tuple[str, int, str | None], list[str]] = {}
        for fault in report.set_aside:
            place = (fault.sheet or "pours", fault.line or 1, fault.column)
            faults.setdefault(place, []).append(words.reason(fault.reason))
        st.session_state.fill_faults = faults
        if not faults:
            forms.fill_in(kept.store(), found, rows, words.units())
            st.session_state.filled = True
            st.session_state.fill_odd = [odd(line) for line in report.warnings]
            tapping.go(pour_id, form=True)
    except Refusal as error:
        st.session_state.fill_faults = {("pours", 1, None): [words.reason(str(error))]}
    st.rerun()


def odd(line: str) -> str:
    """What looks odd but went in, under its field's label."""
    found = re.fullmatch(rf"{forms.NAME}, sheet (\w+), line \d+, (\w+): (.*)", line)
    if found is None:
        return line
    labels = {name: each.label for name, each in tapping.fields(found[1]).items()}
    return f"{labels.get(found[2], found[2])}: {words.reason(found[3])}"


def told(reasons: list[str]) -> None:
    """What is wrong, beside the field."""
    for reason in reasons:
        st.error(look.plain(reason))


# One row of pours -------------------------------------------------------------------------------


def pour(pour_id: str | None, row: Text, faults: dict) -> Text:
    """The pour's own fields; their text as a log has it."""
    fields = {name: each for name, each in tapping.fields("pours").items() if seen(each)}
    given: Text = {}
    if pour_id:
        given["pour_id"] = pour_id
    else:
        given["pour_id"] = st.text_input(fields["pour_id"].label + " *", max_chars=40)
        told(faults.get(("pours", 1, "pour_id"), []))
    rest = tuple(name for name in fields if name not in ("pour_id", *WHAT, *DAY))
    for head, names in (("what", WHAT), ("day", DAY)):
        st.subheader(say(f"fill.{head}"), anchor=False)
        some(names, fields, pour_id, row, given, faults)
    with st.expander(say("fill.more"), expanded=any(("pours", 1, name) in faults for name in rest)):
        some(rest, fields, pour_id, row, given, faults)
    return given


def some(names: tuple[str, ...], fields: dict[str, Field], pour_id: str | None, row: Text,
         given: Text, faults: dict) -> None:  # fmt: skip
    """Some of the fields, side by side as far as the screen allows."""
    with st.container(horizontal=True):
        for name in names:
            wide = 300 if name == "site" or fields[name].kind in ("notes", "choices") else 170
            with st.container(width=wide):
                was = row.get(name, "")
                given[name] = entry(fields[name], was, f"fill-{pour_id}-{name}")
                told(faults.get(("pours", 1, name), []))


def seen(each: Field) -> bool:
    """Whether this role may see the column."""
    return not each.private or st.session_state.get("role") == "office"


def head(each: Field) -> str:
    """A field's label with unit, and a star where every row needs it; declared, so never markup."""
    return (tapping.with_unit(each) if each.unit else each.label) + (" *" if each.required else "")


def entry(each: Field, was: str, key: str) -> str:
    """One field as its kind asks for it; its text as a log has it, the old one if unchanged."""
    if each.kind == "time":
        return time_entry(each, was, key)
    if each.kind == "date":
        day = dt.date.fromisoformat(was) if was else tapping.now().date()
        found = st.date_input(head(each), day, key=key, format="YYYY-MM-DD")
        return found.isoformat() if found else ""
    if each.kind in ("number", "whole"):
        shown = number(was, each.unit)
        found = st.number_input(head(each), value=shown, key=key, format="%.5g", step=1.0)
        return plain_number(found)
    if each.kind == "choice":
        found = st.selectbox(
            head(each), each.choices, key=key, placeholder="",
            index=each.choices.index(was) if was in each.choices else None,
            format_func=named(each),
        )  # fmt: skip
        return found or ""
    if each.kind == "choices":
        chosen = [part.strip() for part in was.replace(",", ";").split(";")]
        found = st.multiselect(
            head(each), each.choices, [one for one in chosen if one in each.choices], key=key,
            placeholder="", format_func=named(each),
        )  # fmt: skip
        return ", ".join(found)
    if each.name == "site":
        listed = tapping.sites(was or None)
        found = st.selectbox(head(each), listed, index=tapping.place(listed, was), key=key,
                             accept_new_options=True, placeholder=say("log.site_hint"))  # fmt: skip
        return found or ""
    if each.kind == "notes":
        return st.text_area(head(each), was, key=key, max_chars=2000)
    return st.text_input(head(each), was, key=key, max_chars=200)


def named(each: Field) -> Callable[[str], str]:
    """A column's choices as people of the language chosen say them."""
    told = {choice: words.word(each.name, choice) for choice in each.choices}
    return lambda choice: told.get(choice, choice)


def time_entry(each: Field, was: str, key: str) -> str:
    """A clock time; the day comes from the log's own rule, unless it stood there."""
    before = clock(was)
    found = st.time_input(head(each), before, key=key, step=60)
    if found == before:
        return was
    return f"{found:%H:%M}" if found else ""


def clock(text: str) -> dt.time | None:
    """The clock time of a time as text."""
    return dt.datetime.fromisoformat(text).time() if len(text) > 8 else None


def number(text: str, unit: str | None) -> float | None:
    """A number in house units as text, in the units shown."""
    if not text:
        return None
    shown = float(text)
    # Ten digits, so that a number that is left alone reads back as it was.
    return float(f"{units.to_system(shown, unit, words.units()):.10g}") if unit else shown


def plain_number(found: float | None) -> str:
    """The number's text."""
    return "" if found is None or found != found else f"{found:.10g}"


# Loads and passes -------------------------------------------------------------------------------


def several(name: str, key: str, rows: list[Text], faults: dict) -> list[Text]:
    """Loads or passes as a table to type into; a row a load or pass."""
    fields = [each for each in tapping.fields(name).values()
              if each.name != "pour_id" and seen(each)]  # fmt: skip
    st.subheader(say(f"fill.{name}"), anchor=False)
    st.caption(say(f"fill.{name}_hint"))
    frame = pd.DataFrame(
        {each.name: [cell(each, row.get(each.name, "")) for row in rows] for each in fields},
        dtype=object,
    )
    for each in fields:
        if each.kind in ("number", "whole"):
            frame[each.name] = frame[each.name].astype(float)
    edited = st.data_editor(
        frame, hide_index=True, num_rows="add", key=f"fill-{name}-{key}-{len(rows)}",
        placeholder="", alt=say(f"fill.{name}"),
        column_config={each.name: column(each) for each in fields},
    )  # fmt: skip
    for (table, line, fault), reasons in faults.items():
        if table == name:
            head = next((each.label for each in fields if each.name == fault), "")
            told([f"{say(f'log.this_{forms.KINDS[name]}', number=line)}, {head}: {reason}"
                  for reason in reasons])  # fmt: skip
    return [
        row
        for place, cells in enumerate(edited.to_dict("records"))
        if any((row := {each.name: text(each, cells[each.name],
                        rows[place] if place < len(rows) else {}) for each in fields}).values())
    ]  # fmt: skip


def cell(each: Field, was: str) -> Any:
    """A cell of such a table."""
    if each.kind == "time":
        return clock(was)
    if each.kind in ("number", "whole"):
        return number(was, each.unit)
    return was or None


def column(each: Field) -> Any:
    """How such a table shows a column."""
    config = st.column_config
    if each.kind == "time":
        return config.TimeColumn(head(each), format="HH:mm", step=60)
    if each.kind in ("number", "whole"):
        return config.NumberColumn(head(each))
    if each.kind == "choice":
        return config.SelectboxColumn(head(each), options=each.choices,
                                      format_func=named(each))  # fmt: skip
    return config.TextColumn(head(each), max_chars=200)


def text(each: Field, value: Any, row: Text) -> str:
    """A cell's text as a log has it."""
    was = row.get(each.name, "")
    if value is None or value != value:
        return ""
    if each.kind == "time":
        return was if value == clock(was) else f"{value:%H:%M}"
    if each.kind in ("number", "whole"):
        return plain_number(float(value))
    return str(value).strip()


assert {*WHAT, *DAY} <= {*TABLES["pours"].names}
