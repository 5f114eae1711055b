"""Upload: what would be stored and what would be set aside, before anything is; mended in place."""

import kept
import look
import pandas as pd
import streamlit as st
from words import say

from pourstats.reporting.loaded import load_text
from pourstats.reporting.week_sentences import count_text
from pourstats.store import previewing


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
    told = [name for name in ("set_aside", "added", "replaced", "unchanged", "taken_up", "read")
            if name in ("set_aside", "added") or any(
                counts.get(name) for counts in report.tables.values())]  # fmt: skip
    rows = [
        {"table": name.replace("_", " "),
         **{head.replace("_", " "): counts.get(head, 0) for head in told}}
        for name, counts in report.tables.items()
    ]  # fmt: skip
    aside = sum(counts["set_aside"] for counts in report.tables.values())
    st.subheader(look.plain(say("upload.would", kept=count_text(kept_rows, "row"),
                                aside=count_text(aside, "row"))), anchor=False)  # fmt: skip
    if rows:
        look.table(rows, say("nav.upload"))
    for fault in report.set_aside:
        if fault.line is None:
            st.warning(look.plain(fault))
    if report.warnings:
        with st.expander(say("upload.odd", count=len(report.warnings))):
            for line in report.warnings:
                st.markdown("- " + look.plain(line))
    broken = previewing.broken(upload, report)
    edited = {(each.file, each.sheet): mend(each) for each in broken}
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
            st.session_state.uploaded = load_text(report, brief=True)
            st.session_state.uploads = st.session_state.get("uploads", 0) + 1
            st.session_state.pop("upload")
            st.rerun()


def mend(each: previewing.Broken) -> dict[int, list[str]]:
    """The rows of one sheet that would be set aside, to be mended; the cells as they are now."""
    where = f"{each.file}, {each.sheet}" if each.sheet else each.file
    st.markdown(f"**{look.plain(where)}**")
    frame = pd.DataFrame(each.cells.values(), columns=each.header, dtype=str)
    for line, reasons in each.reasons.items():
        st.markdown(f"- {say('upload.line')} {line}: {look.plain('; '.join(reasons))}")
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
    st.code(st.session_state.pop("uploaded").strip(), language=None)
    look.link("week.py", "nav.week")
ask()
if "upload" in st.session_state:
    look_over()
