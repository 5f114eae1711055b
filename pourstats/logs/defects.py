"""What each defect is called, looks like and usually comes from: help for the form and the page."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Defect:
    """A defect in the trade's words; ``cip`` is the NRMCA Concrete in Practice sheet on it.

    ``source`` says where the words rest: the sheet, trade guidance or memory.
    """

    name: str
    looks: str
    causes: str
    cip: int | None
    source: str

    @property
    def reference(self) -> str:
        """The sheet as an owner can ask for it, or the source without one."""
        return f"NRMCA CIP {self.cip}" if self.cip else self.source

    @property
    def help(self) -> str:
        """What it looks like, where it usually comes from, and where to read more."""
        return f"{self.looks}. Usual causes: {self.causes}. [{self.reference}]"


def defect_help(word: str) -> str:
    """The help for a choice of the log's column ``defect``; empty for one that needs none."""
    return DEFECTS[word].help if word in DEFECTS and word != "other" else ""


MEMORY = "common practice, no source"

DEFECTS: dict[str, Defect] = {
    "plastic_crack": Defect(
        "Plastic shrinkage cracks",
        "shallow, roughly parallel, 1 to 3 ft (0.3 to 0.9 m) apart, short of the edge; there before"
        " finishing is done",
        "the top dries faster than it bleeds: wind, dry air, warm concrete; slow set",
        5, "NRMCA CIP 5",
    ),
    "random_crack": Defect(
        "Random cracks", "through the slab, away from the joints",
        "joints too far apart, too late or too shallow; a base that gives or holds it; much water",
        4, "NRMCA CIP 4; causes from memory",
    ),
    "crazing": Defect(
        "Crazing", "a fine net of hairlines, as on a crushed eggshell",
        "the top dried fast or was cured late; floated or troweled too soon or too much",
        3, "trade guidance; CIP number from memory",
    ),
    "dusting": Defect(
        "Dusting", "powder underfoot; a nail scratches it",
        "finished with water on it; water added; poor cure; unvented heaters; cold concrete",
        1, "NRMCA CIP 1",
    ),
    "scaling": Defect(
        "Scaling", "the top flakes off, 1/16 to 3/16 in (2 to 5 mm) deep",
        "frost on young concrete or a mix without air; deicers; finished with free water on it",
        2, "NRMCA CIP 2",
    ),
    "delamination": Defect(
        "Delamination",
        "a sheet 1/8 to 1/4 in (3 to 6 mm) thick that sounds hollow under a hammer or chain",
        "closed by the trowel while it still bled; cool base under warm air; over 3 % air",
        20, "NRMCA CIP 20",
    ),
    "blister": Defect(
        "Blisters", "hollow bumps from a dime to an inch (25 mm), now and then two or three",
        "closed too early over bleed water or air; air-entrained mix; cool base; thick slab",
        13, "NRMCA CIP 13",
    ),
    "curling": Defect(
        "Curling", "edges and corners stand up, corners most",
        "the top dries or cools more than the bottom; a mix that shrinks; poor cure; long joints",
        19, "NRMCA CIP 19",
    ),
    "low_spot": Defect(
        "Low spot", "water stands in it", "poor strike-off; on too early with the machine",
        None, MEMORY,
    ),
    "high_spot": Defect(
        "High spot", "a bump under the straightedge", "poor strike-off; not cut while it could be",
        None, MEMORY,
    ),
    "discoloration": Defect(
        "Discoloration", "light and dark patches",
        "calcium chloride; late or hard troweling; uneven cure, plastic touching it; loads of"
        " different water",
        23, "trade guidance; CIP number from memory",
    ),
    "joint_spall": Defect(
        "Joint spall", "pieces broken off along a joint",
        "wheels on an unfilled joint; curling; a joint that doesn't hold the edges level",
        6, "NRMCA CIP 6; causes partly from memory",
    ),
    "joint_ravel": Defect(
        "Joint ravel", "ragged edges at a saw cut", "sawn too early; a worn or wrong blade",
        6, "NRMCA CIP 6",
    ),
    "cold_joint": Defect(
        "Cold joint", "a visible line between two loads, poorly bonded",
        "the first was no longer plastic when the next came: a long gap between loads",
        None, "ACI 309R",
    ),
    "popout": Defect(
        "Popouts", "conical holes, from under 1/2 in (12 mm) to over 2 in (50 mm)",
        "porous or reactive stone near the top: a matter of the mix",
        40, "sizes by trade guidance; CIP number from memory",
    ),
    "trowel_burn": Defect(
        "Trowel burn", "dark, glossy marks", "troweled late and hard", None, "trade guidance",
    ),
    "rain_damage": Defect(
        "Rain damage", "pitted or washed top, sand showing",
        "rain before final set, or rain water worked in", None, MEMORY,
    ),
    "other": Defect("Other", "as noted", "as noted", None, MEMORY),
}  # fmt: skip
"""Every choice of the log's column ``defect``."""
