"""How long the dashboard takes with ten years of a busy crew: cold, and from page to page.

    python tests/benchmarks/bench_pages.py [POURS] [ROUNDS]

In a real browser (Chromium): from the click on a page's link until the page runs no more. Prints
the 50th and 95th percentile over the rounds; the first visit of each page is told apart, since
answers are kept until the store changes.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "dashboards"))

from big_log import write_log
from serving import DESK, browser, opened, served, settled

from pourstats.store.database import Store
from pourstats.store.loading import load

PAGES = ("This week", "Log a pour", "The record", "Upload", "Finishing and weather",
         "Plan the day", "Trucks", "Price a job", "Callbacks")  # fmt: skip


def main() -> None:
    """Measure and print."""
    pours = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    with tempfile.TemporaryDirectory() as made:
        logs = Path(made) / "logs"
        logs.mkdir()
        write_log(logs, pours)
        store = Store(Path(made) / "big.duckdb")
        load(store, [logs])
        began = time.perf_counter()
        with served(store.path) as address, browser() as found:
            page, _ = opened(found, DESK)
            page.goto(address)
            settled(page)
            print(f"cold start to the week of {pours:,} pours: {time.perf_counter() - began:.1f} s")
            times: dict[str, list[float]] = {name: [] for name in PAGES}
            for _ in range(rounds + 1):
                for name in PAGES:
                    start = time.perf_counter()
                    page.get_by_role("link", name=name, exact=True).first.click()
                    page.wait_for_timeout(30)
                    settled(page)
                    # The pauses of the waiting itself.
                    times[name].append(time.perf_counter() - start - 0.18)
    for name, taken in times.items():
        later = np.percentile(taken[1:], (50, 95))
        print(
            f"{name:<24} first {taken[0]:5.2f} s   then {later[0]:5.2f} s, 95th {later[1]:5.2f} s"
        )


if __name__ == "__main__":
    main()
