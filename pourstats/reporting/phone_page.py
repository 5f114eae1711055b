"""The offline phone page: a pour by taps where there is no signal, as one HTML file.

Made from the tables' declaration, the taps' and the pages' own strings, with the jobs ahead of the
store in it. It asks nothing of the outside; what is tapped stays in the phone's own storage until
its log is given out: the table of stamps as a CSV file, which a load takes as it is.
"""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import json
from html import escape
from pathlib import Path
from typing import Any

import numpy as np

from pourstats import units
from pourstats.faults import Refusal
from pourstats.logs.choice_words import Lang
from pourstats.logs.forms import Field, form_fields
from pourstats.logs.stamps import FROM_JOB, LOAD_TIMES, PASS_TIMES, POUR_TIMES
from pourstats.logs.tables import JOBS, PASSES, POURS, TRUCKS, Column
from pourstats.reporting.sheet import saved
from pourstats.reporting.strings import languages
from pourstats.store import reading
from pourstats.store.database import Store

PARTS = Path(__file__).parent / "phone"
SCRIPTS = ("kept.js", "log.js", "page.js", "parts.js", "giving.js")
SECTIONS = (
    "switch", "log", "tap", "phone", "slab_type", "finish", "placement", "exposure", "wind_felt",
)  # fmt: skip
SHORT = (
    "hands", "first_concrete", "strike_off_done", "bull_float_done", "machine_on",
    "last_pass_off", "saw_done", "gone",
)  # fmt: skip
"""The eight taps of the short log."""
BEGINS = "<!doctype html>\n<!-- pourstats: a page for the phone -->\n"
MOST_AHEAD, MOST_EARLIER, MOST_SITES, MOST_TAKEN = 100, 30, 60, 3000


def write_phone_page(file: Path, store: Store, lang: Lang = "en") -> Path:
    """Writes the page, over an earlier one too, and returns its path.

    Raises Refusal for a name that no phone would open as a page, for a file that is something
    else, and where it can't be written.
    """
    if file.suffix.lower() not in (".html", ".htm"):
        raise Refusal(f"{file}: a phone knows a page by its name; let it end in .html")
    if file.is_file() and not file.read_bytes().startswith(BEGINS.encode()):
        raise Refusal(f"{file} is already there and no page of ours; name another file")
    saved(file, phone_page(store, lang))
    return file


def phone_page(store: Store, lang: Lang = "en", made: dt.datetime | None = None) -> str:
    """The page as one HTML document that begins in ``lang``; ``made`` is when, else now."""
    data = phone_data(store, lang, made or dt.datetime.now())
    script = "\n".join(
        [
            "(() => {",
            '"use strict";',
            'const DATA = JSON.parse(document.getElementById("data").textContent);',
            *((PARTS / name).read_text(encoding="utf-8") for name in SCRIPTS),
            "})();",
        ]
    )
    style = (PARTS / "look.css").read_text(encoding="utf-8")
    # Nothing may run or dress the page but these two texts, and nothing may be asked for.
    rule = (
        f"default-src 'none'; script-src '{_digest(script)}'; style-src '{_digest(style)}';"
        " img-src data:; base-uri 'none'; form-action 'none'"
    )
    told = languages()
    no_script = told.get(lang, {}).get("phone.no_script") or told["en"]["phone.no_script"]
    title = told.get(lang, {}).get("phone.title") or told["en"]["phone.title"]
    return (
        f'{BEGINS}<html lang="{escape(lang)}">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{rule}">\n'
        '<meta name="viewport" content="width=device-width,initial-scale=1">\n'
        '<meta name="referrer" content="no-referrer">\n'
        '<link rel="icon" href="data:,">\n'
        f"<title>{escape(title)}</title>\n<style>{style}</style>\n</head>\n<body>\n"
        '<header id="switches"></header>\n<main id="main"></main>\n'
        '<div id="live" role="status" aria-live="polite"></div>\n'
        '<div id="alert" role="alert"></div>\n'
        '<datalist id="sites"></datalist>\n'
        f"<noscript><p>{escape(no_script)}</p></noscript>\n"
        f'<script type="application/json" id="data">{_embedded(data)}</script>\n'
        f"<script>{script}</script>\n</body>\n</html>\n"
    )


