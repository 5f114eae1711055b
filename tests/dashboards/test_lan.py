"""The pages for phones on the local network: a passcode, few tries, a cookie that no script reads,
an address and its QR code. Nothing here listens on or speaks to more than loopback."""

from __future__ import annotations

import importlib.util
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from pourstats.reporting.qr import qr_lines
from pourstats.store.access import COOKIE, LASTS_S, TICKET_S, Tickets, role_in, set_passcode, token
from pourstats.store.database import Store
from pourstats.store.loading import load

sys.path.insert(0, str(Path(__file__).resolve().parent))

from serving import PHONE, browser, chromium, settled

sys.path.pop(0)

needs_browser = pytest.mark.skipif(
    chromium() is None or importlib.util.find_spec("playwright") is None,
    reason="no browser: install Chromium (Debian: apt-get install chromium) and the dev extra",
)
TRIES = 3
# `pourstats dashboard --lan`, with loopback in the place of the network's address; and fewer tries,
# so that they are used up soon. How many it takes else is tried in tests/store/test_access.py.
ON_LOOPBACK = (
    "import sys; from pourstats.cli import serve, main; from pourstats.store import access;"
    f" access.TRIES = {TRIES}; serve.lan_address = lambda: '127.0.0.1';"
    " sys.argv = ['pourstats', *sys.argv[1:]]; main()"
)


@pytest.fixture
def store(tmp_path: Path) -> Store:
    found = Store(tmp_path / "s.duckdb")
    set_passcode(found, "office", "ledger-9")
    set_passcode(found, "crew", "trowel-4")
    return found


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def lan(store: Store) -> Iterator[tuple[str, Path]]:
    """The pages served with --lan; the address, and where the terminal's text goes."""
    port = free_port()
    said = store.path.with_name("terminal.txt")
    with said.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, "-c", ON_LOOPBACK, "dashboard", "--lan", "--no-browser", "--port",
             str(port), "--store", str(store.path)], stdout=out, stderr=subprocess.STDOUT,
            cwd=store.path.parent,
            env={**os.environ, "PYTHONUNBUFFERED": "1", "PYTHONIOENCODING": "utf-8"},
        )  # fmt: skip
    address = f"http://127.0.0.1:{port}"
    try:
        deadline = time.monotonic() + 60
        while True:
            try:
                urllib.request.urlopen(f"{address}/_stcore/health", timeout=2).close()
                break
            except OSError:
                assert process.poll() is None, said.read_text(encoding="utf-8")
                assert time.monotonic() < deadline
                time.sleep(0.1)
        yield address, said
    finally:
        if os.name == "nt":
            process.terminate()
        else:
            process.send_signal(signal.SIGINT)  # Ctrl-C
        status = process.wait(timeout=20)
    assert status == 0 or os.name == "nt"


