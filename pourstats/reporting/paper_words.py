"""The words printed on the paper sheets, in English and Spanish; labels come from the tables."""

from __future__ import annotations

from pourstats.logs.forms import Lang

TITLES: dict[Lang, dict[str, str]] = {
    "en": {
        "pour": "Pour sheet", "day": "Crew sheet",
        "times": "Clock times: 6:40 or 14:05. A blank means not known.",
        "short": "Fill these in on every pour",
        "rest": "And these where you can; circle what fits",
        "loads": "Loads, from the tickets", "passes": "Passes",
        "crew": "One row a person; from and to under each task. Two lines for a task done twice.",
        "waits": "Waiting on",
        "caution": "Wet cement burns and sawing dust harms the lungs: gloves,"
        " boots, water or a vacuum at the saw, a mask. Local rules come first.",
    },
    "es": {
        "pour": "Hoja de colado", "day": "Hoja de la gente",
        "times": "Horas: 6:40 o 14:05. En blanco: no se sabe.",
        "short": "Llene esto en cada colado",
        "rest": "Y esto cuando se pueda; marque lo que sea",
        "loads": "Camiones, de las boletas", "passes": "Pasadas",
        "crew": "Una fila por persona; desde y hasta en cada tarea. Dos filas si se repite.",
        "waits": "Esperando", "caution": "El cemento fresco quema y el polvo del corte daña los"
        " pulmones: guantes, botas, agua o aspiradora en el corte, mascarilla. Primero las reglas"
        " locales.",
    },
}  # fmt: skip

SPANISH_CHOICES: dict[str, str] = {
    "basement": "sótano", "garage": "cochera", "shop": "taller", "warehouse": "bodega",
    "driveway": "entrada de autos", "patio": "patio", "walk": "banqueta", "porch": "porche",
    "other": "otro", "none": "ninguno", "fiber": "fibra", "mesh": "malla", "rebar": "varilla",
    "soil": "tierra", "stone": "piedra", "vapor_sheet": "plástico", "foam_board": "espuma",
    "chute": "canalón", "wheelbarrow": "carretilla", "buggy": "buggy", "pump": "bomba",
    "conveyor": "banda", "sun": "sol", "shade": "sombra", "mixed": "mixto", "indoors": "bajo techo",
    "broom": "escoba", "float": "flota", "trowel": "llana", "hard_trowel": "llana dura",
    "early_entry": "corte temprano", "conventional": "convencional", "handheld": "manual",
    "tooled": "con herramienta", "compound": "compuesto", "wet": "húmedo", "sheet": "plástico",
    "blankets": "mantas", "late_truck": "camión tarde", "machine": "máquina",
    "short_hand": "faltó gente", "short_load": "carga corta", "wet_load": "carga aguada",
    "rain": "lluvia", "grade": "nivel del suelo", "others_on_site": "otros en la obra",
    "pan": "plato", "float_blades": "aspas de flota", "combination_blades": "aspas combinadas",
    "finish_blades": "aspas de acabado", "hand": "a mano", "no": "no", "other_slab": "otra losa",
    "people": "gente", "set_up": "preparar", "place": "colar", "finish": "acabado", "saw": "cortar",
    "wait": "esperar", "travel": "viaje", "clean_up": "limpiar", "return_visit": "regreso",
    "concrete": "concreto", "set": "fraguado", "others": "otros", "weather": "clima",
    "break": "descanso", "water_reducer": "reductor de agua",
    "mid_range_reducer": "reductor medio", "high_range_reducer": "superplastificante",
    "retarder": "retardante", "accelerator": "acelerante", "air_entrainer": "aire incluido",
    "walk_behind": "de caminar", "ride_on": "de montar", "whole": "toda",
    "first_end": "primer extremo", "last_end": "último extremo", "edges": "orillas",
    "ordered": "pedido", "balance": "ajuste",
}  # fmt: skip
"""Every choice that a paper sheet prints, in Spanish; a log keeps the English word."""


def choice_text(word: str, lang: Lang) -> str:
    """A choice as it is printed."""
    return SPANISH_CHOICES[word] if lang == "es" else word.replace("_", " ")
