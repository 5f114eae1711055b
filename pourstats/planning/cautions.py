"""Cautions of a pour ahead: what to do, why, and whose word it is.

They guide; local rules, the drawings and a licensed or competent person go before them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pourstats.science import evaporation, heat_stress

Caution = dict[str, str]

HARD = ("trowel", "hard_trowel")
OUTDOORS = ("driveway", "patio", "walk", "porch")
CLOSED = ("basement", "garage", "shop", "warehouse")
RAIN_IN = 0.01
CHILL_F = 20.0
"""Wind chill from which the cold is named. Common practice, no source."""
FROSTBITE_CHILL_F = -18.0
"""Bare skin freezes within half an hour (NWS wind chill chart; from memory)."""
FROST_LATITUDE = 35.0
"""Nearer to the pole than this a slab outdoors is taken to freeze. Common practice, no source."""


@dataclass(frozen=True)
class Slab:
    """What the cautions look at; NaN or empty where it isn't known."""

    slab_type: str
    exposure: str
    finish: str
    saw: str
    thickness_in: float
    slump_in: float
    concrete_f: float
    """As given; NaN where the order doesn't say."""
    slab_f: float
    air_low_f: float
    air_high_f: float
    heat_index_f: float
    evaporation_lb_ft2_h: float
    evaporation_max_lb_ft2_h: float
    latitude: float
    wind_chill_f: float
    """Lowest while people are there; NaN indoors and where unknown."""
    rain_in: float
    """Forecast while the surface can be spoiled."""
    rain_from: str
    """Its first clock time."""
    crust: bool
    wet: bool
    """Bleed water may still stand when it is stiff enough."""
    base: frozenset[str] = field(default=frozenset())
    admixtures: frozenset[str] = field(default=frozenset())

    @property
    def inside(self) -> bool:
        """Whether the air around it is shut in."""
        return self.exposure == "indoors" or self.slab_type == "basement"


def cautions(slab: Slab) -> list[Caution]:
    """The cautions that matter for a slab, the most urgent first."""
    found = [*_people(slab), *_rain(slab), *_drying(slab), *_finish(slab), *_cold_and_hot(slab)]
    return found + _saw(slab)


ALWAYS: tuple[Caution, ...] = (
    {
        "do": "Keep wet concrete off the skin; wash it off at once, rinse 15 minutes if it burns.",
        "because": "Wet cement (pH 12 to 13) burns without being felt at first.",
        "source": "common safety talk; see the supplier's safety data sheet",
    },
)
"""What holds on every pour."""


def _people(slab: Slab) -> list[Caution]:
    found = []
    if slab.inside:
        found.append(
            {
                "do": "Run electric machines inside, or prove the ventilation with a CO alarm.",
                "because": "Engines, propane too, fill a closed space with carbon monoxide within"
                " minutes; an open door isn't ventilation.",
                "source": "DHHS (NIOSH) 96-118; Earnest et al. 1997",
            }
        )
    if slab.wind_chill_f <= CHILL_F:
        bare = slab.wind_chill_f <= FROSTBITE_CHILL_F
        soon = ": bare skin freezes within half an hour" if bare else ""
        found.append(
            {
                "do": "Dry gloves and layers, a warm place to go to, an eye on fingers and faces.",
                "because": f"Wind chill down to {slab.wind_chill_f:.0f} °F{soon}.",
                "source": "NWS wind chill. Local rules go first",
            }
        )
    index = slab.heat_index_f
    if index >= heat_stress.SCREEN_F:
        band = heat_stress.heat_band(index)
        rest = "; 15 minutes' rest in two hours" if index >= heat_stress.HIGH_F else ""
        sun = "" if slab.inside else ", and full sun makes it up to 15 °F more"
        found.append(
            {
                "do": f"Water, shade and a watchful eye for each other{rest}. New people start"
                " slowly. Confusion or collapse: call 911 and cool them.",
                "because": f"Heat index up to {index:.0f} °F ({band} band){sun}.",
                "source": "NWS heat index; OSHA heat guide; CDC MMWR 67(26). Local rules go first",
            }
        )
    return found


def _rain(slab: Slab) -> list[Caution]:
    if slab.rain_in < RAIN_IN:
        return []
    return [
        {
            "do": "Have sheets there for the whole slab, or put it off; never trowel rain in.",
            "because": f"Rain from {slab.rain_from}, {slab.rain_in:.2f} in, before it can take it.",
            "source": "the forecast; common practice",
        }
    ]


