"""The main paths in a real browser: a pour by taps on a phone, a reload, an upload, a language."""

from __future__ import annotations

import contextlib
import importlib.util
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from pourstats.store.database import Store
from pourstats.store.loading import load

sys.path.insert(0, str(Path(__file__).resolve().parent))

from serving import DESK, PHONE, ROOT, chromium, opened, rewritten, rows, served, settled, until

sys.path.pop(0)

pytestmark = pytest.mark.skipif(
    chromium() is None or importlib.util.find_spec("playwright") is None,
    reason="no browser: install Chromium (Debian: apt-get install chromium) and the dev extra",
)
SAMPLE = ROOT / "sample_logs"
TAPS = ("First concrete", "Strike-off done", "Bull float done", "Machine on", "Last pass off",
        "Saw done", "Gone")  # fmt: skip


PLACES = ("", "log", "log?pour=B300", "log?pour=B297&form=1", "record", "record?pour=B297",
          "upload", "finishing", "plan", "trucks", "price", "callbacks")  # fmt: skip
# Pages whose colors differ in the dark: a chart, buttons, a form, chosen jobs.
DARK = ("", "log?pour=B300", "log?pour=B297&form=1", "finishing", "record?pour=B297")
# A name that would be all kinds of markup, and a script, if it were taken for any.
MARKUP = "**bold** :red[red] $x^2$ [link](http://bad.example) _it_ `co` #h <script>bad()</script>"
LEAKS = """() => [...document.querySelectorAll('.stApp strong, .stApp em, .stApp code, .stApp a, '
  + '.stApp .katex, .stApp script')]
  .filter(each => each.matches('.katex, [href*="bad.example"]')
    || ['bold', 'it', 'co', 'bad()'].includes(each.textContent))
  .map(each => each.outerHTML)"""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Store]]:
    """The sample season, served from a folder that is not the checkout's."""
    folder = tmp_path_factory.mktemp("served")
    store = Store(folder / "s.duckdb")
    load(store, sorted(SAMPLE.glob("*.csv")))
    with served(store.path, folder) as address:
        yield address, store


SMALL = """() => [...document.querySelectorAll(
    '[data-testid="stMain"] :is(button, summary, select, [role="radio"], .stPageLink a)')]
  .filter(each => each.checkVisibility({opacityProperty: true, visibilityProperty: true})
    && !each.closest('[data-testid="stElementToolbar"], [data-testid="stDataFrame"]'))
  .map(each => [each.innerText || each.ariaLabel, each.getBoundingClientRect()])
  .filter(([, box]) => box.width && (box.width < 43.5 || box.height < 43.5))
  .map(([name, box]) => `${name}: ${box.width} x ${box.height}`)"""


def test_a_gloved_thumb_meets_every_target_and_a_number_is_seen(
    chrome: Any, site: tuple[str, Store]
) -> None:
    # 44 px: WCAG 2.2, success criterion 2.5.5 (enhanced).
    address, _ = site
    page, _ = opened(chrome, PHONE)
    for place in ("", "log", "log?pour=B294", "log?pour=B297&form=1", "record", "record?pour=B297",
                  "upload", "finishing", "plan", "trucks", "price", "callbacks"):  # fmt: skip
        page.goto(f"{address}/{place}")
        settled(page)
        page.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")
        settled(page)
        assert page.evaluate(SMALL) == [], place
    page.goto(f"{address}/price")
    settled(page)
    page.get_by_text("Type a job", exact=True).click()
    settled(page)
    for label, value in (("Area [ft²]", "12800"), ("Thickness [in]", "5"), ("Hands", "12")):
        field = page.get_by_label(label, exact=True).first
        field.fill(value)
        field.press("Enter")
        settled(page)
        # Digits are about 8 px wide, and none hides under what stands beside them.
        inner = field.evaluate("""each => { const look = getComputedStyle(each);
          return each.clientWidth - parseFloat(look.paddingLeft) - parseFloat(look.paddingRight); }""")
        assert inner >= 8 * len(value), label
    # + on an area would add a hundredth of a square foot.
    assert page.locator('[data-testid="stNumberInputStepUp"]:visible').count() <= 2
    page.context.close()


def press(page: Any, name: str) -> None:
    """Tap a button, and wait for its tick, which stands only once the tap is stored."""
    page.get_by_role("button", name=name, exact=True).click()
    page.get_by_role("button", name=name, exact=True).wait_for(state="detached", timeout=20_000)


