"""Commands about other people's files: how they are read, and which ways are kept."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from pourstats.cli.base import command, opened, printed, shown, told
from pourstats.faults import Refusal


@command("map", 'pourstats map station.csv --site "Mill Flats" --zone America/Denver --yes')
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--table", metavar="NAME", help="The log table that it holds.")
@click.option("--set", "sets", multiple=True, metavar='OURS="THEIRS"',
              help="Which column of theirs is ours; nothing behind = leaves ours out.")  # fmt: skip
@click.option("--unit", "units", multiple=True, metavar="OURS=UNIT", help="As wind=km/h.")
@click.option("--give", "given", multiple=True, metavar="OURS=VALUE",
              help="One value for every row, as task=place.")  # fmt: skip
@click.option("--site", metavar="NAME", help="The site of every row; short for --give site=NAME.")
@click.option("--zone", metavar="AREA/CITY", help="The site's time zone, for times in UTC.")
@click.option("--clock", metavar="CLOCK", help="local, utc, standard, or an offset as -07:00.")
@click.option("--dates", type=click.Choice(["mdy", "dmy", "ymd"]), help="Order of 6/3/2031.")
@click.option("--year", type=click.IntRange(1970, 2199), help="Puts a weather year into one year.")
@click.option("--sheet", metavar="NAME", help="The sheet of a workbook.")
@click.option("--yes", is_flag=True, help="Keep it as proposed, without asking.")
@click.option("--list", "listed", is_flag=True, help="Show what is kept.")
@click.option("--forget", metavar="NAME", help="Forget a kept way of reading.")
def map_file(
    file: Path | None, sheet: str | None, yes: bool, listed: bool, forget: str | None,
    store: Path | None, as_json: bool, **said: Any,
) -> int:  # fmt: skip
    """Show how another program's file would be read, ask, and keep it for files like it.

    FILE is a CSV or text file with any header, a workbook, or a weather year (EPW, TMY3). Once
    kept, `pourstats load` takes every file with that header.
    """
    record = opened(store)
    if listed or forget is not None:
        return tend(record, forget, as_json)
    if file is None:
        raise click.UsageError("Name a file to look at, or --list, or --forget NAME.")
    return look(record, file, sheet, wish_of(said), yes, as_json)


def wish_of(said: dict[str, Any]) -> Any:
    """What the options say of a file. Raises Refusal."""
    from pourstats.logs import moments
    from pourstats.logs.proposal import Wish

    clock = said["clock"]
    if clock not in (None, "local", "utc", "standard"):
        if moments.fixed_offset(clock) is None:
            raise Refusal(
                f"--clock takes local, utc, standard or an offset as -07:00; got {clock!r}"
            )
        clock = clock.strip()
    given = by_name("--give", said["given"]) | ({"site": said["site"]} if said["site"] else {})
    return Wish(
        said["table"], by_name("--set", said["sets"]), by_name("--unit", said["units"]), given,
        said["zone"], clock, said["dates"], said["year"],
    )  # fmt: skip


def by_name(option: str, texts: tuple[str, ...]) -> dict[str, str]:
    """``OURS=VALUE`` as a mapping. Raises Refusal for anything else."""
    for text in texts:
        if not re.match(r"\w+=", text):
            raise Refusal(f"{option} takes OURS=VALUE, as {option} wind=...; got {text!r}")
    return {name: value.strip() for name, _, value in (text.partition("=") for text in texts)}


def look(record: Any, file: Path, sheet: str | None, wish: Any, yes: bool, as_json: bool) -> int:
    """Propose, ask on a terminal, keep; the exit status."""
    from pourstats.logs.proposing import proposed
    from pourstats.reporting.mapped import map_json, map_text, to_add
    from pourstats.store import mappings

    theirs = mappings.opened(file, sheet)
    known = mappings.known(record)
    found = proposed(theirs, wish, known)
    asking = at_a_terminal() and not yes and not as_json
    if asking:
        found = agreed(found, wish, known)
    elif not as_json:
        shown(map_text(found, mappings.trial(theirs, found.mapping, known)))
    wanted = asking or (yes and not found.questions)
    kept = mappings.keep(record, theirs, found.mapping) if wanted else None
    if as_json:
        printed(map_json(found, mappings.trial(theirs, found.mapping, known), kept))
    if kept is None:
        told(to_add(found, file.name))
        return 1
    if not as_json:
        shown(f"\nKept as {kept.name}. Now: pourstats load {file}\n")
    return 0


def at_a_terminal() -> bool:
    """Whether somebody is there to be asked."""
    return sys.stdin.isatty()


def agreed(found: Any, wish: Any, known: Any) -> Any:
    """The proposal that the owner agrees to, after questions and changes. Abort if he doesn't."""
    from pourstats.logs.proposal import answered
    from pourstats.logs.proposing import proposed
    from pourstats.reporting.mapped import map_text
    from pourstats.store import mappings

    sheet = found.sheet
    while True:
        trial = mappings.trial(sheet, found.mapping, known)
        shown(map_text(found, trial, asking=True) + "\n")
        try:
            for question in found.questions:
                answer = click.prompt(question.text, default=question.default, err=True)
                wish = answered(wish, question, answer, sheet.header)
            if found.questions:
                found = proposed(sheet, wish, known)
                continue
            answer = click.prompt(
                'Keep it so? yes, no, or a change as wind="Wind km/h" or wind unit=km/h',
                default="yes", err=True,
            )  # fmt: skip
            if answer.strip().lower() in ("yes", "y"):
                return found
            if answer.strip().lower() in ("no", "n"):
                raise Refusal("nothing is kept", 1)
            changed = changed_wish(wish, answer)
            found, wish = proposed(sheet, changed, known), changed
        except Refusal as error:
            if error.status == 1:
                raise
            told(str(error))


def changed_wish(wish: Any, text: str) -> Any:
    """The wish with a change as typed: ``wind=Wspd``, ``wind unit=km/h``. Raises Refusal."""
    match = re.fullmatch(r"\s*(\w+)(\s+unit)?\s*=\s*\"?(.*?)\"?\s*", text)
    if match is None:
        raise Refusal('write yes, no, or a change as wind="Wind km/h" or wind unit=km/h')
    if match[2]:
        return replace(wish, units={**wish.units, match[1]: match[3]})
    return replace(wish, sets={**wish.sets, match[1]: match[3]})


def tend(record: Any, forget: str | None, as_json: bool) -> int:
    """List the kept mappings, or forget one."""
    from pourstats.reporting.mapped import kept_json, kept_text
    from pourstats.store import mappings

    if forget is not None:
        gone = mappings.forget(record, forget)
        printed({"forgotten": gone.name}) if as_json else shown(f"{gone.name} is forgotten\n")
        return 0
    kept = list(mappings.kept(record).values())
    printed(kept_json(kept)) if as_json else shown(kept_text(kept))
    return 0
