"""The passcode: asked for where one is set, and what the role behind it may see."""

import time

import kept
import look
import streamlit as st
from words import say

from pourstats.store import access

# What the crew may open: it shows no pay, no price, nor any cost that could give them away.
CREW_PAGES = ("log", "plan")
RENEW_S = 300.0


@st.cache_resource
def tries() -> access.Tries:
    """Wrong passcodes, over every visit to this server."""
    return access.Tries()


def role() -> str | None:
    """The role of this visit; office where no passcode is set; None until one is given.

    The token's end is looked at on each run, so that an idle office page closes by itself.
    """
    store = kept.store()
    if not kept.guarded(kept.mark()):
        return "office"
    state = st.session_state
    given = state.get("token") or st.context.cookies.get(access.COOKIE)
    found = access.role_in(store, given)
    if found == "office" and time.time() - state.get("renewed", 0) > RENEW_S:
        remember(access.token(store, found))
    return found


def remember(token: str) -> None:
    """The token to the browser, which sends it when the page is loaded anew."""
    st.session_state.token, st.session_state.renewed = token, time.time()
    st.session_state.to_keep = token


def keep() -> None:
    """Hand a new token over, once a page is drawn: the browser fetches it as a cookie that no
    script can read, with a ticket that is good once."""
    token = st.session_state.pop("to_keep", None)
    if token is not None:
        ticket = access.TICKETS.give(token)
        line = f"fetch('/passcode', {{method: 'POST', body: '{ticket}', keepalive: true}})"
        st.html(f"<script>{line}</script>", unsafe_allow_javascript=True)


def closed() -> None:
    """A page of the office's, for the crew."""
    look.answer("pourstats", say("gate.office"))
    look.link("log_pour.py", "week.log")


def ask() -> None:
    """The passcode page."""
    look.answer("pourstats", say("gate.ask"))
    with st.form("gate", border=False):
        given = st.text_input(say("gate.passcode"), type="password")
        pressed = st.form_submit_button(say("gate.open"), type="primary")
    if not pressed:
        return
    counted = tries()
    if not counted.allowed():
        st.error(say("gate.too_many"))
        return
    counted.failed()
    found = access.role_of(kept.store(), given)
    if found is None:
        st.error(say("gate.wrong"))
        return
    counted.right()
    remember(access.token(kept.store(), found))
    st.rerun()
