"""A hostile server on loopback, driven by one small TOML file a case, and the visits that meet it.

A case file says what is sent, byte for byte, and what must come of it:

    id, what            the behaviour (ids H01 ... as in the project's list)
    expect              outcome of each visit (a text, or a list for several visits)
    why                 where two classes are possible: why this one
    seconds, requests   the most that the case may take, in all
    url                 instead of the case's own `http://h.example:PORT/p`
    limits              fields of scrapers.Limits, scaled down
    clock_step          seconds that pass between visits (default 60)
    known               what was accepted before: price, currency, title, sku, tax
    validators          etag, last_modified held from before
    rule                what the user wrote for the listing
    dns                 answers by host; a list of lists answers one lookup after another
    tls                 a certificate for h.example: good, expired, early, other, self
    check               fields of the last Visited that must hold
    [[answer]]          in turn for each request of its path (the last one repeats)
      path, host        default /p, h.example
      status, headers, body | page | repeat | raw | hex | robots
      gzip, length, drip, endless, hang, reset, cut, wait
"""

from __future__ import annotations

import asyncio
import contextlib
import gzip
import itertools
import re
import ssl
import time
import tomllib
import zlib
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fetch_lab import AGENT, NOW

from scrapers import Fetcher, Limits, Outcome, Policy, Validators, VisitRequest

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Sequence

    from scrapers.model import RobotsCopy, Visited

FOLDER = Path(__file__).parent / "scrapers" / "fetch" / "hostile"

PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Carbon tube 8 mm - Quillfeather Models</title>
<script type="application/ld+json">{"@context": "https://schema.org", "@type": "Product",
"name": "Carbon tube 8 mm", "sku": "QT-8", "offers": {"@type": "Offer", "price": "7.90",
"priceCurrency": "EUR", "availability": "https://schema.org/InStock"}}</script></head>
<body><h1>Carbon tube 8 mm</h1><p class="price">7.90 €</p><p>In stock</p>
<p>Length 1 m, outer diameter 8 mm, wall 1 mm. Pultruded carbon for spars and booms.</p>
<button>Add to cart</button></body></html>
"""


@dataclass(frozen=True)
class Case:
    """One data file."""

    name: str
    data: dict[str, Any]

    @property
    def expect(self) -> list[str]:
        expect = self.data["expect"]
        return [expect] if isinstance(expect, str) else list(expect)

    @property
    def hosts(self) -> list[str]:
        named = {answer.get("host", "h.example") for answer in self.data.get("answer", ())}
        return sorted(named | {"h.example"})


def load_cases() -> list[Case]:
    """All data files, by name."""
    return [
        Case(path.stem, tomllib.loads(path.read_text())) for path in sorted(FOLDER.glob("*.toml"))
    ]


@dataclass
class Seen:
    """What the server saw: each request's head and how many bytes it was answered with."""

    heads: list[bytes] = field(default_factory=list)
    sent: list[int] = field(default_factory=list)
    connections: int = 0


