"""The offline phone page in a real browser, opened from a file: taps, what is kept, what is given
out, and that a load and an upload take it as it is.

What the times must be is the clock that the test sets; no expected value comes from the page.
"""

from __future__ import annotations

import csv
import datetime as dt
import importlib.util
import io
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

import pytest

from pourstats.reporting.phone_page import write_phone_page
from pourstats.store import previewing, reading
from pourstats.store.database import Store
from pourstats.store.loading import load

sys.path.insert(0, str(Path(__file__).resolve().parent))

from serving import PHONE, ROOT, chromium

sys.path.pop(0)

pytestmark = pytest.mark.skipif(
    chromium() is None or importlib.util.find_spec("playwright") is None,
    reason="no browser: install Chromium (Debian: apt-get install chromium) and the dev extra",
)
ZONE = ZoneInfo("America/Chicago")
DAY = dt.datetime(2025, 10, 31)
"""The day of the sample season's jobs ahead."""


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> tuple[Store, Path]:
    """The sample season's store, and the page made from it."""
    folder = tmp_path_factory.mktemp("phone")
    store = Store(folder / "s.duckdb")
    load(store, sorted((ROOT / "sample_logs").glob("*.csv")))
    return store, write_phone_page(folder / "phone.html", store)


class Phone:
    """A phone with the page open, and its clock."""

    def __init__(self, chrome: Any, file: Path, at: dt.datetime, init: str = "", **more: Any):
        self.context = chrome.new_context(
            viewport=PHONE, has_touch=True, locale="en-US", timezone_id=str(ZONE),
            accept_downloads=True, **more,
        )  # fmt: skip
        if init:
            self.context.add_init_script(init)
        self.page = self.context.new_page()
        self.page.set_default_timeout(15_000)
        self.asked: list[str] = []
        self.errors: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("dialog", lambda dialog: self.errors.append(dialog.message))
        self.address = file.as_uri()
        self.at(at)
        self.page.goto(self.address)

    def at(self, moment: dt.datetime) -> dt.datetime:
        """Set the clock; a moment without zone is on this phone's wall."""
        aware = moment if moment.tzinfo else moment.replace(tzinfo=ZONE)
        self.page.clock.set_fixed_time(aware)
        return moment

    def open(self, pour_id: str) -> None:
        self.page.goto(f"{self.address}#pour={quote(pour_id)}")
        self.page.locator("#missing").wait_for()

    def tap(self, name: str) -> None:
        """Touch what has that id."""
        self.page.locator(f'[id="{name}"]').click()

    def more(self, *names: str) -> None:
        """Open those parts of the page."""
        for name in names:
            self.page.locator(f"#{name} > summary").click()

    def write(self, name: str, text: str) -> None:
        """Type into a field and leave it."""
        field = self.page.locator(f'[id="{name}"]')
        field.fill(text)
        field.blur()

    def undo(self, event: str) -> None:
        self.page.locator(f'[aria-label="Undo: {event}"]').first.click()

    def given(self, folder: Path) -> Path:
        """The log, given out as a file."""
        with self.page.expect_download() as waited:
            self.tap("save")
        path = folder / waited.value.suggested_filename
        waited.value.save_as(path)
        self.page.get_by_text("Given out. Look whether").wait_for(state="attached")
        return path

    def done(self) -> None:
        assert self.errors == []
        assert [url for url in self.asked if not url.startswith(("file:", "data:", "blob:"))] == []
        self.context.close()


@pytest.fixture
def phone(chrome: Any, sample: tuple[Store, Path]) -> Iterator[Phone]:
    found = Phone(chrome, sample[1], DAY.replace(hour=6))
    yield found
    found.done()


def clock(text: str) -> dt.datetime:
    hour, minute = text.split(":")
    return DAY.replace(hour=int(hour), minute=int(minute))


EIGHT = (
    ("hands-4", "6:02", "crew_in"), ("tap-first_concrete", "7:01", "place_start"),
    ("tap-strike_off_done", "8:40", "place_end"), ("tap-bull_float_done", "8:55", "bull_float_end"),
    ("tap-machine_on", "11:30", "machine_on"), ("tap-last_pass_off", "14:05", "passes_done"),
    ("tap-saw_done", "16:10", "saw_end"), ("tap-gone", "16:25", "crew_out"),
)  # fmt: skip


def table(store: Store, name: str) -> Any:
    with store.read() as connection:
        return reading.frame(connection, name)


