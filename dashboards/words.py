"""What the pages say, in one language at a time: ``strings/en.toml``, ``strings/es.toml``.

Another language is another file. A string that a language lacks is said in English.
"""

import datetime as dt
import functools
import re
import tomllib
from pathlib import Path

import streamlit as st

from pourstats.logs.choice_words import choice_label
from pourstats.logs.tables import TABLES
from pourstats.reporting.amounts import in_system
from pourstats.units import unit_sign

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


def amounts(text: str) -> str:
    """A finished text, its amounts in the units chosen."""
    return in_system(text, units())


def say(name: str, /, **values: object) -> str:
    """A string in the language chosen, its braces filled."""
    text = strings(language()).get(name) or strings("en")[name]
    return text.format(**values) if values else text


def word(group: str, value: str) -> str:
    """A choice of the log (``hard_trowel``) as people of that language say it."""
    found = strings(language()).get(f"{group}.{value}")
    return found or choice_label(value, "es" if language() == "es" else "en")


def with_unit(label: str, house: str) -> str:
    """A label with the unit in which its number is asked for, as people write it."""
    return f"{label} [{unit_sign(house, units())}]"


def day(value: dt.date, today: dt.date) -> str:
    """A day as people call it: today, tomorrow, else its date."""
    near = {0: "all.today", 1: "all.tomorrow"}.get((value - today).days)
    return say(near) if near else value.isoformat()


def reason(text: str) -> str:
    """A fault in the language chosen; in English where that language has no words for it.

    ``[fault]`` of ``en.toml`` holds the texts as the checks write them, braces standing for what
    differs; other languages have the same names.
    """
    if language() == "en":
        return text
    for name, pattern in _reasons():
        found = pattern.fullmatch(text)
        told = strings(language()).get(name)
        if found is not None and told:
            return told.format(**{key: _part(part) for key, part in found.groupdict().items()})
    return text


@functools.cache
def _reasons() -> list[tuple[str, re.Pattern[str]]]:
    found = []
    for name, text in strings("en").items():
        if name.startswith("fault."):
            pattern = re.sub(r"\\{(\w+)\\}", r"(?P<\1>.+?)", re.escape(text))
            found.append((name, re.compile(pattern)))
    return found


def _part(text: str) -> str:
    """What stands in a fault's braces: a column or table by its label, the rest as it is."""
    for table in TABLES.values():
        if text == table.name:
            return table.spanish if language() == "es" else table.english
        for column in table.columns:
            if text in (column.name, column.name.replace("_", " ")):
                return column.spanish if language() == "es" else column.english
    return re.sub(r"(?<=\d) percent$", " %", text)


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
