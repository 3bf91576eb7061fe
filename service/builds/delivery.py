"""What a supplier asks for delivery and on top of an order, by the rows of the catalogue.

How rows are read (common practice of shops' delivery tables):

- rows for the country go before those for `*`, which are for everywhere else;
- a row for a goods class goes before rows for all goods as soon as the order holds such
  goods; where rows of several classes hold, the dearest;
- of rows that differ in their limits only, the one with the lowest limits that hold counts;
- of rows that differ in the promised days the cheapest counts.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from service.model.catalogue import Fee, ShippingRow, Supplier


@dataclass(frozen=True, slots=True)
class Parcel:
    """What an order sends. `value` of the goods as the shop shows it, in its currency; `grams`
    of all goods whose mass is known, `weighed`: of all.
    """

    value: Fraction
    grams: Fraction
    weighed: bool
    classes: frozenset[str]


@dataclass(frozen=True, slots=True)
class Tier:
    """A row with all that must hold for it. `fee` 0 where it is free from `over` on.

    `needs`: one of these classes; `bars`: none of these; `before`: rows that count instead
    where their limits hold; `heaviest`: may be taken for goods of unknown mass.
    """

    row: ShippingRow
    fee: Decimal
    over: Decimal | None
    needs: frozenset[str]
    bars: frozenset[str]
    before: tuple[ShippingRow, ...]
    heaviest: bool


def zone_of(supplier: Supplier, country: str | None) -> tuple[ShippingRow, ...]:
    """The rows of a country, else those of everywhere else."""
    own = tuple(row for row in supplier.shipping if country is not None and row.to == country)
    return own or tuple(row for row in supplier.shipping if row.to == "*")


def tiers_of(supplier: Supplier, country: str | None) -> tuple[Tier, ...]:
    """All ways of delivery to a country; none: it is not known what delivery costs."""
    rows = zone_of(supplier, country)
    found: list[Tier] = []
    for row in rows:
        found.append(_tier(row, rows, row.fee, None))
        if row.free_from is not None and row.fee:
            found.append(_tier(row, rows, Decimal(0), row.free_from))
    return tuple(found)


def _tier(
    row: ShippingRow, rows: Sequence[ShippingRow], fee: Decimal, over: Decimal | None
) -> Tier:
    return Tier(
        row=row,
        fee=fee,
        over=over,
        needs=frozenset(row.classes),
        bars=frozenset(row.not_classes) | _before_in_class(row, rows),
        before=tuple(other for other in rows if _tighter(other, row) and other.fee > fee),
        heaviest=_is_heaviest(row, rows),
    )


def _before_in_class(row: ShippingRow, rows: Sequence[ShippingRow]) -> frozenset[str]:
    """Classes whose own rows go before this one."""
    dearer = [x for x in rows if x.classes and (not row.classes or x.fee > row.fee)]
    return frozenset(name for x in dearer for name in x.classes) - frozenset(row.classes)


def _tighter(other: ShippingRow, row: ShippingRow) -> bool:
    if _kind(other) != _kind(row):
        return False
    mine, its = (row.up_to_g, row.up_to), (other.up_to_g, other.up_to)
    least = all(a is None or (b is not None and b <= a) for a, b in zip(mine, its, strict=True))
    return least and mine != its


def _kind(row: ShippingRow) -> tuple[frozenset[str], frozenset[str], str | None]:
    return frozenset(row.classes), frozenset(row.not_classes), row.days


def _is_heaviest(row: ShippingRow, rows: Sequence[ShippingRow]) -> bool:
    if row.up_to_g is None:
        return True
    peers = [x for x in rows if (x.classes, x.not_classes) == (row.classes, row.not_classes)]
    return all(x.up_to_g is not None and x.up_to_g <= row.up_to_g for x in peers)


def within(row: ShippingRow, parcel: Parcel) -> bool:
    """Whether the row's limits hold; a mass that is not known is above every limit."""
    if row.up_to is not None and parcel.value > Fraction(row.up_to):
        return False
    return row.up_to_g is None or (parcel.weighed and parcel.grams <= Fraction(row.up_to_g))


def holds(tier: Tier, parcel: Parcel) -> bool:
    """Whether the order may be sent so."""
    row, classes = tier.row, parcel.classes
    if (tier.needs and not tier.needs & classes) or tier.bars & classes:
        return False
    if tier.over is not None and parcel.value < Fraction(tier.over):
        return False
    if any(within(other, parcel) for other in tier.before):
        return False
    if row.up_to is not None and parcel.value > Fraction(row.up_to):
        return False
    if row.up_to_g is not None and parcel.grams > Fraction(row.up_to_g):
        return False
    return parcel.weighed or tier.heaviest


def cheapest(tiers: Iterable[Tier], parcel: Parcel) -> Tier | None:
    """The way that counts; of equal fees the first. None: no row is for such an order."""
    return min((t for t in tiers if holds(t, parcel)), key=lambda t: t.fee, default=None)


def fees_due(supplier: Supplier, classes: Collection[str]) -> tuple[Fee, ...]:
    """What the supplier adds to an order with goods of these classes."""
    return tuple(fee for fee in supplier.fees if not fee.when_class or fee.when_class in classes)


def fee_of(fee: Fee, value: Fraction) -> Fraction:
    """What one fee comes to on goods of this value, in the supplier's currency.

    `percent` is one of a hundred: 1.5 of 100.00 is 1.50.
    """
    return Fraction(fee.amount or 0) + value * Fraction(fee.percent or 0) / 100
