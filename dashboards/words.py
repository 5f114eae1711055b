"""What the pages say, in one language at a time: ``strings/en.toml``, ``strings/es.toml``.

Another language is another file. A string that a language lacks is said in English.
"""

import functools
import tomllib
from pathlib import Path

import streamlit as st

FOLDER = Path(__file__).parent / "strings"
LANGUAGES = {path.stem: path for path in sorted(FOLDER.glob("*.toml"))}
UNITS = ("us", "metric")


@functools.cache
def strings(language: str) -> dict[str, str]:
    """Every string of a language, its section and name joined by a dot."""
    read = tomllib.loads(LANGUAGES[language].read_text(encoding="utf-8"))
    return {
        f"{section}.{name}": text
        for section, entries in read.items()
        for name, text in entries.items()
    }


def language() -> str:
    """The language chosen."""
    return st.session_state.get("language", "en")


def units() -> str:
    """The unit system chosen: us or metric."""
    return st.session_state.get("units", "us")


def say(name: str, /, **values: object) -> str:
    """A string in the language chosen, its braces filled."""
    text = strings(language()).get(name) or strings("en")[name]
    return text.format(**values) if values else text


def word(group: str, value: str) -> str:
    """A choice of the log (``hard_trowel``) as people of that language say it."""
    name = f"{group}.{value}"
    return strings(language()).get(name) or value.replace("_", " ")


def choose() -> None:
    """Take language and units from the address, else from the browser's memory, else from what
    the browser asks for."""
    state = st.session_state
    for name, allowed in (("language", tuple(LANGUAGES)), ("units", UNITS)):
        if name not in state:
            asked = st.query_params.get(name) or st.context.cookies.get(f"pourstats_{name}")
            if asked is None and name == "language":
                asked = (st.context.locale or "en")[:2]
            state[name] = asked if asked in allowed else allowed[0]
    if "kept" not in state:
        state.kept = (state.language, state.units)


def switches() -> None:
    """The two switches, small, above every page."""
    with st.container(horizontal=True, horizontal_alignment="right", key="switches"):
        st.segmented_control(
            say("switch.language"), tuple(LANGUAGES), key="language", required=True,
            format_func=lambda code: strings(code)["switch.name"], label_visibility="collapsed",
        )  # fmt: skip
        st.segmented_control(
            say("switch.units"), UNITS, key="units", required=True,
            format_func=lambda system: say(f"switch.{system}"), label_visibility="collapsed",
        )  # fmt: skip
    if st.session_state.kept != (language(), units()):
        st.session_state.kept = (language(), units())
        # The browser itself remembers, so that each phone keeps its own.
        lines = "".join(
            f"document.cookie='pourstats_{name}={value};max-age=31536000;path=/;SameSite=Strict';"
            for name, value in (("language", language()), ("units", units()))
        )
        st.html(f"<script>{lines}</script>", unsafe_allow_javascript=True)
