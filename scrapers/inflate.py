"""Undo gzip in bounded steps, and insist on its end. Pure.

A body may grow a thousandfold while it is unpacked, so the decoder is asked for
at most 64 KiB at a time, and a stream without its trailer (checksum and length,
RFC 1952 section 2.3.1) is never taken for a whole one.
"""

from __future__ import annotations

import zlib

from scrapers.errors import BrokenError, TooLargeError

STEP = 64 * 1024
_ANY_HEADER = 47  # zlib's number for: gzip or zlib header, found by itself; 32 KiB window


class PlainBody:
    """Collects a body that came as it is, up to `limit` bytes."""

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._parts: list[bytes] = []
        self._size = 0

    def feed(self, data: bytes) -> None:
        """Take the next bytes from the wire. Raises TooLargeError, BrokenError."""
        self._keep(data)

    def finish(self) -> bytes:
        """The whole body. Raises BrokenError where it is cut short."""
        return b"".join(self._parts)

    def so_far(self) -> bytes:
        """What has come until now, whole or not."""
        return b"".join(self._parts)

    def _keep(self, data: bytes) -> None:
        self._size += len(data)
        self._parts.append(data)
        if self._size > self._limit:
            raise TooLargeError(f"the page is larger than {self._limit // 1024} KiB")


class GzipBody(PlainBody):
    """Collects a body that came with `Content-Encoding: gzip`, unpacked."""

    def __init__(self, limit: int) -> None:
        super().__init__(limit)
        self._stream = zlib.decompressobj(_ANY_HEADER)

    def feed(self, data: bytes) -> None:
        while data:
            data = self._next_member(data) if self._stream.eof else self._inflate(data)

    def finish(self) -> bytes:
        while not self._stream.eof:
            held = self._size  # zlib may hold output back when a step was full
            self._inflate(b"")
            if self._size == held and not self._stream.eof:
                raise BrokenError("the gzip body is cut short")
        return super().finish()

    def _inflate(self, data: bytes) -> bytes:
        """Unpack one step; returns the input that is left."""
        try:
            self._keep(self._stream.decompress(data, STEP))
        except zlib.error as error:
            raise BrokenError("the body is not the gzip that it says it is") from error
        return self._stream.unused_data or self._stream.unconsumed_tail

    def _next_member(self, data: bytes) -> bytes:
        """RFC 1952 lets members follow one another; zero padding is common, else nothing."""
        rest = data.lstrip(b"\0")
        if rest:
            if not rest.startswith(b"\x1f"):
                raise BrokenError("bytes follow the end of the gzip body")
            self._stream = zlib.decompressobj(_ANY_HEADER)
        return rest


def body_for(encoding: str, limit: int) -> PlainBody:
    """The collector for a Content-Encoding. Raises BrokenError for any that was not offered."""
    coding = encoding.strip().lower()
    if coding in {"", "identity"}:
        return PlainBody(limit)
    if coding in {"gzip", "x-gzip"}:
        return GzipBody(limit)
    raise BrokenError(f"content encoding {coding[:40]!r} was not offered")
