"""The start page: which pages there are, and the switches that every page shares."""

import gate
import look
import streamlit as st
import words

st.set_page_config(page_title="pourstats", page_icon=look.ICON, layout="wide")
words.choose()
look.dress()

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
# The other pages repeat what commands say, in English; the start page has the bare address.
IN_EVERY_LANGUAGE = {"log", "upload", *(() if ROLE == "office" else ("",))}


def page_of(name: str, file: str, first: bool = False, hidden: bool = False) -> st.Page:
    """The page, or what stands in its place for somebody who may not see it."""
    place = "start" if first else name
    if ROLE is None:
        return st.Page(gate.ask, title="pourstats", url_path=place, default=first)
    if ROLE == "crew" and name not in gate.CREW_PAGES:
        return st.Page(gate.closed, title="pourstats", url_path=place, visibility="hidden")
    title = words.say(f"nav.{name}")
    seen = "hidden" if hidden else "visible"
    return st.Page(file, title=title, url_path=place, default=first, visibility=seen)


def pages() -> list[st.Page]:
    """Every page. The start page has the bare address, and by its own name a second one: a phone
    keeps ``/log?pour=…``, whoever opens it next."""
    found = [page_of(name, file, first=name == START) for name, file in NAMES.items()]
    return [*found, page_of(START, NAMES[START], hidden=True)]


page = st.navigation(pages(), position="hidden" if ROLE is None else "top")
st.session_state.role = ROLE
words.switches()
if words.language() != "en" and ROLE is not None and page.url_path not in IN_EVERY_LANGUAGE:
    st.caption(words.say("all.computed"))
look.run(page)
gate.keep()
