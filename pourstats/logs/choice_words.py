"""Every choice of the log tables in Spanish: what is printed, and what the reader takes.

A log keeps the English word of the declaration. Each choice has one or more Spanish words, the
printed one first; within a column no word may stand for two choices (a test looks).
"""

from __future__ import annotations

import unicodedata
from typing import Literal

Lang = Literal["en", "es"]

SPANISH: dict[str, tuple[str, ...]] = {
    # slab types
    "basement": ("sótano",), "garage": ("cochera",), "shop": ("taller",),
    "warehouse": ("bodega",), "driveway": ("entrada de autos", "entrada de carros", "entrada"),
    "patio": ("patio",), "walk": ("banqueta", "andador"), "porch": ("porche",),
    "other": ("otro", "otra"),
    # the mix, the base, the way in
    "none": ("ninguno", "ninguna"), "fiber": ("fibra",), "mesh": ("malla",),
    "rebar": ("varilla",), "soil": ("tierra",), "stone": ("piedra", "grava"),
    "vapor_sheet": ("plástico",), "foam_board": ("espuma",),
    "chute": ("canalón", "canaleta"), "wheelbarrow": ("carretilla",), "buggy": ("buggy",),
    "pump": ("bomba",), "conveyor": ("banda",),
    "water_reducer": ("reductor de agua",), "mid_range_reducer": ("reductor medio",),
    "high_range_reducer": ("superplastificante",), "retarder": ("retardante",),
    "accelerator": ("acelerante",), "air_entrainer": ("aire incluido", "inclusor de aire"),
    # the sky and the wind
    "sun": ("sol",), "shade": ("sombra",), "mixed": ("mixto", "nublado", "nublado o mixto"),
    "indoors": ("bajo techo",), "calm": ("en calma", "calma"), "breezy": ("con brisa", "brisa"),
    "windy": ("con viento", "viento"),
    # finish, saw, cure
    "broom": ("escoba", "escobillado"), "float": ("flota", "flotado"),
    "trowel": ("llana", "llaneado"), "hard_trowel": ("llana dura", "pulido con llana", "pulido"),
    "early_entry": ("corte temprano",), "conventional": ("convencional",),
    "handheld": ("manual",), "tooled": ("con herramienta",), "compound": ("compuesto",),
    "wet": ("húmedo", "mojado"), "sheet": ("plástico",), "blankets": ("mantas",),
    # trouble
    "late_truck": ("camión tarde",), "machine": ("máquina",), "short_hand": ("faltó gente",),
    "short_load": ("carga corta",), "wet_load": ("carga aguada",), "rain": ("lluvia",),
    "grade": ("nivel del suelo", "nivelar"), "others_on_site": ("otros en la obra",),
    # passes
    "pan": ("plato",), "float_blades": ("aspas de flota",),
    "combination_blades": ("aspas combinadas",), "finish_blades": ("aspas de acabado",),
    "hand": ("a mano",), "walk_behind": ("de caminar",), "ride_on": ("de montar",),
    "whole": ("toda",), "first_end": ("primer extremo",), "last_end": ("último extremo",),
    "edges": ("orillas",), "no": ("no",), "other_slab": ("otra losa",), "people": ("gente",),
    # tasks and waits
    "set_up": ("preparar",), "place": ("colar",), "finish": ("acabado", "acabar"),
    "saw": ("cortar", "corte"), "wait": ("esperar",), "travel": ("viaje",),
    "clean_up": ("limpiar",), "return_visit": ("regreso",), "concrete": ("concreto",),
    "set": ("fraguado",), "others": ("otros",), "weather": ("clima",), "break": ("descanso",),
    # loads
    "ordered": ("pedido",), "balance": ("ajuste",),
    # callbacks
    "plastic_crack": ("grieta plástica",), "random_crack": ("grieta al azar",),
    "crazing": ("cuarteado",), "dusting": ("polvo",), "scaling": ("descascarado",),
    "delamination": ("delaminación",), "blister": ("ampolla",), "curling": ("alabeo",),
    "low_spot": ("punto bajo",), "high_spot": ("punto alto",),
    "discoloration": ("manchado", "decoloración"), "joint_spall": ("junta despostillada",),
    "joint_ravel": ("junta desmoronada",), "cold_joint": ("junta fría",),
    "popout": ("cráter",), "trowel_burn": ("quemado de llana",),
    "rain_damage": ("daño de lluvia",), "ours": ("nuestra",), "mix": ("mezcla",),
    "base": ("base",), "use": ("uso",), "normal": ("normal",),
    # bids and weather
    "form": ("cimbra",), "steel": ("acero",), "cure": ("curado", "curar"),
    "strip": ("descimbrar",), "yes": ("sí",), "measured": ("medido",),
    "estimated": ("estimado",), "forecast": ("pronóstico",),
}  # fmt: skip
"""By the English word; the printed word first, then others that people write."""


def choice_label(word: str, lang: Lang = "en") -> str:
    """A choice as people read it: ``hard trowel``, ``llana dura``."""
    return SPANISH[word][0] if lang == "es" and word in SPANISH else word.replace("_", " ")


SKY: dict[str, float] = {
    **dict.fromkeys(("clear", "sunny", "sun", "despejado", "soleado", "sol"), 5.0),
    **dict.fromkeys(
        ("mostly clear", "mostly sunny", "fair", "a few clouds", "few clouds",
         "mayormente despejado", "mayormente soleado", "poco nublado"), 25.0,
    ),
    **dict.fromkeys(
        ("partly cloudy", "partly sunny", "scattered clouds", "parcialmente nublado",
         "medio nublado"), 50.0,
    ),
    **dict.fromkeys(("mostly cloudy", "broken clouds", "mayormente nublado"), 75.0),
    **dict.fromkeys(("cloudy", "overcast", "nublado", "cubierto"), 95.0),
}  # fmt: skip
"""Sky in words, without case and accents → percent covered: the middle of each class of the US
weather service's forecast terms, which are in eighths (from memory: clear to 1/8, mostly clear to
3/8, partly cloudy to 5/8, mostly cloudy to 7/8, then cloudy)."""


WET_SKY = frozenset((
    "rain", "light rain", "heavy rain", "rainy", "rain showers", "showers", "light showers",
    "scattered showers", "scattered rain", "isolated showers", "chance of rain",
    "chance of showers", "drizzle", "light drizzle", "freezing rain", "thunderstorm",
    "thunderstorms", "thunder", "t-storms", "tstorms", "storm", "storms", "stormy",
    "scattered thunderstorms", "scattered t-storms", "isolated thunderstorms",
    "isolated t-storms", "chance of thunderstorms", "showers and thunderstorms", "snow",
    "light snow", "heavy snow", "snow showers", "sleet", "wintry mix", "lluvia",
    "lluvia ligera", "lluvia fuerte", "lluvioso", "llovizna", "chubascos", "chubasco",
    "aguacero", "aguaceros", "tormenta", "tormentas", "tormenta electrica",
    "tormentas electricas", "tormentas aisladas", "chubascos y tormentas", "nieve", "aguanieve",
))  # fmt: skip
"""What a phone writes for the sky where it is wet, without accents: covered as by `cloudy`."""
SKY |= dict.fromkeys(WET_SKY, 95.0)


def without_accents(text: str) -> str:
    """``sótano`` as ``sotano``: on a phone's keyboard accents are often left out."""
    parts = unicodedata.normalize("NFKD", text)
    return "".join(letter for letter in parts if not unicodedata.combining(letter))
