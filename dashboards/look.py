"""How every page looks: targets for gloved hands, one answer first, and errors in plain words."""

import base64
import json
import logging
import re
from pathlib import Path

import streamlit as st
import words

from pourstats.faults import Refusal
from pourstats.reporting.charts import Drawn

# Within the page: whoever is still to give a passcode gets no file.
_ICON = Path(__file__).with_name("icon.png").read_bytes()
ICON = f"data:image/png;base64,{base64.b64encode(_ICON).decode()}"

STYLE = """
<style>
.stMainBlockContainer {padding-top: 4.2rem; padding-bottom: 3rem; max-width: 76rem;}
h1 {font-size: 1.05rem !important; font-weight: 600 !important; opacity: .78;
    padding: 0 !important;}
h2 {font-size: 1.65rem !important; line-height: 1.25 !important; padding: .1rem 0 .4rem !important;}
h3 {font-size: 1.15rem !important; padding-top: 1.1rem !important;}
.stButton button, .stDownloadButton button, .stFormSubmitButton button, .stLinkButton a,
.stPageLink a {min-height: 2.75rem;}
[data-testid="stExpandSidebarButton"], [data-testid="stSidebarCollapseButton"] button
    {min-width: 2.75rem; min-height: 2.75rem;}
[data-testid="stSidebarNavLink"], [data-testid="stTopNavLink"] {min-height: 2.75rem;}
.stButtonGroup button {min-height: 2.75rem;}
input, [data-testid="stExpander"] summary, [data-testid="stPopoverButton"],
[data-testid="stFileUploader"] button, [data-testid="stNumberInputContainer"],
[data-testid="stDateInputField"], [data-testid="stTimeInputTimeDisplay"],
[data-testid="stSelectbox"] [role="group"] {min-height: 2.875rem;}
[data-testid="stNumberInputContainer"] button, [data-testid="stSelectbox"] button,
[data-testid="stMultiSelect"] [role="group"] > button {width: 2.75rem; min-height: 2.75rem;}
/* Heads and machines are stepped; an area or a thickness is typed, and a glove that touches + would
   change it by a hundredth, unseen. */
.stNumberInput [data-testid^="stNumberInputStep"] {display: none;}
:is([class*="hands"], [class*="machines"]) .stNumberInput [data-testid^="stNumberInputStep"]
    {display: flex; align-items: center; justify-content: center;}
[data-testid="stPopoverButton"] {min-width: 2.75rem;}
[data-testid="stDateInputCalendarButton"] {min-width: 2.75rem; min-height: 2.75rem;}
.stButtonGroup button {min-width: 2.75rem;}
.stMultiSelect span[title] {max-width: none; white-space: normal; overflow-wrap: anywhere;}
/* A chosen job is taken out by its whole height, not by a cross of seven pixels. */
[data-testid="stMultiSelectTagsContainer"] [role="group"] > span {min-height: 2.75rem;}
[data-testid="stMultiSelectTagsContainer"] button[aria-label^="Remove"]
    {min-width: 2.75rem; min-height: 2.75rem; justify-content: center;}
.stPageLink a {border: 1px solid var(--faint); border-radius: .5rem; padding: .25rem .75rem;}
[data-testid="stTable"] :is(th, td) {padding: .3rem .5rem;}
.st-key-switches {margin-bottom: -.3rem;}
.st-key-switches button {min-height: 2.75rem;}
button:disabled {opacity: .8; filter: grayscale(1); border-style: dashed !important;}
button:disabled, button:disabled p {color: var(--faint) !important;}
/* A blank number has nothing to step from: its + and - aren't buttons that went dead. */
.stNumberInput button:disabled {opacity: .45; border-style: none !important;}
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] p
    {color: var(--faint); opacity: 1 !important;}
button[kind^="primary"]:enabled, button[kind^="primary"]:enabled p,
.stMultiSelect span[title] {color: var(--on-primary) !important;}
@media (max-width: 640px) {
  .stMainBlockContainer {padding-left: .8rem; padding-right: .8rem;}
  h2 {font-size: 1.3rem !important;}
  [data-testid="stElementToolbar"] {display: none;}
  [class*="st-key-wide"] {overflow-x: auto;}
  [class*="st-key-wide"] > :has([data-testid="stVegaLiteChart"]) {min-width: 44rem;}
  [data-testid="stTable"] :is(th, td) {padding: .3rem .25rem; font-size: .85rem;}
  [data-testid="stCode"] pre {padding: .7rem .6rem;}
  [data-testid="stCode"] code {font-size: .78rem;}
}
@media print {
  header, .st-key-switches, .stButton, [data-testid="stToolbar"] {display: none !important;}
}
</style>
"""


# Streamlit's own pale captions, and its white on the dark theme's light blue, are too faint to
# read (WCAG 2.2, 1.4.3: 4.5 to 1).
COLORS = {
    False: "<style>:root {--faint: #4D5359; --on-primary: #FFFFFF;}</style>",
    True: "<style>:root {--faint: #B4B9BE; --on-primary: #0B0E10;}</style>",
}


