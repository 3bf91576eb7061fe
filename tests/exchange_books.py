"""Books made by hypothesis: every field of the model, references that hold, keys in order."""

from __future__ import annotations

import string
from datetime import date, timedelta
from decimal import Decimal

from hypothesis import strategies as st

from scrapers import Amount, parse_amount
from service.exchange.catalogue.wishes import need_text, target_key
from service.model.book import Book
from service.model.builds import Alternative, Build, Counts, Cut, Line, Replacement
from service.model.catalogue import (
    Break,
    Equivalent,
    Fee,
    Listing,
    Part,
    ShippingRow,
    Supplier,
    Supply,
    listing_key,
)
from service.model.deals import Target
from service.model.money import Money
from service.model.orders import (
    Movement,
    Offcut,
    Order,
    OrderBill,
    OrderLine,
    Purchase,
    Step,
)

keys = st.text(string.ascii_lowercase + string.digits + "-._", min_size=1, max_size=8).filter(
    lambda text: text[0].isalnum()
)
texts = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1, max_size=20
).filter(lambda text: text == text.strip())
notes = st.one_of(st.just(""), texts)
cents = st.decimals("0", "99999", places=2)
prices = st.decimals("0.0001", "99999", places=4)
currencies = st.sampled_from(["EUR", "GBP", "USD", "JPY", "PLN"])
money = st.builds(Money, prices, currencies)
countries = st.sampled_from(["NL", "DE", "GB", "CZ", "US"])
days = st.one_of(st.none(), st.sampled_from(["1", "2-4", "10-20"]))
spans = st.integers(1, 10**6).map(lambda minutes: timedelta(minutes=minutes))
dates = st.dates(date(2000, 1, 1), date(2099, 12, 31))
fractions = st.integers(1, 1000).map(lambda mille: Decimal(mille) / 1000)
positive = st.decimals("0.001", "9999", places=3)
spec_values = st.one_of(
    st.integers(-9999, 9999).map(str), texts, st.sampled_from(["true", "007", "1.50", "3000..3600"])
)
specs = st.dictionaries(texts, spec_values, max_size=3)
needs = st.dictionaries(
    keys, st.sampled_from(["4", "3000..3600", "..5", "XT60 | XT90", "007"]), min_size=1, max_size=2
)

AMOUNTS = {
    "piece": ["1 piece", "20 pieces", "2 pairs", "0.5 piece"],
    "pair": ["1 pair", "3 pieces"],
    "m": ["1 m", "300 mm", "2 x 5 m", "300 mm x 4", "12 in", "1/3 ft", "1 m x 1.2 m"],
    "m2": ["0.27 m2", "300 x 600 mm", "1 m x 1.2 m", "12 in x 36 in", "2 sheets of 300 x 600 mm"],
    "g": ["300 g", "1,5 kg", "4.5 oz", "2 pieces of 250 g"],
    "ml": ["50 ml", "1 l", "8 fl oz"],
}


def amounts(unit: str) -> st.SearchStrategy[Amount]:
    return st.sampled_from(AMOUNTS[unit]).map(parse_amount)


maybe = st.none()


@st.composite
def suppliers(draw: st.DrawFn, key: str) -> Supplier:
    shipping = st.builds(
        ShippingRow,
        to=st.one_of(st.just("*"), countries),
        fee=cents,
        free_from=maybe | cents,
        up_to_g=maybe | positive,
        up_to=maybe | cents,
        days=days,
        classes=st.lists(keys, max_size=2).map(tuple),
        not_classes=st.lists(keys, max_size=2).map(tuple),
    )
    by_amount = st.builds(Fee, name=texts, amount=cents, when_class=maybe | keys)
    by_percent = st.builds(Fee, name=texts, percent=st.decimals("0.01", "100", places=2))
    return Supplier(
        key=key,
        name=draw(texts),
        home=draw(maybe | st.just("https://shop.example/")),
        country=draw(maybe | countries),
        currency=draw(currencies),
        prices=draw(st.sampled_from(["with-tax", "without-tax"])),
        shipping=tuple(draw(st.lists(shipping, max_size=2))),
        min_gap=draw(maybe | spans),
        min_order=draw(maybe | cents),
        contact_note=draw(maybe | texts),
        fees=tuple(draw(st.lists(by_amount | by_percent, max_size=2))),
    )


