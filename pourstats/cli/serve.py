"""The dashboard: pages in a browser, served from this machine."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import click

from pourstats.cli.base import command, opened, printed, told
from pourstats.faults import Refusal

LOOPBACK = "127.0.0.1"


@command("dashboard", "pourstats dashboard --port 8501")
@click.option("--port", type=click.IntRange(1, 65535), default=8501, show_default=True,
              help="Where it listens; the next free one if that is taken.")  # fmt: skip
@click.option("--lan", is_flag=True, help="Listen on the local network too; needs a passcode.")
@click.option("--no-browser", is_flag=True, help="Don't open a browser.")
def dashboard(port: int, lan: bool, no_browser: bool, store: Path | None, as_json: bool) -> int:
    """Serve the pages to a browser: the week, logging a pour, prices, the record.

    It listens on this machine alone and asks nothing of the internet. Ctrl-C ends it.
    """
    record = opened(store)
    host = lan_address(record) if lan else LOOPBACK
    place = free_port(port)
    address = f"http://{host}:{place}"
    printed({"address": address, "store": str(record.path)}) if as_json else click.echo(
        f"{address}   (store: {record.path}; Ctrl-C ends it)"
    )
    sys.stdout.flush()
    if not record.exists():
        told("no store there yet: the first pour that you log, or upload, makes it")
    if lan:
        told("traffic on the local network is not encrypted: use it only on one that you trust")
    serve(record.path.resolve(), place, host, headless=no_browser or as_json)
    return 0


def lan_address(record: Any) -> str:
    """This machine's address on the local network. Raises Refusal without a passcode, or net."""
    import socket

    from pourstats.store.access import guarded

    if not guarded(record):
        raise Refusal("--lan needs a passcode first: `pourstats passcode office`")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("10.255.255.255", 9))  # a datagram socket: nothing is sent
            found = str(probe.getsockname()[0])
        except OSError:
            raise Refusal("this machine is on no network; join one, or leave out --lan") from None
    return found


@command("passcode", "pourstats passcode crew")
@click.argument("role", type=click.Choice(["office", "crew"]))
def passcode(role: str, store: Path | None, as_json: bool) -> int:
    """Set the crew's or the office's passcode for the pages; an empty one takes it away.

    The crew may log pours and see the day's plan; the office sees all.
    """
    from pourstats.store.access import set_passcode

    given = click.prompt(f"Passcode of the {role}", default="", hide_input=True,
                         confirmation_prompt=True, show_default=False, err=True)  # fmt: skip
    set_passcode(opened(store), role, given)
    done = "set" if given else "taken away"
    printed({"role": role, "passcode": done}) if as_json else click.echo(
        f"passcode of the {role} {done}"
    )
    return 0


def free_port(first: int) -> int:
    """That port of loopback, or the next free one within twenty. Raises Refusal."""
    import socket

    for port in range(first, min(first + 20, 65536)):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((LOOPBACK, port))
            except OSError:
                continue
            return port
    raise Refusal(f"ports {first} to {first + 19} are all taken; name another with --port")


def pages() -> Path:
    """The start page, in a checkout or in an installed package. Raises Refusal."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_dashboards", package.parent / "dashboards"):
        if (folder / "app.py").is_file():
            return folder / "app.py"
    raise Refusal("the pages are missing from this installation; install pourstats again")


def serve(store: Path, port: int, address: str, headless: bool) -> None:
    """Run the server until it is stopped. Everything it needs is set here, not by a folder's
    configuration, which is only found from some folders."""
    os.environ["POURSTATS_STORE"] = str(store)
    import threading

    from streamlit import config
    from streamlit.web import bootstrap

    from pourstats.reporting import ready
    from pourstats.store.database import Store

    options = {
        "server_address": address,
        "server_port": port,
        "server_headless": headless,
        "server_fileWatcherType": "none",
        "browser_gatherUsageStats": False,
        "browser_serverAddress": address,
        "runner_magicEnabled": False,
        "client_toolbarMode": "minimal",
        "client_showErrorDetails": "none",
        "global_developmentMode": False,
    }
    start = str(pages())
    config._main_script_path = start  # where it looks for .streamlit/config.toml
    bootstrap.load_config_options(flag_options=options)
    threading.Thread(
        target=ready.watch, args=(Store(store), threading.Event()), daemon=True
    ).start()
    bootstrap.run(start, False, [], options)
