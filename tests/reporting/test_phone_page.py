"""The offline phone page as a file: what is in it, and what never is."""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import html.parser
import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from pourstats.faults import Refusal
from pourstats.logs.tables import EVENTS, POURS, TABLES
from pourstats.reporting.phone_page import PARTS, phone_data, phone_page, write_phone_page
from pourstats.reporting.strings import languages
from pourstats.store.database import Store
from pourstats.store.loading import load

NOW = dt.datetime(2031, 6, 2, 17, 0)
JOBS = "pour_id,date,site,slab_type,area,thickness,hands,place_start,admixtures\n"


class Page(html.parser.HTMLParser):
    """A page's elements as a parser of HTML cuts them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))


def test_without_a_store_it_is_a_page_for_new_pours(tmp_path: Path) -> None:
    data = phone_data(Store(tmp_path / "none.duckdb"), "en", NOW)
    assert (data["jobs"], data["people"], data["taken"]) == ([], [], [])
    assert data["required"] == POURS.required
    assert not (tmp_path / "none.duckdb").exists()


def test_the_jobs_that_are_not_poured_yet_are_in_it(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    (tmp_path / "jobs.csv").write_text(
        JOBS + "J2,2031-06-04,Oak,shop,800.5,5,4,,\nJ1,2031-06-03,Elm,garage,600,4,3,7:15,"
        "retarder;accelerator\nJ0,2031-06-01,Ash,patio,300,4,2,,\n"
    )
    (tmp_path / "pours.csv").write_text(
        "pour_id,date,site,slab_type,area,thickness\nJ0,2031-06-01,Ash,patio,300,4\n"
    )
    load(store, [tmp_path / "jobs.csv", tmp_path / "pours.csv"])
    data = phone_data(store, "en", NOW)
    first, second = data["jobs"]
    assert (first["pour_id"], first["date"], first["area"]) == ("J1", "2031-06-03", "600")
    assert first["place_start"] == "2031-06-03 07:15"
    assert set(first["admixtures"].split(";")) == {"retarder", "accelerator"}
    assert (second["pour_id"], second["area"]) == ("J2", "800.5")
    assert data["taken"] == ["J0"]
    assert data["sites"][:2] == ["Oak", "Elm"]


def test_no_pay_and_no_price_is_in_it(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    texts = {
        "pours": "pour_id,date,site,slab_type,area,thickness\nP1,2031-06-01,Ash,patio,300,4\n",
        "jobs": JOBS + "J1,2031-06-03,Elm,garage,600,4,3,,\n",
        "crew": "worker,skills,pay\nMK,place,71.37\n",
        "bids": "pour_id,bid_date,bid_hours,labor_rate,bid_price,billed\n"
        "J1,2031-05-01,40,93.41,81234.5,81777.25\n",
        "callbacks": "callback_id,pour_id,reported,defect,cost\nc,P1,2031-06-02,dusting,4321.75\n",
        "settings": "name,value\ndefault_pay,63.19\n",
    }
    for name, text in texts.items():
        (tmp_path / f"{name}.csv").write_text(text)
    assert load(store, [tmp_path / f"{name}.csv" for name in texts]).status == 0
    page = phone_page(store, "en", NOW)
    assert "MK" in phone_data(store, "en", NOW)["people"]
    for secret in ("71.37", "93.41", "81234", "81777", "4321", "63.19", "default_pay"):
        assert secret not in page, secret
    private = {c.name for t in TABLES.values() for c in t.columns if c.private}
    assert {"pay", "labor_rate", "bid_price", "billed", "cost"} <= private
    assert not private & names_in(phone_data(store, "en", NOW))


def names_in(value: Any) -> set[str]:
    """Every key of nested data."""
    if isinstance(value, dict):
        return set(value).union(*map(names_in, value.values()))
    return set().union(*map(names_in, value)) if isinstance(value, list | tuple) else set()


def test_the_page_is_one_file_whose_own_two_texts_alone_may_run(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    nasty = "</script><script>alert(1)</script><!--"
    (tmp_path / "jobs.csv").write_text(JOBS + f"J1,2031-06-03,{nasty},garage,600,4,3,,\n")
    load(store, [tmp_path / "jobs.csv"])
    text = phone_page(store, "en", NOW)
    found = Page(text)
    tags = [tag for tag, _ in found.elements]
    assert (tags.count("script"), tags.count("style")) == (2, 1)
    for _, given in found.elements:
        assert not {"src", "style", "onclick", "action"} & set(given)
        assert (given.get("href") or "data:").startswith("data:")
    rule = next(g["content"] for _, g in found.elements if "http-equiv" in g)
    assert rule is not None
    parts = dict(part.split(" ", 1) for part in rule.split("; "))
    assert parts["default-src"] == "'none'"
    data, program = re.findall(r"<script[^>]*>(.*?)</script>", text, re.S)
    (style,) = re.findall(r"<style>(.*?)</style>", text, re.S)
    assert json.loads(data)["jobs"][0]["site"] == nasty
    for name, part in (("script-src", program), ("style-src", style)):
        # A digest as Content Security Policy Level 3 has it: SHA-256 of the element's text.
        digest = base64.b64encode(hashlib.sha256(part.encode()).digest()).decode()
        assert parts[name] == f"'sha256-{digest}'"


def test_every_string_that_the_page_asks_for_is_there_in_every_language() -> None:
    script = "".join(path.read_text(encoding="utf-8") for path in PARTS.glob("*.js"))
    asked = set(re.findall(r'text\("([a-z_]+\.[a-z_]+)"', script))
    asked |= set(re.findall(r'"(phone\.[a-z_]+)"', script))
    asked |= {f"tap.{event}" for event in EVENTS if event not in ("describe", "saw_on")}
    assert len(asked) > 60
    for code, said in languages().items():
        assert asked <= set(said), code
        for name, text in said.items():
            braces = set(re.findall(r"{(\w+)}", text))
            assert braces == set(re.findall(r"{(\w+)}", languages()["en"][name])), (code, name)
        theirs = {name for name in said if name.startswith("phone.")}
        used = asked | {f"phone.{word}" for word in
                        ("no_script", "stiff", "medium", "wet", "volume", "ticket")}  # fmt: skip
        assert theirs <= used, "a string that nothing asks for"


def test_every_word_on_it_can_be_read(tmp_path: Path) -> None:
    style = (PARTS / "look.css").read_text(encoding="utf-8")
    light, dark = re.findall(r":root \{(.*?)\}", style, re.S)
    for colours in (light, dark):
        of = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{3,6})", colours))
        # 4.5 to 1 for text, 3 to 1 for the edge of a control: WCAG 2.2, 1.4.3 and 1.4.11.
        for text, page, least in (
            ("text", "page", 7), ("text", "key", 7), ("quiet", "page", 4.5), ("text", "done", 7),
            ("on-strong", "strong", 4.5), ("wrong", "wrong-page", 4.5), ("page", "wrong", 4.5),
            ("edge", "page", 3), ("done-edge", "page", 3), ("strong", "page", 3),
        ):  # fmt: skip
            assert contrast(of[text], of[page]) >= least, (text, page)


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, by the definition in WCAG 2.2."""
    a, b = sorted((luminance(one), luminance(other)), reverse=True)
    return (a + 0.05) / (b + 0.05)