def test_a_whole_pour_by_taps_on_a_phone(chrome: Any, site: tuple[str, Store]) -> None:
    address, store = site
    page, outside = opened(chrome, PHONE)
    page.goto(f"{address}/log")
    settled(page)
    page.get_by_role("button", name="B300").click()
    page.get_by_text("How many hands are here?").wait_for()
    assert "pour=B300" in page.url
    # The theme's blue, not the server's own color: the pages' configuration was found.
    blue = "getComputedStyle(document.querySelector('[aria-checked=true]')).color"
    assert page.evaluate(blue) == "rgb(0, 97, 154)"
    low = page.evaluate(
        "[...document.querySelectorAll('.stMain button')].filter(b => b.offsetParent)"
        ".map(b => [b.innerText, b.offsetHeight, b.offsetWidth])"
        ".filter(([, h, w]) => h < 44 || w < 44)"
    )
    assert low == []
    press(page, "3")
    for name in TAPS[:3]:
        press(page, name)
    # A locked phone: the page is loaded anew, and nothing is lost.
    page.reload()
    settled(page)
    for event in ("first_concrete", "strike_off_done", "bull_float_done"):
        page.locator(f".st-key-undo-{event} button").wait_for()
    for name in TAPS[:3]:
        assert page.get_by_role("button", name=name, exact=True).count() == 0
    press(page, "Machine on")
    # One tap too early, and back.
    press(page, "Last pass off")
    page.locator(".st-key-undo-last_pass_off button").click()
    page.get_by_role("button", name="Last pass off", exact=True).wait_for()
    for name in TAPS[4:]:
        press(page, name)
    page.get_by_text("it is in the record").wait_for()
    row = rows(store, "pours").set_index("pour_id").loc["B300"]
    assert (row["site"], row["hands"]) == ("Depot Street", 3)
    assert row["place_start"] <= row["place_end"] <= row["machine_on"] <= row["crew_out"]
    undone = rows(store, "stamps")["undone"].value_counts()
    assert undone["yes"] == 1 and undone["no"] == 8
    assert outside == []
    page.context.close()


def test_a_reading_finger_that_taps_twice_counts_once(chrome: Any, site: tuple[str, Store]) -> None:
    address, store = site
    page, _ = opened(chrome, PHONE)
    page.goto(f"{address}/log?pour=B295")
    settled(page)
    page.get_by_role("button", name="First concrete", exact=True).dblclick()
    page.get_by_role("button", name="First concrete", exact=True).wait_for(state="detached")
    until(page, lambda: len(rows(store, "stamps").query("pour_id == 'B295'")) > 0)
    settled(page)
    stamps = rows(store, "stamps")
    assert (stamps["pour_id"] == "B295").sum() == 1
    page.context.close()


def test_spanish_by_one_switch_and_the_browser_remembers(
    chrome: Any, site: tuple[str, Store]
) -> None:
    address, _ = site
    page, _ = opened(chrome, PHONE)
    page.goto(f"{address}/log")
    settled(page)
    page.get_by_text("Español", exact=True).click()
    page.get_by_role("heading", name="¿Cuál colado?").wait_for()
    page.get_by_role("button", name="B294").click()
    page.get_by_role("button", name="Primer concreto").wait_for()
    settled(page)
    page.goto(f"{address}/log?pour=B294")
    page.get_by_role("button", name="Primer concreto").wait_for()
    assert page.get_by_role("button", name="First concrete").count() == 0
    page.context.close()


def test_a_phone_that_speaks_spanish_is_answered_so(chrome: Any, site: tuple[str, Store]) -> None:
    address, _ = site
    page, _ = opened(chrome, PHONE, locale="es-MX")
    page.goto(f"{address}/log")
    page.get_by_role("heading", name="¿Cuál colado?").wait_for()
    page.context.close()


def test_an_upload_is_looked_over_mended_and_loaded(chrome: Any, tmp_path: Path) -> None:
    from playwright.sync_api import TimeoutError as TooLong

    store = Store(tmp_path / "s.duckdb")
    with store.write():
        pass
    log = tmp_path / "pours.csv"
    log.write_text("pour_id,date,site,slab_type,area,thickness\n"
                   "U1,2031-06-02,Oak,garage,600,4\nU2,2031-06-03,Oak,garge,600,4\n")  # fmt: skip
    with served(store.path, tmp_path) as address:
        page, outside = opened(chrome, DESK)
        page.goto(f"{address}/upload")
        settled(page)
        page.locator('input[type="file"]').set_input_files(str(log))
        page.get_by_text("1 row would go in, 1 row would be set aside").wait_for()
        page.get_by_text("did you mean garage?").first.wait_for()
        assert rows(store, "pours").empty, "nothing is stored before it is asked for"
        for _ in range(4):
            rewritten(page, 4, 0, "garage")  # line, pour_id, date, site, slab_type
            page.get_by_role("button", name="Look again at what I mended").click()
            mended = page.get_by_text("2 rows would go in, 0 rows would be set aside")
            # A click quicker than the table's own word of the edit looks at the row as it was.
            with contextlib.suppress(TooLong):
                mended.wait_for(timeout=15_000)
                break
        mended.wait_for(timeout=1000)
        page.get_by_role("button", name="Load it", exact=True).click()
        page.get_by_text("Loaded.", exact=True).wait_for()
        # What was stored is counted there, as it was before.
        until(page, lambda: "pours" in page.locator('[data-testid="stTable"]').inner_text())
        assert outside == []
        page.context.close()
    found = rows(store, "pours")
    assert list(found["pour_id"]) == ["U1", "U2"]
    assert list(found["slab_type"]) == ["garage", "garage"]


