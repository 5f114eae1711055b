"""The fill-in form and hasty fingers in a real browser; what counts is what the store then has."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

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
POUR = """pour_id,date,site,slab_type,area,thickness,hands,crew_in,place_start,place_end,\
machine_on,passes_done,crew_out
F1,2031-06-03,Oak,garage,600,4,4,6:30,7:00,8:10,10:30,12:40,14:10
"""
TRUCKS = """pour_id,ticket,volume,arrived,unload_start,unload_end,left
F1,71,5,6:55,7:00,7:25,7:35
F1,72,3,7:30,7:35,7:55,8:05
"""
PASSES = "pour_id,pass_no,tool,start\nF1,1,pan,10:30\nF1,2,finish_blades,11:40\n"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Store]]:
    """One pour of the record, and the sample's jobs ahead."""
    folder = tmp_path_factory.mktemp("served")
    for name, text in (("pours", POUR), ("trucks", TRUCKS), ("passes", PASSES)):
        (folder / f"{name}.csv").write_text(text)
    store = Store(folder / "s.duckdb")
    report = load(store, [*folder.glob("*.csv"), ROOT / "sample_logs" / "jobs.csv"])
    assert not report.set_aside
    with served(store.path, folder) as address:
        yield address, store


def saved(page: Any) -> None:
    """Save, and wait until the form says that it is stored."""
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_text("Stored.", exact=True).wait_for()
    settled(page)


def test_a_form_saved_twice_after_a_row_was_added_stores_it_once(
    chrome: Any, site: tuple[str, Store]
) -> None:
    address, store = site
    page, outside = opened(chrome, DESK)
    page.goto(f"{address}/log?pour=F1&form=1")
    settled(page)
    # Of the two tables only the loads then have a third row.
    page.get_by_role("button", name="Add row: Loads").evaluate("each => each.click()")
    page.locator('[data-testid="glide-cell-0-2"]').wait_for(state="attached")
    rewritten(page, 0, 2, "73")
    rewritten(page, 1, 2, "1.5")
    saved(page)
    until(page, lambda: len(rows(store, "trucks")) == 3)
    after = {name: rows(store, name) for name in ("pours", "trucks", "passes")}
    loads = after["trucks"].set_index("ticket")["volume"]
    assert loads.to_dict() == {"71": 5.0, "72": 3.0, "73": 1.5}
    assert len(after["passes"]) == 2
    changes = len(rows(store, "changes"))
    saved(page)
    for name, frame in after.items():
        assert rows(store, name).equals(frame), f"{name} as after the first time"
    assert len(rows(store, "changes")) == changes, "nothing was changed by it"
    assert outside == []
    page.context.close()


def test_a_wrong_load_is_taken_out_and_the_right_one_stays(
    chrome: Any, site: tuple[str, Store]
) -> None:
    address, store = site
    page, _ = opened(chrome, PHONE)
    page.goto(f"{address}/log?pour=F1&form=1")
    settled(page)
    before = list(rows(store, "trucks")["ticket"])
    assert "72" in before
    page.get_by_text("Take out a load or pass that was never there").click()
    page.get_by_role("button", name="Load 72", exact=True).click()
    page.get_by_text("Taken out: Load 72.").wait_for()
    left = [ticket for ticket in before if ticket != "72"]
    assert list(rows(store, "trucks")["ticket"]) == left
    # What is saved from then on doesn't bring it back.
    saved(page)
    assert list(rows(store, "trucks")["ticket"]) == left
    page.context.close()


def test_two_quick_taps_of_the_same_count_once(chrome: Any, site: tuple[str, Store]) -> None:
    address, store = site
    page, _ = opened(chrome, PHONE)
    page.goto(f"{address}/log?pour=B294")
    settled(page)
    page.get_by_text("Loads", exact=True).click()
    for event, name in (("first_concrete", "First concrete"), ("load_in", "Truck in")):
        # Both touches before any answer of the page.
        page.get_by_role("button", name=name, exact=True).evaluate(
            "each => { each.click(); each.click(); }"
        )
        mine = f"pour_id == 'B294' and event == '{event}'"
        until(page, lambda mine=mine: len(rows(store, "stamps").query(mine)) > 0, seconds=20)
        settled(page)
        stamps = rows(store, "stamps").query(mine)
        assert len(stamps) == 1 and list(stamps["undone"]) == ["no"], event
    page.context.close()


SEEN = """() => {
  const found = [], walk = document.createTreeWalker(document.querySelector('.stApp'), 4);
  while (walk.nextNode()) {
    const part = walk.currentNode.parentElement;
    if (part.checkVisibility() && getComputedStyle(part).fontSize !== '0px'
        && !part.closest('[data-testid="stIconMaterial"], [data-testid="stSkipLink"], style, script'))
      found.push(walk.currentNode.textContent.trim());
  }
  for (const part of document.querySelectorAll('.stApp [placeholder]')) found.push(part.placeholder);
  return found;
}"""


def test_no_english_is_seen_where_spanish_is_chosen(chrome: Any, site: tuple[str, Store]) -> None:
    import tomllib

    address, _ = site
    folder = ROOT / "dashboards" / "strings"
    english, spanish = (
        {
            text
            for entries in tomllib.loads(path.read_text(encoding="utf-8")).values()
            for text in entries.values()
        }
        for path in (folder / "en.toml", folder / "es.toml")
    )
    page, _ = opened(chrome, PHONE, locale="es-MX")
    for place in ("log", "log?pour=B300", "log?pour=F1&form=1", "log?form=1", "upload"):
        page.goto(f"{address}/{place}")
        settled(page)
        page.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")
        settled(page)
        seen = {text for text in page.evaluate(SEEN) if text}
        assert seen & spanish, place
        # The switch names each language in its own words.
        assert seen & (english - spanish) <= {"English"}, place
        told = " ".join(seen).lower().split()
        assert not {"the", "and", "choose", "file", "upload", "browse", "per"} & {*told}, place
    page.context.close()
