"""Follows the references of a draft, checks what only the whole can tell, makes the book."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Final, Protocol, TypeVar

from scrapers import Amount, Dimension, dimension
from service.errors import InputError
from service.exchange.catalogue import values as v
from service.exchange.catalogue.bought import purchases_of
from service.exchange.catalogue.diary import diary_of
from service.exchange.catalogue.draft import Draft, Found
from service.exchange.catalogue.measure import mismatch
from service.exchange.catalogue.wishes import target_key
from service.model.book import Book

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from service.exchange.catalogue.table import Problems
    from service.model.builds import Build, Line
    from service.model.catalogue import Listing, Part, Supplier
    from service.model.deals import Target


class _Keyed(Protocol):
    @property
    def key(self) -> str: ...


K = TypeVar("K", bound=_Keyed)
_ONE_PAGE: Final = "keep one of them, give each its own choice, or write one [[set]]"


def by_key(
    items: Iterable[Found[K]], problems: Problems, hint: str = "keep one of them"
) -> dict[str, Found[K]]:
    """Each thing once; the same key with other content is a problem naming both places."""
    found: dict[str, Found[K]] = {}
    for item in items:
        first = found.setdefault(item.value.key, item)
        if first.value != item.value:
            problems.add(
                item.where,
                f'"{item.value.key}" stands already in {first.where} with other content; {hint}',
            )
    return found


@dataclass(frozen=True, slots=True)
class Index:
    """Everything that can be referred to: the files over what is stored."""

    suppliers: Mapping[str, Supplier]
    parts: Mapping[str, Part]
    listings: Mapping[str, Listing]
    builds: Mapping[str, Build]
    names: Mapping[str, Sequence[Listing]]
    problems: Problems

    def unknown(self, where: str, kind: str, key: str, known: Mapping[str, object]) -> bool:
        """Note that `key` names nothing. An empty key was noted before."""
        if not key or key in known:
            return False
        hint = v.nearest(key, known) or f"; define [{kind}.{key}] or correct the name"
        self.problems.add(where, f'there is no {kind} "{key}"{hint}')
        return True

    def amount(self, where: str, part: str, amount: Amount | None) -> None:
        """Note an amount that cannot count the part."""
        if amount is None or part not in self.parts:
            return
        wrong = mismatch(self.parts[part], amount)
        if wrong:
            self.problems.add(where, wrong)

    def listing(self, where: str, text: str) -> str:
        """The key of the listing that `text` names: its URL, or `supplier/part`."""
        try:
            return pick_listing(text, self.names).key
        except InputError as error:
            self.problems.add(where, error.problems[0])
            return text


def listing_names(listings: Iterable[Listing]) -> dict[str, list[Listing]]:
    """Listings by everything that may name them: key, URL, `supplier/part`."""
    named: dict[str, list[Listing]] = {}
    for one in listings:
        pairs = [f"{one.supplier}/{supply.part}" for supply in one.supplies]
        for name in {one.key, one.url or one.key, *pairs}:
            named.setdefault(name, []).append(one)
    return named


def pick_listing(text: str, names: Mapping[str, Sequence[Listing]]) -> Listing:
    """The one listing that `text` names. InputError: none or several, and what to write."""
    found = names.get(text, ())
    exact = [one for one in found if one.key == text]
    if len(exact or found) == 1:
        return (exact or found)[0]
    if found:
        keys = ", ".join(f'"{one.key}"' for one in found[:5])
        raise InputError(f'"{text}" names {len(found)} listings; write one of {keys}')
    near = v.nearest(text, names.keys())
    raise InputError(f'there is no listing "{text}"{near or "; write its URL or supplier/part"}')


def find_listing(text: str, listings: Iterable[Listing]) -> Listing:
    """By key, by URL, or by `supplier/part` where that is unique. InputError where not."""
    return pick_listing(text, listing_names(listings))


def link(draft: Draft, known: Book, problems: Problems) -> Book:
    """The book of the draft, its references followed into it and into `known`."""
    suppliers, parts = by_key(draft.suppliers, problems), by_key(draft.parts, problems)
    listings = by_key(draft.listings, problems, _ONE_PAGE)
    builds = by_key(draft.builds, problems)
    sold = _over(known.listings, listings)
    index = Index(
        suppliers=_over(known.suppliers, suppliers),
        parts=_over(known.parts, parts),
        listings=sold,
        builds=_over(known.builds, builds),
        names=listing_names(sold.values()),
        problems=problems,
    )
    for name in draft.mentioned:
        index.unknown(name.where, "part", name.value, index.parts)
    for part in parts.values():
        check_part(part, index)
    for listing in listings.values():
        check_listing(listing.value, listing.where, index)
    check_stored(parts, listings, builds, known, index)
    targets = by_key([link_target(found, index) for found in draft.targets], problems)
    booked = purchases_of(draft.purchases, index)
    diary = diary_of(draft, booked, index)
    return Book(
        suppliers=_sorted(suppliers),
        parts=_sorted(parts),
        listings=_sorted(listings),
        builds=tuple(link_build(builds[key], index) for key in sorted(builds)),
        purchases=tuple(purchase for purchase, _ in booked),
        targets=_sorted(targets),
        orders=tuple(diary.orders),
        bills=tuple(diary.bills),
        movements=tuple(diary.movements),
        offcuts=tuple(diary.offcuts),
        dismissed={one.value[0]: one.value[1] for one in draft.dismissed},
        companion_rules="\n".join(draft.companion_rules),
    )


def _over(stored: Iterable[K], found: Mapping[str, Found[K]]) -> dict[str, K]:
    return {one.key: one for one in stored} | {key: one.value for key, one in found.items()}


def _sorted(found: Mapping[str, Found[K]]) -> tuple[K, ...]:
    return tuple(found[key].value for key in sorted(found))


def check_part(found: Found[Part], index: Index) -> None:
    part, where = found.value, found.where
    if dimension(part.unit) is Dimension.AREAL_MASS:
        index.problems.add(f"{where}.unit", f'nothing is sold by "{part.unit}"; write "m2" or "g"')
    if part.mass is not None and dimension(part.mass.unit) is not Dimension.MASS:
        index.problems.add(f"{where}.mass", 'is not a mass; write such as "310 g"')
    index.amount(f"{where}.keep", part.key, part.keep)
    for place, other in enumerate(part.equivalents, 1):
        index.unknown(f"{where}.equivalent[{place}].part", "part", other.part, index.parts)
    check_mix(part, where, index)


def check_mix(part: Part, where: str, index: Index) -> None:
    """A mixture and its components are counted by mass, and no component is a mixture."""
    for key in part.mix_of:
        at = f"{where}.mix_of"
        if index.unknown(at, "part", key, index.parts):
            continue
        if index.parts[key].mix_of:
            index.problems.add(at, f'"{key}" is itself mixed; name what it is mixed of')
        index.amount(at, key, Amount(Decimal(1), "g"))
    if part.mix:
        index.amount(f"{where}.mix", part.key, Amount(Decimal(1), "g"))


def check_listing(listing: Listing, where: str, index: Index) -> None:
    in_set = ".listing[" not in where
    index.unknown(f"{where}.supplier", "supplier", listing.supplier, index.suppliers)
    for place, supply in enumerate(listing.supplies, 1):
        at = f"{where}.supplies[{place}]" if in_set else where
        if in_set:
            index.unknown(f"{at}.part", "part", supply.part, index.parts)
        index.amount(f"{at}.{'amount' if in_set else 'sold_as'}", supply.part, supply.amount)
    for place, extra in enumerate(listing.includes, 1):
        index.amount(f"{where}.includes[{place}]", extra.part, extra.amount)
    if listing.supplies and not listing.is_set:
        for name, amount in (("least", listing.least), ("step", listing.step)):
            index.amount(f"{where}.{name}", listing.supplies[0].part, amount)
    quantities = [tier.quantity for tier in listing.breaks]
    if len(set(quantities)) < len(quantities):
        index.problems.add(f"{where}.breaks", "names a quantity twice; keep one row for each")


def check_stored(
    parts: Mapping[str, Found[Part]],
    listings: Mapping[str, object],
    builds: Mapping[str, object],
    known: Book,
    index: Index,
) -> None:
    """What is stored and stays must still fit the parts as the files now define them."""
    for listing in known.listings:
        for supply in listing.supplies:
            if listing.key not in listings and supply.part in parts:
                where = f"{parts[supply.part].where}.unit (stored listing {listing.key})"
                index.amount(where, supply.part, supply.amount)
    for build in known.builds:
        for place, line in enumerate(build.lines, 1):
            if build.key not in builds and line.part is not None and line.part in parts:
                where = f"{parts[line.part].where}.unit (stored build {build.key}, line {place})"
                index.amount(where, line.part, line.amount)


def link_build(found: Found[Build], index: Index) -> Build:
    build, where = found.value, found.where
    chain = _chain(build, where, index)
    currency = next((one.currency for one in chain if one.currency), "")
    lines = []
    for place, line in enumerate(build.lines, 1):
        lines.append(_link_line(line, f"{where}.lines[{place}]", index))
    _check_replaced(build, chain, where, index)
    return replace(build, currency=currency, lines=tuple(lines))


def _chain(build: Build, where: str, index: Index) -> list[Build]:
    """The build and what it derives from, nearest first; a circle is a problem."""
    chain = [build]
    while (base := chain[-1].base) is not None:
        if len(chain) == 1 and index.unknown(f"{where}.from", "build", base, index.builds):
            return chain
        if base not in index.builds:
            return chain
        if base in [one.key for one in chain]:
            index.problems.add(f"{where}.from", "leads back to this build; name another base")
            return chain
        chain.append(index.builds[base])
    return chain


def _link_line(line: Line, where: str, index: Index) -> Line:
    if line.part is not None:
        index.unknown(f"{where}.part", "part", line.part, index.parts)
        index.amount(f"{where}.amount", line.part, line.amount)
    for place, other in enumerate(line.choose, 1):
        at = f"{where}.or (alternative {place})"
        if not index.unknown(at, "part", other.part, index.parts):
            index.amount(at, other.part, other.amount)
    if line.listing is None:
        return line
    key = index.listing(f"{where}.listing", line.listing)
    listing = index.listings.get(key)
    if listing and line.part in index.parts and listing.holds(line.part or "") is None:
        index.problems.add(
            f"{where}.listing", f'does not sell "{line.part}"; name one of its listings'
        )
    return replace(line, listing=key)


def _check_replaced(build: Build, chain: list[Build], where: str, index: Index) -> None:
    used = {part for base in chain[1:] for part in parts_used(base)}
    for place, swap in enumerate(build.replace, 1):
        at = f"{where}.replace[{place}]"
        if len(chain) > 1 and swap.old and swap.old not in used:
            hint = v.nearest(swap.old, used) or "; name a part that it has"
            index.problems.add(f"{at}.part", f'"{build.base}" has no line with "{swap.old}"{hint}')
        new = swap.new or swap.old
        if swap.new is None or not index.unknown(f"{at}.by", "part", swap.new, index.parts):
            index.amount(f"{at}.amount", new, swap.amount)


def parts_used(build: Build) -> set[str]:
    """Every part that the build itself names."""
    used = {line.part for line in build.lines if line.part is not None}
    used |= {other.part for line in build.lines for other in line.choose}
    return used | {swap.new for swap in build.replace if swap.new is not None}


def link_target(found: Found[Target], index: Index) -> Found[Target]:
    target, where = found.value, found.where
    at = f"{where}.{target.kind}"
    if target.kind == "listing" and target.subject:
        target = replace(target, subject=index.listing(at, target.subject))
    elif target.kind == "part":
        index.unknown(at, "part", target.subject, index.parts)
        if target.per is not None:
            price = f"{where}.unit_at_or_below"
            index.amount(price, target.subject, v.amount(f"1 {target.per}"))
    elif target.kind == "build":
        index.unknown(at, "build", target.subject, index.builds)
    return Found(replace(target, key=target_key(target)), where)
