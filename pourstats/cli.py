"""The commands: each parses its call, asks one layer below, and prints."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

import click

from pourstats.faults import Refusal

Command = TypeVar("Command", bound=Callable[..., Any])

NEXT = """pourstats counts what your floors took.

  pourstats demo              a sample season, loaded and reviewed
  pourstats template DIR      blank logs to fill in
  pourstats load DIR          your logs into the store
  pourstats week              the weekly review
  pourstats --help            all commands
"""


class Plain(click.Command):
    """A command whose help shows an example, and keeps its lines."""

    def __init__(self, *args: Any, example: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.example = example

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Writes the example below the options."""
        if self.example:
            with formatter.section("Example"):
                for line in self.example.splitlines():
                    formatter.write_text(line)


class Commands(click.Group):
    """The group; an unknown name is answered with the nearest one."""

    command_class = Plain

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """click's own, but with a hint."""
        from difflib import get_close_matches

        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            near = get_close_matches(args[0], self.commands, n=1)
            if not near:
                raise
            raise click.UsageError(f"{error.message} Did you mean {near[0]}?", ctx) from None


@click.group(cls=Commands, invoke_without_command=True)
@click.version_option(package_name="pourstats", prog_name="pourstats")
@click.pass_context
def cli(context: click.Context) -> None:
    """What each concrete floor really took, what it says about the next bid and about tomorrow."""
    if context.invoked_subcommand is None:
        click.echo(NEXT, nl=False)


def command(name: str, example: str) -> Callable[[Command], Command]:
    """A command with ``--store`` and ``--json``, and an example in its help."""

    def wrapped(function: Command) -> Command:
        function = click.option("--json", "as_json", is_flag=True, help="Print for programs.")(
            function
        )
        function = click.option(
            "--store", "store", metavar="FILE", type=click.Path(path_type=Path), default=None,
            help="The store's file; else POURSTATS_STORE, else the user's data folder.",
        )(function)  # fmt: skip
        cli.command(name, example=example)(function)
        return function

    return wrapped


def opened(path: Path | None) -> Any:
    """The store at that path, or at the usual place."""
    from pourstats.store.database import Store

    return Store(path)


def printed(value: Any) -> None:
    """JSON on standard output."""
    click.echo(json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False))


def told(line: str) -> None:
    """A message on standard error."""
    click.echo(line, err=True)


def progress(quiet: bool) -> Callable[[str], None]:
    """Where a long task says what it is at: a terminal, unless for programs."""
    if quiet or not sys.stderr.isatty():
        return lambda line: None
    return lambda line: click.echo(f"\r\x1b[K{line}", nl=False, err=True)


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
    printed(report.as_json()) if as_json else click.echo(load_text(report), nl=False)
    if report.status in (1, 2):
        told(load_text(report, brief=True).strip())
    if first and not as_json and report.status in (0, 3) and sys.stdin.isatty():
        ask_house_rules(record)
    return report.status


def ask_house_rules(record: Any) -> None:
    """Ask for the few house rules that matter, at first run on a terminal."""
    from pourstats import settings
    from pourstats.store.rules import set_rule

    told("A few house rules make the figures yours. Enter keeps what is shown.")
    for rule in settings.RULES.values():
        if rule.ask:
            shown = "" if rule.default is None else f"{rule.default:g}" if isinstance(
                rule.default, float) else str(rule.default)  # fmt: skip
            text = click.prompt(f"{rule.meaning} ({rule.unit})", default=shown, err=True)
            if text and text != shown:
                set_rule(record, rule.name, text)


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
    form = form or ("json" if as_json else out.suffix[1:].lower() if out else None)
    if out is not None:
        tables.write(frame, name, form or "csv", system, out, meanings=tables_meanings(name))
        told(f"{len(frame):,} rows written to {out}")
    elif form is None:
        click.echo(listing.plain(frame, system, name), nl=False)
    else:
        click.echo(tables.text(frame, name, form, system), nl=False)
    return 0


def tables_meanings(name: str) -> dict[str, str]:
    """What a measure's columns mean, for the workbook's own explanation."""
    from pourstats.store import measures

    if name not in measures.MEASURES:
        return {}
    return {column.name: column.meaning for column in measures.header(name).columns}


