"""The words printed on the paper sheets, in English and Spanish; labels come from the tables."""

from __future__ import annotations

from pourstats.logs.choice_words import Lang

TITLES: dict[Lang, dict[str, str]] = {
    "en": {
        "pour": "Pour sheet", "day": "Crew sheet",
        "times": "Clock times: 6:40 or 14:05. A blank means not known.",
        "short": "Fill these in on every pour",
        "rest": "And these where you can; circle what fits",
        "loads": "Loads, from the tickets; the balance is the last one, sized and called late."
        " More go on a second sheet.",
        "passes": "Passes",
        "crew": "One row a person; from and to under each task. Two rows for a task done twice."
        " Under wait write what for:",
        "caution": "Wet cement burns and sawing dust harms the lungs: gloves,"
        " boots, water or a vacuum at the saw, a mask. Local rules come first.",
    },
    "es": {
        "pour": "Hoja de colado", "day": "Hoja de la gente",
        "times": "Horas: 6:40 o 14:05. En blanco: no se sabe.",
        "short": "Llene esto en cada colado",
        "rest": "Y esto cuando se pueda; marque lo que sea",
        "loads": "Camiones, de las boletas; el de ajuste es el último, medido y pedido tarde."
        " Si hay más, otra hoja.",
        "passes": "Pasadas",
        "crew": "Una fila por persona; desde y hasta en cada tarea. Dos filas si se repite."
        " En esperar ponga qué:",
        "caution": "El cemento fresco quema y el polvo del corte daña los"
        " pulmones: guantes, botas, agua o aspiradora en el corte, mascarilla. Primero las reglas"
        " locales.",
    },
}  # fmt: skip
