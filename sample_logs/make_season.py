"""Make the invented sample season: ``python sample_logs/make_season.py [--seed N] [--out DIR]``.

Every name, number and place in it is made up. The same seed writes the same bytes.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from season import office, writing
from season.chance import Chance
from season.slabs import calendar, describe
from season.valley import Valley
from season.year import live

SEED = 20250407


def make(seed: int, out: Path) -> None:
    """Write every file of the season into a folder."""
    valley = Valley(seed)
    plan = calendar(valley)
    numbering = office.number_bids(seed, plan)
    sites = office.sites_of(seed, plan)
    season = live(valley, plan, numbering.ids, sites)
    ahead = [
        describe(valley, numbering.ids[office.AHEAD, nth], day=office.AHEAD, kind=kind,
                 site=sites[office.AHEAD, nth], nth=0, poured=len(season.slabs))
        for nth, kind in enumerate(office.AHEAD_KINDS)
    ]  # fmt: skip
    for slab in ahead:
        slab.concrete_f = 62.0
    slabs = season.slabs
    writing.choose_logs(seed, slabs)
    calls = office.callbacks(seed, valley, season)
    season.stretches += office.repair_trips(seed, season, calls)
    habit = Chance(seed, "clock habit")
    clocks = {slab.pour_id: writing.Clock(slab, habit.yes(0.18)) for slab in slabs}
    forecast = writing.forecast_rows(seed, valley, ahead)
    tables = {
        "pours": writing.pour_rows(seed, slabs, clocks),
        "trucks": writing.truck_rows(seed, slabs, clocks),
        "passes": writing.pass_rows(seed, slabs, clocks),
        "crew_time": writing.crew_rows(season, clocks),
        "weather": writing.weather_rows(seed, valley, slabs),
        "sites": office.site_rows(),
        "callbacks": calls,
        "bids": office.bids(seed, season, numbering, ahead),
        "crew": office.crew_rows(),
        "jobs": office.jobs(seed, ahead),
    }  # fmt: skip
    for name, rows in tables.items():
        writing.write(out / f"{name}.csv", name, rows)
    writing.write(out / "forecast" / "tomorrow.csv", "weather", forecast)
    by_hand = writing.by_hand_rows(forecast, ahead[0].site)
    writing.write(out / "forecast" / "by_hand.csv", "weather", by_hand)


def main() -> None:
    """Read the call and write the season."""
    parser = argparse.ArgumentParser(description="Write the invented sample season.")
    parser.add_argument("--seed", type=int, default=SEED, help="another number, another season")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent, help="folder to write")
    call = parser.parse_args()
    make(call.seed, call.out)


if __name__ == "__main__":
    main()
