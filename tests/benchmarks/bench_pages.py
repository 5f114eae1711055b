"""How long the dashboard takes with ten years of a busy crew: cold, and from page to page.

    python tests/benchmarks/bench_pages.py [POURS] [ROUNDS]

In a real browser (Chromium). A cold start is the time from the command `pourstats dashboard` until
the week stands in a browser that has seen nothing yet: once right after a load, when nothing is
worked out, then in each round with the answers that the store keeps. A change of page is the time
from the click on its link until that page stands and runs no more; its first visit in a session is
told apart. Prints the median and the 95th percentile.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "dashboards"))

from big_log import write_log
from serving import DESK, STILL_S, browser, opened, served, settled

from pourstats.reporting import ready
from pourstats.store import kept
from pourstats.store.database import Store
from pourstats.store.loading import load

PAGES = ("This week", "Log a pour", "The record", "Upload", "Finishing and weather",
         "Plan the day", "Trucks", "Price a job", "Callbacks")  # fmt: skip


JOBS = """pour_id,date,site,slab_type,area,thickness
J1,2012-01-10,S0-1,garage,800,4
J2,2012-01-10,S0-2,shop,2400,6
J3,2012-01-11,S0-3,driveway,1200,5
"""


def main() -> None:
    """Measure and print."""
    pours = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    with tempfile.TemporaryDirectory() as made, browser() as found:
        logs = Path(made) / "logs"
        logs.mkdir()
        write_log(logs, pours)
        (logs / "jobs.csv").write_text(JOBS, encoding="utf-8")
        store = Store(Path(made) / "big.duckdb")
        load(store, [logs])
        print(f"{pours:,} pours, {os.cpu_count()} cores; load of the machine {_load()}")
        opened_once = cold(found, store.path)
        print(f"cold start after a load, to the week: {opened_once:.2f} s")
        first: dict[str, list[float]] = {name: [] for name in PAGES}
        later: dict[str, list[float]] = {name: [] for name in PAGES}
        starts = []
        for _ in range(rounds):
            began = time.perf_counter()
            with served(store.path) as address:
                page = week(found, address)
                starts.append(time.perf_counter() - began)
                for times in (first, later):
                    for name in PAGES:
                        times[name].append(visited(page, name))
                page.context.close()
    print(f"cold start, answers kept in the store: {told(starts)}")
    for name in PAGES:
        print(f"{name:<24} first visit {told(first[name])}   then {told(later[name])}")
    every = [taken for times in (first, later) for name in PAGES for taken in times[name]]
    print(f"{'any page, any visit':<24} {told(every)}; load of the machine {_load()}")


def cold(found: Any, store: Path) -> float:
    """Seconds from the command to the week, settled; the server goes once all is kept."""
    began = time.perf_counter()
    with served(store) as address:
        page = week(found, address)
        taken = time.perf_counter() - began
        deadline = time.monotonic() + 120
        while not _all_kept(store) and time.monotonic() < deadline:
            time.sleep(0.5)
        page.context.close()
    return taken


def _all_kept(store: Path) -> bool:
    with Store(store).read() as connection:
        return all(kept.read(connection, f"page_{name}") for name in ready.KINDS)


def week(found: Any, address: str) -> Any:
    """The start page in a browser that has seen nothing yet."""
    page, _ = opened(found, DESK)
    page.goto(address)
    settled(page)
    return page


def visited(page: Any, name: str) -> float:
    """Seconds from the click on a page's link until that page runs and redraws no more."""
    before = page.url
    start = time.perf_counter()
    page.get_by_role("link", name=name, exact=True).first.click()
    if name != "This week" or "/" in before.split("//")[1].rstrip("/"):
        page.wait_for_function("was => location.href !== was", arg=before, polling=20)
    page.wait_for_function(
        "name => document.querySelector('h1')?.innerText.startsWith(name)", arg=name, polling=20
    )
    settled(page)
    # The stillness that the waiting itself asks for.
    return time.perf_counter() - start - STILL_S


def told(times: list[float]) -> str:
    """The median and the 95th percentile, and how many."""
    middle, late = np.percentile(times, (50, 95))
    return f"{middle:5.2f} s, 95th {late:5.2f} s ({len(times)})"


def _load() -> str:
    """The load, and how many times its own time a plain loop takes beside whatever else runs: on a
    machine of one's own that is 1."""
    wall, own = time.perf_counter(), time.process_time()
    sum(number * number for number in range(3_000_000))
    slower = (time.perf_counter() - wall) / (time.process_time() - own)
    load = f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "unknown"
    return f"{load}, a plain loop {slower:.1f} times its own time"


if __name__ == "__main__":
    main()