def test_without_a_connection_the_taps_go_dead(chrome: Any, tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    with store.write():
        pass
    page, _ = opened(chrome, PHONE)
    with served(store.path, tmp_path) as address:
        page.goto(f"{address}/log?pour=P1")
        settled(page)
        button = page.get_by_role("button", name="First concrete", exact=True)
        until(page, button.is_enabled)
        assert said(page) == "none"
    until(page, button.is_disabled, seconds=40)
    until(page, lambda: "No connection: nothing is stored" in said(page))
    page.context.close()
    assert rows(store, "stamps").empty


def said(page: Any) -> str:
    """What the page says across its foot."""
    text = "getComputedStyle(document.querySelector('.stApp'), '::after').content"
    return str(page.evaluate(text))


@pytest.mark.parametrize(
    ("scheme", "size", "places"), [("light", PHONE, PLACES), ("dark", DESK, DARK)]
)
def test_no_page_asks_the_outside_and_an_accessibility_check_finds_nothing_serious(
    chrome: Any, site: tuple[str, Store], scheme: str, size: dict[str, int],
    places: tuple[str, ...],
) -> None:  # fmt: skip
    # axe-core's rules for WCAG 2.2 A and AA and its own good habits; of the dark pages the colors.
    from axe_playwright_python.sync_playwright import Axe

    address, _ = site
    page, outside = opened(chrome, size, color_scheme=scheme)
    options: dict[str, Any] = {"resultTypes": ["violations"]}
    if scheme == "dark":
        options["runOnly"] = ["color-contrast"]
    serious = []
    for place in places:
        page.goto(f"{address}/{place}")
        settled(page)
        assert not re.search(r"Traceback|Error:", page.inner_text('[data-testid="stMain"]')), place
        page.evaluate("for (const part of document.querySelectorAll('details')) part.open = true")
        settled(page)
        found = Axe().run(page, options=options).response
        assert found["passes"], "it looked at something"
        serious += [
            (place, rule["id"], rule["nodes"][0]["html"][:200])
            for rule in found["violations"]
            if rule["impact"] in ("serious", "critical")
        ]
    assert serious == []
    assert outside == []
    page.context.close()


def test_names_and_notes_are_never_markup(chrome: Any, tmp_path: Path) -> None:
    import datetime as dt

    from pourstats.logs.stamps import escaped
    from pourstats.store.tapping import Tap, tap

    name = f'"P {MARKUP}"'
    days = range(2, 10)
    files = {
        "pours": "pour_id,date,site,slab_type,area,thickness,hands,crew_in,place_start,place_end,"
        "machine_on,passes_done,crew_out,lead,mix,notes\n" + "".join(
            f'"{day} {MARKUP}",2031-06-0{day},{name},garage,600,4,4,6:30,7:00,8:10,10:30,12:40,'
            f"14:10,{name},{name},{name}\n" for day in days),
        "crew": f"worker,pay\n{name},30\n",
        "crew_time": "pour_id,worker,task,start,end\n" + "".join(
            f'"{day} {MARKUP}",{name},place,6:30,14:10\n' for day in days),
        "jobs": f"pour_id,date,site,slab_type,area,thickness\n{name},2031-06-20,{name},shop,600,4\n",
    }  # fmt: skip
    for table, text in files.items():
        (tmp_path / f"{table}.csv").write_text(text)
    store = Store(tmp_path / "s.duckdb")
    assert load(store, [tmp_path / f"{table}.csv" for table in files]).status == 0
    six = dt.datetime(2031, 6, 12, 6)
    tap(store, f"O {MARKUP}", Tap("describe", f"site={escaped(MARKUP)}", six),
        Tap("arrives", MARKUP, six))  # fmt: skip
    one, other = quote(f"2 {MARKUP}"), quote(f"O {MARKUP}")
    with served(store.path, tmp_path) as address:
        page, _ = opened(chrome, DESK)
        for place in ("", "log", f"log?pour={other}", f"log?pour={one}&form=1",
                      f"record?pour={one}", "plan", "price"):  # fmt: skip
            page.goto(f"{address}/{place}")
            settled(page)
            page.evaluate("for (const each of document.querySelectorAll('details'))each.open=true")
            settled(page)
            assert page.evaluate(LEAKS) == [], place
            assert "**bold**" in page.inner_text(".stApp"), place
        page.context.close()


def test_a_load_elsewhere_goes_in_while_the_pages_are_open(
    chrome: Any, site: tuple[str, Store], tmp_path: Path
) -> None:
    import subprocess

    address, store = site
    page, _ = opened(chrome, DESK)
    page.goto(f"{address}/record")
    settled(page)
    before = len(rows(store, "pours"))
    (tmp_path / "pours.csv").write_text(
        "pour_id,date,site,slab_type,area,thickness\nZ1,2031-06-02,Oak,garage,600,4\n"
    )
    done = subprocess.run(
        [sys.executable, "-m", "pourstats.cli", "load", str(tmp_path / "pours.csv"), "--store",
         str(store.path)], capture_output=True, check=False, text=True, timeout=60, cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    page.reload()
    page.get_by_role("heading", name=f"{before + 1} pours").wait_for()
    page.context.close()


def test_the_crews_passcode_opens_the_log_and_shows_no_pay(chrome: Any, tmp_path: Path) -> None:
    from pourstats.store.access import set_passcode

    store = Store(tmp_path / "s.duckdb")
    load(store, sorted(SAMPLE.glob("*.csv")))
    set_passcode(store, "office", "ledger-9")
    set_passcode(store, "crew", "trowel-4")
    with served(store.path, tmp_path) as address:
        page, _ = opened(chrome, PHONE)
        for place in ("", "log?pour=B294", "record?pour=B297", "price"):
            page.goto(f"{address}/{place}")
            page.get_by_label("Passcode").wait_for()
            assert "B297 ·" not in page.content() and "Alder Bench" not in page.content()
        heard: list[str] = []
        page.on("websocket", lambda socket: socket.on(
            "framereceived", lambda frame: heard.append(str(frame))))  # fmt: skip
        page.goto(f"{address}/price")
        page.get_by_label("Passcode").fill("guess-1")
        page.get_by_role("button", name="Open").click()
        page.get_by_text("opens nothing here").wait_for()
        page.get_by_label("Passcode").fill("trowel-4")
        page.get_by_role("button", name="Open").click()
        page.get_by_role("heading", name="That page is the office's").wait_for()
        settled(page)
        # The log is the crew's start page, and keeps its own address too: phones hold it.
        page.goto(f"{address}/log?pour=B294")
        page.get_by_role("heading", name="B294").wait_for()
        settled(page)
        assert page.get_by_role("dialog").count() == 0 and "/log?" in page.url
        page.goto(f"{address}/log")
        page.get_by_role("heading", name="Which pour?").wait_for()
        for place in ("", "log?pour=B294", "log?pour=B297&form=1", "plan", "price", "callbacks",
                      "record?pour=B297"):  # fmt: skip
            page.goto(f"{address}/{place}")
            settled(page)
            page.locator(".st-key-switches").wait_for()
            assert page.get_by_label("Passcode").count() == 0, "a reload needs no passcode"
            text = page.content()
            for word in ("labor cost", "labor_cost", "default_pay", "bid_price", "ask $"):
                assert word not in text, (place, word)
        told = " ".join(heard)
        for word in ("labor_cost", "labor_rate", "bid_price", "default_pay", "ask $"):
            assert word not in told, word
        page.context.close()


def test_the_local_network_needs_a_passcode(tmp_path: Path) -> None:
    import subprocess

    done = subprocess.run(
        [sys.executable, "-m", "pourstats.cli", "dashboard", "--lan", "--no-browser", "--store",
         str(tmp_path / "s.duckdb")], capture_output=True, check=False, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode == 2
    assert "pourstats passcode office" in done.stderr


def test_five_phones_tapping_at_once_while_the_office_reviews_lose_no_tap(
    chrome: Any, site: tuple[str, Store]
) -> None:
    address, store = site
    phones = [opened(chrome, PHONE)[0] for _ in range(5)]
    office, _ = opened(chrome, DESK)
    for number, phone in enumerate(phones):
        phone.goto(f"{address}/log?pour=Q{number}")
    office.goto(address)
    for phone in phones:
        settled(phone)
    for event, place in (("first_concrete", "record"), ("strike_off_done", ""),
                         ("bull_float_done", "callbacks")):  # fmt: skip
        office.goto(f"{address}/{place}", wait_until="commit")
        # All pressed before any answer is waited for.
        for phone in phones:
            phone.locator(f".st-key-{event} button").evaluate("each => each.click()")
        for phone in phones:
            phone.locator(f".st-key-undo-{event} button").wait_for(timeout=60_000)
    settled(office)
    stamps = rows(store, "stamps")
    mine = stamps[stamps["pour_id"].str.fullmatch("Q[0-4]") & (stamps["undone"] == "no")]
    assert len(mine) == 15 and len(mine.drop_duplicates(["pour_id", "event"])) == 15
    for page in (*phones, office):
        page.context.close()
