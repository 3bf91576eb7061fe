"""Price charts from the log: runs per unit of the part, in the book's currency."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction

from service.builds.offers import Quote
from service.charts.model import Band, Line, LineKind, PriceChart, Run, clip
from service.flows.ports import Unit
from service.flows.views.common import by_listing, decimal
from service.model.prices import fresh_for
from service.prices.sales import Sale, find_sales
from service.prices.track import Track, from_us, make_track, runs_of

CENT = Decimal("0.01")
MOST_OTHERS = 8  # lines beside the main one; more say nothing


def price_chart(
    unit: Unit,
    quotes: Sequence[Quote],
    *,
    at: datetime,
    since: datetime,
    currency: str,
    target: Decimal | None,
    title: str,
    scale: Fraction = Fraction(1),
) -> PriceChart:
    """`quotes`: the listings to draw, the main one first. Prices of `scale` base units."""
    chosen = quotes[: MOST_OTHERS + 1]
    ids = [quote.listing.id for quote in chosen]
    spells = by_listing(unit.log.spells(ids))
    gaps = unit.log.gaps(ids)
    lines: list[Line] = []
    bands: tuple[Band, ...] = ()
    for quote in chosen:
        own = [gap for gap in gaps if gap.listing == quote.listing.id]
        fresh = fresh_for(quote.listing.every)
        track = make_track(spells.get(quote.listing.id, []), own, at=at, fresh=fresh)
        name = quote.listing.supplier
        if not lines:
            bands, regular = _sales(track, quote, since, at, scale)
            lines.append(Line("regular price", clip(regular, since, at), "regular"))
        kind: LineKind = "main" if len(lines) == 1 else "other"
        lines.append(Line(name, clip(_runs(track, _each(quote) * scale), since, at), kind))
    first = min((line.runs[0].start for line in lines if line.runs), default=since)
    return PriceChart(max(since, first), at, currency, tuple(lines), bands, target, title)


def _each(quote: Quote) -> Fraction:
    """What one money unit of the page is, of one base unit, in the book's currency."""
    price = Fraction(quote.offer.price)
    return quote.per_unit(Fraction(0)) / price if price else Fraction(0)


def _runs(track: Track, factor: Fraction) -> list[Run]:
    return [Run(from_us(p.start), from_us(p.end), _scaled(p.price, factor)) for p in track.pieces]


def _scaled(price: Decimal, factor: Fraction) -> Decimal:
    exact = decimal(Fraction(price) * factor)
    return exact.quantize(CENT) if exact >= 1 else exact.quantize(Decimal("0.0001"))


def _sales(
    track: Track, quote: Quote, since: datetime, at: datetime, scale: Fraction
) -> tuple[tuple[Band, ...], list[Run]]:
    """Sale bands, and the regular price as it stood while the price was another one."""
    runs = runs_of(track)
    if not runs:
        return (), []
    _, sales = find_sales(runs, at=track.at)
    real = [sale for sale in sales if sale.how != "settled"]
    bands = tuple(
        Band(max(from_us(s.start), since), _end(s, at))
        for s in real
        if _end(s, at) > since and _end(s, at) - from_us(s.start) >= timedelta(hours=12)
    )
    factor = _each(quote) * scale
    regular = [Run(from_us(s.start), _end(s, at), _scaled(s.regular, factor)) for s in sales]
    return bands, regular


def _end(sale: Sale, at: datetime) -> datetime:
    return at if sale.end is None else from_us(sale.end)
