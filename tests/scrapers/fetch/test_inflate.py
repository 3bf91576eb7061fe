"""gzip in bounded steps. Peers: the standard library's gzip and zlib (RFC 1950 to 1952)."""

from __future__ import annotations

import contextlib
import gzip
import tracemalloc
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scrapers.errors import BrokenError, TooLargeError
from scrapers.inflate import STEP, body_for

MIB = 1024 * 1024


def undo(data: bytes, *, encoding: str = "gzip", limit: int = 8 * MIB, step: int = 1000) -> bytes:
    body = body_for(encoding, limit)
    for start in range(0, len(data), step):
        body.feed(data[start : start + step])
    return body.finish()


@given(st.binary(max_size=300), st.integers(1, 7))
def test_round_trip_in_any_cuts(data: bytes, step: int) -> None:
    assert undo(gzip.compress(data, mtime=0), step=step) == data


@pytest.mark.parametrize("size", [0, 1, STEP - 1, STEP, STEP + 1, 3 * STEP])
@pytest.mark.parametrize("step", [1, 1000, 10**6])
def test_round_trip_around_the_step(size: int, step: int) -> None:
    assert undo(gzip.compress(b"x" * size, mtime=0), step=step) == b"x" * size


def test_members_one_after_another_are_one_body() -> None:
    """RFC 1952 section 2.2."""
    assert undo(gzip.compress(b"one ") + gzip.compress(b"two")) == b"one two"


def test_zero_padding_after_the_end_is_ignored() -> None:
    assert undo(gzip.compress(b"one") + bytes(512)) == b"one"


@pytest.mark.parametrize("cut", [1, 4, 8, 9, 12, 30])
def test_a_body_cut_short_is_broken(cut: int) -> None:
    whole = gzip.compress(bytes(range(256)) * 40)
    with pytest.raises(BrokenError):
        undo(whole[:-cut])


def test_every_cut_of_a_small_body_is_broken() -> None:
    whole = gzip.compress(b"<html>7.90</html>")
    for end in range(len(whole)):
        with pytest.raises(BrokenError):
            undo(whole[:end])


@pytest.mark.parametrize("at", [-1, -5, 20])
def test_a_wrong_checksum_length_or_byte_is_broken(at: int) -> None:
    data = bytearray(gzip.compress(bytes(range(256)) * 40))
    data[at] ^= 0x55
    with pytest.raises(BrokenError):
        undo(bytes(data))


@pytest.mark.parametrize("tail", [b"x", b"<html>", b"\x1f\x8b\x08"])
def test_what_follows_the_end_is_broken(tail: bytes) -> None:
    with pytest.raises(BrokenError):
        undo(gzip.compress(b"one") + tail)


@pytest.mark.parametrize("encoding", ["br", "zstd", "deflate", "gzip, gzip", "foo", "gzip;q=1"])
def test_only_what_was_offered_is_taken(encoding: str) -> None:
    with pytest.raises(BrokenError):
        body_for(encoding, MIB)


@pytest.mark.parametrize("encoding", ["", "identity", " Identity "])
def test_plain_bodies(encoding: str) -> None:
    assert undo(b"abc", encoding=encoding) == b"abc"


def test_zlib_under_the_name_of_gzip_is_taken() -> None:
    assert undo(zlib.compress(b"abc"), encoding="x-gzip") == b"abc"


def test_a_bomb_is_cut_and_costs_little_memory() -> None:
    bomb = gzip.compress(bytes(300 * MIB), compresslevel=1)
    tracemalloc.start()
    try:
        with pytest.raises(TooLargeError):
            undo(bomb, step=64 * 1024)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 12 * MIB


@given(st.binary(max_size=200))
def test_no_bytes_are_too_odd(data: bytes) -> None:
    with contextlib.suppress(BrokenError, TooLargeError):
        undo(data, limit=1000)