def test_a_whole_pour_from_tap_to_load(
    phone: Phone, sample: tuple[Store, Path], tmp_path: Path
) -> None:
    page = phone.page
    page.get_by_role("link", name="B300").click()
    assert "pour=B300" in page.url
    for name, at, _ in EIGHT[:4]:
        phone.at(clock(at))
        phone.tap(name)
    # A locked phone: the page is loaded anew, and nothing is lost.
    page.reload()
    page.locator("#missing").wait_for()
    ticks = page.locator("button.done").all_inner_texts()
    assert ticks == ["✓ 07:01 First concrete", "✓ 08:40 Strike-off done", "✓ 08:55 Bull float done"]
    phone.more("loads", "passes", "people", "concrete")
    for number, times, volume, ticket in (
        (1, ("6:50", "7:00", "7:40", "7:50"), "5 1/2", "0481"),
        (2, ("7:35", "7:45", "8:20", "8:30"), "4.5", ""),
    ):
        for event, at in zip(("in", "unloading", "empty", "off"), times, strict=True):
            phone.at(clock(at))
            phone.tap(f"tap-load_{event}-load-{number}")
        phone.write(f"load-{number}-volume", volume)
        phone.write(f"load-{number}-ticket", ticket)
    for who, event, at in (
        ("MK", "arrives", "6:02"), ("RB", "arrives", "6:04"), ("TJ", "arrives", "6:05"),
        ("MK", "to_finish", "8:30"), ("RB", "leaves", "9:00"),
    ):  # fmt: skip
        phone.at(clock(at))
        if page.locator(f"#who-{who}").get_attribute("aria-pressed") == "false":
            phone.tap(f"who-{who}")
        phone.tap(f"{event}-now")
    phone.write("other", "Lu")
    phone.at(clock("6:06"))
    phone.tap("arrives-now")
    phone.at(clock(EIGHT[4][1]))
    phone.tap("tap-machine_on")
    phone.tap("ready-20")
    phone.tap("footprint-1/8")
    phone.at(clock("12:10"))
    phone.tap("tap-pass_off-1")
    phone.at(clock("13:00"))
    phone.tap("tap-pass_on-2")
    # One tap too early, and back.
    phone.tap("tap-last_pass_off")
    phone.undo("Last pass off")
    phone.at(clock("14:05"))
    phone.tap("tap-pass_off-2")
    phone.tap("about-slump-7")
    phone.tap("about-exposure-shade")
    phone.tap("about-wind_felt-breezy")
    for name, at, _ in EIGHT[5:]:
        phone.at(clock(at))
        phone.tap(name)
    assert page.locator("#faults").count() == 0
    log = phone.given(tmp_path)
    assert log.name == "stamps_B300_2025-10-31.csv"

    copy = Store(tmp_path / "copy.duckdb")
    shutil.copy(sample[0].path, copy.path)
    for store in (Store(tmp_path / "empty.duckdb"), copy):
        report = load(store, [log])
        assert (report.status, report.set_aside, report.warnings) == (0, [], [])
        pour = table(store, "pours").set_index("pour_id").loc["B300"]
        for _, at, column in EIGHT:
            assert pour[column] == clock(at), column
        job = table(sample[0], "jobs").set_index("pour_id").loc["B300"]
        for column in ("site", "slab_type", "area", "thickness", "mix", "admixtures", "finish",
                       "ordered_volume", "saw_type"):  # fmt: skip
            assert pour[column] == job[column], column
        assert (pour["hands"], pour["slump"]) == (4, 7)
        assert (pour["exposure"], pour["wind_felt"]) == ("shade", "breezy")
        assert str(pour["date"])[:10] == "2025-10-31"
        trucks = table(store, "trucks").query("pour_id == 'B300'")
        columns = ["ticket", "volume", "arrived", "pour_start", "pour_end", "left"]
        assert [list(row) for row in trucks[columns].itertuples(index=False)] == [
            ["0481", 5.5, *map(clock, ("6:50", "7:00", "7:40", "7:50"))],
            ["load-2", 4.5, *map(clock, ("7:35", "7:45", "8:20", "8:30"))],
        ]
        passes = table(store, "passes").query("pour_id == 'B300'")
        first, second = passes[["pass_no", "ready", "start", "end"]].itertuples(index=False)
        assert list(first) == [1, clock("11:10"), clock("11:30"), clock("12:10")]
        assert (second[0], *second[2:]) == (2, clock("13:00"), clock("14:05"))
        assert passes["footprint"].iloc[0] == 0.125
        time = table(store, "crew_time").query("pour_id == 'B300'").set_index(["worker", "task"])
        assert set(time.index.get_level_values(0)) == {"MK", "RB", "TJ", "Lu"}
        assert time.loc[("MK", "place"), "end"] == clock("8:30")
        assert time.loc[("MK", "finish"), "end"] == clock("16:25")
        assert time.loc[("RB", "finish"), "end"] == clock("9:00")
        undone = table(store, "stamps")["undone"].value_counts()
        assert undone["yes"] == 1
    # Given out again as it is, nothing changes.
    again = load(copy, [phone.given(tmp_path)])
    assert again.tables["stamps"]["unchanged"] == again.tables["stamps"]["read"]