class Server:
    """One listening socket on loopback for each host of a case."""

    def __init__(self, case: Case, tls: dict[str, ssl.SSLContext]) -> None:
        self.case = case
        self.ports: dict[str, int] = {}
        self.seen = Seen()
        self._tls = tls
        self._turns: dict[tuple[str, str], int] = {}
        self._servers: list[asyncio.Server] = []
        self._tasks: set[asyncio.Task[None]] = set()

    async def start(self) -> None:
        kind = self.case.data.get("tls")
        for host in self.case.hosts:
            secure = self._tls[kind] if kind and host == "h.example" else None
            server = await asyncio.start_server(
                lambda r, w, host=host: self._handle(host, r, w), "127.0.0.1", 0, ssl=secure
            )
            self._servers.append(server)
            self.ports[host] = server.sockets[0].getsockname()[1]

    async def stop(self) -> None:
        for server in self._servers:
            server.close()
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def fill(self, text: str) -> str:
        """`{h.example}` and the like become the base URLs of this run."""
        for host, port in self.ports.items():
            scheme = "https" if self.case.data.get("tls") and host == "h.example" else "http"
            text = text.replace("{" + host + "}", f"{scheme}://{host}:{port}")
            text = text.replace("{" + host + ":port}", str(port))
        return text

    async def _handle(
        self, host: str, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        self.seen.connections += 1
        try:
            await self._converse(host, reader, writer)
        except (ConnectionError, asyncio.IncompleteReadError, asyncio.CancelledError):
            pass
        finally:
            self._tasks.discard(task)
            writer.transport.abort() if writer.transport.is_closing() else writer.close()

    async def _converse(
        self, host: str, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        blunt = next((a for a in self._answers(host) if a.get("at") == "connect"), None)
        if blunt is None:
            head = await reader.readuntil(b"\r\n\r\n")
            self.seen.heads.append(head)
            path = head.split(b" ", 2)[1].decode("latin-1")
            answer = self._answer(host, path)
        else:
            answer = blunt
        total = 0
        with contextlib.suppress(ConnectionError):
            async for part in self._parts(answer):
                writer.write(part)
                total += len(part)
                await writer.drain()
        self.seen.sent.append(total)
        if answer.get("reset"):
            writer.transport.abort()  # with bytes unread at the other end: RST
        elif answer.get("hang"):
            await asyncio.sleep(60)

    def _answers(self, host: str) -> list[dict[str, Any]]:
        return [a for a in self.case.data.get("answer", ()) if a.get("host", "h.example") == host]

    def _answer(self, host: str, path: str) -> dict[str, Any]:
        matching = [a for a in self._answers(host) if a.get("path", "/p") == path]
        if not matching:
            if path == "/robots.txt":
                return {"status": "404 Not Found"}
            return {"status": "404 Not Found", "body": "nothing here"}
        turn = self._turns.get((host, path), 0)
        self._turns[host, path] = turn + 1
        return matching[min(turn, len(matching) - 1)]

    async def _parts(self, answer: dict[str, Any]) -> AsyncIterator[bytes]:
        if "wait" in answer:
            await asyncio.sleep(answer["wait"])
        whole = self._bytes(answer)
        if "cut" in answer:
            whole = whole[: -answer["cut"]]
        size, pause = answer.get("drip", (len(whole) or 1, 0))
        for start in range(0, len(whole), size):
            yield whole[start : start + size]
            if pause:
                await asyncio.sleep(pause)
        if "trickle" in answer:
            piece, pause = answer["trickle"]
            for _ in itertools.repeat(None):
                yield piece.encode()
                await asyncio.sleep(pause)
        if "endless" in answer:
            piece = self.fill(answer["endless"]).encode("latin-1")
            block = piece * max(1, 16384 // len(piece))
            for _ in itertools.repeat(None):
                yield block

    def _bytes(self, answer: dict[str, Any]) -> bytes:
        if "hex" in answer:
            return bytes.fromhex(answer["hex"])
        if "raw" in answer:
            return self.fill(answer["raw"]).encode("latin-1", "surrogateescape")
        body = self._body(answer)
        if "shorten" in answer:
            body = body[: -answer["shorten"]]
        head = [f"HTTP/1.1 {answer.get('status', '200 OK')}"]
        length = answer.get("length", "right")
        if length == "right":
            head.append(f"Content-Length: {len(body)}")
        elif length == "chunked":
            head.append("Transfer-Encoding: chunked")
            body = b"%x\r\n%s\r\n0\r\n\r\n" % (len(body), body)
        elif length != "none":
            head.append(f"Content-Length: {length}")
        listed = answer.get("headers", ["Content-Type: text/html; charset=utf-8"])
        head += [line for given in listed for line in _lines(self.fill(given))]
        sent = ("\r\n".join(head) + "\r\n\r\n").encode("latin-1") + body
        return sent + answer.get("glue", "").encode()

    def _body(self, answer: dict[str, Any]) -> bytes:
        if "body_hex" in answer:
            return bytes.fromhex(answer["body_hex"])
        text = PAGE if answer.get("page") else answer.get("body", "")
        for old, new in answer.get("replace", {}).items():
            text = text.replace(old, _made(self.fill(new)))
        if "insert" in answer:  # text, times: put in front of </body>
            piece, times = answer["insert"]
            text = text.replace("</body>", _made(piece) * times + "</body>")
        body = text.encode(answer.get("charset", "utf-8"), "surrogatepass")
        body = bytes.fromhex(answer.get("bom", "")) + body
        for old, new in answer.get("bytes", {}).items():
            body = body.replace(old.encode(), bytes.fromhex(new))
        if "repeat" in answer:
            piece, times = answer["repeat"]
            body += piece.encode("latin-1") * times
        if "bomb" in answer:  # MiB of zeros, packed without ever being held unpacked
            pack = zlib.compressobj(9, wbits=31)
            pieces = [pack.compress(bytes(65536)) for _ in range(answer["bomb"] * 16)]
            body = b"".join(pieces) + pack.flush()
        for _ in range(answer.get("gzip", 0)):
            body = gzip.compress(body, mtime=0)
        if "flip" in answer:  # a position counted from the end
            at = len(body) - answer["flip"]
            body = body[:at] + bytes([body[at] ^ 0x55]) + body[at + 1 :]
        return body


def _lines(line: str) -> list[str]:
    """`@cookies N` and `@etag N` stand for headers too long to write out."""
    kind, _, count = line.partition(" ")
    if kind == "@cookies":
        return [f"Set-Cookie: c{n}=1; Path=/" for n in range(int(count))]
    if kind == "@etag":
        return ['ETag: "' + "e" * int(count) + '"']
    return [line]


_MAKE: dict[str, Callable[[int], str]] = {
    "digits": lambda n: "7" * n,
    "marks": lambda n: "\u0301" * n,
    "as": lambda n: "a" * n,
    "nested": lambda n: f'<script type="application/ld+json">{"[" * n}{"]" * n}</script>',
    "open": lambda n: "".join(f"<font size={k}>" for k in range(n)),
    "paragraphs": lambda n: "<p>text" * n,
}


def _made(text: str) -> str:
    """`@digits 400` and the like stand for texts too long to write out."""
    return re.sub(r"@(\w+) (\d+)", lambda m: _MAKE[m[1]](int(m[2])), text)


@dataclass
class Ran:
    """What became of a case."""

    outcomes: list[str] = field(default_factory=list)
    reasons: list[str | None] = field(default_factory=list)
    visits: list[Visited] = field(default_factory=list)
    seconds: float = 0.0
    seen: Seen = field(default_factory=Seen)


class Names:
    """DNS as a case tells it; every other name of the case is this machine."""

    def __init__(self, case: Case) -> None:
        self._told = case.data.get("dns", {})
        self._hosts = case.hosts
        self._asked: dict[str, int] = {}

    async def __call__(self, host: str, _port: int) -> Sequence[str]:
        told = self._told.get(host)
        if told is None:
            if host in self._hosts:
                return ["127.0.0.1"]
            raise OSError(f"no such name: {host}")
        turn = self._asked.get(host, 0)
        self._asked[host] = turn + 1
        if told and isinstance(told[0], list):
            told = told[min(turn, len(told) - 1)]
        if told and told[0].startswith("wait "):
            await asyncio.sleep(float(told[0].split()[1]))
            told = told[1:]
        if not told:
            raise OSError(f"no such name: {host}")
        return told


async def meet(
    case: Case, tls: dict[str, ssl.SSLContext], trust: ssl.SSLContext, judge: Judge | None = None
) -> Ran:
    """Make a case's visits, one after another, and judge each as the service would."""
    server = Server(case, tls)
    await server.start()
    ran = Ran(seen=server.seen)
    allowed = frozenset(case.data.get("allow", case.hosts))
    now = [NOW]
    ports = frozenset(server.ports.values()) | {80, 443}
    fetcher = Fetcher(
        user_agent=AGENT,
        policy=Policy(allow_hosts=allowed, ports=ports),
        clock=lambda: now[0],
        limits=Limits(**case.data.get("limits", {})),
        resolver=Names(case),
        tls=trust,
    )
    url = server.fill(case.data.get("url", "{h.example}/p"))
    robots: RobotsCopy | None = None
    validators = Validators(**case.data.get("validators", {}))
    start = time.monotonic()
    try:
        for _ in case.expect:
            request = VisitRequest(url, validators, robots)
            visited = await fetcher.visit(request)
            robots = visited.robots
            ran.visits.append(visited)
            if judge is None:
                outcome, reason = visited.outcome, visited.reason
                validators = visited.validators
            else:
                outcome, reason, validators = await asyncio.to_thread(judge, visited)
            ran.outcomes.append(outcome.value)
            ran.reasons.append(reason)
            now[0] += timedelta(seconds=case.data.get("clock_step", 60))
        ran.seconds = time.monotonic() - start
    finally:
        await fetcher.aclose()
        await server.stop()
    return ran


class Judge:
    """What the service makes of one visit after another of a listing."""

    def __init__(self, case: Case) -> None:
        from service.flows import verdict
        from service.flows.ports import ListingState
        from service.model.catalogue import Listing, Supplier

        self._verdict = verdict
        rule = case.data.get("rule", {})
        self._listing = Listing(
            "u", "s", (), url="http://h.example/p", rule=rule, id=1, choice=case.data.get("choice")
        )
        self._supplier = Supplier("s", "S")
        self._state = ListingState(1, NOW)
        self._spells: list[Any] = []
        self._doubt: Any = None
        if "known" in case.data:
            self._remember(case.data["known"])
        if "validators" in case.data:
            self._hold(case.data["validators"])

    def _remember(self, known: dict[str, str]) -> None:
        from dataclasses import replace
        from decimal import Decimal

        from scrapers import Availability, Tax
        from service.model.prices import Offer, Spell

        offer = Offer(
            Decimal(known["price"]),
            known["currency"],
            availability=Availability.IN_STOCK,
            tax=Tax(known.get("tax", "unknown")),
        )
        began = NOW - timedelta(days=40)
        self._spells = [Spell(1, offer, began, NOW - timedelta(hours=6), polls=160)]
        identity = {name: known[name] for name in ("title", "sku", "gtin") if name in known}
        self._state = replace(self._state, identity=identity, verdict="ok", last_full_at=NOW)

    def _hold(self, validators: dict[str, str]) -> None:
        from dataclasses import replace

        rules = self._verdict.site_rules(self._listing, self._supplier)
        digest = self._verdict.fingerprint(rules) + ":0"
        held = Validators(**validators)
        self._state = replace(
            self._state, validators=held, digest=digest, verdict="ok", last_full_at=NOW
        )

    def __call__(self, visited: Visited) -> tuple[Outcome, str | None, Validators]:
        from scrapers import read_page, reading_to_json
        from service.model.prices import Spell

        verdict = self._verdict
        rules = verdict.site_rules(self._listing, self._supplier)
        page = visited.page
        if page is None:
            seen = verdict.Seen(self._listing, visited)
        else:
            digest = verdict.body_digest(page, rules)
            if verdict.repeats(self._state, visited, digest):
                seen = verdict.Seen(self._listing, visited, digest=digest)
            else:
                reading = read_page(page, rules)
                told = reading_to_json("u", page.url, reading)
                seen = verdict.Seen(self._listing, visited, reading, told, digest)
        found = verdict.decide(seen, self._state, self._spells, self._doubt)
        self._state, self._doubt = found.state, found.doubt
        if found.observation is not None:
            at, offer = found.observation.at, found.observation.offer
            if found.outcome not in {Outcome.OK, Outcome.UNCHANGED}:
                raise AssertionError("only ok and unchanged may touch the price log")
            self._spells.append(Spell(1, offer, at, at))
        now = visited.finished_at
        return found.outcome, found.reason, verdict.validators_to_send(self._state, rules, now)


def certificates() -> tuple[dict[str, ssl.SSLContext], ssl.SSLContext]:
    """Server contexts by kind, and the context that trusts our test authority."""
    import trustme

    authority, stranger = trustme.CA(), trustme.CA()
    from datetime import UTC, datetime

    now = datetime.now(UTC)
    made = {
        "good": authority.issue_cert("h.example"),
        "expired": authority.issue_cert("h.example", not_after=now - timedelta(days=1)),
        "early": authority.issue_cert("h.example", not_before=now + timedelta(days=1)),
        "other": authority.issue_cert("other.example"),
        "self": stranger.issue_cert("h.example"),
    }
    contexts = {}
    for kind, certificate in made.items():
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        certificate.configure_cert(context)
        contexts[kind] = context
    trust = ssl.create_default_context()
    authority.configure_trust(trust)
    return contexts, trust
