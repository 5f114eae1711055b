"""A call to come back, logged where callbacks are read: held to a load's checks."""

import csv
import io

import filling
import kept
import look
import streamlit as st
import tapping
import words
from words import say

from pourstats.logs.defects import defect_help
from pourstats.store import previewing

ASKED = ("reported", "defect", "fault", "hours", "cost", "notes")


def log() -> None:
    """The fields of one call; what each defect looks like stands below its choice."""
    pours = kept.frame(kept.needed(), "pours").sort_values("date", ascending=False)
    names = {row.pour_id: f"{row.pour_id} · {row.site} · {row.date:%Y-%m-%d}"
             for row in pours.itertuples()}  # fmt: skip
    fields = tapping.fields("callbacks")
    count = st.session_state.setdefault("calls", 0)
    with st.expander(say("callbacks.log")):
        if "call_stored" in st.session_state:
            st.success(look.plain(st.session_state.pop("call_stored")))
        given = {"pour_id": st.selectbox(
            filling.head(fields["pour_id"]), list(names), index=None, placeholder="",
            format_func=names.get, key=f"call-{count}-pour_id") or ""}  # fmt: skip
        for name in ASKED:
            given[name] = filling.entry(fields[name], "", f"call-{count}-{name}")
            if name == "defect" and given[name]:
                st.caption(look.plain(words.amounts(defect_help(given[name]))))
        if st.button(say("log.save"), type="primary"):
            store(given)


def store(given: dict[str, str]) -> None:
    """Look it over as a load does; store it, or say what is wrong."""
    same = f"{given['pour_id']}-{given['reported']}-{given['defect']}"
    row = {"callback_id": same, **given}
    text = io.StringIO()
    csv.writer(text).writerows([list(row), list(row.values())])
    upload = previewing.read(kept.store(), {"callbacks.csv": text.getvalue().encode()})
    report = previewing.preview(kept.store(), upload)
    labels = {name: each.label for name, each in tapping.fields("callbacks").items()}
    for fault in report.set_aside:
        head = labels.get(fault.column or "", fault.column or "")
        st.error(look.plain(f"{head}: {words.reason(fault.reason)}"))
    if report.set_aside:
        return
    previewing.put_in(kept.store(), upload)
    st.session_state.call_stored = say("callbacks.stored", pour_id=given["pour_id"])
    # The next call begins with blank fields.
    st.session_state.calls += 1
    st.rerun()