@st.composite
def parts(draw: st.DrawFn, key: str, others: list[str]) -> Part:
    unit = draw(st.sampled_from(sorted(AMOUNTS)))
    equivalents = st.builds(
        Equivalent, part=st.sampled_from(others), note=notes, one_way=st.booleans()
    )
    ids = st.fixed_dictionaries({}, optional={"gtin": st.just("2004187001230"), "mpn": texts})
    return Part(
        key=key,
        name=draw(texts),
        unit=unit,
        spec=draw(specs),
        classes=tuple(draw(st.lists(keys, max_size=2))),
        mass=draw(maybe | amounts("g")),
        density=draw(maybe | positive),
        areal_mass=draw(maybe | positive),
        tariff_group=draw(maybe | keys),
        ids=draw(ids),
        keep=draw(maybe | amounts(unit)),
        shelf_life=draw(maybe | spans),
        pair_is=draw(st.integers(1, 9)),
        equivalents=tuple(draw(st.lists(equivalents, max_size=2))),
        mix=draw(st.just(()) | st.tuples(positive, positive)) if unit == "g" else (),
    )


@st.composite
def listings(draw: st.DrawFn, number: int, shops: list[str], goods: list[Part]) -> Listing:
    held = draw(st.lists(st.sampled_from(goods), min_size=1, max_size=3, unique_by=lambda p: p.key))
    split = len(held) == 2 and draw(st.booleans())
    share = draw(fractions.filter(lambda part: part < 1)) if split else None
    supplies = tuple(
        Supply(part.key, draw(amounts(part.unit)), share and (share if n == 0 else 1 - share))
        for n, part in enumerate(held)
    )
    shop = draw(st.sampled_from(shops))
    url = f"https://shop.example/p/{number}" if draw(st.booleans()) else None
    choice = draw(maybe | texts)
    rules = st.fixed_dictionaries(
        {}, optional={"price": st.just('css:a > b[title="b"]'), "currency": currencies}
    )
    # a length of goods sold by length of a width is read as one of that width
    wide = any(supply.amount.size for supply in supplies)
    single = not split and len(held) == 1 and not wide
    tiers = st.builds(Break, st.integers(1, 99), prices, st.sampled_from(["each", "lot"]))
    return Listing(
        key=listing_key(shop, "+".join(part.key for part in held), url, choice),
        supplier=shop,
        supplies=supplies,
        url=url,
        every=draw(spans),
        choice=choice,
        rule=draw(rules),
        render=draw(st.booleans()),
        includes=tuple(draw(st.lists(st.builds(Supply, st.just("strap"), amounts("piece")), max_size=1))),
        breaks=tuple(draw(st.lists(tiers, max_size=2, unique_by=lambda tier: tier.quantity))),
        least=draw(maybe | amounts(held[0].unit)) if single else None,
        step=draw(maybe | amounts(held[0].unit)) if single else None,
        days=draw(days),
        country=draw(maybe | countries),
    )  # fmt: skip


cuts = st.builds(Cut, st.integers(1, 99), length=positive) | st.builds(
    Cut, st.integers(1, 99), size=st.tuples(positive, positive)
)
counts = st.sampled_from(["share", "whole", "owned", "stock", "tool"]).map(Counts) | st.integers(
    2, 99
).map(lambda among: Counts("shared", among))


