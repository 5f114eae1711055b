"""Pictures of every page, phone and desk, light and dark, on the sample season.

    python tests/dashboards/screenshots.py FOLDER [PAGE …]

Needs Chromium (Debian: apt-get install chromium) and the dev extra.
"""

from __future__ import annotations

import datetime as dt
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).resolve().parent))

from serving import DESK, PHONE, ROOT, browser, opened, served, settled

from pourstats.reporting.phone_page import write_phone_page
from pourstats.store.database import Store
from pourstats.store.loading import load

SAMPLE = ROOT / "sample_logs"


def tapped(page: Any) -> None:
    """A pour half way."""
    page.get_by_role("button", name="B300").click()
    for name in ("3", "First concrete", "Strike-off done", "Bull float done", "Machine on"):
        page.get_by_role("button", name=name, exact=True).click()
        settled(page)
        page.wait_for_timeout(600)


def uploaded(page: Any) -> None:
    """The mistakes folder, looked over."""
    files = [str(path) for path in sorted((SAMPLE / "mistakes").glob("*.csv"))]
    page.locator('input[type="file"]').set_input_files(files)
    page.get_by_text("would be set aside.", exact=False).first.wait_for()
    settled(page)


def forecast(page: Any) -> None:
    """The forecast file, worked out."""
    page.get_by_role("radio", name="A forecast file").or_(
        page.get_by_role("button", name="A forecast file")).first.click()  # fmt: skip
    settled(page)
    page.locator('input[type="file"]').nth(1).set_input_files(
        str(SAMPLE / "forecast" / "tomorrow.csv"))  # fmt: skip
    page.wait_for_timeout(1500)
    worked(page)


def planned(page: Any) -> None:
    """The day, planned with the forecast file."""
    page.get_by_role("radio", name="A forecast file").or_(
        page.get_by_role("button", name="A forecast file")).first.click()  # fmt: skip
    settled(page)
    page.locator('input[type="file"]').nth(1).set_input_files(
        str(SAMPLE / "forecast" / "tomorrow.csv"))  # fmt: skip
    page.wait_for_timeout(1500)
    page.get_by_role("button", name="Plan it").click()
    page.get_by_role("button", name="Calendar file").wait_for(timeout=90_000)
    settled(page)


def worked(page: Any) -> None:
    """The answer asked for."""
    page.get_by_role("button", name="Work it out").click()
    page.wait_for_timeout(1000)
    settled(page)


VIEWS: dict[str, tuple[str, Callable[[Any], None] | None]] = {
    "week": ("", None),
    "log": ("log", None),
    "log_half": ("log", tapped),
    "record": ("record", None),
    "pour": ("record?pour=B297", None),
    "upload": ("upload", uploaded),
    "finishing": ("finishing", forecast),
    "plan": ("plan", planned),
    "trucks": ("trucks", worked),
    "price": ("price", None),
    "callbacks": ("callbacks", None),
}


OFFLINE: dict[str, tuple[str, ...]] = {
    "offline": (),
    "offline_half": ("hands-3", "tap-first_concrete", "tap-strike_off_done", "tap-bull_float_done",
                     "tap-machine_on", "ready-20"),
    "offline_more": ("tap-first_concrete", "tap-machine_on", "loads", "tap-load_in-load-1",
                     "passes", "footprint-1/8", "people", "who-MK", "arrives-now", "concrete",
                     "about-wind_felt-breezy", "about", "save", "delete"),
}  # fmt: skip
"""Views of the offline phone page, and what is touched for each."""


def main() -> None:
    """Make the pictures."""
    folder, wanted = Path(sys.argv[1]), sys.argv[2:] or [*VIEWS, *OFFLINE]
    folder.mkdir(parents=True, exist_ok=True)
    for scheme in ("light", "dark"):
        for label, size in (("desk", DESK), ("phone", PHONE)):
            with tempfile.TemporaryDirectory() as made:
                store = Path(made) / "sample.duckdb"
                load(Store(store), sorted(SAMPLE.glob("*.csv")))
                with served(store) as address, browser() as found:
                    offline_pictures(found, Store(store), wanted, size, scheme,
                                     (folder, f"{label}_{scheme}"))  # fmt: skip
                    for name in (name for name in wanted if name in VIEWS):
                        picture(
                            found,
                            address,
                            name,
                            size,
                            scheme,
                            folder / f"{name}_{label}_{scheme}.png",
                        )


def picture(
    found: Any, address: str, name: str, size: dict[str, int], scheme: str, path: Path
) -> None:
    """One page, whole, as far as it goes."""
    place, act = VIEWS[name]
    page, outside = opened(found, size, color_scheme=scheme)
    page.goto(f"{address}/{place}")
    settled(page)
    if act is not None:
        act(page)
    page.wait_for_timeout(900)
    main_part = '[data-testid="stMain"]'
    tall = page.eval_on_selector(main_part, "part => part.scrollHeight")
    page.set_viewport_size({"width": size["width"], "height": min(int(tall) + 10, 6000)})
    page.wait_for_timeout(900)
    page.screenshot(path=path)
    wide = page.eval_on_selector(main_part, "part => part.scrollWidth - part.clientWidth")
    print(f"{path.name}: {tall} px tall" + (f", {wide} px too wide" if wide > 0 else "")
          + (f", asked outside: {outside}" if outside else ""), file=sys.stderr)  # fmt: skip
    page.context.close()


def offline_pictures(
    found: Any, store: Store, wanted: list[str], size: dict[str, int], scheme: str,
    place: tuple[Path, str],
) -> None:  # fmt: skip
    """The offline phone page, opened from its file on the morning of the sample's jobs ahead."""
    file = write_phone_page(store.path.with_name("phone.html"), store)
    for name in (name for name in wanted if name in OFFLINE):
        page, _ = opened(found, size, color_scheme=scheme)
        minute = dt.datetime(2025, 10, 31, 6, 2, tzinfo=ZoneInfo("America/Chicago"))
        page.clock.set_fixed_time(minute)
        page.goto(file.as_uri())
        for touch, target in enumerate(OFFLINE[name]):
            if touch == 0:
                page.get_by_role("link", name="B300").click()
            page.clock.set_fixed_time(minute + dt.timedelta(minutes=53 * touch))
            part = page.locator(f'[id="{target}"]')
            (part.locator("summary") if part.evaluate("e => e.tagName") == "DETAILS" else part
             ).first.click()  # fmt: skip
        page.screenshot(path=place[0] / f"{name}_{place[1]}.png", full_page=True)
        page.context.close()


if __name__ == "__main__":
    main()
