"""The dashboard: pages in a browser, served from this machine."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any, NoReturn

import click

from pourstats.cli.base import command, opened, printed, told
from pourstats.faults import Refusal
from pourstats.reporting.strings import pages_folder

LOOPBACK = "127.0.0.1"
FILES = ("/_stcore/upload_file", "/media/")
"""Where Streamlit takes uploads, and gives downloads to whoever knows their address."""
TICKET_BYTES = 200
"""The most that is read of a ticket."""
LAST_WRITE_S = 3.0
"""How long the end waits for answers that are being kept."""


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
    if lan:
        demand_passcode(record)
    host = lan_address() if lan else LOOPBACK
    place = free_port(port, host)
    address = f"http://{host}:{place}"
    printed({"address": address, "store": str(record.path)}) if as_json else click.echo(
        f"{address}   (store: {record.path}; Ctrl-C ends it)"
    )
    sys.stdout.flush()
    if not record.exists():
        told("no store there yet: the first pour that you log, or upload, makes it")
    if lan:
        told("traffic on the local network is not encrypted: use it only on one that you trust")
        if not as_json:
            show_code(address)
    serve(record.path.resolve(), place, host, headless=no_browser or as_json)


def demand_passcode(record: Any) -> None:
    """Raises Refusal where the office has none: whoever is on the network could open the pages."""
    from pourstats.store.access import guarded

    if not guarded(record):
        raise Refusal("--lan needs a passcode first: `pourstats passcode office`")


def lan_address() -> str:
    """This machine's address on the local network. Raises Refusal where it is on none."""
    import socket

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
    from pourstats.store.access import guarded, set_passcode

    try:
        given = click.prompt(f"Passcode of the {role}", default="", hide_input=True,
                             confirmation_prompt=True, show_default=False, err=True)  # fmt: skip
    except (click.Abort, KeyboardInterrupt):
        raise Refusal("stopped; the passcode is as it was", 130) from None
    record = opened(store)
    set_passcode(record, role, given)
    done = "set" if given else "taken away"
    if not guarded(record):
        told("the pages ask nobody for a passcode until the office has one: `pourstats passcode"
             " office`")  # fmt: skip
    printed({"role": role, "passcode": done}) if as_json else click.echo(
        f"passcode of the {role} {done}"
    )
    return 0


def show_code(address: str) -> None:
    """The address for a phone's camera, dark on light whatever the terminal's colours."""
    from pourstats.reporting.qr import qr_lines

    lines = qr_lines(address)
    try:
        "".join(lines).encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return  # the address above says the same
    for line in lines:
        click.secho(line, fg=16, bg=231)


def free_port(first: int, host: str = LOOPBACK) -> int:
    """That port of the address, or the next free one within twenty. Raises Refusal."""
    import socket

    for port in range(first, min(first + 20, 65536)):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((host, port))
            except OSError:
                continue
            return port
    raise Refusal(f"ports {first} to {first + 19} are all taken; name another with --port")


class OwnPages:
    """Lets in what this server's own pages ask for; what a page of another site sends is refused.

    Streamlit refuses its WebSocket too, but first asks the internet for this machine's address,
    and holds up everybody meanwhile.
    """

    def __init__(self, app: Any, names: frozenset[str], store: Any) -> None:
        self.app, self.names, self.store = app, names, store

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """An ASGI application around another."""
        heads = dict(scope.get("headers", ()))
        origin = heads.get(b"origin")
        own = origin is None or self.is_own(origin, heads.get(b"host", b""))
        if own and scope.get("path", "").startswith(FILES):
            from starlette.concurrency import run_in_threadpool

            cookies = heads.get(b"cookie", b"").decode("latin-1")
            own = await run_in_threadpool(may_exchange, self.store, cookies)
        if own:
            await self.app(scope, receive, send)
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
        else:
            from starlette.responses import Response

            await Response(status_code=403)(scope, receive, send)

    def is_own(self, origin: bytes, host: bytes) -> bool:
        """Whether an Origin header names this server, by the port that was asked: another port of
        this machine is another program's page."""
        name, port = place_of(origin.decode("latin-1"))
        asked = place_of(f"http://{host.decode('latin-1')}")[1]
        return name in self.names and port == asked


