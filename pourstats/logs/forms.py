"""What people fill in and look up, made from the tables' declaration and nothing else.

Blank CSVs and a blank workbook, the reference page of all columns (``python -m
pourstats.logs.forms`` writes it to ``columns.md``), and the fields of entry forms.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pourstats import units
from pourstats.faults import Refusal
from pourstats.logs.choice_words import SPANISH, Lang, choice_label
from pourstats.logs.defects import DEFECTS
from pourstats.logs.tables import TABLES, Column, Table

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

WORKBOOK = "pour_log.xlsx"
ABOUT = "about"
"""The sheet that explains a workbook's columns; it holds no rows of a log."""
ABOUT_DEFECTS = "about defects"
"""The sheet that tells the defects apart; it holds none either."""
PAGE = Path(__file__).with_name("columns.md")
"""The reference page as it is shipped."""

_ROWS = 2000
"""Rows of a blank sheet that have drop-down lists."""
_LONGEST_LIST = 255
"""Characters that a drop-down list's own text may have (Excel)."""

WORDS: dict[Lang, dict[str, str]] = {
    "en": {
        "id": "label", "text": "text", "notes": "text, kept to the letter", "number": "number",
        "whole": "whole number", "date": "date", "time": "time", "choice": "one of",
        "choices": "any of, joined by ;", "yes": "yes", "no": "", "to": "{low} to {high}",
        "above": "above {low} to {high}", "from": "{low} or more", "over": "above {low}",
        "up": "up to {high}", "sheet": "sheet", "column": "column", "label": "label",
        "unit": "unit", "kind": "kind", "range": "range", "required": "required",
        "private": "private", "choices_": "choices", "meaning": "meaning", "key": "key",
        "order": "in this order", "one_of": "at least one of", "needs_pour": "needs its pour",
        "kept": "Kept by the program; an export writes it and a load takes it back.",
        "title": "The columns of a pour log",
        "intro": "Made from the declaration of the tables; not written by hand. Columns marked "
        "required can't be blank, private ones are left out of pages for others, and short ones "
        "are the short log. A unit in brackets in a header or behind a number goes before the one "
        "given here.",
        "short": "short log", "help_times": "as 2031-06-03 06:40, or just 6:40",
        "help_dates": "as 2031-06-03", "defect": "defect", "spanish": "in Spanish",
        "looks": "what it looks like", "causes": "usual causes", "reading": "more to read",
        "spanish_": "Choices in Spanish", "takes": "A log may have these words instead, accents or"
        " not; the program keeps the English one.", "defects_": "Defects",
        "defects_say": "How to tell one from another, and where it usually comes from. The sheets"
        " named are NRMCA's Concrete in Practice.",
    },
    "es": {
        "id": "etiqueta", "text": "texto", "notes": "texto, tal cual", "number": "número",
        "whole": "número entero", "date": "fecha", "time": "hora", "choice": "una de",
        "choices": "varias, separadas por ;", "yes": "sí", "no": "", "to": "{low} a {high}",
        "above": "más de {low} y hasta {high}", "from": "{low} o más", "over": "más de {low}",
        "up": "hasta {high}", "sheet": "hoja", "column": "columna", "label": "nombre",
        "unit": "unidad", "kind": "tipo", "range": "rango", "required": "obligatorio",
        "private": "privado", "choices_": "opciones", "meaning": "significado (en inglés)",
        "key": "clave", "order": "en este orden", "one_of": "al menos una de",
        "needs_pour": "necesita su colado",
        "kept": "La lleva el programa; se exporta y se vuelve a cargar.",
        "title": "Las columnas del registro de colados",
        "intro": "Hecho de la declaración de las tablas, no a mano. Las columnas obligatorias no "
        "pueden quedar en blanco, las privadas no salen en páginas para otros y las cortas son el "
        "registro corto. Una unidad entre corchetes en el encabezado o tras un número va antes que "
        "la de aquí.",
        "short": "registro corto", "help_times": "como 2031-06-03 06:40, o solo 6:40",
        "help_dates": "como 2031-06-03", "defect": "defecto", "spanish": "en español",
        "looks": "cómo se ve (en inglés)", "causes": "causas usuales (en inglés)",
        "reading": "para leer más", "spanish_": "Las opciones en español",
        "takes": "El registro puede llevar estas palabras, con acentos o sin ellos; el programa"
        " guarda la inglesa.", "defects_": "Defectos",
        "defects_say": "Cómo distinguirlos y de dónde suelen venir. Las hojas nombradas son las"
        " Concrete in Practice de la NRMCA.",
    },
}  # fmt: skip


