"""What the columns of the rate card mean, for the sheet that explains its workbook."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

MEANINGS: dict[str, str] = {
    "slab_type": "what the slab is for",
    "finish": "the finish asked for; blank where the log doesn't say",
    "placement": "how the concrete gets to the slab; blank where the log doesn't say",
    "pours": "pours of the kind, of which the rate is",
    "area_ft2": "plan area of the kind's middling floor, which the rates are for",
    "thickness_in": "its thickness",
    "hands": "people placing it",
    "change_hours_per_100ft2": "change of the middle rate since a month before the latest pour",
    "bids": "bids on such floors that were poured, of the same scope",
    "bid_hours_per_100ft2": "what those bids gave them",
    "took_hours_per_100ft2": "what they took",
}
AT_CONFIDENCE: dict[str, str] = {
    "hours_per_100ft2": "labor-hours per 100 ft2",
    "hours_per_yd3": "labor-hours a cubic yard",
    "usd_per_ft2": "dollars a foot, labor with overhead and margin (private: it shows pay)",
}


def card_meanings(card: Mapping[str, Any]) -> dict[str, str]:
    """The meaning of every column of :func:`pourstats.planning.rates.card_frame`, by name."""
    found = dict(MEANINGS)
    for level in card["confidences"]:
        for name, words in AT_CONFIDENCE.items():
            within = f"{words}; {level:.0%} of such jobs stay within it"
            found[f"c{round(level * 100)}_{name}"] = within
    return found
