"""Upload: what would be stored and what would be set aside, before anything is; mended in place."""

import re

import kept
import look
import pandas as pd
import streamlit as st
import words
from words import say

from pourstats.faults import Fault
from pourstats.logs.tables import TABLES
from pourstats.reporting.week_sentences import count_text
from pourstats.store import previewing
from pourstats.store.report import Report


def ask() -> None:
    """The files."""
    given = st.file_uploader(
        say("upload.files"), type=["csv", "xlsx", "xlsm"], accept_multiple_files=True,
        key=f"files-{st.session_state.get('uploads', 0)}",
    )  # fmt: skip
    st.caption(say("upload.names"))
    marks = tuple((file.file_id, file.name) for file in given)
    if not given:
        st.session_state.pop("upload", None)
    elif st.session_state.get("upload_of") != marks or "upload" not in st.session_state:
        st.session_state.upload_of = marks
        contents = {file.name: file.getvalue() for file in given}
        st.session_state.upload = previewing.read(kept.store(), contents)
        st.session_state.preview = None


def look_over() -> None:
    """What would happen, and the rows to mend."""
    upload = st.session_state.upload
    if st.session_state.preview is None:
        with st.spinner(say("upload.looking")):
            st.session_state.preview = previewing.preview(kept.store(), upload)
    report = st.session_state.preview
    kept_rows = report.rows - sum(counts["set_aside"] for counts in report.tables.values())
    aside = sum(counts["set_aside"] for counts in report.tables.values())
    st.subheader(look.plain(say("upload.would", kept=in_rows(kept_rows), aside=in_rows(aside))),
                 anchor=False)  # fmt: skip
    counted(report)
    for fault in report.set_aside:
        if fault.line is None:
            st.warning(look.plain(f"{fault.file}: {words.reason(fault.reason)}"))
    if report.warnings:
        with st.expander(say("upload.odd", count=len(report.warnings))):
            for line in report.warnings:
                st.markdown("- " + look.plain(odd(line)))
    broken = previewing.broken(upload, report)
    edited = {(each.file, each.sheet): mend(each, report.set_aside) for each in broken}
    with st.container(horizontal=True):
        if broken and st.button(say("upload.again"), width="content"):
            for (file, sheet), cells in edited.items():
                upload = previewing.mended(upload, file, sheet, cells)
            st.session_state.upload, st.session_state.preview = upload, None
            st.session_state.round = st.session_state.get("round", 0) + 1
            st.rerun()
        label = say("upload.load_some", aside=aside) if aside else say("upload.load")
        if st.button(label, type="primary", disabled=not report.rows):
            report = previewing.put_in(kept.store(), upload)
            st.session_state.uploaded = report
            st.session_state.uploads = st.session_state.get("uploads", 0) + 1
            st.session_state.pop("upload")
            st.rerun()


def in_rows(count: int) -> str:
    """So many rows, in words."""
    return count_text(count, say("upload.row"), say("upload.rows"))


def counted(report: Report) -> None:
    """What becomes of each table's rows."""
    told = [name for name in ("set_aside", "added", "replaced", "unchanged", "taken_up", "read")
            if name in ("set_aside", "added") or any(
                counts.get(name) for counts in report.tables.values())]  # fmt: skip
    rows: list[dict[str, object]] = [
        {say("upload.table"): called(name),
         **{say(f"upload.{head}"): counts.get(head, 0) for head in told}}
        for name, counts in report.tables.items()
    ]  # fmt: skip
    if rows:
        look.table(rows, say("nav.upload"))


def called(name: str) -> str:
    """A table as its file is called; in another language also as people say it."""
    if words.language() == "es" and name in TABLES:
        return f"{TABLES[name].spanish} ({name})"
    return name.replace("_", " ")


def odd(line: str) -> str:
    """What looks odd, in the language chosen as far as it has words for it."""
    found = re.fullmatch(r"(.+?), (?:sheet (.+?), )?line (\d+), (\w+): (.*)", line)
    if found is None:
        file, mark, rest = line.partition(": ")
        return f"{file}{mark}{words.reason(rest)}"
    where = ", ".join(part for part in (found[1], found[2]) if part)
    return f"{where}, {say('upload.line')} {found[3]}, {found[4]}: {words.reason(found[5])}"


def why(fault: Fault) -> str:
    """A fault of one row: its column as the file calls it, and the reason."""
    reason = words.reason(fault.reason)
    return f"{fault.column}: {reason}" if fault.column else reason


def mend(each: previewing.Broken, faults: list[Fault]) -> dict[int, list[str]]:
    """The rows of one sheet that would be set aside, to be mended; the cells as they are now."""
    mine = [fault for fault in faults if (fault.file, fault.sheet) == (each.file, each.sheet)]
    where = f"{each.file}, {each.sheet}" if each.sheet else each.file
    st.markdown(f"**{look.plain(where)}**")
    frame = pd.DataFrame(each.cells.values(), columns=each.header, dtype=str)
    for line in each.reasons:
        told = "; ".join(why(fault) for fault in mine if fault.line == line)
        st.markdown(f"- {say('upload.line')} {line}: {look.plain(told)}")
    frame.insert(0, say("upload.line"), list(each.cells))
    edited = st.data_editor(
        frame, hide_index=True, disabled=[say("upload.line")], num_rows="fixed",
        key=f"mend-{where}-{st.session_state.get('round', 0)}",
    )  # fmt: skip
    return {
        int(row[0]): ["" if cell is None or cell != cell else str(cell) for cell in row[1:]]
        for row in edited.itertuples(index=False)
    }


look.answer(say("nav.upload"), say("upload.answer"))
if "uploaded" in st.session_state:
    st.success(say("upload.done"))
    counted(st.session_state.pop("uploaded"))
    look.link("week.py", "nav.week")
ask()
if "upload" in st.session_state:
    look_over()