@dataclass(frozen=True)
class Field:
    """One field of an entry form; ``low`` and ``high`` are in ``unit``, a house unit."""

    name: str
    label: str
    kind: str
    unit: str | None
    choices: tuple[str, ...]
    required: bool
    help: str
    private: bool
    short: bool
    low: float | None
    high: float | None


def form_fields(table: str, lang: Lang = "en") -> list[Field]:
    """The fields of a log table's entry form, in the order of its columns.

    Raises KeyError for a name that is no table.
    """
    return [
        Field(
            name=column.name,
            label=_label(column, lang),
            kind=column.kind,
            unit=column.unit,
            choices=column.choices,
            required=column.required,
            help=_help(column, lang),
            private=column.private,
            short=column.short,
            low=column.low,
            high=column.high,
        )
        for column in TABLES[table].columns
    ]


def _label(column: Column, lang: Lang) -> str:
    return column.spanish if lang == "es" else column.english


def _help(column: Column, lang: Lang) -> str:
    parts = [column.meaning]
    if column.kind == "time":
        parts.append(WORDS[lang]["help_times"])
    elif column.kind == "date":
        parts.append(WORDS[lang]["help_dates"])
    elif span := range_text(column, lang):
        parts.append(f"{span} {column.unit or ''}".rstrip())
    return "; ".join(parts)


def header(column: Column, unit: str | None = None) -> str:
    """The column's name with its unit in brackets, ``area [ft2]``; ``unit`` stands in for it."""
    unit = unit or column.unit
    return column.name if unit is None else f"{column.name} [{unit}]"


def range_text(column: Column, lang: Lang = "en") -> str:
    """The allowed range in words, in the house unit; empty where there is none."""
    words = WORDS[lang]
    low = None if column.low is None else _plain(column.low)
    high = None if column.high is None else _plain(column.high)
    if low is not None and high is not None:
        return words["above" if column.above_low else "to"].format(low=low, high=high)
    if low is not None:
        return words["over" if column.above_low else "from"].format(low=low)
    return "" if high is None else words["up"].format(high=high)


def _plain(number: float) -> str:
    return f"{number:,.0f}" if float(number).is_integer() else f"{number:g}"


def template_columns(table: Table, full: bool = False) -> tuple[Column, ...]:
    """The columns of a blank form: all, or those of the short log.

    The short log has the columns marked short, the required ones, the key, and what at least one
    must be filled of. Where that leaves nothing but the key, the table is given whole: a site's
    name alone says nothing.
    """
    if full:
        return table.columns
    named = {*table.required, *table.key, *table.needs_one_of}
    if not named - set(table.key):
        return table.columns
    return tuple(c for c in table.columns if c.short or c.name in named)


