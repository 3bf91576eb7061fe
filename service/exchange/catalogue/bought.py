"""Purchases: which listing was bought, how much one unit holds, a set shared out."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Protocol

from scrapers import Amount
from service.exchange.catalogue.measure import in_base
from service.model.money import Money, round_money
from service.model.orders import Purchase

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from service.exchange.catalogue.draft import Found, PurchaseDraft
    from service.exchange.catalogue.table import Problems
    from service.model.builds import Build
    from service.model.catalogue import Listing, Part, Supplier

    Booked = tuple[Purchase, Found[PurchaseDraft]]


class Lookup(Protocol):
    """What purchases need of the index."""

    @property
    def suppliers(self) -> Mapping[str, Supplier]: ...
    @property
    def parts(self) -> Mapping[str, Part]: ...
    @property
    def listings(self) -> Mapping[str, Listing]: ...
    @property
    def builds(self) -> Mapping[str, Build]: ...
    @property
    def names(self) -> Mapping[str, Sequence[Listing]]: ...
    @property
    def problems(self) -> Problems: ...

    def unknown(self, where: str, kind: str, key: str, known: Mapping[str, object]) -> bool: ...
    def amount(self, where: str, part: str, amount: Amount | None) -> None: ...
    def listing(self, where: str, text: str) -> str: ...


def purchases_of(drafts: Iterable[Found[PurchaseDraft]], index: Lookup) -> list[Booked]:
    """The purchases in the order of the files with where each stands; a set becomes one
    purchase a part.
    """
    made: list[Booked] = []
    for found in drafts:
        draft, where = found.value, found.where
        if draft.supplier is not None:
            index.unknown(f"{where}.supplier", "supplier", draft.supplier, index.suppliers)
        if draft.set is not None:
            made += [(one, found) for one in _of_set(draft, where, index)]
        elif draft.part and not index.unknown(f"{where}.part", "part", draft.part, index.parts):
            content = _content(draft, index.parts[draft.part], where, index)
            one = _purchase(draft, draft.part, content, draft.total, draft.debited)
            made.append((one, found))
    return made


def _purchase(
    draft: PurchaseDraft, part: str, content: Decimal, total: Money | None, debited: Money | None
) -> Purchase:
    return Purchase(
        part=part,
        count=draft.count,
        total=total or Money(Decimal(0), "EUR"),  # absent only where a problem was noted
        content=content,
        supplier=draft.supplier,
        on=draft.on,
        debited=debited,
        order=draft.order,
        condition=draft.condition,
    )


def _content(draft: PurchaseDraft, part: Part, where: str, index: Lookup) -> Decimal:
    """What one bought unit holds, in base units of the part."""
    if draft.sold_as is not None:
        index.amount(f"{where}.sold_as", part.key, draft.sold_as)
        return in_base(part, draft.sold_as) or Decimal(1)
    of_supplier = index.names.get(f"{draft.supplier}/{part.key}", ())
    held = [one.holds(part.key) for one in of_supplier if not one.is_set]
    contents = {content for one in held if one and (content := in_base(part, one.amount))}
    if len(contents) > 1:
        index.problems.add(
            f"{where}.sold_as",
            f'missing; "{draft.supplier}" sells "{part.key}" in several sizes, write which',
        )
    own = in_base(part, Amount(Decimal(1), part.unit)) or Decimal(1)
    return contents.pop() if contents else own


def _of_set(draft: PurchaseDraft, where: str, index: Lookup) -> list[Purchase]:
    key = index.listing(f"{where}.set", draft.set or "")
    listing = index.listings.get(key)
    if listing is None or not listing.supplies:
        return []
    if any(supply.split is None for supply in listing.supplies):
        index.problems.add(
            f"{where}.set",
            'its parts have no split; give each one in [[set]], such as split = "60 %"',
        )
        return []
    shares = [supply.split or Decimal(0) for supply in listing.supplies]
    totals, debits = _shared(draft.total, shares), _shared(draft.debited, shares)
    return [
        _purchase(draft, supply.part, _held(index, supply.part, supply.amount), total, debited)
        for supply, total, debited in zip(listing.supplies, totals, debits, strict=True)
    ]


def _held(index: Lookup, part: str, amount: Amount) -> Decimal:
    known = index.parts.get(part)
    return (in_base(known, amount) if known else None) or Decimal(1)


def _shared(money: Money | None, shares: list[Decimal]) -> list[Money | None]:
    """Split to the cent; the last one takes what rounding left."""
    if money is None:
        return [None] * len(shares)
    split = [round_money(money.amount * share, money.currency) for share in shares[:-1]]
    split.append(money.amount - sum(split, Decimal(0)))
    return [Money(one, money.currency) for one in split]
