"""The start page: which pages there are, and the switches that every page shares."""

import gate
import look
import streamlit as st
import words

st.set_page_config(page_title="pourstats", page_icon=look.ICON, layout="wide")
look.dress()
words.choose()

NAMES = {
    "week": "week.py",
    "log": "log_pour.py",
    "record": "record.py",
    "upload": "upload.py",
    "finishing": "finishing.py",
    "plan": "plan.py",
    "trucks": "trucks.py",
    "price": "price.py",
    "callbacks": "callbacks.py",
}
ROLE = gate.role()
START = "week" if ROLE == "office" else "log"


def page_of(name: str, file: str) -> st.Page:
    """The page, or what stands in its place for somebody who may not see it."""
    if ROLE is None:
        return st.Page(gate.ask, title="pourstats", url_path=name, default=name == START)
    if ROLE == "crew" and name not in gate.CREW_PAGES:
        return st.Page(gate.closed, title="pourstats", url_path=name, visibility="hidden")
    title = words.say(f"nav.{name}")
    return st.Page(file, title=title, url_path=name, default=name == START)


page = st.navigation(
    [page_of(name, file) for name, file in NAMES.items()],
    position="hidden" if ROLE is None else "top",
)
st.session_state.role = ROLE
words.switches()
look.run(page)
gate.keep()