def day(text: str | None) -> date | None:
    """A day on the command line. Refusal if it is none."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise Refusal(f"'{text}' is not a date; write it as {date.today().isoformat()}") from None


@command("week", "pourstats week --ending 2031-06-08")
@click.option("--ending", metavar="DATE", help="A day of the week wanted; else the latest pour's.")
@click.option("--units", "system", type=click.Choice(["us", "metric"]), default="us",
              show_default=True, help="Units to show.")  # fmt: skip
def week(ending: str | None, system: Any, store: Path | None, as_json: bool) -> int:
    """The weekly review: what got done, what it took against usual, and what stood out."""
    from pourstats.reporting.week import week_text
    from pourstats.reporting.week_record import review

    found = review(opened(store), day(ending))
    if as_json:
        printed(found)
    else:
        click.echo(week_text(found, units=system), nl=False)
    if found["state"] == "no_pours":
        told("no pours are stored yet; `pourstats load FOLDER` brings them in")
        return 1
    return 0


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
    click.echo(week_text(found), nl=False)
    click.echo(f"\nInvented sample season, in {record.path}\n"
               f"Look around with:  pourstats week --ending 2025-07-13 --store {record.path}\n"
               "Your own logs:     pourstats template DIR, fill in, pourstats load DIR")  # fmt: skip
    return 0


@command("template", "pourstats template my_logs")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--full", is_flag=True, help="Every column, not only the short log.")
@click.option("--lang", type=click.Choice(["en", "es"]), default="en", show_default=True,
              help="Language of the explanations.")  # fmt: skip
def template(folder: Path, full: bool, lang: Any, store: Path | None, as_json: bool) -> int:
    """Blank CSV files and a blank workbook to fill in, with every column explained."""
    from pourstats.logs.forms import write_templates

    written = write_templates(folder, full=full, lang=lang)
    if as_json:
        printed({"written": [str(path) for path in written]})
    else:
        click.echo("\n".join(str(path) for path in written))
        click.echo(f"Fill in what you know, then: pourstats load {folder}")
    return 0


@command("delete", "pourstats delete B214")
@click.argument("pour_id")
def delete(pour_id: str, store: Path | None, as_json: bool) -> int:
    """Take a pour away with its rows; `pourstats undo` brings them back."""
    from pourstats.store.history import delete as delete_pour

    counts = delete_pour(opened(store), pour_id)
    if as_json:
        printed({"pour_id": pour_id, "deleted": counts})
    else:
        rows = ", ".join(f"{count} {name}" for name, count in counts.items())
        click.echo(f"deleted {pour_id}: {rows}. `pourstats undo` brings it back.")
    return 0


@command("undo", "pourstats undo")
def undo(store: Path | None, as_json: bool) -> int:
    """Take back the last change: a load, a deletion, a house rule."""
    from pourstats.store.history import undo as take_back

    line = take_back(opened(store))
    printed({"undone": line}) if as_json else click.echo(line)
    return 0


@command("settings", "pourstats settings free_min_per_yd3 6")
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
    printed(found) if as_json else click.echo(rules_text(found), nl=False)
    return 0


@command("export", "pourstats export season_2031")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--units", "system", type=click.Choice(["us", "metric"]), default="us",
              show_default=True, help="Units to write in.")  # fmt: skip
def export(folder: Path, system: Any, store: Path | None, as_json: bool) -> int:
    """Write the whole store as a log folder that `load` reads back, with Parquet beside."""
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
    pours = put_back(record, file)
    printed({"store": str(record.path), "pours": pours}) if as_json else click.echo(
        f"{pours} pours restored to {record.path}"
    )
    return 0


def main() -> None:
    """Run the command line; nobody sees a traceback."""
    try:
        status = cli.main(standalone_mode=False)
        sys.stdout.flush()
    except Refusal as error:
        told(str(error))
        status = error.status
    except click.ClickException as error:
        error.show()
        status = 2
    except (click.Abort, KeyboardInterrupt):
        told("stopped; nothing half-done is stored")
        status = 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        status = 0
    except Exception as error:
        told(_unforeseen(error))
        status = 2
    sys.exit(status if isinstance(status, int) else 0)


def _unforeseen(error: Exception) -> str:
    if isinstance(error, MemoryError):
        return "out of memory; load fewer files at once"
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename or 'a file'}: {error.strerror}"
    if os.environ.get("POURSTATS_TRACE"):
        import traceback

        traceback.print_exc()
    kept = f"{type(error).__name__}: {error}".splitlines()[0][:300]
    return (
        f"something went wrong that pourstats did not foresee ({kept}). Your store keeps what it"
        " had. POURSTATS_TRACE=1 shows where it happened, for a report"
    )


if __name__ == "__main__":
    main()