@st.composite
def lines(draw: st.DrawFn, goods: list[Part], offers: list[Listing]) -> Line:
    part = draw(st.sampled_from(goods))
    kind = draw(st.sampled_from(["part", "need", "or"]))
    choose = [Alternative(one.key, draw(amounts(one.unit))) for one in draw(st.lists(st.sampled_from(goods), min_size=1, max_size=3))]  # fmt: skip
    fixed = [one.key for one in offers if one.holds(part.key)]
    return Line(
        amount=draw(amounts(part.unit)),
        group=draw(texts),
        part=part.key if kind == "part" else None,
        need=draw(needs) if kind == "need" else {},
        choose=tuple(choose) if kind == "or" else (),
        counts=draw(counts),
        waste=draw(st.just(Decimal(0)) | fractions),
        kerf=draw(st.just(Decimal(0)) | positive),
        cuts=tuple(draw(st.lists(cuts, max_size=2))),
        longest=draw(maybe | st.just(parse_amount("900 mm"))),
        grain=draw(maybe | st.sampled_from(["along", "across", "any"])),
        listing=draw(maybe | st.sampled_from(fixed)) if fixed and kind == "part" else None,
        note=draw(notes),
        hours=draw(maybe | positive),
    )


@st.composite
def builds(draw: st.DrawFn, key: str, bases: list[Build], goods: list[Part], offers: list[Listing]) -> Build:  # fmt: skip
    base = draw(maybe | st.sampled_from(bases)) if bases else None
    used = sorted({line.part for line in base.lines if line.part}) if base else []
    swaps = [
        Replacement(old, draw(maybe | st.just(goods[0].key)), None)
        for old in used[: draw(st.integers(0, 2))]
    ]
    return Build(
        key=key,
        name=draw(texts),
        currency=draw(currencies),
        lines=tuple(draw(st.lists(lines(goods, offers), max_size=3))),
        budget=draw(maybe | cents),
        need_by=draw(maybe | dates),
        destination=draw(maybe | countries),
        base=base.key if base else None,
        replace=tuple(swaps),
        state=draw(st.sampled_from(["planned", "building", "finished", "retired"])),
        hours=draw(maybe | positive),
        labour_rate=draw(maybe | money),
    )


@st.composite
def targets(draw: st.DrawFn, goods: list[Part], offers: list[Listing], made: list[Build]) -> Target:
    kinds = ["part", "need"] + ["listing"] * bool(offers) + ["build"] * bool(made)
    kind = draw(st.sampled_from(kinds))
    need = draw(needs) if kind == "need" else {}
    owners = {"part": goods, "listing": offers, "build": made, "need": []}[kind]
    subject = need_text(need) if kind == "need" else draw(st.sampled_from(owners)).key
    code = draw(currencies)
    sums = st.builds(Money, prices, st.just(code))
    conditions = [{"at_or_below": draw(sums)}, {"below_regular": draw(fractions)}, {"lowest_in": draw(spans)}]  # fmt: skip
    if kind == "build":
        conditions.append({"within_budget": draw(st.sampled_from(["to_spend", "share"]))})
    elif kind != "part":
        conditions += [{"back_in_stock": True}, {"unit_at_or_below": draw(sums), "per": "m"}]
    target = Target(
        key="",
        kind=kind,
        subject=subject,
        need=need,
        until=draw(maybe | dates),
        hold=draw(maybe | spans),
        reopen_above=draw(maybe | sums),
        again_below=draw(maybe | sums),
        **draw(st.sampled_from(conditions)),
    )
    return Target(**{name: getattr(target, name) for name in Target.__slots__ if name != "key"}, key=target_key(target))  # fmt: skip


@st.composite
def purchases(draw: st.DrawFn, goods: list[Part], shops: list[str]) -> Purchase:
    return Purchase(
        part=draw(st.sampled_from(goods)).key,
        count=draw(positive),
        total=draw(money),
        content=draw(positive),
        supplier=draw(maybe | st.sampled_from(shops)),
        on=draw(maybe | dates),
        debited=draw(maybe | money),
        order=draw(st.sampled_from(["A-1", 'x "y"']) | maybe | texts),
        condition=draw(texts),
    )