def test_the_upload_takes_the_log_as_it_is(phone: Phone, tmp_path: Path) -> None:
    phone.open("B300")
    for name, at, _ in EIGHT:
        phone.at(clock(at))
        phone.tap(name)
    log = phone.given(tmp_path)
    store = Store(tmp_path / "s.duckdb")
    upload = previewing.read(store, {"a message's own name.csv": log.read_bytes()})
    assert previewing.preview(store, upload).set_aside == []
    previewing.put_in(store, upload)
    assert table(store, "pours")["pour_id"].tolist() == ["B300"]


def test_a_tap_taken_back_after_the_log_was_sent_goes_with_the_next_one(
    phone: Phone, tmp_path: Path
) -> None:
    store = Store(tmp_path / "s.duckdb")
    phone.open("B300")
    phone.more("passes", "loads")
    for name, at, _ in EIGHT:
        phone.at(clock(at))
        phone.tap(name)
    phone.tap("tap-load_in-load-1")
    phone.write("load-1-volume", "6")
    phone.tap("footprint-1/4")
    load(store, [phone.given(tmp_path)])
    assert table(store, "passes")["footprint"].tolist() == [0.25]
    phone.at(clock("17:00"))
    phone.undo("Machine on")
    phone.at(clock("17:01"))
    phone.undo("Truck in")
    phone.page.get_by_text("changed since it was given out").wait_for()
    load(store, [phone.given(tmp_path)])
    assert table(store, "pours")["machine_on"].isna().all()
    assert table(store, "passes").empty
    assert table(store, "trucks").empty


def test_a_second_identical_tap_within_three_seconds_counts_once(phone: Phone) -> None:
    phone.open("B300")
    phone.page.locator("#tap-first_concrete").dblclick()
    phone.page.locator("#hands-3").dblclick()
    phone.more("loads")
    phone.tap("tap-load_off-load-1")
    # By now the button is the next load's; the same touch counts once.
    phone.at(clock("6:00") + dt.timedelta(seconds=3))
    phone.page.locator('[id="tap-load_off-load-2"]').click()
    assert stamps(phone) == ["first_concrete", "hands", "load_off"]
    phone.at(clock("6:00") + dt.timedelta(seconds=4))
    phone.page.locator('[id="tap-load_off-load-2"]').click()
    assert stamps(phone) == ["first_concrete", "hands", "load_off", "load_off"]
    phone.more("concrete")
    calm = phone.page.locator("#about-wind_felt-calm")
    calm.dblclick()
    assert calm.get_attribute("aria-pressed") == "true"
    phone.at(clock("6:00") + dt.timedelta(seconds=8))
    calm.click()
    assert calm.get_attribute("aria-pressed") == "false"


def stamps(phone: Phone) -> list[str]:
    """The events that the phone's own storage holds."""
    return phone.page.evaluate(
        "() => JSON.parse(localStorage.getItem('pourstats.pour.B300')).stamps"
        ".filter(s => s.undone === 'no').map(s => s.event)"
    )


def test_a_touch_beside_a_field_that_is_being_typed_in_counts(phone: Phone) -> None:
    phone.open("B300")
    phone.more("about")
    phone.page.locator("#about-notes").fill("rain at noon")
    phone.tap("tap-first_concrete")  # leaves the field, which stores it, and taps
    assert stamps(phone) == ["first_concrete"]
    phone.page.reload()
    phone.page.locator("#missing").wait_for()
    assert phone.page.locator("#about-notes").input_value() == "rain at noon"


