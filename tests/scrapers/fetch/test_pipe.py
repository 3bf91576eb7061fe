"""The bytes of one connection: on the loop's own watch, and on a loop that cannot watch sockets."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from fetch_lab import AGENT, ALLOW, Wire, answer, clock, visit

from scrapers import Fetcher, FetchError, Limits, Outcome, Policy, Validators, VisitRequest
from scrapers.guard import Target
from scrapers.lane import Lanes
from scrapers.pipe import Pipe, dial
from scrapers.wire import Exchange

if TYPE_CHECKING:
    from collections.abc import Coroutine

LATE = "too late"


class Blind(asyncio.SelectorEventLoop):
    """A loop that cannot watch sockets, as the usual one on Windows (asyncio's own documents)."""

    add_reader = asyncio.AbstractEventLoop.add_reader
    add_writer = asyncio.AbstractEventLoop.add_writer


def run(work: Coroutine[Any, Any, Any], loop: type[asyncio.AbstractEventLoop]) -> Any:
    with asyncio.Runner(loop_factory=loop) as runner:
        return runner.run(work)


both = pytest.mark.parametrize("loop", [asyncio.SelectorEventLoop, Blind])


Handle = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


class Server:
    """One listening socket; when it stops, all who were served are done."""

    def __init__(self, handle: Handle) -> None:
        self.handle = handle
        self.tasks: list[asyncio.Task[Any]] = []

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.tasks.append(asyncio.current_task())
        try:
            await self.handle(reader, writer)
        except ConnectionError:
            pass
        finally:
            writer.transport.abort() if writer.transport.is_closing() else writer.close()
            await asyncio.sleep(0.01)

    async def __aenter__(self) -> int:
        self.server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        return self.server.sockets[0].getsockname()[1]

    async def __aexit__(self, *_: object) -> None:
        self.server.close()
        await asyncio.gather(*self.tasks, return_exceptions=True)


async def serving(handle: Handle, use: Callable[[Pipe], Awaitable[Any]]) -> Any:
    async with Server(handle) as port:
        pipe = await dial("127.0.0.1", port, None, "h", asyncio.get_running_loop().time() + 5)
        try:
            return await use(pipe)
        finally:
            pipe.abort()


def soon() -> float:
    return asyncio.get_running_loop().time() + 10


@both
def test_a_large_body_is_sent_whole_and_its_echo_comes_whole(loop: Any) -> None:
    """More than any buffer of the kernel holds, both ways at once."""
    sent = bytes(range(256)) * 64 * 1024  # 16 MiB

    async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while data := await reader.read(65536):
            writer.write(data)
            await writer.drain()

    async def use(pipe: Pipe) -> bytes:
        pipe.write(sent[:100])
        pipe.write(sent[100:])
        got = bytearray()
        while len(got) < len(sent):
            got += await pipe.read(soon(), LATE)
        return bytes(got)

    assert run(serving(handle, use), loop) == sent


@both
def test_a_sender_is_held_up_while_nobody_reads(loop: Any) -> None:
    taken = 0

    async def handle(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        nonlocal taken
        for _ in range(2000):
            writer.write(bytes(65536))
            await writer.drain()
            taken += 65536

    async def use(pipe: Pipe) -> int:
        await asyncio.sleep(0.3)
        return sum(map(len, pipe._held))

    assert run(serving(handle, use), loop) <= 512 * 1024
    assert taken < 125 * 2**20  # of 131 MB that it would have sent: the rest stayed there


@both
def test_each_wait_has_its_own_time_whatever_came_before(loop: Any) -> None:
    """A long wait, then a short one, then a long one: one timer serves them all."""

    async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while await reader.readline():
            await asyncio.sleep(0.15)
            writer.write(b"x")

    async def use(pipe: Pipe) -> list[float]:
        clock = asyncio.get_running_loop().time
        pipe.write(b"\n")
        assert await pipe.read(clock() + 5, LATE) == b"x"
        took = []
        for wait in (0.05, 0.3):
            start = clock()
            with pytest.raises(FetchError, match=LATE):
                await pipe.read(start + wait, LATE)
            took.append(clock() - start)
        pipe.write(b"\n")  # past the end of an earlier timer
        with pytest.raises(FetchError, match="other"):
            await pipe.read(clock() - 1, "other")
        assert await pipe.read(clock() + 5, LATE) == b"x"
        return took

    short, longer = run(serving(handle, use), loop)
    assert 0.05 <= short < 0.2
    assert 0.3 <= longer < 0.6


@both
def test_the_end_and_a_reset_are_told_apart(loop: Any) -> None:
    async def bye(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(b"bye")

    async def reset(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        sock = writer.get_extra_info("socket")
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        writer.transport.abort()

    async def to_the_end(pipe: Pipe) -> bytes:
        got = b""
        while data := await pipe.read(soon(), LATE):
            got += data
        return got + await pipe.read(soon(), LATE)

    assert run(serving(bye, to_the_end), loop) == b"bye"
    with pytest.raises(ConnectionResetError):
        run(serving(reset, to_the_end), loop)


@both
def test_nobody_there_and_no_time_left(loop: Any) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]

        async def there() -> None:
            await dial("127.0.0.1", port, None, "h", asyncio.get_running_loop().time() + 5)

        with pytest.raises(ConnectionRefusedError):
            run(there(), loop)
        free.listen(0)
        fill = [socket.socket() for _ in range(4)]  # until its queue takes no more
        for one in fill:
            one.setblocking(False)
            one.connect_ex(("127.0.0.1", port))

        async def soon_over() -> None:
            await dial("127.0.0.1", port, None, "h", asyncio.get_running_loop().time() + 0.2)

        with pytest.raises(FetchError, match="does not take"):
            run(soon_over(), loop)
        for one in fill:
            one.close()


@both
def test_a_whole_visit(loop: Any) -> None:
    async def work() -> tuple[Outcome, str]:
        async def handle(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            await reader.readuntil(b"\r\n\r\n")
            writer.write(answer())
            await writer.drain()

        policy = Policy(allow_hosts=frozenset({"127.0.0.1"}))
        fetcher = Fetcher(user_agent=AGENT, policy=policy, clock=clock)
        async with Server(handle) as port:
            seen = await fetcher.visit(VisitRequest(f"http://127.0.0.1:{port}/p"))
        await fetcher.aclose()
        return seen.outcome, seen.robots.state if seen.robots else ""

    assert run(work(), loop) == (Outcome.OK, "rules")


class Paper:
    """Takes what is written."""

    def __init__(self) -> None:
        self.data = b""

    def write(self, data: bytes) -> None:
        self.data += data


TARGET = Target("http://shop.example/p?q=1", "http", "shop.example", 80, "shop.example", False)


def test_a_get_is_written_as_h11_writes_it() -> None:
    ours, theirs = Paper(), Paper()
    Exchange(ours, Limits()).get(TARGET, b"User-Agent: E\r\nAccept: */*\r\n")  # type: ignore[arg-type]
    lines = [(b"Host", b"shop.example"), (b"User-Agent", b"E"), (b"Accept", b"*/*")]
    Exchange(theirs, Limits()).send(b"GET", b"/p?q=1", lines, b"")  # type: ignore[arg-type]
    assert ours.data == theirs.data


@pytest.mark.parametrize(
    "lines",
    [
        b"User-Agent: E\r\nX: a\r\n\r\nGET /secret HTTP/1.1\r\nHost: h\r\n",
        b"User-Agent: E\nX: a\r\n",
        b"User-Agent: E\0\r\n",
        b"User Agent: E\r\n",
        b"User-Agent : E\r\n",
        b": E\r\n",
        b" folded\r\n",
    ],
)
def test_no_header_smuggles_another_line(lines: bytes) -> None:
    """RFC 9112 section 11.1: what would end a line or a head early is never sent."""
    paper = Paper()
    with pytest.raises(ValueError, match="no header"):
        Exchange(paper, Limits()).get(TARGET, lines)  # type: ignore[arg-type]
    assert paper.data == b""


@pytest.mark.parametrize("more", ["\r\nX: y", "\n", "\0", "\r\n\r\nGET / HTTP/1.1"])
def test_a_user_agent_that_ends_its_line_makes_no_fetcher(more: str) -> None:
    with pytest.raises(ValueError, match="User-Agent"):
        Fetcher(user_agent=AGENT + more, policy=Policy(), clock=clock)


@pytest.mark.parametrize("kept", ["etag", "last_modified"])
def test_conditions_are_sent_in_their_own_header(kept: str) -> None:
    wire = Wire(lambda *_: answer(b"", "304 Not Modified"))
    value = {"etag": '"v1"', "last_modified": "Sun, 06 Nov 1994 08:49:37 GMT"}[kept]
    held = replace(Validators(), **{kept: value})
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("scrapers.transport.dial", wire)

        async def names(_host: str, _port: int) -> list[str]:
            return ["93.184.216.34"]

        request = VisitRequest("http://shop.example/p", validators=held, robots=ALLOW)
        assert visit(request, resolver=names).outcome is Outcome.UNCHANGED
    name = {"etag": "If-None-Match", "last_modified": "If-Modified-Since"}[kept]
    assert f"\r\n{name}: {value}\r\n".encode() in wire.sent[0]


def test_turns_are_given_in_the_order_of_asking_and_never_lost() -> None:
    async def work() -> list[int]:
        lanes, order = Lanes(), list[int]()

        async def one(n: int) -> None:
            async with lanes.enter("h"):
                order.append(n)
                await asyncio.sleep(0.01)

        tasks = [asyncio.create_task(one(n)) for n in range(6)]
        await asyncio.sleep(0)
        tasks[2].cancel()  # it waits
        tasks[0].cancel()  # it has the turn
        await asyncio.sleep(0)
        tasks[1].cancel()  # it is given the turn in this very moment, or has it
        await asyncio.gather(*tasks, return_exceptions=True)
        async with lanes.enter("h", wait=False):
            with pytest.raises(FetchError):
                await lanes.enter("h", wait=False).__aenter__()
        assert lanes._waiting == {}
        return order

    assert asyncio.run(work())[-3:] == [3, 4, 5]