def phone_data(store: Store, lang: Lang, made: dt.datetime) -> dict[str, Any]:
    """All that the page knows, as JSON takes it. No private column is among it."""
    known = _known(store, made.date())
    return {
        "lang": lang,
        "units": "us",
        "made": f"{made:%Y-%m-%d %H:%M}",
        "languages": _languages(),
        "events": {"pour": POUR_TIMES, "load": LOAD_TIMES, "pass": PASS_TIMES},
        "order": {table.name: table.order for table in (POURS, TRUCKS, PASSES)},
        "short": SHORT,
        "required": POURS.required,
        "from_job": [name for name in FROM_JOB if not POURS.column(name).private],
        "fields": {column.name: _field(column) for column in POURS.columns if not column.private},
        "loads": {name: _field(TRUCKS.column(name)) for name in ("volume", "ticket")},
        **known,
    }


def _languages() -> dict[str, Any]:
    return {
        code: {
            "name": said.get("switch.name", code),
            "text": {
                name: text for name, text in said.items() if name.partition(".")[0] in SECTIONS
            },
            "labels": {
                table: {field.name: field.label for field in _labels(table, code)}
                for table in ("pours", "trucks", "passes")
            },
        }
        for code, said in languages().items()
    }


def _labels(table: str, code: str) -> list[Field]:
    fields = form_fields(table, "es" if code == "es" else "en")
    return [field for field in fields if not field.private]


def _field(column: Column) -> dict[str, Any]:
    """What an entry field needs; ``unit`` is, by system, its label and what one of it is in the
    house unit."""
    return {
        "kind": column.kind,
        "choices": column.choices,
        "low": column.low,
        "high": column.high,
        "above_low": column.above_low,
        "unit": column.unit and {
            system: (units.unit_sign(column.unit, system), _in_house(column.unit, system))
            for system in ("us", "metric")
        },
    }  # fmt: skip


def _in_house(unit: str, system: units.System) -> float | None:
    """One of the unit shown, in the house unit; None for what no factor converts."""
    written = units.checked_unit(units.unit_in(unit, system), unit)
    zero, one = units.to_house(np.array([0.0, 1.0]), written, unit)
    return float(one) if zero == 0 else None


def _known(store: Store, today: dt.date) -> dict[str, Any]:
    """What of the store the page carries: jobs not yet poured, sites, people, labels in use."""
    import pandas as pd

    if not store.exists():
        return {"jobs": [], "sites": [], "people": [], "taken": []}
    with store.read() as connection:
        jobs = reading.frame(connection, "jobs")
        pours = reading.frame(connection, "pours")
        crew = reading.frame(connection, "crew")
    jobs = jobs[~jobs["pour_id"].isin(pours["pour_id"])].sort_values("date", kind="stable")
    shown = [*dict.fromkeys(["pour_id", *FROM_JOB, "place_start"])]
    past = jobs["date"] < pd.Timestamp(today)
    near = pd.concat([jobs[past].tail(MOST_EARLIER), jobs[~past].head(MOST_AHEAD)])
    rows = near[[name for name in shown if not JOBS.column(name).private]]
    sites = [*jobs["site"][::-1], *pours.sort_values("date", kind="stable")["site"][::-1]]
    return {
        "jobs": [{name: _plain(name, cell) for name, cell in row.items() if cell == cell}
                 for row in rows.to_dict("records")],
        "sites": list(dict.fromkeys(sites))[:MOST_SITES],
        "people": list(dict.fromkeys(crew["worker"])),
        "taken": list(pours["pour_id"][-MOST_TAKEN:]),
    }  # fmt: skip


def _plain(name: Any, cell: Any) -> str | None:
    """A job's cell as a log has it."""
    if cell is None:
        return None
    if isinstance(cell, dt.date):
        return f"{cell:%Y-%m-%d}" if name == "date" else f"{cell:%Y-%m-%d %H:%M}"
    return repr(float(cell)).removesuffix(".0") if isinstance(cell, int | float) else str(cell)


def _embedded(data: Any) -> str:
    """JSON that can stand in a script element: no text of it can end the element or begin one."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for mark in "<>&\u2028\u2029":
        text = text.replace(mark, f"\\u{ord(mark):04x}")
    return text


def _digest(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"
