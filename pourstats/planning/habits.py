"""The habits that callbacks are looked at for: what to do, why, and whose word it is."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Habit:
    """A feature of learning.callbacks in the trade's words.

    ``so`` and ``otherwise`` end "floors ..."; ``log`` is what to log where the record is blank.
    """

    so: str
    otherwise: str
    do: str
    because: str
    source: str
    log: str


HABITS: dict[str, Habit] = {
    "dried_fast": Habit(
        "poured on the drier half of your days",
        "poured on the milder half",
        "On dry, windy, hot days: windbreak, fog or evaporation retarder ready; cure at once.",
        "The top dries faster than it bleeds: it cracks, crazes and dusts.",
        "ACI 305R; NRMCA CIP 5",
        "the weather",
    ),
    "machine_early": Habit(
        "with the machine on before the boot print allowed it",
        "with it on in time",
        "Wait for the print: 1/4 in (6 mm) for a walk-behind, 1/8 in (3 mm) for a ride-on.",
        "Closing the top over bleed water blisters, dusts and delaminates.",
        "ASCC Position Statement 15; NRMCA CIP 13 and 20",
        "the boot print of the first pass",
    ),
    "machine_late": Habit(
        "with the machine on late",
        "with it on in time",
        "Plan hands and machines so that the first pass goes on when the slab takes it.",
        "Past its time the top is worked hard: burns, waves, low spots.",
        "ACI 302.1R, window of finishability",
        "when the slab was ready",
    ),
    "air_hard_trowel": Habit(
        "troweled on an air-entrained mix",
        "without air under a trowel",
        "Order floors that are to be troweled hard without entrained air.",
        "More than 3 % air under a hard trowel delaminates.",
        "ACI 302.1R; ASCC Position Statements 1 and 44; NRMCA CIP 20",
        "the admixtures",
    ),
    "no_cure": Habit(
        "without a cure",
        "cured",
        "Cure every slab, the same day.",
        "An uncured top dusts, crazes and scales.",
        "ACI 308; NRMCA CIP 1, 2 and 3",
        "the cure",
    ),
    "saw_late": Habit(
        "sawn late for the temperature",
        "sawn in time",
        "Saw earlier on warm days: early entry, or somebody who stays.",
        "Before a late cut the slab has cracked where it liked.",
        "ACI 302.1R-15; NRMCA CIP 4 and 6",
        "when the saw went on",
    ),
    "concrete_hot": Habit(
        "of concrete at 90 °F or more",
        "of cooler concrete",
        "In summer order cooler concrete, or start earlier.",
        "Hot concrete sets in a hurry, gets watered, shrinks and cracks.",
        "ACI 305R; NRMCA CIP 12",
        "the concrete's temperature",
    ),
    "concrete_cold": Habit(
        "of cold concrete",
        "of concrete warm enough",
        "Order concrete at 55 °F or more (50 °F from a foot, 0.3 m, thick); warm the base, keep it"
        " covered.",
        "Cold concrete bleeds long and sets slowly: tops dust and scale.",
        "ACI 306R; NRMCA CIP 1 and 27",
        "the concrete's temperature",
    ),
    "water_added": Habit(
        "with water added at the site",
        "without",
        "Order the slump that you place; ask for a reducer instead of water.",
        "Added water weakens the top: dusting, scaling, more shrinkage.",
        "NRMCA CIP 26",
        "water added, a 0 too",
    ),
    "load_old": Habit(
        "with a load past the age limit",
        "with loads in time",
        "Space the trucks; send back what is too old.",
        "Old concrete stiffens and gets watered.",
        "ASTM C94 until 2021, since then the supplier's limit",
        "the batch time on the ticket",
    ),
    "load_gap": Habit(
        "with half an hour or more without concrete",
        "without such a gap",
        "Order tighter spacing, keep the face alive, or put a joint there.",
        "The face stiffens: a cold joint, and two ages under one trowel.",
        "ACI 309R on cold joints; the half hour is common practice, no source",
        "when each load came and was empty",
    ),
    "thin_for_joints": Habit(
        "with joints more than 36 thicknesses apart",
        "with closer joints",
        "Space joints at 24 to 36 times the thickness, 18 ft at most.",
        "Longer panels crack between the joints and curl.",
        "ACI 302.1R; NRMCA CIP 4, 6 and 19",
        "the joint spacing",
    ),
}
"""Words for every name of learning.callbacks.features.FEATURES."""