def steps(draw: st.DrawFn) -> tuple[Step, ...]:
    one = st.builds(
        Step,
        kind=st.sampled_from(["arrived", "wrong", "cancelled", "returned", "refunded"]),
        on=dates,
        count=st.decimals("-99", "99", places=2),
        money=maybe | money,
        postage=maybe | money,
        note=notes,
    )
    return tuple(draw(st.lists(one, max_size=3)))


@st.composite
def movements(draw: st.DrawFn, goods: list[Part], made: list[Build]) -> Movement:
    kinds = ["sold", "written off", "good", *(["used", "moved"] if made else [])]
    kind = draw(st.sampled_from(kinds))
    names = st.sampled_from([build.key for build in made]) if made else maybe
    amount = draw(positive) * (draw(st.sampled_from([1, -1])) if kind == "used" else 1)
    return Movement(
        part=draw(st.sampled_from(goods)).key,
        kind=kind,
        amount=Decimal(0) if kind == "good" else amount,
        on=draw(dates),
        build=draw(names if kind in ("used", "moved") else maybe | names),
        to=draw(names) if kind == "moved" else None,
        repair=draw(st.booleans()),
        money=draw(maybe | money),
        postage=draw(maybe | money),
        note=draw(notes),
    )


def booked(draw: st.DrawFn, shops: list[str], bought: list[Purchase]) -> list[Order]:
    """Orders of which some purchases are the lines."""
    found = []
    for key in sorted({one.order for one in bought if one.order}):
        if draw(st.sampled_from([True, True, False])):
            mine = draw(st.permutations([n for n, one in enumerate(bought) if one.order == key]))
            lines = tuple(OrderLine(n, steps(draw), draw(maybe | texts)) for n in mine)
            shop, estimate = draw(maybe | st.sampled_from(shops)), draw(maybe | money)
            found.append(Order(key, draw(dates), shop, lines, estimate, draw(notes)))
    return found


def bills_of(draw: st.DrawFn, orders: list[Order]) -> list[OrderBill]:
    kinds = st.sampled_from(["postage", "customs", "carrier", "fee"])
    return [
        OrderBill(order.key, draw(kinds), draw(money), draw(dates), draw(notes))
        for order in orders
        for _ in range(draw(st.integers(0, 2)))
    ]


def _each(draw: st.DrawFn, items: list[st.SearchStrategy[object]]) -> list[object]:
    found = {one.key: one for one in map(draw, items)}  # type: ignore[attr-defined]  # all have keys
    return [found[key] for key in sorted(found)]


@st.composite
def books(draw: st.DrawFn) -> Book:
    shops = sorted(draw(st.sets(keys, min_size=1, max_size=2)))
    names = sorted(draw(st.sets(keys, min_size=1, max_size=3)))
    goods = [draw(parts(name, names)) for name in names]
    offers = _each(draw, [listings(n, shops, goods) for n in range(draw(st.integers(0, 3)))])
    made: list[Build] = []
    for name in sorted(draw(st.sets(keys, max_size=2))):
        made.append(draw(builds(name, list(made), goods, offers)))
    wishes = _each(draw, [targets(goods, offers, made)] * draw(st.integers(0, 2)))
    bought = draw(st.lists(purchases(goods, shops), max_size=3))
    orders = booked(draw, shops, bought)
    rules = {one.key: draw(st.lists(texts, max_size=2).map(tuple)) for one in made}
    return Book(
        suppliers=tuple(draw(suppliers(name)) for name in shops),
        parts=tuple(goods),
        listings=tuple(offers),
        builds=tuple(made),
        purchases=tuple(bought),
        targets=tuple(wishes),
        orders=tuple(orders),
        bills=tuple(bills_of(draw, orders)),
        movements=tuple(draw(st.lists(movements(goods, made), max_size=2))),
        offcuts=tuple(
            Offcut(one.key, draw(cuts))
            for one in draw(st.lists(st.sampled_from(goods), max_size=2))
        ),
        dismissed={key: names for key, names in rules.items() if names},
        companion_rules=draw(st.sampled_from(["", '# none of "mine" yet\n'])),
    )