def test_what_a_pour_needs_is_asked_before_the_log_goes_out(phone: Phone, tmp_path: Path) -> None:
    page = phone.page
    phone.more("new")
    phone.tap("start")
    page.get_by_text("Give the pour a name or number").wait_for()
    phone.write("new-name", "B297")  # one that the store has
    phone.tap("start")
    page.get_by_text("A pour is already called B297").wait_for()
    phone.write("new-name", "=7")
    phone.tap("start")
    phone.tap("tap-first_concrete")
    phone.tap("save")
    page.get_by_text("Site: is blank, and every pour needs it.").wait_for()
    assert page.evaluate("document.activeElement.id") == "about-site"
    phone.write("about-site", 'Cañada; lot = 4, 100% "north"')
    phone.tap("about-slab_type-garage")
    for wrong, said in (("wide", "'wide' is not a number"), ("0", "0 is outside 1 to 10000000")):
        phone.write("about-area", wrong)
        page.get_by_text(said).wait_for()
    phone.tap("save")
    page.locator("#alert", has_text="0 is outside 1 to 10000000 ft²").wait_for()
    assert page.evaluate("document.activeElement.id") == "about-area"
    phone.write("about-area", "1,200")
    phone.tap("units-metric")
    phone.write("about-thickness", "101,6")
    log = phone.given(tmp_path)
    with log.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["pour_id"] for row in rows} == {"'=7"}, "no spreadsheet takes it for a formula"
    phone.page.get_by_text("the pour stays open until it is").wait_for()
    store = Store(tmp_path / "s.duckdb")
    assert load(store, [log]).status == 0
    assert table(store, "pours").empty, "open until the crew is gone"
    phone.at(clock("6:30"))
    phone.tap("tap-gone")
    load(store, [phone.given(tmp_path)])
    (pour,) = table(store, "pours").to_dict("records")
    assert pour["pour_id"] == "=7"
    assert pour["site"] == 'Cañada; lot = 4, 100% "north"'
    assert (pour["slab_type"], pour["area"]) == ("garage", 1200)
    assert pour["thickness"] == pytest.approx(4, rel=1e-9)


ODD = (
    "=1+1", "'=1", "-5", "@x", "+1", 'a "b" c', "a,b", "a;b=c", "50% %3B", "1e5", "ñ – ½ 😀",
    "'", '"', "n/a", "load-2",
)  # fmt: skip


def test_what_people_type_comes_back_to_the_letter(phone: Phone, tmp_path: Path) -> None:
    phone.open("B300")
    phone.more("people", "about", "loads")
    for number, text in enumerate(ODD, start=1):
        phone.at(clock("7:00") + dt.timedelta(minutes=number))
        phone.write("other", text)
        phone.tap("arrives-now")
        phone.tap(f"tap-load_in-load-{number}")
        phone.tap(f"tap-load_off-load-{number}")
        phone.write(f"load-{number}-volume", "5")
        phone.write(f"load-{number}-ticket", text)
    phone.tap("hands-3")
    phone.write("about-notes", "; ".join(ODD))
    phone.at(clock("15:00"))
    phone.tap("tap-gone")
    store = Store(tmp_path / "s.duckdb")
    report = load(store, [phone.given(tmp_path)])
    assert report.set_aside == []
    assert set(table(store, "crew_time")["worker"]) == set(ODD)
    assert list(table(store, "trucks")["ticket"]) == list(ODD)
    assert table(store, "pours")["notes"].tolist() == ["; ".join(ODD)]


def test_two_tabs_of_one_phone_lose_no_tap(phone: Phone) -> None:
    phone.open("B300")
    other = phone.context.new_page()
    other.clock.set_fixed_time(clock("6:30").replace(tzinfo=ZONE))
    other.goto(f"{phone.address}#pour=B300")
    other.locator("#tap-first_concrete").click()
    phone.page.locator("#tap-first_concrete[aria-disabled]").wait_for()
    phone.tap("tap-strike_off_done")
    other.locator("#tap-strike_off_done[aria-disabled]").wait_for()
    assert stamps(phone) == ["first_concrete", "strike_off_done"]


def test_a_time_that_stands_before_its_start_is_told(phone: Phone) -> None:
    phone.open("B300")
    phone.at(clock("8:00"))
    phone.tap("tap-first_concrete")
    phone.at(clock("7:00"))
    phone.tap("tap-strike_off_done")
    told = phone.page.locator("#faults").inner_text()
    assert "Strike-off done stands before First concrete" in told


