"""Who may come in: accounts, their passwords and roles.

Kept as one JSON text in the store's settings; a club has tens of accounts, not
thousands. Passwords by Argon2id with the first parameters of the OWASP
Password Storage cheat sheet (19 MiB, 2 passes, 1 lane).
"""

from __future__ import annotations

import json
import re
import threading
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from enum import IntEnum
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from service.errors import InputError
from service.flows.ports import Clock, Store

USERS = "web.users"
SHORTEST, ADVISED, LONGEST = 8, 15, 256  # ASVS 5.0, 6.2.1 and 6.2.9
TRIES, WINDOW = 5, timedelta(minutes=15)


class Role(IntEnum):
    """Each may do what the one before may."""

    NOBODY = 0
    VIEWER = 1
    EDITOR = 2
    ADMIN = 3


@dataclass(frozen=True, slots=True, repr=False)
class Account:
    """A person who may log in; `secret` is the password's Argon2id hash."""

    name: str
    role: Role
    secret: str

    def __repr__(self) -> str:
        return f"Account({self.name!r}, {self.role.name.lower()})"


class Accounts:
    """The accounts of one store, cached in memory; changes are written through."""

    def __init__(self, store: Store, clock: Clock) -> None:
        self._store = store
        self._clock = clock
        self._hasher = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)
        self._slots = threading.BoundedSemaphore(2)  # a hash takes 19 MiB and a core
        self._nobody = self._hasher.hash("nobody has this password")
        self._tries: dict[tuple[str, str], list[datetime]] = {}
        self._lock = threading.Lock()
        self._found: dict[str, Account] | None = None

    def all(self) -> dict[str, Account]:
        """By name. Without an account nobody needs to log in on loopback."""
        with self._lock:
            if self._found is None:
                self._found = self._load()
            return dict(self._found)

    def add(self, name: str, password: str, role: Role) -> None:
        """A new account or a new password. InputError says what is wrong with it."""
        name = clean_name(name)
        check_password(name, password)
        with self._slots:
            secret = self._hasher.hash(password)
        accounts = self.all()
        accounts[name] = Account(name, role, secret)
        self._save(accounts)

    def set_role(self, name: str, role: Role) -> None:
        accounts = self.all()
        if name not in accounts:
            raise InputError(f"there is no account named {name!r}")
        accounts[name] = Account(name, role, accounts[name].secret)
        self._save(accounts)

    def remove(self, name: str) -> None:
        accounts = self.all()
        accounts.pop(name, None)
        self._save(accounts)

    def log_in(self, name: str, password: str, address: str) -> Account | None:
        """The account, or None after the same work; InputError when tried too often."""
        name = name.strip().casefold()[:64]
        self._count(name, address)
        account = self.all().get(name)
        with self._slots:
            right = self._verify(account.secret if account else self._nobody, password)
        if account is None or not right:
            return None
        with self._lock:
            self._tries.pop((name, address), None)
        return account

    def _count(self, name: str, address: str) -> None:
        """At most TRIES in WINDOW for a name from an address; nobody is locked out for good."""
        now = self._clock()
        with self._lock:
            if len(self._tries) > 10_000:
                self._tries.clear()
            recent = [t for t in self._tries.get((name, address), []) if now - t < WINDOW]
            if len(recent) >= TRIES:
                wait = int((recent[0] + WINDOW - now).total_seconds() / 60) + 1
                raise InputError(f"Too many tries: wait {wait} minutes, then try again.")
            self._tries[name, address] = [*recent, now]

    def _verify(self, secret: str, password: str) -> bool:
        try:
            return self._hasher.verify(secret, password[:LONGEST])
        except (Argon2Error, InvalidHashError):
            return False

    def _load(self) -> dict[str, Account]:
        with self._store.read() as unit:
            rows = json.loads(unit.setting(USERS) or "[]")
        return {r["name"]: Account(r["name"], Role(r["role"]), r["secret"]) for r in rows}

    def _save(self, accounts: dict[str, Account]) -> None:
        if accounts and not any(a.role is Role.ADMIN for a in accounts.values()):
            raise InputError("one account at least must be an admin: make another one first")
        with self._store.write() as unit:
            unit.set_setting(USERS, json.dumps([asdict(a) for a in accounts.values()]))
        with self._lock:
            self._found = accounts


def clean_name(name: str) -> str:
    """Account names are short, lower-case and plain."""
    name = name.strip().casefold()
    if not re.fullmatch(r"[a-z0-9](?:[a-z0-9._@-]{0,62}[a-z0-9])?", name):
        raise InputError("name: letters a to z, digits and . _ - @, at most 64 of them")
    return name


def check_password(name: str, password: str) -> None:
    """Length and commonness only, no composition rules (ASVS 5.0, 6.2.1 to 6.2.5)."""
    if len(password) < SHORTEST:
        raise InputError(f"password: at least {SHORTEST} characters; {ADVISED} are better")
    if len(password) > LONGEST:
        raise InputError(f"password: at most {LONGEST} characters")
    plain = password.casefold()
    bare = plain.strip("0123456789!.?")
    if name in plain or len(set(plain)) < 4 or bare in OURS or {plain, bare} & common_passwords():
        raise InputError("password: too easy to guess; several words in a row are a good one")


@cache
def common_passwords() -> frozenset[str]:
    """Some 30 000, the most frequent in published leaks (ASVS 5.0, 6.2.4 asks for 3 000)."""
    from zxcvbn.frequency_lists import FREQUENCY_LISTS  # noqa: PLC0415 - large, rarely needed

    return frozenset(FREQUENCY_LISTS["passwords"])


OURS = frozenset(  # what such a list lacks: this trade's words, some in German
    {
        *("", "passwort", "qwertz", "qwertzuiop", "willkommen", "hallo", "administrator"),
        *("ebbmark", "balsa", "airplane", "aeroplane", "flugzeug", "modellbau", "modelplane"),
    }
)
