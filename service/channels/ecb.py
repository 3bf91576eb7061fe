"""The European Central Bank's daily reference rates, fetched through the guard.

Source: the bank's published daily XML (one `Cube` per currency, units per euro,
set about 16:00 CET on TARGET working days; for information only).
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import date
from decimal import Decimal, InvalidOperation

import httpx
from defusedxml import ElementTree

from scrapers import FetchError
from service.errors import DeliveryError

DAILY = "https://www.ecb.europa.eu/stats/eurofxref/eurofxref-daily.xml"
LARGEST = 256 * 1024
UNREADABLE = "no newer exchange rates: the file cannot be read"
Row = tuple[date, str, str]


def latest_rates(
    transport: httpx.AsyncBaseTransport, url: str = DAILY
) -> Callable[[], Awaitable[list[Row]]]:
    """A function that fetches the newest day's rates. It raises DeliveryError."""

    async def fetch() -> list[Row]:
        try:
            async with (
                httpx.AsyncClient(transport=transport, trust_env=False) as client,
                client.stream("GET", url, headers={"Accept-Encoding": "identity"}) as answer,
            ):
                answer.raise_for_status()
                return parse(await _bounded(answer))
        except (httpx.HTTPError, FetchError) as error:
            raise DeliveryError(f"no newer exchange rates: {error}", retry=True) from error

    return fetch


async def _bounded(answer: httpx.Response) -> bytes:
    body = bytearray()
    async for piece in answer.aiter_raw():
        body += piece
        if len(body) > LARGEST:
            raise DeliveryError("no newer exchange rates: the file is too large", retry=True)
    return bytes(body)


def parse(xml: bytes) -> list[Row]:
    """`(day, currency, rate)` of every currency in the file. DeliveryError if it is another."""
    try:
        cubes = [item.attrib for item in ElementTree.fromstring(xml).iter() if item.attrib]
        day = next(date.fromisoformat(cube["time"]) for cube in cubes if "time" in cube)
        rows = [(day, c["currency"], c["rate"]) for c in cubes if "currency" in c]
        sound = bool(rows) and all(Decimal(rate) > 0 for _, _, rate in rows)
    except (ElementTree.ParseError, StopIteration, ValueError, KeyError, InvalidOperation) as error:
        raise DeliveryError(UNREADABLE, retry=True) from error
    if not sound:
        raise DeliveryError(UNREADABLE, retry=True)
    return rows