def test_several_pours_and_one_deleted_once_its_log_is_out(phone: Phone, tmp_path: Path) -> None:
    page = phone.page
    for pour_id in ("B294", "B300"):
        phone.open(pour_id)
        phone.tap("tap-first_concrete")
        assert page.locator("#delete").count() == 0
    phone.given(tmp_path)
    phone.at(clock("6:10"))
    phone.tap("tap-strike_off_done")
    assert page.locator("#delete").count() == 0, "it changed since"
    phone.given(tmp_path)
    phone.tap("delete")
    page.get_by_text("Delete B300 from this phone?").wait_for()
    phone.tap("keep")
    phone.tap("delete")
    phone.tap("delete-it")
    page.get_by_role("heading", name="Which pour?").wait_for()
    page.reload()
    assert page.get_by_text("Go on with B294").count() == 1
    assert page.get_by_text("Go on with B300").count() == 0


def test_spanish_by_one_switch_and_the_phone_remembers(phone: Phone) -> None:
    page = phone.page
    page.get_by_role("button", name="Español").click()
    page.get_by_role("heading", name="¿Cuál colado?").wait_for()
    page.get_by_role("link", name="B300 · Depot Street · patio").click()
    page.reload()
    page.get_by_role("button", name="Primer concreto").click()
    page.get_by_role("button", name="✓ 06:00 Primer concreto").wait_for()
    assert page.evaluate("document.documentElement.lang") == "es"
    phone.more("loads", "passes", "people", "concrete", "about")
    shown = page.locator("body").inner_text()
    for english in ("First concrete", "Strike-off", "Undo", "Wind", "Slab type", "Give out", "How"):
        assert english not in shown


REFUSED = {
    "throws": "Object.defineProperty(window, 'localStorage', {get() {"
    " throw new DOMException('no', 'SecurityError')}})",
    "none": "Object.defineProperty(window, 'localStorage', {value: null})",
    "keeps nothing": "Storage.prototype.setItem = () => {}",
}


@pytest.mark.parametrize("way", REFUSED)
def test_where_nothing_can_be_kept_no_tap_pretends(
    chrome: Any, sample: tuple[Store, Path], way: str
) -> None:
    phone = Phone(chrome, sample[1], DAY.replace(hour=6), REFUSED[way])
    phone.page.get_by_text("no tap can be stored").wait_for()
    phone.open("B300")
    phone.page.get_by_text("no tap can be stored").wait_for()
    assert phone.page.locator("#tap-first_concrete").is_disabled()
    assert phone.page.locator("#hands-3").is_disabled()
    phone.done()


def test_a_full_phone_shows_no_tick(chrome: Any, sample: tuple[Store, Path]) -> None:
    full = (
        "const put = Storage.prototype.setItem; Storage.prototype.setItem = function (key, text) {"
        " if (text.includes('strike_off_done')) throw new DOMException('', 'QuotaExceededError');"
        " put.call(this, key, text); }"
    )
    phone = Phone(chrome, sample[1], DAY.replace(hour=6), full)
    phone.open("B300")
    phone.tap("tap-first_concrete")
    phone.tap("tap-strike_off_done")
    phone.page.get_by_text("NOT STORED").wait_for()
    assert phone.page.locator("#tap-strike_off_done").get_attribute("aria-disabled") is None
    assert "✓" not in phone.page.locator("#tap-strike_off_done").inner_text()
    phone.page.reload()
    phone.page.locator("#missing").wait_for()
    assert stamps(phone) == ["first_concrete"]
    phone.done()


NASTY = '</script><script>alert(1)</script><img src=x onerror=alert(2)> "><b>&amp; ${1} \u2028'


