"""The measures' SQL can be carried to an engine that spreads over machines.

`python tests/benchmarks/spread.py` runs it there, where Java and PySpark are present, and compares.
"""

from __future__ import annotations

import pytest
import sqlglot
from sqlglot import exp

from pourstats.store import measures


@pytest.mark.parametrize("name", measures.ORDER)
def test_a_measure_transpiles_with_nothing_unsupported(name: str) -> None:
    (text,) = sqlglot.transpile(
        measures.sql(name), read="duckdb", write="spark",
        unsupported_level=sqlglot.ErrorLevel.RAISE,
    )  # fmt: skip
    again = sqlglot.parse_one(text, read="spark")
    ours = sqlglot.parse_one(measures.sql(name), read="duckdb")
    assert again.named_selects == ours.named_selects
    # The same tables are read, under the same names.
    assert {t.name for t in again.find_all(exp.Table)} == {t.name for t in ours.find_all(exp.Table)}


@pytest.mark.parametrize("name", measures.ORDER)
def test_a_measure_uses_nothing_that_duckdb_alone_has(name: str) -> None:
    found = sqlglot.parse_one(measures.sql(name), read="duckdb")
    for kind in (exp.Lambda, exp.Qualify):
        assert not list(found.find_all(kind))
    assert "asof" not in measures.sql(name).lower()
