"""The weekly review as one HTML file: offline, no script, readable light, dark and printed.

Made from the same data as the printed sheet, so that the two agree.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from pourstats.reporting.sheet_week import week_sheet
from pourstats.reporting.week_sentences import System

STYLE = """
:root{color-scheme:light dark;--page:#fff;--text:#1a1a1a;--quiet:#555;--band:#dcdcdc;--edge:#767676;
--mark:#0072b2}
@media(prefers-color-scheme:dark){:root{--page:#16181b;--text:#f0f0f0;--quiet:#b8b8b8;--band:#3d4247;
--edge:#8d9399;--mark:#7cc4f0}}
@media print{:root{--page:#fff;--text:#000;--quiet:#444;--band:#ddd;--edge:#666;--mark:#000}}
*{box-sizing:border-box}
body{margin:0 auto;max-width:64rem;padding:1rem;background:var(--page);color:var(--text);
font:1rem/1.45 system-ui,sans-serif;overflow-wrap:anywhere}
h1{font-size:clamp(1.6rem,5vw,2.6rem);line-height:1.15;margin:.2rem 0 .5rem}
h2{font-size:1.05rem;margin:1.6rem 0 .4rem}
.answer{font-size:1.5rem;font-weight:700;line-height:1.2;margin:.2rem 0}
.quiet{color:var(--quiet);font-size:.9rem}
.lead{font-size:1.15rem;margin:.2rem 0}
.two{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(20rem,100%),1fr));gap:0 2rem;
border-top:2px solid var(--text);margin-top:1rem}
ol{padding-left:1.6rem;margin:.3rem 0}ol li{margin-bottom:.6rem}
ol li::marker{font-weight:700;font-size:1.2rem}
.do{font-size:1.2rem;font-weight:700;line-height:1.25}
.tiles{display:grid;grid-template-columns:repeat(auto-fit,minmax(9.5rem,1fr));gap:.5rem;
margin:1rem 0}
.tile{border:1px solid var(--edge);padding:.5rem .7rem}.tile b{display:block;font-size:1.7rem}
.tile span{display:block;font-size:.85rem}.tile .off{font-weight:700}
table{border-collapse:collapse;width:100%}td,th{padding:.2rem .4rem;text-align:left}
th{font-size:.85rem;color:var(--quiet);font-weight:400}td.bar{width:34%;min-width:7rem}
td.hours{text-align:right;font-weight:700;white-space:nowrap}.scroll{overflow-x:auto}
.scroll table{min-width:40rem}td{overflow-wrap:normal}
svg{display:block;width:100%}.band{fill:var(--band);stroke:var(--edge);stroke-width:.5}
.tick,.rule{stroke:var(--edge);stroke-width:1.5}.dash{stroke-dasharray:4 3}
.dot{fill:var(--text)}.now{fill:var(--mark)}.was{fill:var(--page);stroke:var(--text)}
svg text{fill:var(--text);font-size:12px}
code{font-size:.9em}
"""


def week_html(review: Mapping[str, Any], system: System = "us") -> str:
    """The weekly review as one HTML document."""
    sheet = week_sheet(review, system)
    body = [
        f'<p class="quiet">{escape(sheet["title"])}</p>',
        f"<h1>{escape(sheet['big'])}</h1>",
        f'<p class="lead">{escape(sheet["sentence"])}</p>',
        *_answers(sheet),
        *_tiles(sheet["tiles"]),
        *_floors(sheet["floors"]),
        *_stood_out(sheet["stood_out"]),
        *_shares(sheet["shares"]),
        *_lines("Against par, when this crew gets most done", sheet["par"]),
        *_lines("How well it was told ahead", sheet["forecasts"]),
        *_lines("Good to know", sheet["notes"]),
    ]
    rule = "default-src 'none'; style-src 'unsafe-inline'"
    return "\n".join(
        [
            '<!doctype html><html lang="en"><head><meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{rule}">',
            '<meta name="viewport" content="width=device-width,initial-scale=1">',
            f"<title>{escape(sheet['title'])}</title><style>{STYLE}</style></head><body><main>",
            *body,
            "</main></body></html>\n",
        ]
    )


def _typed(text: str) -> str:
    """Escaped; what stands in backticks is to be typed. For our own words only."""
    return re.sub(r"`([^`]*)`", r"<code>\1</code>", escape(text))


def _answers(sheet: Mapping[str, Any]) -> list[str]:
    trend = sheet["trend"]
    if trend is None:
        return []
    left = [
        "<h2>Are we getting better?</h2>",
        f'<p class="answer">{escape(trend["answer"])}</p>',
        f"<p>{escape(trend['sentence'])}</p>",
    ]
    if trend["chart"]:
        left.append(_control(trend["chart"]))
    right = ["<h2>What to change next week</h2>"]
    if sheet["changes"]:
        items = [
            f'<li><span class="do">{_typed(change["do"])}.</span><br>'
            f"Because {escape(change['because'])}.</li>"
            for change in sheet["changes"]
        ]
        right.append(f"<ol>{''.join(items)}</ol>")
    else:
        right.append('<p class="answer">Nothing that the log asks for</p>')
    return ['<div class="two"><section>', *left, "</section><section>", *right, "</section></div>"]


def _control(chart: Mapping[str, Any]) -> str:
    wide, tall, edge = 480, 130, 430

    def y(place: float) -> float:
        return round((1 - place) * (tall - 10) + 5, 1)

    parts = [
        f'<rect class="band" x="0" y="{y(chart["upper"])}" width="{edge}"'
        f' height="{round(y(chart["lower"]) - y(chart["upper"]), 1)}"/>'
    ]
    if chart["usual"] is not None:
        at = y(chart["usual"])
        parts.append(f'<line class="rule dash" x1="0" x2="{edge}" y1="{at}" y2="{at}"/>')
        parts.append(f'<text x="{edge + 4}" y="{at + 4}">usual</text>')
    for end in ("upper", "lower"):
        parts.append(
            f'<text x="{edge + 4}" y="{y(chart[end]) + 4}">× {chart[end + "_text"]}</text>'
        )
    few = len(chart["dots"]) <= 80
    for x, place, now in chart["dots"]:
        look, radius = ("now", 5 if few else 3.5) if now else ("was", 3)
        parts.append(
            f'<circle class="{look}" cx="{round(x * edge, 1)}" cy="{y(place)}" r="{radius}"/>'
        )
    told = (
        f"Hours spent over usual hours, floor by floor: {chart['earlier']} earlier (open),"
        f" {chart['now']} this week (filled). Band: this crew's ordinary ups and downs."
    )
    return (
        f'<svg viewBox="0 0 {wide} {tall}" role="img" aria-label="{escape(told)}">'
        f'{"".join(parts)}</svg><p class="quiet">{escape(told)}</p>'
    )


def _bar(row: Mapping[str, Any], scale: float = 1.0) -> str:
    def x(share: float) -> float:
        return round(min(share * scale, 1.0) * 200, 1)

    parts = []
    if row["low"] is not None:
        width = round(x(row["high"]) - x(row["low"]), 1)
        parts.append(f'<rect class="band" x="{x(row["low"])}" y="3" width="{width}" height="10"/>')
    if row.get("middle") is not None:
        at = x(row["middle"])
        parts.append(f'<line class="tick" x1="{at}" x2="{at}" y1="1" y2="15"/>')
    parts.append(f'<circle class="dot" cx="{x(row["at"])}" cy="8" r="4"/>')
    return f'<svg viewBox="-5 0 210 16" aria-hidden="true">{"".join(parts)}</svg>'


# Beside other weeks as a whole; the head holds the hours against such floors as these.
OFF = {"above": "▲ above most weeks", "below": "▼ below most weeks"}


def _tiles(tiles: Sequence[Mapping[str, str]]) -> list[str]:
    if not tiles:
        return []
    found = []
    for tile in tiles:
        off = OFF.get(tile["verdict"], "")
        lines = "".join(f"<span>{escape(x)}</span>" for x in (tile["more"], tile["usual"]) if x)
        mark = f'<span class="off">{off}</span>' if off else ""
        found.append(
            f'<div class="tile"><span>{escape(tile["label"])}</span>'
            f"<b>{escape(tile['value'])}</b>{lines}{mark}</div>"
        )
    return ['<div class="tiles">', *found, "</div>"]


def _floors(floors: Mapping[str, Any] | None) -> list[str]:
    if floors is None:
        return []
    rows = [
        f"<tr><td>{escape(row['day'])}</td><td>{escape(row['where'])}</td>"
        f'<td>{escape(row["what"])}</td><td class="bar">{_bar(row)}</td>'
        f'<td class="hours">{escape(row["hours"])} h</td><td>{escape(row["usual"])}'
        f" <b>{escape(row['verdict'])}</b></td></tr>"
        for row in floors["rows"]
    ]
    title = "Floor by floor" + (
        ": hours (dot) on the range that eight such floors in ten take" if floors["judged"] else ""
    )
    head = "<tr><th>day<th>pour, site<th>floor<th><th>hours<th>usual</tr>"
    more = f'<p class="quiet">{escape(floors["more"])}.</p>' if floors["more"] else ""
    return [
        f"<h2>{title}</h2>",
        f'<div class="scroll"><table>{head}{"".join(rows)}</table></div>{more}',
    ]


def _stood_out(items: Sequence[Mapping[str, str]]) -> list[str]:
    if not items:
        return []
    told = []
    for item in items:
        why = f" <em>{escape(item['why'])}</em>" if item["why"] else ""
        note = f" Note in the log: {escape(item['note'])}" if item["note"] else ""
        told.append(f"<p>{escape(item['text'])}{why}{note}</p>")
    return ["<h2>What stood out, and why</h2>", *told]


def _shares(shares: Sequence[Mapping[str, Any]]) -> list[str]:
    if not shares:
        return []
    rows = "".join(
        f'<tr><td>{escape(row["label"])}</td><td class="bar">{_bar(row, 1.6)}</td>'
        f"<td><b>{escape(row['value'])}</b></td><td>{escape(row['usual'])}</td></tr>"
        for row in shares
    )
    return [f"<h2>Where the hours went (dot) and usually go</h2><table>{rows}</table>"]


def _lines(title: str, lines: Sequence[str]) -> list[str]:
    if not lines:
        return []
    return [f"<h2>{escape(title)}</h2>", *(f"<p>{escape(line)}</p>" for line in lines)]
