"""A book as catalogue text. What `read_book` reads from it equals the book."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from service.exchange.catalogue import emit
from service.exchange.catalogue.dump_diary import diary_texts
from service.exchange.catalogue.extract import public_copy, selection
from service.exchange.catalogue.forms import (
    Content,
    amount_of,
    cut_text,
    kept,
    money_of,
    plain_of,
)
from service.exchange.catalogue.values import duration_text, fraction_text, plain
from service.model.catalogue import DEFAULT_EVERY, Fee, Listing, Part, ShippingRow, Supplier, Supply
from service.model.money import money_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from service.model.book import Book
    from service.model.builds import Build, Line
    from service.model.deals import Target

_NUMBER: Final = re.compile(r"-?(?:0|[1-9][0-9]{0,11})(?:\.[0-9]{0,11}[1-9])?")


def dump_book(book: Book, *, public: bool = False, build: str | None = None) -> str:
    """TOML in a fixed order. `build`: only that build, what it derives from and needs.

    `public` leaves parts, requirements and amounts, for a friend: no suppliers,
    listings, prices, purchases, targets, budgets or notes. NotFoundError: no such build.
    """
    if build is not None:
        book = selection(book, build)
    if public:
        book = public_copy(book)
    pieces = [emit.line("companion_rules", book.companion_rules)] if book.companion_rules else []
    pieces += [emit.table(f"[supplier.{emit.key(s.key)}]", _supplier(s)) for s in book.suppliers]
    own = _single(book)
    pieces += [_part_with_listings(part, own.get(part.key, ())) for part in book.parts]
    pieces += [emit.table("[[set]]", _set(one)) for one in book.listings if _as_set(one)]
    pieces += [
        emit.table(f"[build.{emit.key(b.key)}]", _build(b, book.dismissed)) for b in book.builds
    ]
    pieces += diary_texts(book)
    pieces += [emit.table("[[target]]", _target(target)) for target in book.targets]
    return "\n".join(pieces)


def _bare(number: Decimal | None) -> Decimal | None:
    return None if number is None else Decimal(plain(number))


def _sorted(named: Mapping[str, str]) -> dict[str, str]:
    return dict(sorted(named.items()))


def _spec(spec: Mapping[str, str]) -> Content:
    """Numbers bare, in the one form that is read back as the same text."""
    named = _sorted(spec).items()
    return {name: Decimal(text) if _NUMBER.fullmatch(text) else text for name, text in named}


def _supplier(supplier: Supplier) -> Content:
    code = supplier.currency or "EUR"
    return kept(
        {
            "name": supplier.name,
            "home": supplier.home,
            "country": supplier.country,
            "currency": supplier.currency,
            "prices": supplier.prices,
            "shipping": [_shipping(row, code) for row in supplier.shipping],
            "min_gap": None if supplier.min_gap is None else duration_text(supplier.min_gap),
            "min_order": _price(supplier.min_order, code),
            "contact_note": supplier.contact_note,
            "fee": [_fee(fee, code) for fee in supplier.fees],
        }
    )


def _price(amount: Decimal | None, currency: str) -> str | None:
    return None if amount is None else money_text(amount, currency)


def _shipping(row: ShippingRow, currency: str) -> Content:
    return kept(
        {
            "to": row.to,
            "fee": _price(row.fee, currency),
            "free_from": _price(row.free_from, currency),
            "up_to_g": plain_of(row.up_to_g),
            "up_to": _price(row.up_to, currency),
            "days": row.days,
            "class": list(row.classes),
            "not_class": list(row.not_classes),
        }
    )


def _fee(fee: Fee, currency: str) -> Content:
    return kept(
        {
            "name": fee.name,
            "amount": _price(fee.amount, currency),
            "percent": None if fee.percent is None else f"{plain(fee.percent)} %",
            "when": {"class": fee.when_class} if fee.when_class else None,
        }
    )


def _single(book: Book) -> dict[str, list[Listing]]:
    """Listings of one part, by part."""
    found: dict[str, list[Listing]] = {}
    for listing in book.listings:
        if not _as_set(listing):
            found.setdefault(listing.supplies[0].part, []).append(listing)
    return found


def _part_with_listings(part: Part, own: Sequence[Listing]) -> str:
    name = emit.key(part.key)
    pieces = [emit.table(f"[part.{name}]", _part(part))]
    pieces += [emit.table(f"[[part.{name}.listing]]", _listing(one)) for one in own]
    return "".join(pieces)


def _part(part: Part) -> Content:
    return kept(
        {
            "name": part.name,
            "unit": part.unit,
            "spec": _spec(part.spec),
            "class": list(part.classes),
            "mass": amount_of(part.mass),
            "density": plain_of(part.density),
            "areal_mass": plain_of(part.areal_mass),
            "tariff_group": part.tariff_group,
            "ids": _sorted(part.ids),
            "keep": amount_of(part.keep),
            "shelf_life": None if part.shelf_life is None else duration_text(part.shelf_life),
            "pair_is": None if part.pair_is == 2 else part.pair_is,
            "equivalent": [
                kept({"part": other.part, "note": other.note, "one_way": other.one_way or None})
                for other in part.equivalents
            ],
            "mix": ":".join(plain(side) for side in part.mix),
            "mix_of": list(part.mix_of),
        }
    )


def _as_set(listing: Listing) -> bool:
    return listing.is_set or listing.supplies[0].split is not None


def _listing(listing: Listing) -> Content:
    shared = _listed(listing)
    return {
        "supplier": shared.pop("supplier"),
        "sold_as": amount_of(listing.supplies[0].amount),
    } | shared


def _set(listing: Listing) -> Content:
    shared = _listed(listing)
    supplies = [_supply(supply) for supply in listing.supplies]
    return {"supplier": shared.pop("supplier"), "supplies": supplies} | shared


def _supply(supply: Supply) -> Content:
    split = None if supply.split is None else fraction_text(supply.split)
    return kept({"part": supply.part, "amount": amount_of(supply.amount), "split": split})


def _listed(listing: Listing) -> Content:
    every = None if listing.every == DEFAULT_EVERY else duration_text(listing.every)
    return kept(
        {
            "supplier": listing.supplier,
            "url": listing.url,
            "choice": listing.choice,
            "every": every,
            "rule": _sorted(listing.rule),
            "render": listing.render or None,
            "includes": [f"{s.part}: {amount_of(s.amount)}" for s in listing.includes],
            "breaks": [
                {"quantity": tier.quantity, "price": plain(tier.price), "per": tier.per}
                for tier in listing.breaks
            ],
            "least": amount_of(listing.least),
            "step": amount_of(listing.step),
            "days": listing.days,
            "country": listing.country,
        }
    )


def _build(build: Build, dismissed: Mapping[str, Sequence[str]]) -> Content:
    return kept(
        {
            "name": build.name,
            "from": build.base,
            "currency": build.currency,
            "budget": _price(build.budget, build.currency),
            "need_by": build.need_by,
            "destination": build.destination,
            "state": None if build.state == "planned" else build.state,
            "hours": _bare(build.hours),
            "labour_rate": money_of(build.labour_rate),
            "dismissed": list(dismissed.get(build.key, ())),
            "replace": [
                kept({"part": swap.old, "by": swap.new, "amount": amount_of(swap.amount)})
                for swap in build.replace
            ],
            "lines": [_line(line) for line in build.lines],
        }
    )


def _line(line: Line) -> Content:
    chosen = [{"part": other.part, "amount": amount_of(other.amount)} for other in line.choose]
    return kept(
        {
            "part": line.part,
            "need": _spec(line.need),
            "or": chosen,
            "amount": amount_of(line.amount),
            "group": None if line.group == "other" else line.group,
            "counts": None if line.counts.kind == "share" else str(line.counts),
            "waste": fraction_text(line.waste) if line.waste else None,
            "kerf": f"{plain(line.kerf)} mm" if line.kerf else None,
            "cuts": [cut_text(piece) for piece in line.cuts],
            "longest": amount_of(line.longest),
            "grain": line.grain,
            "listing": line.listing,
            "note": line.note,
            "hours": _bare(line.hours),
        }
    )


def _target(target: Target) -> Content:
    subject = _spec(target.need) if target.kind == "need" else target.subject
    unit_price = money_of(target.unit_at_or_below)
    regular, lowest = target.below_regular, target.lowest_in
    return kept(
        {
            target.kind: subject,
            "at_or_below": money_of(target.at_or_below),
            "unit_at_or_below": unit_price and f"{unit_price}/{target.per}",
            "below_regular": None if regular is None else fraction_text(regular),
            "lowest_in": None if lowest is None else duration_text(lowest),
            "back_in_stock": target.back_in_stock or None,
            "within_budget": target.within_budget,
            "until": target.until,
            "hold": None if target.hold is None else duration_text(target.hold),
            "reopen_above": money_of(target.reopen_above),
            "again_below": money_of(target.again_below),
        }
    )