def _drying(slab: Slab) -> list[Caution]:
    most = slab.evaporation_max_lb_ft2_h
    level = evaporation.caution(most)
    found = []
    if level == "precautions":
        found.append(
            {
                "do": "Have windbreak, fog or evaporation retarder there; cure at once. Don't"
                " sprinkle water to trowel it in.",
                "because": f"Drying up to {most:.2f} lb/ft²/h (±40 %), over 0.2 lb/ft²/h: plastic"
                " cracks.",
                "source": "Uno 1998; ACI 305R, NRMCA CIP 5; doubt by Hover 2020",
            }
        )
    elif level == "caution":
        found.append(
            {
                "do": "Keep evaporation retarder and curing at hand.",
                "because": f"Drying up to {most:.2f} lb/ft²/h (±40 %), over 0.1 lb/ft²/h.",
                "source": "Uno 1998; FHWA-HRT-05-038; doubt by Hover 2020",
            }
        )
    if slab.crust and slab.finish in HARD:
        found.append(
            {
                "do": "Go by the boot, not by the look: keep blades flat until it carries.",
                "because": "The skin dries faster than it bleeds: a crust over wet concrete.",
                "source": "NRMCA CIP 13 and 20",
            }
        )
    return found


def _finish(slab: Slab) -> list[Caution]:
    found = []
    if slab.wet or slab.slump_in >= 6:
        found.append(
            {
                "do": "Wait until the bleed water is gone, or drag it off; never finish it in.",
                "because": "It may still stand when the slab is stiff enough; it dusts and scales.",
                "source": "NRMCA CIP 1",
            }
        )
    if "air_entrainer" in slab.admixtures and slab.finish in HARD:
        found.append(
            {
                "do": "Ask for concrete without entrained air (3 % in all at most), or finish it"
                " softer.",
                "because": "Air under a hard trowel delaminates.",
                "source": "ACI 302.1R; ASCC Position Statements 1 and 44; NRMCA CIP 20",
            }
        )
    if (
        slab.base & {"vapor_sheet", "foam_board"}
        and slab.finish in HARD
        and slab.evaporation_lb_ft2_h >= 0.05
        and slab.slab_f < slab.air_high_f - 5
    ):
        found.append(
            {
                "do": "Don't close the top early: flat blades, later.",
                "because": "All water comes up through a cool slab on plastic while its skin dries:"
                " blisters, delamination.",
                "source": "NRMCA CIP 13 and 20",
            }
        )
    outside = slab.slab_type in OUTDOORS
    frost = not abs(slab.latitude) < FROST_LATITUDE
    if outside and frost and "air_entrainer" not in slab.admixtures:
        found.append(
            {
                "do": "Check that the mix is air-entrained.",
                "because": "The order doesn't say so; outdoors it scales where it freezes.",
                "source": "NRMCA CIP 2",
            }
        )
    return found


def _cold_and_hot(slab: Slab) -> list[Caution]:
    found = []
    least = 55 if slab.thickness_in < 12 else 50
    if slab.air_low_f < 40:
        put_off = "Put it off, or enclose and heat it; k" if slab.slab_f < 35 else "K"
        cools = slab.slab_f < least - 5
        own = f", the slab to {slab.slab_f:.0f} °F as it waits for the first pass" if cools else ""
        found.append(
            {
                "do": f"{put_off}eep the concrete at {least} °F or more; blankets ready; nothing on"
                " frozen ground.",
                "because": f"Air down to {slab.air_low_f:.0f} °F{own}: slow set, and fresh"
                " concrete freezes below about 25 °F.",
                "source": "ACI 306R; NRMCA CIP 27",
            }
        )
        if slab.slab_type in CLOSED or slab.inside:
            found.append(
                {
                    "do": "Heat only with vented heaters.",
                    "because": "Unvented ones give carbon monoxide to people, a dusting floor to"
                    " the owner.",
                    "source": "NRMCA CIP 1 and 27",
                }
            )
    if slab.concrete_f >= 95:
        found.append(
            {
                "do": "Refuse or cool the load, unless the specification allows more.",
                "because": f"Concrete of {slab.concrete_f:.0f} °F; the usual limit is 95 °F.",
                "source": "ACI 301-20, ACI 305.1",
            }
        )
    return found


def _saw(slab: Slab) -> list[Caution]:
    if slab.saw in ("", "none", "tooled"):
        return []
    found = [
        {
            "do": "Make a short trial cut; stop if it ravels.",
            "because": "The window is an estimate.",
            "source": "Concrete Construction; ACI 302.1R",
        }
    ]
    if slab.saw == "early_entry":
        found.append(
            {
                "do": "Dry early-entry sawing needs the employer's own dust assessment. No dry"
                " sweeping.",
                "because": "It isn't the wet method of the silica rule's Table 1.",
                "source": "29 CFR 1926.1153",
            }
        )
        return found
    respirator = slab.inside or slab.exposure == "indoors"
    more = ", and a respirator (APF 10) inside" if respirator else ""
    found.append(
        {
            "do": f"Saw with the machine's own water at the blade{more}. No dry sweeping.",
            "because": "Silica dust.",
            "source": "29 CFR 1926.1153 Table 1"
            + ("; handheld over 4 h outdoors APF 10 too" if slab.saw == "handheld" else ""),
        }
    )
    return found
