"""Sessions: kept on the server, stored hashed, dead at logout and password change.

A visitor without an account has one too (loopback needs no login): then it
only ties the forms' token to the browser and nothing is stored.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import threading
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta

from service.flows.ports import Clock, Store

SESSIONS, SECRET = "web.sessions", "web.secret"
HOME = (timedelta(days=7), timedelta(days=30))  # idle, in all
CLUB = (timedelta(hours=12), timedelta(days=7))
TOUCH = timedelta(hours=1)  # how exactly the last use is kept


@dataclass(frozen=True, slots=True)
class Session:
    """Who is behind a cookie. `user` None: somebody without an account."""

    cookie: str
    user: str | None = None
    fresh: bool = False  # the browser does not have it yet


@dataclass(frozen=True, slots=True)
class _Row:
    user: str
    began: str
    used: str


class Sessions:
    """Sessions by the SHA-256 of their cookie; the cookie itself is nowhere kept."""

    def __init__(self, store: Store, clock: Clock, *, club: bool) -> None:
        self._store = store
        self._clock = clock
        self._idle, self._all = CLUB if club else HOME
        self._lock = threading.Lock()
        self._rows: dict[str, _Row] | None = None
        self._secret: bytes | None = None

    def warm(self) -> None:
        """Load what every request needs, before the first one."""
        self._key()
        with self._lock:
            self._load()

    def find(self, cookie: str | None) -> Session:
        """The session behind a cookie; a fresh nameless one where there is none."""
        if not cookie or not 32 <= len(cookie) <= 64 or not cookie.isascii():
            return new_session()
        with self._lock:
            row = self._load().get(_hashed(cookie))
        if row is None:
            return Session(cookie)
        if not self._alive(row):
            self.end(cookie)
            return new_session()
        self._touch(cookie, row)
        return Session(cookie, row.user)

    def begin(self, user: str) -> Session:
        """A session with a new cookie, at login (ASVS 5.0, 7.2.4)."""
        session = new_session(user)
        now = self._clock().isoformat()
        with self._lock:
            self._save({**self._load(), _hashed(session.cookie): _Row(user, now, now)})
        return session

    def end(self, cookie: str) -> None:
        with self._lock:
            rows = dict(self._load())
            if rows.pop(_hashed(cookie), None):
                self._save(rows)

    def end_all_of(self, user: str) -> None:
        """At a change of password, role or account (ASVS 5.0, 7.4.1 to 7.4.3)."""
        with self._lock:
            self._save({k: r for k, r in self._load().items() if r.user != user})

    def token(self, session: Session) -> str:
        """What a form of this session must carry."""
        return hmac.new(self._key(), session.cookie.encode(), hashlib.sha256).hexdigest()[:40]

    def right_token(self, session: Session, token: str | None) -> bool:
        if session.fresh or not token:
            return False
        return hmac.compare_digest(self.token(session).encode(), token.encode())

    def _alive(self, row: _Row) -> bool:
        now = self._clock()
        began, used = datetime.fromisoformat(row.began), datetime.fromisoformat(row.used)
        return now - began < self._all and now - used < self._idle

    def _touch(self, cookie: str, row: _Row) -> None:
        now = self._clock()
        if now - datetime.fromisoformat(row.used) < TOUCH:
            return
        with self._lock:
            self._save({**self._load(), _hashed(cookie): replace(row, used=now.isoformat())})

    def _key(self) -> bytes:
        with self._lock:
            if self._secret is None:
                self._secret = self._load_key()
            return self._secret

    def _load_key(self) -> bytes:
        with self._store.read() as unit:
            known = unit.setting(SECRET)
        if not known:
            known = secrets.token_hex(32)
            with self._store.write() as unit:
                unit.set_setting(SECRET, known)
        return bytes.fromhex(known)

    def _load(self) -> dict[str, _Row]:
        if self._rows is None:
            with self._store.read() as unit:
                found = json.loads(unit.setting(SESSIONS) or "{}")
            self._rows = {key: _Row(**row) for key, row in found.items()}
        return self._rows

    def _save(self, rows: dict[str, _Row]) -> None:
        self._rows = {key: row for key, row in rows.items() if self._alive(row)}
        text = json.dumps({key: asdict(row) for key, row in self._rows.items()})
        with self._store.write() as unit:
            unit.set_setting(SESSIONS, text)


def new_session(user: str | None = None) -> Session:
    """256 random bits (ASVS 5.0, 7.2.3 asks for 128)."""
    return Session(secrets.token_urlsafe(32), user, fresh=True)


def _hashed(cookie: str) -> str:
    return hashlib.sha256(cookie.encode()).hexdigest()
