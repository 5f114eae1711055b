"""The start page: which pages there are, and the switches that every page shares."""

from pathlib import Path

import look
import streamlit as st
import words

st.set_page_config(page_title="pourstats", page_icon=look.ICON, layout="wide")
look.dress()
words.choose()

FOLDER = Path(__file__).parent
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
PAGES = [
    st.Page(file, title=words.say(f"nav.{name}"), url_path=name, default=name == "week")
    for name, file in NAMES.items()
    if (FOLDER / file).is_file()
]
page = st.navigation(PAGES, position="top")
words.switches()
look.run(page)
