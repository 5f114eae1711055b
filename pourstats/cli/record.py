"""Commands about the record: logs in, tables out, corrections, rules, copies."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from pourstats.cli.base import command, exact, opened, printed, progress, shown, told
from pourstats.faults import Refusal


@command("load", "pourstats load my_logs")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
def load(paths: tuple[Path, ...], store: Path | None, as_json: bool) -> int:
    """Read logs (folders, CSV files, workbooks) into the store.

    Loading a file twice changes nothing. Rows that break a rule are set aside, with the reason.
    """
    from pourstats.reporting.loaded import load_text
    from pourstats.store.loading import load as load_logs

    show = progress(as_json)
    record = opened(store)
    first = not record.exists()
    report = load_logs(record, paths, show)
    show("")
    printed(report.as_json()) if as_json else shown(load_text(report))
    if report.status in (1, 2):
        told(load_text(report, brief=True).strip())
    if first and not as_json and report.status in (0, 3) and sys.stdin.isatty():
        ask_house_rules(record)
    return report.status


def ask(record: Any, name: str, question: str, shown: str) -> None:
    """Ask for one house rule until the answer can be used, or is left as shown."""
    from pourstats.store.rules import set_rule

    while True:
        text = click.prompt(question, default=shown, err=True)
        if not text or text == shown:
            return
        try:
            set_rule(record, name, text)
        except Refusal as error:
            told(str(error))
        else:
            return


def ask_house_rules(record: Any) -> None:
    """Ask for the few house rules that matter, at first run on a terminal."""
    from pourstats import settings

    told("A few house rules make the figures yours. Enter keeps what is shown.")
    for rule in settings.RULES.values():
        if rule.ask:
            shown = "" if rule.default is None else f"{rule.default:g}" if isinstance(
                rule.default, float) else str(rule.default)  # fmt: skip
            ask(record, rule.name, f"{rule.meaning} ({rule.unit})", shown)


@command("table", "pourstats table pour_output --format csv --out pours.csv")
@click.argument("name")
@click.option("--format", "form", type=click.Choice(["csv", "json", "parquet", "xlsx"]),
              help="How to write it; without, a listing for people.")  # fmt: skip
@click.option("--units", "system", type=click.Choice(["us", "metric"]), default="us",
              show_default=True, help="Units to write in.")  # fmt: skip
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE", help="Write to a file.")
def table(
    name: str, form: str | None, system: Any, out: Path | None, store: Path | None, as_json: bool
) -> int:
    """Print or export any log table or measure, whole.

    NAME is a log table (pours, trucks, passes …), a measure (pour_output, day_output, truck_times,
    pass_intervals, pour_weather, callback_rates), set_aside, history, stamps or forecasts.
    """
    from pourstats.reporting import listing, tables
    from pourstats.store import reading

    with opened(store).read() as connection:
        frame = reading.frame(connection, name)
    if frame.empty:
        raise Refusal(f"{name} has no rows yet", status=1)
    if as_json and form not in (None, "json"):
        raise Refusal(f"--json and --format {form} contradict each other; give one of them")
    form = form or ("json" if as_json else out.suffix[1:].lower() if out else None)
    if out is not None:
        tables.write(frame, name, form or "csv", system, out, meanings=tables_meanings(name))
        told(f"{len(frame):,} rows written to {out}")
    elif form is None:
        shown(listing.plain(frame, system, name))
    else:
        exact(tables.text(frame, name, form, system))
    return 0


def tables_meanings(name: str) -> dict[str, str]:
    """What a measure's columns mean, for the workbook's own explanation."""
    from pourstats.store import measures

    if name not in measures.MEASURES:
        return {}
    return {column.name: column.meaning for column in measures.header(name).columns}


@command("demo", "pourstats demo")
def demo(store: Path | None, as_json: bool) -> int:
    """Load the invented sample season into a store of its own and show its last week."""
    from pourstats.reporting.week import week_text
    from pourstats.reporting.week_record import review
    from pourstats.store.database import Store, default_path
    from pourstats.store.loading import load as load_logs
    from pourstats.store.sample import sample_folder

    record = Store(store or default_path().with_name("demo.duckdb"))
    report = load_logs(record, [*sorted(sample_folder().glob("*.csv"))], progress(as_json))
    progress(as_json)("")
    found = review(record, None)
    if as_json:
        printed({"store": str(record.path), "load": report.as_json(), "week": found})
        return 0
    shown(week_text(found))
    click.echo(
        f"\nInvented sample season, in {record.path}\n"
        f"Look around:    pourstats week --ending 2025-08-17 --store {record.path}\n"
        "Your own logs:  pourstats template DIR, fill in, pourstats load DIR"
    )
    return 0


@command("template", "pourstats template my_logs")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path), required=False)
@click.option("--paper", type=click.Path(path_type=Path), metavar="FILE",
              help="A PDF to print and log a pour on; DIR may be left out.")  # fmt: skip
@click.option("--phone", type=click.Path(path_type=Path), metavar="FILE",
              help="A page (HTML) that a phone opens without any network, to log pours by taps,"
              " with the store's jobs ahead in it; DIR may be left out.")  # fmt: skip
@click.option("--full", is_flag=True, help="Every column, not only the short log.")
@click.option("--lang", type=click.Choice(["en", "es"]), default="en", show_default=True,
              help="Language of the explanations.")  # fmt: skip
def template(
    folder: Path | None, paper: Path | None, phone: Path | None, full: bool, lang: Any,
    store: Path | None, as_json: bool,
) -> int:  # fmt: skip
    """Blank CSV files and a workbook to fill in, every column explained; or paper; or a page for
    the phone."""
    from pourstats.logs.forms import write_templates
    from pourstats.reporting.paper import write_paper
    from pourstats.reporting.phone_page import write_phone_page

    if folder is None and paper is None and phone is None:
        raise click.UsageError("Name a folder for the blank files, --paper FILE or --phone FILE.")
    written = [] if folder is None else write_templates(folder, full=full, lang=lang)
    written += [] if paper is None else [write_paper(paper, lang)]
    written += [] if phone is None else [write_phone_page(phone, opened(store), lang)]
    if as_json:
        printed({"written": [str(path) for path in written]})
    else:
        click.echo("\n".join(str(path) for path in written))
        if folder is not None:
            click.echo(f"Fill in what you know, then: pourstats load {folder}")
    return 0


@command("delete", "pourstats delete B214\npourstats delete B214 trucks 104417")
@click.argument("pour_id")
@click.argument("row", nargs=-1, metavar="[TABLE KEY...]")
def delete(pour_id: str, row: tuple[str, ...], store: Path | None, as_json: bool) -> int:
    """Take a pour away with its rows, or one row of it; `pourstats undo` brings them back.

    A row is named by its table and what tells it apart there: a load's ticket, a pass's number, a
    callback's id, or worker, task and start of a stretch of crew time.
    """
    from pourstats.store import history

    record, one = opened(store), " ".join([pour_id, *row])
    counts = (
        history.delete_row(record, pour_id, row[0], row[1:])
        if row
        else history.delete(record, pour_id)
    )
    if as_json:
        printed({"pour_id": pour_id, "deleted": counts})
    else:
        rows = ", ".join(f"{count} rows of {name}" if count != 1 else f"1 row of {name}"
                         for name, count in counts.items())  # fmt: skip
        shown(f"deleted {one}: {rows}. `pourstats undo` brings it back.\n")
    return 0


@command("undo", "pourstats undo")
def undo(store: Path | None, as_json: bool) -> int:
    """Take back the last change: a load, a deletion, a house rule."""
    from pourstats.store.history import undo as take_back

    line = take_back(opened(store))
    printed({"undone": line}) if as_json else shown(f"{line}\n")
    return 0


@command("settings", "pourstats settings free_min_per_yd3 6", minus=True)
@click.argument("name", required=False)
@click.argument("value", required=False)
def settings(name: str | None, value: str | None, store: Path | None, as_json: bool) -> int:
    """Show or set a house rule; an empty VALUE ('') goes back to the default."""
    from pourstats.reporting.rules import rules_text
    from pourstats.store import rules

    record = opened(store)
    if name is not None and value is not None:
        rules.set_rule(record, name, value)
    found = rules.in_force(record, name)
    printed(found) if as_json else shown(rules_text(found))
    return 0


@command("export", "pourstats export season_2031")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--units", "system", type=click.Choice(["us", "metric"]), default="us",
              show_default=True, help="Units to write in.")  # fmt: skip
def export(folder: Path, system: Any, store: Path | None, as_json: bool) -> int:
    """Write the whole store as a log folder that `load` reads back, with Parquet beside.

    What `pourstats map` keeps goes with it, as mappings.json. History doesn't: `backup` has it.
    """
    from pourstats.reporting.export import write_export

    written = write_export(opened(store), folder, system, progress(as_json))
    progress(as_json)("")
    if as_json:
        printed({"written": written})
    else:
        click.echo("\n".join(f"{rows:>9,} rows  {file}" for file, rows in written.items()))
    return 0


@command("backup", "pourstats backup pours_2031-06-08.backup")
@click.argument("file", type=click.Path(path_type=Path))
def backup(file: Path, store: Path | None, as_json: bool) -> int:
    """A whole, consistent copy of the store in one file."""
    from pourstats.store.rescue import backup as copy

    pours = copy(opened(store), file)
    printed({"file": str(file), "pours": pours}) if as_json else click.echo(
        f"{pours} pours copied to {file}"
    )
    return 0


@command("restore", "pourstats restore pours_2031-06-08.backup")
@click.argument("file", type=click.Path(path_type=Path))
def restore(file: Path, store: Path | None, as_json: bool) -> int:
    """Put a backup in the store's place; a damaged one is refused whole."""
    from pourstats.store.rescue import restore as put_back

    record = opened(store)
    pours, replaced = put_back(record, file)
    if as_json:
        kept = None if replaced is None else str(replaced)
        printed({"store": str(record.path), "pours": pours, "replaced": kept})
        return 0
    click.echo(f"{pours} pours restored to {record.path}")
    if replaced is not None:
        click.echo(f"The store that was there lies at {replaced}")
    return 0