def luminance(colour: str) -> float:
    digits = colour[1:] if len(colour) == 7 else "".join(c * 2 for c in colour[1:])
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_units_are_those_of_the_house_and_their_metric_ones(tmp_path: Path) -> None:
    fields = phone_data(Store(tmp_path / "none.duckdb"), "en", NOW)["fields"]
    assert fields["area"]["unit"]["us"] == ("ft²", 1.0)
    # 1 ft = 0.3048 m and 1 in = 25.4 mm exactly (NIST SP 811).
    name, factor = fields["area"]["unit"]["metric"]
    assert (name, factor) == ("m²", pytest.approx(1 / 0.3048**2, rel=1e-12))
    name, factor = fields["thickness"]["unit"]["metric"]
    assert (name, factor) == ("mm", pytest.approx(1 / 25.4, rel=1e-12))
    assert fields["concrete_temp"]["unit"]["metric"][1] is None, "no factor makes a temperature"


def test_the_command_writes_it_in_the_language_asked_for(tmp_path: Path) -> None:
    file = tmp_path / "telefono.html"
    call = [sys.executable, "-m", "pourstats.cli", "template", "--phone", str(file), "--lang", "es",
            "--store", str(tmp_path / "none.duckdb")]  # fmt: skip
    done = subprocess.run(call, capture_output=True, text=True, check=False, timeout=60)
    assert (done.returncode, done.stdout.strip()) == (0, str(file))
    assert '<html lang="es">' in file.read_text(encoding="utf-8")


def test_it_goes_over_an_earlier_page_and_over_nothing_else(tmp_path: Path) -> None:
    store = Store(tmp_path / "none.duckdb")
    file = write_phone_page(tmp_path / "pours.html", store)
    assert write_phone_page(file, store, "es") == file
    assert '<html lang="es">' in file.read_text(encoding="utf-8")
    mine = tmp_path / "mine.html"
    mine.write_text("<p>mine</p>")
    for name, said in (
        (mine, "no page of ours"), (tmp_path / "pours.csv", "let it end in .html"),
        (tmp_path / "no" / "such.html", "there is no folder"),
    ):  # fmt: skip
        with pytest.raises(Refusal, match=said):
            write_phone_page(name, store)
    assert mine.read_text() == "<p>mine</p>"
    assert not (tmp_path / "pours.csv").exists()


def test_the_nearest_jobs_are_in_it_where_there_are_many(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    first = NOW.date() - dt.timedelta(days=150)
    (tmp_path / "jobs.csv").write_text(JOBS + "".join(
        f"J{n},{first + dt.timedelta(days=n)},Oak,shop,800,5,4,,\n" for n in range(300)
    ))  # fmt: skip
    load(store, [tmp_path / "jobs.csv"])
    names = [job["pour_id"] for job in phone_data(store, "en", NOW)["jobs"]]
    # Day 150 is the day on which it is made.
    assert names == [f"J{n}" for n in range(120, 250)]
