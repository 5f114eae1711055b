"""How long the dashboard takes, cold and from page to page, as the record grows.

    python tests/benchmarks/bench_pages.py [--pours 100 5000] [--rounds 5]

In a real browser (Chromium). A cold start is the time from the command `pourstats dashboard` until
the week stands in a browser that has seen nothing yet: once right after a load, when nothing is
worked out, then in each round with the answers that the store keeps. A change of page is the time
from the click on its link until that page stands and runs no more; its first visit in a session is
told apart. Prints the median and the 95th percentile.

The reference in the same rounds is what a page costs Streamlit itself: two bare pages on the same
store, which read the pours by DuckDB, sum them by week in pandas, and show a table and an Altair
chart. The growth exponent is that between two sizes: 0 means that pages don't care.
"""

from __future__ import annotations

import argparse
import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "dashboards"))

from big_log import write_log
from serving import DESK, STILL_S, browser, free_port, opened, served, settled, wait

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


BARE = """
import altair as alt, duckdb, pandas as pd, streamlit as st

def page(name, other):
    def show():
        st.title(name)
        st.header("By week")
        pours = duckdb.connect(STORE, read_only=True).execute("SELECT * FROM pours").df()
        area = pours.groupby(pd.to_datetime(pours.date).dt.to_period("W")).area.sum()
        weeks = area.rename_axis("week").reset_index().assign(week=lambda f: f.week.astype(str))
        st.altair_chart(alt.Chart(weeks.tail(26)).mark_bar().encode(x="week", y="area"))
        st.dataframe(weeks.tail(26))
    return st.Page(show, title=name, url_path=name.lower(), default=name == "One")

st.navigation([page("One", "Two"), page("Two", "One")]).run()
"""


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pours", type=int, nargs="+", default=[100, 5_000])
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    before: tuple[int, float, float] | None = None
    with browser() as found:
        for pours in given.pours:
            start, page = measured(found, pours, given.rounds)
            if before:
                size = math.log(pours / before[0])
                print(f"growth from {before[0]:,} to {pours:,} pours: cold start"
                      f" {math.log(start / before[1]) / size:.2f},"
                      f" any page {math.log(page / before[2]) / size:.2f}")  # fmt: skip
            before = pours, start, page


def measured(found: Any, pours: int, rounds: int) -> tuple[float, float]:
    """Median seconds of a cold start and of any page, any visit; prints all there is to say."""
    with tempfile.TemporaryDirectory() as made:
        logs = Path(made) / "logs"
        logs.mkdir()
        write_log(logs, pours)
        (logs / "jobs.csv").write_text(JOBS, encoding="utf-8")
        store = Store(Path(made) / "big.duckdb")
        load(store, [logs])
        print(f"{pours:,} pours, {os.cpu_count()} cores; load of the machine {_load()}")
        print(f"cold start after a load, to the week: {cold(found, store.path):.2f} s")
        first: dict[str, list[float]] = {name: [] for name in PAGES}
        later: dict[str, list[float]] = {name: [] for name in PAGES}
        starts, bare_starts, bare_pages = [], [], []
        for _ in range(rounds):
            began = time.perf_counter()
            with served(store.path) as address:
                page = week(found, address)
                starts.append(time.perf_counter() - began)
                for times in (first, later):
                    for name in PAGES:
                        times[name].append(visited(page, name))
                page.context.close()
            began = time.perf_counter()
            with bare(store.path, Path(made)) as address:
                page = week(found, address)
                bare_starts.append(time.perf_counter() - began)
                bare_pages += [visited(page, name) for name in ("Two", "One") * 4]
                page.context.close()
    every = [taken for times in (first, later) for name in PAGES for taken in times[name]]
    for name in PAGES:
        print(f"{name:<24} first visit {told(first[name])}   then {told(later[name])}")
    print(f"cold start, answers kept {told(starts)}; bare pages {told(bare_starts)};"
          f" ratio {np.median(starts) / np.median(bare_starts):.1f}")  # fmt: skip
    print(f"{'any page, any visit':<24} {told(every)}; bare pages {told(bare_pages)};"
          f" ratio {np.median(every) / np.median(bare_pages):.1f}; load of the machine {_load()}",
          flush=True)  # fmt: skip
    return float(np.median(starts)), float(np.median(every))


@contextmanager
def bare(store: Path, folder: Path) -> Iterator[str]:
    """Two bare pages of Streamlit's on the same store; their address."""
    script, port = folder / "bare.py", free_port()
    script.write_text(BARE.replace("STORE", repr(str(store))), encoding="utf-8")
    process = subprocess.Popen(
        [sys.executable, "-m", "streamlit", "run", str(script), "--server.headless=true",
         f"--server.port={port}", "--server.address=127.0.0.1",
         "--browser.gatherUsageStats=false", "--server.fileWatcherType=none"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        address = f"http://127.0.0.1:{port}"
        wait(address)
        yield address
    finally:
        process.terminate()
        process.wait(timeout=20)


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
    if name not in ("This week", "One") or "/" in before.split("//")[1].rstrip("/"):
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