def may_exchange(store: Any, cookies: str) -> bool:
    """Whether who sends these cookies may give and get files: uploads fill the memory before a page
    looks, and a download is handed out without one."""
    from http.cookies import CookieError, SimpleCookie

    from pourstats.store import access

    try:
        held = SimpleCookie(cookies).get(access.COOKIE)
    except CookieError:
        held = None
    try:
        token = None if held is None else held.value
        return access.role_in(store, token) is not None or not access.guarded(store)
    except Refusal:
        return False


def place_of(origin: str) -> tuple[str, int | None]:
    """The name of the machine in an Origin header, and the port; empty where there is none."""
    from urllib.parse import urlsplit

    try:
        found = urlsplit(origin)
        return found.hostname or "", found.port or {"http": 80, "https": 443}.get(found.scheme)
    except ValueError:
        return "", None


async def give_cookie(request: Any) -> Any:
    """The token behind a ticket as a cookie that no script can read, sent to this site alone."""
    from starlette.requests import ClientDisconnect
    from starlette.responses import Response

    from pourstats.store import access

    body = b""
    try:
        async for part in request.stream():
            body += part
            if len(body) > TICKET_BYTES:
                # Anybody on the network may send anything here: it must not fill the memory.
                return Response(status_code=413)
    except ClientDisconnect:
        # A phone that went out of reach; there is nobody to answer.
        return Response(status_code=400)
    token = access.TICKETS.take(body.decode("ascii", "replace"))
    if token is None:
        return Response(status_code=403)
    answer = Response(status_code=204)
    role: access.Role = "office" if token.startswith("office.") else "crew"
    answer.set_cookie(access.COOKIE, token, max_age=int(access.LASTS_S[role]), path="/",
                      httponly=True, samesite="strict")  # fmt: skip
    return answer


def serve(store: Path, port: int, address: str, headless: bool) -> NoReturn:
    """Run the server until it is stopped, and end the process. Everything it needs is set here, not
    by a folder's configuration, which is only found from some folders."""
    os.environ["POURSTATS_STORE"] = str(store)
    import threading
    import webbrowser
    from collections.abc import AsyncIterator
    from contextlib import asynccontextmanager, suppress

    from starlette.middleware import Middleware
    from starlette.routing import Route
    from streamlit.starlette import App

    from pourstats.reporting import ready
    from pourstats.store.database import Store

    @asynccontextmanager
    async def begun(_: App) -> AsyncIterator[None]:
        if not headless:
            threading.Timer(0.5, webbrowser.open, [f"http://{address}:{port}"]).start()
        yield

    ended = threading.Event()
    watcher = threading.Thread(target=ready.watch, args=(Store(store), ended), daemon=True)
    watcher.start()
    routes = [Route("/passcode", give_cookie, methods=["POST"])]
    start = pages_folder() / "app.py"
    sys.argv = [str(start)]  # beside which it looks for .streamlit/config.toml, with the colors
    names = frozenset((address, LOOPBACK, "localhost"))
    own = Middleware(OwnPages, names=names, store=Store(store))
    app = App(start, routes=routes, middleware=[own], lifespan=begun)
    config = {
        "server.address": address,
        "server.port": port,
        "server.headless": headless,
        "server.fileWatcherType": "none",
        "browser.gatherUsageStats": False,
        "browser.serverAddress": address,
        "runner.magicEnabled": False,
        "client.toolbarMode": "minimal",
        "client.showErrorDetails": "none",
        "global.developmentMode": False,
        "logger.hideWelcomeMessage": True,
    }
    with suppress(KeyboardInterrupt):  # Ctrl-C is how it ends
        app.run(config=config)
    ended.set()
    watcher.join(LAST_WRITE_S)
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            stream.flush()
    # Pages may still be at work in other threads: the interpreter's own end would cut them off
    # within DuckDB, which then aborts.
    os._exit(0)
