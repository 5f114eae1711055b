"""Values far from what this crew usually logs, or from what anybody does.

Anybody's bounds are the log tables' own (``odd_low``, ``odd_high``). For the crew's, far is beyond
three times the middle half's width from its ends (the outer fences of Tukey, Exploratory Data
Analysis, 1977), on a log scale since such values spread by shares. Fewer than twenty values make
no usual. Of a normal spread about two values in a million lie so far out.
"""

from __future__ import annotations

from pourstats.logs.tables import TABLES, Column, Table
from pourstats.store.checks import CELL, Rule

LEAST = 20
NARROWEST = 0.1
"""A middle half narrower than a tenth counts as that wide: most slabs may be 4 in thick."""

_USUAL: tuple[tuple[str, str, str, str, str, str], ...] = (
    # table, column to mend, words, unit, value (an expression), rest of the query
    ("pours", "area", "area", "ft2", "t.area", "pours AS t"),
    ("pours", "hands", "hands", "", "t.hands", "pours AS t"),
    ("pours", "slump", "slump", "in", "t.slump", "pours AS t"),
    ("pours", "ordered_volume", "order over plan", "times",
     "t.ordered_volume / (t.area * t.thickness / 324)", "pours AS t"),
    ("pours", "place_end", "yards placed an hour", "yd3/h", "o.place_yd3_per_h",
     "pours AS t JOIN pour_output AS o USING (pour_id)"),
    ("pours", "area", "square feet a labor-hour", "ft2/h", "o.ft2_per_labor_h",
     "pours AS t JOIN pour_output AS o USING (pour_id)"),
    ("trucks", "volume", "load", "yd3", "t.volume", "trucks AS t"),
    ("trucks", "pour_end", "minutes to unload a yard", "min", "m.unload_min_per_yd3",
     "trucks AS t JOIN truck_times AS m USING (pour_id, ticket)"),
    ("trucks", "water_added", "water added a yard", "gal", "t.water_added / t.volume",
     "trucks AS t"),
    ("passes", "end", "length of a pass", "min", """date_diff('minute', t."start", t."end")""",
     "passes AS t"),
    ("passes", "footprint", "boot print", "in", "t.footprint", "passes AS t"),
    ("callbacks", "hours", "hours of a callback", "h", "t.hours", "callbacks AS t"),
    ("bids", "bid_hours", "hours bid over hours taken", "times", "t.bid_hours / o.labor_h",
     "bids AS t JOIN pour_output AS o USING (pour_id)"),
)  # fmt: skip

_ROW = {
    "pours": "t.pour_id",
    "trucks": "'load ' || t.ticket || ' of ' || t.pour_id",
    "passes": "'pass ' || t.pass_no || ' of ' || t.pour_id",
    "callbacks": "t.callback_id || ' of ' || t.pour_id",
    "bids": "'the bid of ' || t.pour_id",
}


def _rounded(value: str) -> str:
    return (
        f"CASE WHEN abs({value}) >= 100 THEN format('{{:,}}', CAST(round({value}) AS BIGINT))"
        f" ELSE CAST(round({value}, CASE WHEN abs({value}) >= 10 THEN 1 ELSE 2 END) AS VARCHAR) END"
    )


def _rule(table: str, column: str, words: str, unit: str, value: str, source: str) -> Rule:
    behind = f" {unit}" if unit else ""
    needs = tuple(name for name in ("pour_output", "truck_times") if name in source)
    return Rule(
        "strange", table,
        f"""WITH v AS (SELECT t.pour_id, t._source, t._line, t._seq, {_ROW[table]} AS row_name,
                              CAST(t."{column}" AS VARCHAR) AS written, ({value}) AS x
                       FROM {source} WHERE ({value}) > 0 AND isfinite(({value})::DOUBLE)),
            u AS (SELECT count(*) AS n, quantile_cont(ln(x), 0.25) AS low,
                         quantile_cont(ln(x), 0.75) AS high, quantile_cont(x, 0.1) AS p10,
                         quantile_cont(x, 0.9) AS p90 FROM v)
            SELECT v.pour_id, v._source, v._line, '{column}' AS "column", v.written AS value,
                   v.row_name || ': {words} ' || {_rounded("v.x")} || '{behind}; eight in ten are '
                   || {_rounded("u.p10")} || ' to ' || {_rounded("u.p90")} || ' ('
                   || u.n || ' logged)' AS what, NULL AS id
            FROM v, u
            WHERE u.n >= {LEAST} AND (ln(v.x) < low - 3 * greatest(high - low, {NARROWEST})
                                      OR ln(v.x) > high + 3 * greatest(high - low, {NARROWEST}))
            ORDER BY greatest(low - ln(v.x), ln(v.x) - high) DESC, v._seq""",
        CELL + ", if it is a slip",
        needs,
    )  # fmt: skip


def _odd(table: Table, column: Column) -> Rule:
    """Values outside the bounds that the log table's declaration calls usual."""
    bounds = []
    if column.odd_low is not None:
        bounds.append(f't."{column.name}" < {column.odd_low}')
    if column.odd_high is not None:
        bounds.append(f't."{column.name}" > {column.odd_high}')
    unit = f" {column.unit}" if column.unit else ""
    pour = "t.pour_id" if "pour_id" in table.names else "NULL"
    row = _ROW.get(table.name, _OTHER_ROW.get(table.name, f"'{table.name}'"))
    hint = "; a share where percent is meant?" if column.odd_hint == "fraction" else ""
    name = column.name.replace("_", " ")
    return Rule(
        "strange", table.name,
        f"""SELECT {pour} AS pour_id, t._source, t._line, '{column.name}' AS "column",
                   CAST(t."{column.name}" AS VARCHAR) AS value, {row} || ': {name} '
                   || {_rounded(f't."{column.name}"')} || '{unit}{hint}' AS what, NULL AS id
            FROM {table.name} AS t WHERE {" OR ".join(bounds)} ORDER BY t._seq""",
        CELL,
    )  # fmt: skip


_OTHER_ROW = {
    "weather": "t.site || ' ' || strftime(t.time, '%Y-%m-%d %H:%M')",
    "crew": "t.worker",
    "jobs": "'job ' || t.pour_id",
}

RULES: tuple[Rule, ...] = (
    *(
        _odd(table, column)
        for table in TABLES.values()
        for column in table.columns
        # What a private column holds is told to nobody by a list of oddities.
        if (column.odd_low is not None or column.odd_high is not None) and not column.private
    ),
    *(_rule(*entry) for entry in _USUAL),
)
"""One rule a kind of value."""