def scanned(lines: list[str]) -> str | None:
    """What a camera reads: the characters as pixels, dark where they are filled."""
    zxingcpp = pytest.importorskip("zxingcpp", reason="the dev extra brings the QR reader")
    dark = {" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}
    halves = np.array([[dark[mark] for mark in line] for line in lines])
    rows = halves.transpose(0, 2, 1).reshape(-1, halves.shape[1])
    picture = np.where(np.kron(rows, np.ones((4, 4))) > 0, 0, 255).astype(np.uint8)
    found = zxingcpp.read_barcodes(picture)
    return found[0].text if found else None


@pytest.mark.parametrize("address", ["http://10.0.0.7:8501", "http://192.168.178.123:65535"])
def test_a_camera_reads_the_address(address: str) -> None:
    lines = qr_lines(address)
    assert scanned(lines) == address
    assert max(map(len, lines)) <= 80 and len(lines) <= 24, "it fits a small terminal"


def test_without_the_offices_passcode_it_listens_nowhere(tmp_path: Path) -> None:
    store = Store(tmp_path / "s.duckdb")
    for before in (None, "crew"):
        if before:
            set_passcode(store, "crew", "trowel-4")
        done = subprocess.run(
            [sys.executable, "-c", ON_LOOPBACK, "dashboard", "--lan", "--no-browser", "--store",
             str(store.path)], capture_output=True, check=False, text=True, timeout=60,
        )  # fmt: skip
        assert (done.returncode, done.stdout) == (2, "")
        assert "pourstats passcode office" in done.stderr


def test_a_ticket_is_good_once_and_at_once(store: Store) -> None:
    tickets = Tickets()
    given = token(store, "crew")
    ticket = tickets.give(given, now=100.0)
    assert given not in ticket
    assert tickets.take("another", now=100.0) is None
    assert tickets.take(ticket, now=100.0) == given
    assert tickets.take(ticket, now=100.0) is None
    late = tickets.give(given, now=100.0)
    assert tickets.take(late, now=100.0 + TICKET_S) is None


def answered(address: str, head: str, body: bytes = b"") -> str:
    """The first line that the server answers to a request; the body may be less than it says."""
    name, port = address.removeprefix("http://").split(":")
    with socket.create_connection((name, int(port)), timeout=20) as line:
        line.sendall(head.replace("\n", "\r\n").encode() + b"\r\n\r\n" + body)
        return line.makefile("rb").readline().decode().strip()


def test_strangers_are_refused_at_the_door(store: Store) -> None:
    with lan(store) as (address, said):
        host = address.removeprefix("http://")
        # A gigabyte where a ticket should be: refused once it is longer than a ticket.
        head = f"POST /passcode HTTP/1.1\nHost: {host}\nContent-Length: {10**9}"
        assert " 413 " in answered(address, head, b"x" * 5000) + " "
        # Another site's page, open in a browser of this network, reaches no page of ours.
        ask = (f"GET /_stcore/stream HTTP/1.1\nHost: {host}\nConnection: Upgrade\n"
               "Upgrade: websocket\nSec-WebSocket-Version: 13\n"
               "Sec-WebSocket-Protocol: streamlit\n"
               "Sec-WebSocket-Key: SGVsbG8sIHdvcmxkISEhIQ==\nOrigin: ")  # fmt: skip
        port = host.partition(":")[2]
        for origin in ("http://site.invalid", f"http://site.invalid:{port}", "null", "http://[::",
                       "http://localhost:1", "http://127.0.0.1"):  # fmt: skip
            assert " 403 " in answered(address, ask + origin) + " ", origin
        for origin in (address, f"http://localhost:{port}"):
            assert " 101 " in answered(address, ask + origin) + " ", origin
        # A port forwarded from elsewhere is the one that is asked.
        tunnel = ask.replace(host, "localhost:9")
        assert " 101 " in answered(address, f"{tunnel}http://localhost:9") + " "
        # A phone that goes out of reach half way leaves nothing on the office's terminal.
        with socket.create_connection(host.split(":"), timeout=20) as line:
            line.sendall(f"{head.replace(str(10**9), '100')}\n\nabc".replace("\n", "\r\n").encode())
        post = f"POST /passcode HTTP/1.1\nHost: {host}\nContent-Length: 1\nOrigin: http://x.invalid"
        assert " 403 " in answered(address, post, b"x") + " "
        # Files are taken from whoever has given a passcode alone. What has one gets as far as
        # Streamlit, which knows no such visit.
        with urllib.request.urlopen(f"{address}/_stcore/health", timeout=20) as found:
            marks = [part.split(";")[0] for part in found.headers.get_all("Set-Cookie", [])]
        (mark,) = [each for each in marks if each.startswith("_streamlit_xsrf=")]
        put = (f"PUT /_stcore/upload_file/a/b HTTP/1.1\nHost: {host}\nContent-Length: 0\n"
               f"X-Xsrftoken: {mark.partition('=')[2]}\nCookie: {mark}")  # fmt: skip
        assert " 403 " in answered(address, put) + " "
        assert " 403 " in answered(address, f"{put}; {COOKIE}=office.9999999999.x") + " "
        assert " 400 " in answered(address, f"{put}; {COOKIE}={token(store, 'crew')}") + " "
        # Nor is a download given to anybody else, who may have its address from somewhere.
        get = f"GET /media/{'0' * 56}.pdf HTTP/1.1\nHost: {host}"
        assert " 403 " in answered(address, get) + " "
        assert " 404 " in answered(address, f"{get}\nCookie: {COOKIE}={token(store, 'crew')}") + " "
        assert "Traceback" not in said.read_text(encoding="utf-8")
    # Streamlit would have asked the internet who this machine is.
    assert "external IP" not in said.read_text(encoding="utf-8")


@needs_browser
def test_a_phone_on_the_network_from_the_code_to_the_log(store: Store) -> None:
    with lan(store) as (address, said), browser() as chrome:
        told = said.read_text(encoding="utf-8")
        assert "not encrypted" in told
        code = [line for line in told.splitlines() if set(line) <= set(" ▀▄█") and line]
        assert scanned(code) == address

        # Without a ticket nobody gets a cookie.
        asking = urllib.request.Request(f"{address}/passcode", data=b"guess", method="POST")
        with pytest.raises(urllib.error.HTTPError, match="403"):
            urllib.request.urlopen(asking, timeout=10)

        context = chrome.new_context(viewport=PHONE, locale="en-US")
        page = context.new_page()
        page.goto(address)
        page.get_by_label("Passcode").fill("trowel-4")
        with page.expect_response("**/passcode") as answered:
            page.get_by_role("button", name="Open").click()
        assert answered.value.status == 204
        page.get_by_role("heading", name="Which pour?").wait_for()
        (cookie,) = [c for c in context.cookies() if c["name"] == "pourstats_token"]
        assert (cookie["httpOnly"], cookie["sameSite"], cookie["path"]) == (True, "Strict", "/")
        assert 0 < cookie["expires"] - time.time() <= LASTS_S["crew"] + 5
        assert role_in(store, cookie["value"]) == "crew"
        assert "pourstats_token" not in page.evaluate("document.cookie")
        assert cookie["value"] not in page.content()
        # A locked phone needs no passcode again.
        page.reload()
        page.get_by_role("heading", name="Which pour?").wait_for()

        # Wrong ones: after three nobody is let in for a while, be the passcode right or wrong.
        other = chrome.new_context(viewport=PHONE, locale="en-US").new_page()
        other.goto(address)
        tried = 0
        while other.get_by_text("Too many wrong passcodes").count() == 0:
            assert tried < 5 * TRIES
            other.get_by_label("Passcode").fill(f"guess-{tried}")
            other.get_by_role("button", name="Open").click()
            other.get_by_text(re.compile("opens nothing here|Too many wrong")).wait_for()
            settled(other)  # a page that is broken off by the next try has told nothing
            tried += 1
        assert tried >= TRIES
        other.get_by_label("Passcode").fill("ledger-9")
        other.get_by_role("button", name="Open").click()
        other.get_by_text("Too many wrong passcodes").wait_for()
        assert other.get_by_role("heading", name="A passcode opens these pages").count() == 1
        assert "pourstats_token" not in {c["name"] for c in other.context.cookies()}
    assert "stopped" not in said.read_text(encoding="utf-8"), "Ctrl-C is how it ends"


@needs_browser
def test_a_download_needs_the_passcode_too(store: Store, tmp_path: Path) -> None:
    (tmp_path / "pours.csv").write_text(
        "pour_id,date,site,slab_type,area,thickness\nA1,2031-06-03,Oak,garage,600,4\n"
    )
    load(store, [tmp_path / "pours.csv"])
    with lan(store) as (address, _), browser() as chrome:
        context = chrome.new_context(locale="en-US")
        page = context.new_page()
        page.goto(f"{address}/record?pour=A1")
        page.get_by_label("Passcode").fill("ledger-9")
        with page.expect_response("**/passcode"):
            page.get_by_role("button", name="Open").click()
        with page.expect_download() as waited:
            page.get_by_role("button", name="PDF").click()
        assert waited.value.path().read_bytes().startswith(b"%PDF")
        assert context.request.get(waited.value.url).status == 200
        assert chrome.new_context().request.get(waited.value.url).status == 403
