"""A log may have the Spanish word of a choice; the English one is kept, and none is ambiguous."""

from __future__ import annotations

import unicodedata
from pathlib import Path

import pytest

from pourstats.logs.cell import Reading, normalized
from pourstats.logs.cells import UNKNOWN_WORDS, read_cell, spanish_choices
from pourstats.logs.choice_words import SPANISH, choice_label, without_accents
from pourstats.logs.tables import TABLES, Column
from pourstats.store import reading
from pourstats.store.database import Store
from pourstats.store.loading import load

CHOICES = [
    pytest.param(column, id=f"{table.name}.{column.name}")
    for table in TABLES.values()
    if table.log
    for column in table.columns
    if column.choices
]


@pytest.mark.parametrize("column", CHOICES)
def test_every_choice_reads_back_in_both_languages(column: Column) -> None:
    for choice in column.choices:
        assert read_cell(choice, column, Reading()).value == choice
        for word in SPANISH[choice]:
            for written in (word, word.upper(), f" {word.title()} ", without_accents(word),
                            unicodedata.normalize("NFD", word), word.replace(" ", "_")):  # fmt: skip
                read = read_cell(written, column, Reading())
                assert (read.value, read.fault, read.warning) == (choice, None, None), written


@pytest.mark.parametrize("column", CHOICES)
def test_no_word_stands_for_two_choices(column: Column) -> None:
    spanish = spanish_choices(column)
    assert len(spanish) == sum(len(SPANISH[choice]) for choice in column.choices)
    for choice in column.choices:
        assert spanish.get(normalized(choice), choice) == choice
    # A word that means "not known" in a log stays one.
    assert not set(spanish) & {normalized(word) for word in UNKNOWN_WORDS}


def test_several_choices_may_mix_the_languages() -> None:
    trouble = TABLES["pours"].column("trouble")
    assert read_cell("Lluvia; camion tarde;grade", trouble, Reading()).value == (
        "late_truck;rain;grade"
    )
    base = TABLES["pours"].column("base")
    assert read_cell("piedra, plástico", base, Reading()).value == "stone;vapor_sheet"


def test_the_same_word_means_what_its_column_asks() -> None:
    pours = TABLES["pours"]
    assert read_cell("plástico", pours.column("base"), Reading()).value == "vapor_sheet"
    assert read_cell("plástico", pours.column("cure"), Reading()).value == "sheet"


def test_a_near_miss_in_spanish_is_asked_about() -> None:
    fault = read_cell("sotanno", TABLES["pours"].column("slab_type"), Reading()).fault
    assert fault == "'sotanno' is no slab type; did you mean basement?"
    # Accents matter in English words as ever: they have none.
    assert read_cell("gárage", TABLES["pours"].column("slab_type"), Reading()).fault is not None


def test_text_is_left_as_it_stands() -> None:
    assert read_cell("sótano", TABLES["pours"].column("site"), Reading()).value == "sótano"
    assert read_cell("ninguno", TABLES["pours"].column("area"), Reading()).fault is not None


def test_a_log_in_spanish_loads_and_keeps_the_english_words(tmp_path: Path) -> None:
    head = "pour_id,date,site,slab_type,area,thickness,finish,cure,exposure,saw_type,trouble"
    label = {name: choice_label(name, "es") for name in
             ("warehouse", "hard_trowel", "compound", "indoors", "early_entry", "machine")}  # fmt: skip
    (tmp_path / "pours.csv").write_text(
        f"{head}\nA1,2031-06-03,Obra 1,{label['warehouse']},2400,5,{label['hard_trowel']},"
        f"{label['compound']},{label['indoors']},{label['early_entry']},{label['machine']}\n",
        encoding="utf-8",
    )
    store = Store(tmp_path / "s.duckdb")
    report = load(store, [tmp_path / "pours.csv"])
    assert (report.status, report.warnings) == (0, [])
    with store.read() as connection:
        (row,) = reading.frame(connection, "pours").to_dict("records")
    for name, word in (("slab_type", "warehouse"), ("finish", "hard_trowel"), ("cure", "compound"),
                       ("exposure", "indoors"), ("saw_type", "early_entry"),
                       ("trouble", "machine")):  # fmt: skip
        assert row[name] == word