def test_names_that_look_like_a_script_are_shown_as_text(chrome: Any, tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    buffer = io.StringIO()
    writer = csv.writer(buffer)
    writer.writerow(["pour_id", "date", "site", "slab_type", "area", "thickness"])
    writer.writerow(["<i>J1</i>", "2025-10-31", NASTY, "garage", "600", "4"])
    (tmp_path / "jobs.csv").write_text(buffer.getvalue(), encoding="utf-8")
    assert load(store, [tmp_path / "jobs.csv"]).status == 0
    (site,) = table(store, "jobs")["site"]
    phone = Phone(chrome, write_phone_page(tmp_path / "p.html", store), DAY.replace(hour=6))
    assert site in phone.page.locator("main").evaluate("part => part.textContent")
    assert phone.page.locator("main img, main script, main i, main b b").count() == 0
    phone.open("<i>J1</i>")
    phone.page.get_by_role("heading", name="<i>J1</i> · garage").wait_for()
    for name, at, _ in EIGHT:
        phone.at(clock(at))
        phone.tap(name)
    log = phone.given(tmp_path)
    phone.done()
    empty = Store(tmp_path / "e.duckdb")
    load(empty, [log])
    (pour,) = table(empty, "pours").to_dict("records")
    assert (pour["pour_id"], pour["site"]) == ("<i>J1</i>", site)


def test_of_forty_jobs_ahead_the_next_stand_first_and_none_is_far(
    chrome: Any, tmp_path: Path
) -> None:
    first = dt.datetime(2031, 6, 3, 6, 0)
    rows = "\n".join(
        f"J{n:02},{first + dt.timedelta(days=n):%Y-%m-%d},Oak,garage,600,4" for n in range(40)
    )
    (tmp_path / "jobs.csv").write_text(f"pour_id,date,site,slab_type,area,thickness\n{rows}\n")
    store = Store(tmp_path / "s.duckdb")
    load(store, [tmp_path / "jobs.csv"])
    page = Phone(chrome, write_phone_page(tmp_path / "p.html", store), first).page
    page.get_by_role("link", name="J05").wait_for()
    assert not page.get_by_role("link", name="J06").is_visible()
    # Two screens of a phone at most.
    assert page.get_by_text("A new pour").bounding_box()["y"] < 2 * 844
    page.get_by_text("34 more jobs ahead").click()
    page.get_by_role("link", name="J39").click()
    page.get_by_role("heading", name="J39").wait_for()


def test_nothing_can_be_asked_of_the_outside(phone: Phone) -> None:
    blocked = phone.page.evaluate(
        "async () => { const told = [];"
        " document.addEventListener('securitypolicyviolation',"
        "   e => told.push(e.effectiveDirective));"
        " await fetch('http://127.0.0.1:9/').catch(() => {});"
        " const image = document.createElement('img'); image.src = 'http://127.0.0.1:9/x.png';"
        " document.body.append(image);"
        " const script = document.createElement('script'); script.textContent = 'window.ran = 1';"
        " document.body.append(script);"
        " await new Promise(done => { const wait = () => told.length < 3 ? setTimeout(wait, 20)"
        "   : done(); wait(); });"
        " return [told.sort(), window.ran === undefined]; }"
    )
    assert blocked == [["connect-src", "img-src", "script-src-elem"], True]
    phone.asked = [url for url in phone.asked if "127.0.0.1:9" not in url]


def test_the_clock_on_the_wall_over_midnight_and_when_the_clocks_change(
    chrome: Any, sample: tuple[Store, Path], tmp_path: Path
) -> None:
    # In Chicago the clocks go from 02:00 back to 01:00 on 2031-11-02, 07:00 UTC (the rule of the
    # first Sunday in November, Energy Policy Act of 2005), and on 2031-03-09 from 02:00 to 03:00.
    phone = Phone(chrome, sample[1], dt.datetime(2031, 11, 1, 22, 0))
    phone.open("N1")
    moments = (
        ("hands-3", dt.datetime(2031, 11, 2, 3, 30, tzinfo=dt.UTC), "2031-11-01 22:30"),
        ("tap-first_concrete", dt.datetime(2031, 11, 2, 6, 30, tzinfo=dt.UTC), "2031-11-02 01:30"),
        ("tap-strike_off_done", dt.datetime(2031, 11, 2, 7, 30, tzinfo=dt.UTC), "2031-11-02 01:30"),
        ("tap-machine_on", dt.datetime(2031, 11, 2, 9, 5, tzinfo=dt.UTC), "2031-11-02 03:05"),
        ("tap-gone", dt.datetime(2031, 11, 2, 12, 0, tzinfo=dt.UTC), "2031-11-02 06:00"),
    )
    for name, moment, _ in moments:
        phone.at(moment)
        phone.tap(name)
    phone.more("about")
    phone.write("about-site", "Oak")
    phone.tap("about-slab_type-shop")
    phone.write("about-area", "600")
    phone.write("about-thickness", "4")
    assert phone.page.locator("#faults").count() == 0
    store = Store(tmp_path / "s.duckdb")
    load(store, [phone.given(tmp_path)])
    (pour,) = table(store, "pours").to_dict("records")
    columns = ("crew_in", "place_start", "place_end", "machine_on", "crew_out")
    for column, (_, _, wall) in zip(columns, moments, strict=True):
        assert f"{pour[column]:%Y-%m-%d %H:%M}" == wall, column
    assert f"{pour['date']:%Y-%m-%d}" == "2031-11-01"
    phone.at(dt.datetime(2031, 3, 9, 8, 10, tzinfo=dt.UTC))
    phone.open("N2")
    phone.tap("tap-machine_on")
    phone.tap("ready-20")
    # 03:10, less 20 minutes, is 01:50 by the clock on the wall.
    phone.page.locator("#ready b", has_text="01:50").wait_for()
    phone.done()


SHARING = """
window.sent = [];
navigator.canShare = () => true;
navigator.share = async ({ files }) => {
  if (window.refuse) throw new DOMException('', window.refuse);
  window.sent.push([files[0].name, files[0].type, await files[0].text()]);
};
"""


def test_the_log_is_sent_where_the_phone_can(chrome: Any, sample: tuple[Store, Path]) -> None:
    phone = Phone(chrome, sample[1], DAY.replace(hour=6), SHARING)
    page = phone.page
    phone.open("B300")
    phone.tap("tap-first_concrete")
    for refusal, said in (("AbortError", "not given out yet"), ("NotAllowedError", "didn't work")):
        page.evaluate("refusal => { window.refuse = refusal }", refusal)
        phone.tap("send")
        page.get_by_text(said).wait_for()
        assert page.locator("#given").inner_text() == "not given out yet"
    page.evaluate("() => { window.refuse = null }")
    phone.tap("send")
    page.get_by_text("given out 2025-10-31 06:00").wait_for()
    ((name, kind, text),) = page.evaluate("window.sent")
    assert (name, kind) == ("stamps_B300_2025-10-31.csv", "text/csv")
    assert "first_concrete,,2025-10-31 06:00:00,no" in text
    phone.done()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_glove_hits_every_target(chrome: Any, sample: tuple[Store, Path], scheme: str) -> None:
    phone = Phone(chrome, sample[1], DAY.replace(hour=6), SHARING, color_scheme=scheme)
    page = phone.page

    # 44 px: WCAG 2.2, success criterion 2.5.5 (enhanced).
    def small() -> Any:
        return page.evaluate(
            "[...document.querySelectorAll('button, a, input, summary, textarea')]"
            ".filter(e => e.offsetParent && (e.offsetHeight < 44 || e.offsetWidth < 44))"
            ".map(e => [e.id, e.offsetWidth, e.offsetHeight])"
        )

    assert small() == []
    phone.open("B300")
    phone.more("loads", "passes", "people", "concrete", "about")
    for name in ("hands-3", "tap-first_concrete", "tap-machine_on", "ready-10"):
        phone.tap(name)
    phone.more("copy")
    assert small() == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    nameless = page.evaluate(
        "[...document.querySelectorAll('input, textarea')].filter("
        "e => !e.labels.length && !e.getAttribute('aria-label')).map(e => e.id)"
    )
    assert nameless == []
    ids = page.evaluate("[...document.querySelectorAll('[id]')].map(e => e.id)")
    assert len(ids) == len(set(ids))
    assert page.locator("#live").inner_text() == "It was ready at, 05:50: stored."
    phone.done()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_on_it_is_hard_to_perceive(
    chrome: Any, sample: tuple[Store, Path], tmp_path: Path, scheme: str
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    # The page's own policy lets no other script in, so the checker's is let in beside it.
    phone = Phone(
        chrome, sample[1], DAY.replace(hour=6), SHARING, color_scheme=scheme, bypass_csp=True
    )

    def faults() -> list[Any]:
        found = Axe().run(phone.page, options={"resultTypes": ["violations"]}).response
        assert found["passes"], "it looked at something"
        return [(rule["id"], rule["nodes"][0]["html"][:200]) for rule in found["violations"]]

    assert faults() == []
    phone.open("B300")
    phone.more("loads", "passes", "people", "concrete", "about")
    for name in ("hands-3", "tap-first_concrete", "tap-machine_on", "tap-load_in-load-1"):
        phone.tap(name)
    phone.write("about-area", "wide")
    phone.tap("save")  # refused, and said
    assert faults() == []
    phone.write("about-area", "700")
    phone.given(tmp_path)
    phone.tap("delete")
    assert faults() == []
    phone.done()
