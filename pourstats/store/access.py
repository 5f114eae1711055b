"""Passcodes and who may see what: kept in the store, salted and hashed slowly, never in clear.

Two roles. The crew logs pours and sees the day's plan; the office sees all. A right passcode gives
a signed token that ends by itself; setting a passcode anew ends every token of before.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import time
from dataclasses import dataclass, field
from typing import Literal

from pourstats.faults import Refusal
from pourstats.store import books
from pourstats.store.database import Store
from pourstats.store.schema import first_row

Role = Literal["crew", "office"]
ROLES: tuple[Role, ...] = ("office", "crew")
LASTS_S: dict[Role, float] = {"crew": 16 * 3600.0, "office": 30 * 60.0}
"""How long a token holds: the crew's for a day's work, the office's while it is in use."""

CLOCK_SLACK_S = 60.0
"""So much a computer's clock may be put right by while a token holds."""

LEAST_CHARACTERS = 6
TRIES, PER_S = 8, 300.0
"""So many wrong passcodes from everybody together in so many seconds, then none is looked at."""

COOKIE = "pourstats_token"
TICKET_S = 60.0

_N, _R, _P = 2**15, 8, 1


def set_passcode(store: Store, role: str, passcode: str) -> None:
    """Set a role's passcode; an empty one takes it away. Raises Refusal."""
    if role not in ROLES:
        raise Refusal(f"{role!r} is no role; take office or crew")
    if passcode and len(passcode) < LEAST_CHARACTERS:
        raise Refusal(f"a passcode has at least {LEAST_CHARACTERS} characters")
    for other in ROLES:
        if passcode and other != role and _holds(store, other, passcode):
            raise Refusal(f"the {other} has that passcode; give the {role} another")
    salt = secrets.token_bytes(16)
    kept = f"scrypt${salt.hex()}${_hash(passcode, salt).hex()}" if passcode else None
    with store.write() as connection:
        connection.execute("BEGIN")
        for name, value in ((f"passcode_{role}", kept), ("passcode_key", secrets.token_hex(32))):
            connection.execute("DELETE FROM meta WHERE name = ?", [name])
            if value is not None:
                connection.execute("INSERT INTO meta VALUES (?, ?)", [name, value])
        books.touch(connection)
        connection.execute("COMMIT")


def guarded(store: Store) -> bool:
    """Whether the office has a passcode, without which nobody is asked for one."""
    return _kept(store, "passcode_office") is not None


def role_of(store: Store, passcode: str) -> Role | None:
    """The role that a passcode opens; None for a wrong one."""
    found: Role | None = None
    for role in ROLES:
        # Both are always worked out, so that the time taken tells nothing.
        if _holds(store, role, passcode) and found is None:
            found = role
    return found


def token(store: Store, role: Role, now: float | None = None) -> str:
    """A signed token of that role, which holds for :data:`LASTS_S` from now."""
    body = f"{role}.{int((now or time.time()) + LASTS_S[role])}"
    return f"{body}.{_signature(store, body)}"


def role_in(store: Store, given: str | None, now: float | None = None) -> Role | None:
    """The role of a token that is whole, signed here and not over; else None."""
    body, _, signature = (given or "").rpartition(".")
    role, _, until = body.partition(".")
    # A cookie may hold anything; a signature of other letters can't even be compared.
    if role not in ROLES or not until.isdigit() or not signature.isascii():
        return None
    if not hmac.compare_digest(signature, _signature(store, body)):
        return None
    # One that holds longer than any that is given now is of before the clock was set back.
    left = int(until) - (now or time.time())
    return role if 0 < left <= LASTS_S[role] + CLOCK_SLACK_S else None


@dataclass
class Tries:
    """Wrong passcodes of late, over every device: they could be one that changes its address.

    Moments are of a clock that nobody sets.
    """

    wrong: list[float] = field(default_factory=list)

    def allowed(self, now: float | None = None) -> bool:
        """Whether a passcode may be looked at now."""
        moment = now or time.monotonic()
        self.wrong = [when for when in self.wrong if moment - when < PER_S]
        return len(self.wrong) < TRIES

    def failed(self, now: float | None = None) -> None:
        """Count a wrong one. Counted before it is looked at, for a browser can break off a page
        that is still looking; a right one is then taken off again."""
        self.wrong.append(now or time.monotonic())

    def right(self) -> None:
        """The one just counted was right."""
        if self.wrong:
            self.wrong.pop()


@dataclass
class Tickets:
    """What a page gives its browser to fetch a token with, once and at once.

    The token itself never passes through the page, so that no script of it can read the cookie.
    """

    waiting: dict[str, tuple[str, float]] = field(default_factory=dict)

    def give(self, token: str, now: float | None = None) -> str:
        """A ticket for that token, good for :data:`TICKET_S` seconds."""
        moment = now or time.monotonic()
        self.waiting = {k: v for k, v in self.waiting.items() if v[1] > moment}
        ticket = secrets.token_urlsafe(32)
        self.waiting[ticket] = (token, moment + TICKET_S)
        return ticket

    def take(self, ticket: str, now: float | None = None) -> str | None:
        """The token of a ticket; None for one that is unknown, used or too old."""
        token, until = self.waiting.pop(ticket, ("", 0.0))
        return token if (now or time.monotonic()) < until else None


TICKETS = Tickets()
"""This server's: its pages give them, its address for cookies takes them."""


def _hash(passcode: str, salt: bytes) -> bytes:
    return hashlib.scrypt(passcode.encode(), salt=salt, n=_N, r=_R, p=_P, maxmem=2**26)


def _holds(store: Store, role: str, passcode: str) -> bool:
    kept = _kept(store, f"passcode_{role}")
    _, salt, wanted = (kept or f"scrypt${'00' * 16}$").split("$")
    return hmac.compare_digest(_hash(passcode, bytes.fromhex(salt)).hex(), wanted)


def _signature(store: Store, body: str) -> str:
    key = _kept(store, "passcode_key") or secrets.token_hex(32)
    return hmac.new(key.encode(), body.encode(), "sha256").hexdigest()


def _kept(store: Store, name: str) -> str | None:
    if not store.exists():
        return None
    with store.read() as connection:
        row = first_row(connection.execute("SELECT value FROM meta WHERE name = ?", [name]))
    return None if row is None else str(row[0])