# A text or chart wider than the screen can be scrolled by keys too (WCAG 2.2, 2.1.1).
SCROLLED = """
<script>
if (!window.scrolledByKeys) {
  window.scrolledByKeys = new MutationObserver(() => {
    const wide = 'pre:not([tabindex]), [class*="st-key-wide"]:not([tabindex])';
    for (const block of document.querySelectorAll(wide)) block.tabIndex = 0;
  });
  window.scrolledByKeys.observe(document.body, {childList: true, subtree: true});
}
</script>
"""


# Streamlit says in the page's root whether the server still answers; the dead buttons alone don't
# say why they are dead.
NO_CONNECTION = """<style>
.stApp:not([data-test-connection-state="CONNECTED"])::after {{
  content: {told}; position: fixed; inset: auto 0 0 0; z-index: 999999; padding: .9rem;
  background: #8A1C1C; color: #FFFFFF; font-weight: 600; text-align: center;}}
/* It says the same in English alone, over the taps that were stored. */
body:has(.stApp:not([data-test-connection-state="CONNECTED"])) [data-testid="stDialog"]
  {{display: none;}}
</style>"""


# On a phone two small arrows alone don't say that the other pages are behind them.
MENU = """<style>
[data-testid="stExpandSidebarButton"] {{width: auto; padding: 0 .75rem;}}
[data-testid="stExpandSidebarButton"]::after {{content: {told}; margin-left: .4rem;}}
</style>"""


# Streamlit says these in English alone: in another language the button says it by its own text.
CHOOSE_FILE = """<style>
[data-testid="stFileUploaderDropzone"] button p {{font-size: 0;}}
[data-testid="stFileUploaderDropzone"] button p::after {{content: {told}; font-size: 1rem;}}
[data-testid="stFileUploaderDropzoneInstructions"] {{display: none;}}
</style>"""


def dress() -> None:
    """The style sheet, once a run."""
    told = json.dumps(words.say("log.no_connection"), ensure_ascii=False)
    menu = json.dumps(words.say("all.menu"), ensure_ascii=False)
    st.html(COLORS[ink()] + STYLE + NO_CONNECTION.format(told=told) + MENU.format(told=menu))
    if words.language() != "en":
        told = json.dumps(words.say("all.choose_file"), ensure_ascii=False)
        st.html(CHOOSE_FILE.format(told=told))
    st.html(SCROLLED, unsafe_allow_javascript=True)


def answer(question: str, sentence: str) -> None:
    """A page's head: what it answers, small; then the answer."""
    st.title(plain(question), anchor=False)
    st.header(plain(sentence), anchor=False)


_MARKS = re.compile(r"([\\`*_{}\[\]()#+\-.!|<>:$~&^=])")


# A bare address would become a link, however escaped: an invisible joiner takes it apart.
_LINKS = re.compile(r"(?i)(?<=http)(?=s?://)|(?<=www)(?=\.)|(?=@)")


def plain(text: object) -> str:
    """Text that somebody wrote, so that it is shown to the letter and never as markup."""
    return _MARKS.sub(r"\\\1", _LINKS.sub("\u2060", " ".join(str(text).split())))


def ink() -> bool:
    """Whether the page is dark, for charts."""
    return st.context.theme.type == "dark"


def empty(question: str) -> None:
    """A page that has nothing to show yet says what makes it."""
    answer(question, words.say("all.no_store"))
    st.write(words.say("all.first_steps"))
    link("log_pour.py", "week.log")
    link("upload.py", "all.upload_link")


def link(file: str, name: str) -> None:
    """A link to another page, large enough for a glove."""
    if st.session_state.get("role") == "office" or file == "log_pour.py":
        st.page_link(file, label=words.say(name))


def table(rows: list[dict[str, object]], alt: str) -> None:
    """A short table whose texts break, so that a phone shows all of it."""
    cells = [{name: plain(cell) for name, cell in row.items()} for row in rows]
    st.table(cells, hide_index=True, border="horizontal", alt=alt)


def text(told: str, fixed: tuple[str, ...] = ()) -> None:
    """A text of the command's, its lines broken where a phone is narrower than they are.

    Parts that begin with a word of ``fixed`` are tables: they keep their lines and scroll.
    """
    if not fixed:
        st.code(told, language=None, wrap_lines=True)
        return
    for part in told.split("\n\n"):
        st.code(part.strip("\n"), language=None, wrap_lines=not part.startswith(fixed))


def draw(drawn: Drawn | None) -> None:
    """A chart under its finding; nothing where there is nothing to draw."""
    if drawn is not None:
        st.markdown(f"**{plain(drawn.title)}**")
        st.altair_chart(drawn.chart, theme=None, alt=drawn.words)
        st.caption(plain(drawn.reading))


def run(page: st.Page) -> None:
    """Run a page; what the program refuses is said in its own words, never as a traceback."""
    try:
        page.run()
    except Refusal as error:
        st.error(plain(error))
        st.caption(words.say("all.refused"))
    except Exception:
        # The server's log keeps what happened; the page doesn't show it to the crew, nor a link to
        # another's site.
        logging.getLogger("pourstats").exception("a page failed")
        st.error(words.say("all.failed"))
