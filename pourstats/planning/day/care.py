"""What to take care of on a planned day: heat, drying, dust, exhaust; once a day, merged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from pourstats.learning.clock import Clock
from pourstats.planning.cautions import cautions
from pourstats.planning.finishing import saw_words
from pourstats.planning.slab_weather import drying, slab_met

DRAWS = 100


def care(
    jobs: pd.DataFrame,
    starts: Mapping[str, pd.Timestamp],
    fitted: Clock,
    weather: pd.DataFrame | None,
    frames: Mapping[str, pd.DataFrame],
    house: Mapping[str, Any],
    seed: int = 0,
) -> list[dict[str, str]]:
    """Cautions of the finishing clock for the jobs that are planned, at their planned ``starts``.

    What holds for several pours is said once, with their names.
    """
    own = jobs[jobs["pour_id"].astype(str).isin(starts)].reset_index(drop=True)
    if not len(own):
        return []
    begun = [starts[str(name)] for name in own["pour_id"]]
    own = own.assign(place_start=pd.Series(begun, index=own.index).astype("datetime64[s]"))
    cast = fitted.forecast(own, weather, n_draws=DRAWS, seed=seed)
    dried = drying(own, weather, cast, house, frames.get("sites"))
    sawn = saw_words(own, frames.get("pours"))
    each = [
        (str(own["pour_id"].iloc[row]),
         cautions(slab_met(cast, row, dried, sawn[row], house, weather)[0]))
        for row in range(len(own))
    ]  # fmt: skip
    return merged(each)


def merged(each: Sequence[tuple[str, Sequence[Mapping[str, str]]]]) -> list[dict[str, str]]:
    """Cautions of several pours, those that ask for the same once, with the pours' names."""
    names: dict[str, list[str]] = {}
    first: dict[str, Mapping[str, str]] = {}
    for name, found in each:
        for one in found:
            names.setdefault(one["do"], []).append(name)
            first.setdefault(one["do"], one)
    return [
        {
            "do": do if len(of) == len(each) else f"{', '.join(of)}: {do}",
            "because": first[do]["because"],
            "source": first[do]["source"],
        }
        for do, of in names.items()
    ]
