"""`[part.KEY]` with its listings, and `[[set]]`: listings that supply several parts."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any, Final, Literal

from scrapers import Amount, Dimension, dimension, to_base
from service.errors import InputError
from service.exchange.catalogue import goods
from service.exchange.catalogue import values as v
from service.exchange.catalogue.draft import NO_AMOUNT, Found
from service.model.catalogue import (
    DEFAULT_EVERY,
    Break,
    Equivalent,
    Listing,
    Part,
    Supply,
    listing_key,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from service.exchange.catalogue.table import Table

IDS = ("gtin", "mpn", "sku", "brand")
RULES = ("price", "list_price", "availability", "title")
ASSUMED: Final[dict[str, v.Read[str]]] = {
    "currency": v.currency,
    "locale": v.words(20),
}
_SOLD_AS = 'say what one purchase holds, such as sold_as = "1 piece" or "0.27 m2"'


def read_part(key: str, table: Table) -> Part:
    """The part itself; its listings are read by `read_listings`."""
    table.has("listing")
    part = Part(
        key=key,
        name=table.need("name", v.words(), "", f'write such as name = "{key}"'),
        unit=table.get("unit", v.unit, "piece"),
        spec=table.texts("spec", v.spec_value),
        classes=table.each("class", v.key),
        mass=table.maybe("mass", v.amount),
        density=table.maybe("density", goods.density),
        areal_mass=table.maybe("areal_mass", goods.areal_mass),
        tariff_group=table.maybe("tariff_group", v.key),
        ids=_ids(table),
        keep=table.maybe("keep", v.amount),
        shelf_life=table.maybe("shelf_life", v.duration),
        pair_is=table.get("pair_is", v.whole(1, 1000), 2),
        equivalents=tuple(_equivalent(row) for row in table.tables("equivalent")),
        mix=table.get("mix", goods.mix, ()),
        mix_of=table.each("mix_of", v.key),
    )
    if part.mix_of and (len(part.mix_of) != len(part.mix) or len(set(part.mix_of)) < 2):
        table.problem(
            'goes with mix: the two parts in its order; write mix = "100:42" and '
            'mix_of = ["resin", "hardener"]',
            "mix_of",
        )
    table.done()
    return part


def _ids(table: Table) -> dict[str, str]:
    ids = table.texts("ids", v.words(80), IDS)
    if "gtin" in ids and not goods.is_gtin(ids["gtin"]):
        table.problem(
            f'"{ids["gtin"]}" fails its check digit; copy the number under the bar code again',
            "ids.gtin",
        )
    return ids


def _equivalent(row: Table) -> Equivalent:
    found = Equivalent(
        part=row.need("part", v.key, "", "name the other part by its key"),
        note=row.get("note", v.words(), ""),
        one_way=row.get("one_way", v.flag, False),
    )
    row.done()
    return found


def read_listings(part: str, table: Table) -> Iterator[Found[Listing]]:
    """The listings in `[[part.KEY.listing]]`."""
    for row in table.tables("listing"):
        sold_as = row.need("sold_as", v.amount, NO_AMOUNT, _SOLD_AS)
        yield Found(_listing(row, (Supply(part, sold_as),)), row.where)


def read_set(row: Table) -> Found[Listing]:
    """One `[[set]]`."""
    supplies = tuple(_supply(supply) for supply in row.tables("supplies"))
    if not supplies:
        hint = 'write what it holds: [{ part = "KEY", amount = "1 piece" }]'
        row.problem(f"missing; {hint}", "supplies")
    splits = [supply.split for supply in supplies if supply.split is not None]
    if splits and (len(splits) != len(supplies) or sum(splits) != 1):
        row.problem("give every part a split, adding up to 100 %, or none", "supplies")
    twice = {s.part for s in supplies if [t.part for t in supplies].count(s.part) > 1}
    for part in sorted(twice - {""}):
        row.problem(f'names "{part}" twice; write one row with the whole amount', "supplies")
    return Found(_listing(row, supplies), row.where)


def _supply(row: Table) -> Supply:
    found = Supply(
        part=row.need("part", v.key, "", "name the part by its key"),
        amount=row.need("amount", v.amount, NO_AMOUNT, 'write such as amount = "1 piece"'),
        split=row.maybe("split", v.fraction),
    )
    row.done()
    return found


def _listing(row: Table, supplies: tuple[Supply, ...]) -> Listing:
    supplier = row.need("supplier", v.key, "", "name the supplier by its key")
    url, choice = row.maybe("url", v.url), row.maybe("choice", v.words())
    parts = "+".join(supply.part for supply in supplies)
    found = Listing(
        key=listing_key(supplier, parts, url, choice),
        supplier=supplier,
        supplies=supplies,
        url=url,
        every=row.get("every", v.at_least(v.MINUTE, "write 1 min or more"), DEFAULT_EVERY),
        choice=choice,
        rule=_rule(row),
        render=row.get("render", v.flag, False),
        includes=row.each("includes", included),
        breaks=tuple(_break(tier) for tier in row.tables("breaks")),
        least=_of_width(row.maybe("least", v.amount), supplies),
        step=_of_width(row.maybe("step", v.amount), supplies),
        days=row.maybe("days", v.promise),
        country=row.maybe("country", v.country),
    )
    row.done()
    return found


def _of_width(amount: Amount | None, supplies: tuple[Supply, ...]) -> Amount | None:
    """A length of goods that are sold by length of a width is one of that width."""
    size = supplies[0].amount.size if len(supplies) == 1 else None
    if amount is None or size is None or dimension(amount.unit) is not Dimension.LENGTH:
        return amount
    long = to_base(amount) * 1000
    return Amount(long * size[1] / 1_000_000, "m2", size=(long, size[1]))


def _rule(row: Table) -> dict[str, str]:
    inner = row.table("rule")
    wanted: dict[str, v.Read[str]] = dict.fromkeys(RULES, v.rule) | ASSUMED
    read = {name: inner.maybe(name, reader) for name, reader in wanted.items()}
    inner.done()
    return {name: value for name, value in read.items() if value is not None}


def included(raw: Any) -> Supply:
    """`"strap: 1 piece"`: what comes with the goods."""
    part, colon, amount = raw.partition(":") if isinstance(raw, str) else ("", "", "")
    if not colon:
        raise InputError(f'{v.shown(raw)} is not "PART: AMOUNT"; write such as "strap: 1 piece"')
    return Supply(v.key(part.strip()), v.amount(amount.strip()))


def _break(tier: Table) -> Break:
    per: Literal["lot", "each"] = "each"
    if tier.get("per", v.one_of("each", "lot"), "each") == "lot":
        per = "lot"
    found = Break(
        quantity=tier.need("quantity", v.whole(1, 1_000_000), 1, "write from how many on"),
        price=tier.need("price", v.price, Decimal(0), 'write such as price = "9.90"'),
        per=per,
    )
    tier.done()
    return found