def write_templates(directory: str | Path, full: bool = False, lang: Lang = "en") -> list[Path]:
    """Writes a blank CSV a log table and a blank workbook, and returns their paths.

    The folder is made if need be. Raises Refusal, before anything is written, naming a file that
    is already there, and where the folder can't be written to.
    """
    folder = Path(directory)
    blanks = {t.name: template_columns(t, full) for t in TABLES.values() if t.log}
    paths = {name: folder / f"{name}.csv" for name in blanks}
    book = folder / WORKBOOK
    for path in (*paths.values(), book):
        if path.exists():
            raise Refusal(f"{path} is already there and may hold a log; name another folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, path in paths.items():
            with path.open("x", encoding="utf-8", newline="") as file:
                writer = csv.writer(file, lineterminator="\n")
                writer.writerow([header(column) for column in blanks[name]])
        with book.open("xb") as file:
            _blank_workbook(blanks, lang).save(file)
    except OSError as error:
        raise Refusal(
            f"{folder} can't be written to ({error.strerror or error}); name another folder"
        ) from None
    return [*paths.values(), book]


def _blank_workbook(blanks: Mapping[str, Sequence[Column]], lang: Lang) -> Any:
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.worksheets[0])
    for name, blank in blanks.items():
        sheet = book.create_sheet(name)
        _head(sheet, [header(column) for column in blank])
        for number, column in enumerate(blank, start=1):
            _prepare(sheet, number, column, TABLES[name], lang)
    about = book.create_sheet(ABOUT)
    rows = about_rows({name: [c.name for c in blank] for name, blank in blanks.items()}, lang)
    _head(about, rows[0])
    for row in rows[1:]:
        about.append(row)
    for letter, width in zip("ABCDEFGHIJ", (12, 18, 22, 10, 20, 24, 12, 9, 46, 46), strict=True):
        about.column_dimensions[letter].width = width
    defects = book.create_sheet(ABOUT_DEFECTS)
    rows = defect_rows(lang)
    _head(defects, rows[0])
    for row in rows[1:]:
        defects.append(row)
    for letter, width in zip("ABCDEF", (16, 24, 26, 60, 70, 24), strict=True):
        defects.column_dimensions[letter].width = width
    return book


def _head(sheet: Worksheet, headers: Iterable[str]) -> None:
    from openpyxl.styles import Font

    sheet.append(list(headers))
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"


def _prepare(sheet: Worksheet, number: int, column: Column, table: Table, lang: Lang) -> None:
    """Width, number format and drop-down list of one column of a blank sheet."""
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    letter = get_column_letter(number)
    dimension = sheet.column_dimensions[letter]
    dimension.width = max(len(header(column)) + 2, 17 if column.kind == "time" else 11)
    # As text, `01` stays 01. A clock time is what people write where the day is the pour's.
    clock = "yyyy-mm-dd hh:mm" if table.anchor == "none" else "hh:mm"
    formats = {"id": "@", "text": "@", "notes": "@", "date": "yyyy-mm-dd", "time": clock}
    if column.kind in formats:
        dimension.number_format = formats[column.kind]
    if not column.choices:
        return
    listed = [choice_label(word, lang) if lang == "es" else word for word in column.choices]
    several = column.kind == "choices"
    # Several joined by ; are no item of the list, so there the list only proposes.
    rule = DataValidation(
        "list", _list_formula(table, column, listed), allow_blank=True,
        showErrorMessage=not several,
    )  # fmt: skip
    rule.errorStyle = "warning"
    rule.promptTitle = _label(column, lang)[:32]
    rule.prompt = f"{WORDS[lang][column.kind]} {', '.join(listed)}"[:255]
    rule.showInputMessage = True
    rule.add(f"{letter}2:{letter}{_ROWS}")
    sheet.add_data_validation(rule)


def _list_formula(table: Table, column: Column, listed: Sequence[str]) -> str:
    """The list itself, or where it is too long for that, the column that has it."""
    text = ",".join(listed)
    if len(text) <= _LONGEST_LIST:
        return f'"{text}"'
    if column.name == "defect":
        letter = "A" if tuple(listed) == column.choices else "B"
        return f"'{ABOUT_DEFECTS}'!${letter}$2:${letter}${len(listed) + 1}"
    raise ValueError(f"{table.name}.{column.name}: the list is too long for a drop-down")


def defect_rows(lang: Lang = "en") -> list[tuple[str, ...]]:
    """Header and rows that tell the defects apart: word, Spanish, name, looks, causes, source."""
    words = WORDS[lang]
    heads = ("defect", "spanish", "label", "looks", "causes", "reading")
    return [tuple(words[key] for key in heads)] + [
        (word, choice_label(word, "es"), each.name, each.looks, each.causes, each.reference)
        for word, each in DEFECTS.items()
    ]


def about_rows(
    names: Mapping[str, Sequence[str]], lang: Lang = "en", system: units.System = "us"
) -> list[tuple[str, ...]]:
    """Header and rows of the sheet that explains columns: {table: column names} → texts.

    The unit is the one shown in ``system``; the range stays in the house unit, which it names.
    """
    words = WORDS[lang]
    keys = ("sheet", "column", "label", "unit", "kind", "range", "required", "private",
            "choices_", "meaning")  # fmt: skip
    rows = [tuple(words[key] for key in keys)]
    for name, columns in names.items():
        for column in map(TABLES[name].column, columns):
            span = range_text(column, lang)
            rows.append(
                (
                    name,
                    column.name,
                    _label(column, lang),
                    "" if column.unit is None else units.unit_in(column.unit, system),
                    words[column.kind],
                    f"{span} {column.unit or ''}".strip() if span else "",
                    words["yes" if column.required else "no"],
                    words["yes" if column.private else "no"],
                    ", ".join(_choice(word, lang) for word in column.choices),
                    column.meaning,
                )
            )
    return rows


def _choice(word: str, lang: Lang, mark: str = "") -> str:
    """The choice as a log has it, in Spanish with the word that may stand for it."""
    told = f"{mark}{word}{mark}"
    return f"{told} ({choice_label(word, lang)})" if lang == "es" else told


def reference_page(lang: Lang = "en") -> str:
    """Every table and column in Markdown: unit, range, choices, meaning, required, private."""
    words = WORDS[lang]
    lines = [f"# {words['title']}", "", words["intro"], ""]
    for table in TABLES.values():
        title = table.spanish if lang == "es" else table.english
        lines += [f"## {table.name}: {title}", "", _facts(table, lang), ""]
        heads = ("column", "label", "unit", "kind", "range", "required", "short", "private",
                 "meaning")  # fmt: skip
        lines += ["| " + " | ".join(words[key] for key in heads) + " |", "|---" * len(heads) + "|"]
        lines += [_line(column, lang) for column in table.columns]
        lines.append("")
    lines += [f"## {words['spanish_']}", "", words["takes"], ""]
    lines += ["| " + " | ".join((words["choices_"], words["spanish"])) + " |", "|---|---|"]
    lines += [f"| `{word}` | {', '.join(spanish)} |" for word, spanish in SPANISH.items()]
    lines += ["", f"## {words['defects_']}", "", words["defects_say"], ""]
    head, *rows = defect_rows(lang)
    lines += ["| " + " | ".join(head) + " |", "|---" * len(head) + "|"]
    lines += [f"| `{word}` | " + " | ".join(rest) + " |" for word, *rest in rows]
    return "\n".join([*lines, ""])


def _facts(table: Table, lang: Lang) -> str:
    words = WORDS[lang]
    facts = [f"{table.meaning}; {words['key']}: {', '.join(f'`{n}`' for n in table.key)}"]
    if table.needs_pour:
        facts.append(words["needs_pour"])
    if table.needs_one_of:
        facts.append(f"{words['one_of']} {', '.join(f'`{n}`' for n in table.needs_one_of)}")
    if table.order:
        pairs = ", ".join(f"`{first}` ≤ `{then}`" for first, then in table.order)
        facts.append(f"{words['order']}: {pairs}")
    text = "; ".join(facts) + "."
    return text if table.log else f"{text} {words['kept']}"


def _line(column: Column, lang: Lang) -> str:
    words = WORDS[lang]
    meaning = column.meaning
    if column.choices:
        meaning += ": " + ", ".join(_choice(word, lang, "`") for word in column.choices)
    cells = (
        f"`{column.name}`",
        _label(column, lang),
        column.unit or "",
        words[column.kind],
        range_text(column, lang),
        words["yes" if column.required else "no"],
        words["yes" if column.short else "no"],
        words["yes" if column.private else "no"],
        meaning,
    )
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def main() -> None:
    """Writes the shipped reference page anew."""
    PAGE.write_text(reference_page(), encoding="utf-8", newline="\n")
    sys.stderr.write(f"{PAGE.name} written\n")


if __name__ == "__main__":
    main()
