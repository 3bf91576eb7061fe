"""schema.org's own examples and vocabulary (release 30.0, schemaorg/schemaorg at cc71c8e0)."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from scrapers.model import Availability, Outcome, Page, Reading, Tax
from scrapers.read import read_page
from scrapers.readers.values import stated

CORPUS = Path(__file__).parents[3].parent / "shared" / "corpus" / "schemaorg_offers.json"
AT = datetime(2026, 11, 24, tzinfo=UTC)
WORDS = {
    None: "unknown",
    "InStock": "in_stock",
    "LimitedAvailability": "low_stock",
    "SoldOut": "out_of_stock",
    "BackOrder": "backorder",
}


def read(body: str, head: str = "") -> Reading:
    html = body if "<html" in body else f"<html><head>{head}</head><body>{body}</body></html>"
    return read_page(Page("https://example.com/", html.encode(), "text/html", AT))


def with_jsonld(item: Any) -> Reading:
    return read("", f'<script type="application/ld+json">{json.dumps(item)}</script>')


def product(offer: dict[str, Any]) -> Reading:
    return with_jsonld(
        {"@context": "https://schema.org", "@type": "Product", "name": "Part", "offers": offer}
    )


def examples() -> list[tuple[str, str, str, dict[str, Any]]]:
    held = json.loads(CORPUS.read_text("utf-8"))["examples"]
    return [
        (e["id"], syntax, e[syntax], expected)
        for e in held
        for syntax, expected in (e.get("expected") or {}).items()
    ]


@pytest.mark.skipif(
    not CORPUS.exists(), reason="the published examples are not beside this checkout"
)
def test_published_examples_are_read() -> None:
    """102 examples; price and currency right on 100, availability on all of them."""
    wrong_price, wrong_stock = [], []
    cases = examples()
    for name, syntax, source, expected in cases:
        made = read("", source) if syntax == "jsonld" else read(source)
        price = None if expected["price"] is None else Decimal(expected["price"])
        if (made.price, made.currency) != (price, expected["currency"]):
            wrong_price.append(f"{name} {syntax}: {made.price} {made.currency}")
        if made.availability != WORDS[expected["availability"]]:
            wrong_stock.append(f"{name} {syntax}: {made.availability}")
    assert len(cases) == 102
    assert len(wrong_price) <= 2, wrong_price
    assert wrong_stock == []


# The twelve members of ItemAvailability and what a buyer can do with each.
@pytest.mark.parametrize(
    ("word", "stock"),
    [
        ("InStock", Availability.IN_STOCK),
        ("OnlineOnly", Availability.IN_STOCK),
        ("LimitedAvailability", Availability.LOW_STOCK),
        ("BackOrder", Availability.BACKORDER),
        ("MadeToOrder", Availability.BACKORDER),
        ("PreOrder", Availability.PREORDER),
        ("PreSale", Availability.PREORDER),
        ("OutOfStock", Availability.OUT_OF_STOCK),
        ("SoldOut", Availability.OUT_OF_STOCK),
        ("Reserved", Availability.OUT_OF_STOCK),
        ("InStoreOnly", Availability.OUT_OF_STOCK),
        ("Discontinued", Availability.DISCONTINUED),
    ],
)
@pytest.mark.parametrize(
    "form", ["https://schema.org/{}", "http://schema.org/{}", "{}", "schema:{}"]
)
def test_every_availability_word(word: str, stock: Availability, form: str) -> None:
    made = product(
        {
            "@type": "Offer",
            "price": "1.50",
            "priceCurrency": "EUR",
            "availability": form.format(word),
        }
    )
    assert made.availability is stock


# schema.org, `price`: "." decimal, no grouping, no sign; the last column is what may be used.
@pytest.mark.parametrize(
    ("value", "amount"),
    [
        ("12.50", "12.50"),
        ("1234.5", "1234.5"),
        (12.5, "12.5"),
        ("", None),
        (None, None),
        (True, None),
        ([12], None),
    ],
)
def test_price_values_by_the_guideline(value: Any, amount: str | None) -> None:
    told = stated(Decimal(str(value)) if isinstance(value, float) else value, "EUR")
    assert told.amount == (None if amount is None else Decimal(amount))


@pytest.mark.parametrize(
    "value", ["0", "0.00", 0, "-1", "NaN", "Infinity", "1e999", "9" * 400, "0.001"]
)
def test_no_price_out_of_a_placeholder_or_nonsense(value: Any) -> None:
    made = product({"@type": "Offer", "price": value, "priceCurrency": "EUR"})
    assert made.outcome is not Outcome.OK
    assert made.price is None


# PriceTypeEnumeration: claims beside the price, never the price.
@pytest.mark.parametrize(
    "kind",
    [
        "ListPrice",
        "MSRP",
        "SRP",
        "RegularPrice",
        "StrikethroughPrice",
        "MinimumAdvertisedPrice",
        "InvoicePrice",
    ],
)
@pytest.mark.parametrize("first", [True, False])
def test_price_types_are_claims(kind: str, first: bool) -> None:
    now = {"@type": "UnitPriceSpecification", "price": 79.0, "priceCurrency": "EUR"}
    was = {**now, "price": 99.0, "priceType": f"https://schema.org/{kind}"}
    specs = [was, now] if first else [now, was]
    made = product({"@type": "Offer", "priceCurrency": "EUR", "priceSpecification": specs})
    assert (made.price, made.list_price) == (Decimal("79.00"), Decimal("99.00"))


def test_sale_price_beats_the_flat_list_price() -> None:
    made = product(
        {
            "@type": "Offer",
            "price": "99.00",
            "priceCurrency": "EUR",
            "priceSpecification": [
                {"price": "99.00", "priceType": "https://schema.org/ListPrice"},
                {"price": "79.00", "priceType": "https://schema.org/SalePrice"},
            ],
        }
    )
    assert (made.price, made.list_price) == (Decimal("79.00"), Decimal("99.00"))


def test_a_range_is_no_price() -> None:
    made = product(
        {
            "@type": "AggregateOffer",
            "lowPrice": "15.50",
            "highPrice": "42.00",
            "priceCurrency": "EUR",
        }
    )
    assert (made.outcome, made.reason) == (Outcome.DOUBTFUL, "choice needed")
    assert (made.price, made.low, made.high) == (None, Decimal("15.50"), Decimal("42.00"))


def test_a_product_group_is_not_for_sale_itself() -> None:
    def variant(sku: str, price: str) -> dict[str, Any]:
        offer = {"@type": "Offer", "price": price, "priceCurrency": "EUR"}
        return {"@type": "Product", "sku": sku, "offers": offer}

    made = with_jsonld(
        {
            "@type": "ProductGroup",
            "name": "Ply",
            "hasVariant": [variant("PLY3", "7.95"), variant("PLY6", "12.95")],
        }
    )
    assert made.price is None
    assert {c.sku: c.price for c in made.choices} == {
        "PLY3": Decimal("7.95"),
        "PLY6": Decimal("12.95"),
    }


def test_reference_quantity_is_a_unit_price() -> None:
    made = product(
        {
            "@type": "Offer",
            "price": "24.50",
            "priceCurrency": "EUR",
            "priceSpecification": {
                "@type": "UnitPriceSpecification",
                "price": "4.90",
                "priceCurrency": "EUR",
                "referenceQuantity": {
                    "@type": "QuantitativeValue",
                    "value": "1",
                    "unitCode": "MTK",
                },
            },
        }
    )
    assert made.price == Decimal("24.50")
    assert made.unit_price is not None
    assert (made.unit_price.price, made.unit_price.per) == (Decimal("4.90"), "m2")


@pytest.mark.parametrize(
    ("flag", "tax"), [(False, Tax.EXCLUDED), ("false", Tax.EXCLUDED), ("true", Tax.INCLUDED)]
)
def test_value_added_tax_included(flag: object, tax: Tax) -> None:
    spec = {
        "@type": "PriceSpecification",
        "valueAddedTaxIncluded": flag,
        "price": "65.83",
        "priceCurrency": "EUR",
    }
    made = product(
        {"@type": "Offer", "price": "65.83", "priceCurrency": "EUR", "priceSpecification": spec}
    )
    assert (made.price, made.tax) == (Decimal("65.83"), tax)


def test_eligible_quantity_is_a_tier() -> None:
    least = {"@type": "QuantitativeValue", "minValue": 10}
    made = product(
        {"@type": "Offer", "price": "9.00", "priceCurrency": "EUR", "eligibleQuantity": least}
    )
    assert made.price is None
    assert [(m.quantity, m.price, m.per) for m in made.multibuy] == [(10, Decimal("9.00"), "each")]


def test_a_member_price_is_not_everyones() -> None:
    made = product(
        {
            "@type": "Offer",
            "price": "69.00",
            "priceCurrency": "EUR",
            "validForMemberTier": {"@type": "MemberProgramTier", "name": "gold"},
        }
    )
    assert made.outcome is Outcome.DOUBTFUL
    assert made.member_price == Decimal("69.00")


def test_shipping_stands_beside_the_price() -> None:
    made = product(
        {
            "@type": "Offer",
            "price": "79.00",
            "priceCurrency": "EUR",
            "shippingDetails": [
                {
                    "@type": "OfferShippingDetails",
                    "shippingRate": {"@type": "MonetaryAmount", "value": 4.95},
                }
            ],
        }
    )
    assert (made.price, made.shipping) == (Decimal("79.00"), Decimal("4.95"))


def test_a_date_in_the_past_drops_no_price() -> None:
    made = product(
        {
            "@type": "Offer",
            "price": "79.00",
            "priceCurrency": "EUR",
            "priceValidUntil": "2026-11-01",
        }
    )
    assert (made.outcome, made.price) == (Outcome.OK, Decimal("79.00"))


@pytest.mark.parametrize("part", ["Installment", "Downpayment", "Subscription", "ActivationFee"])
def test_price_components_are_no_price(part: str) -> None:
    specs = [
        {
            "@type": "UnitPriceSpecification",
            "price": 5,
            "priceComponentType": f"https://schema.org/{part}",
        },
        {"@type": "UnitPriceSpecification", "price": 60, "priceCurrency": "EUR"},
    ]
    made = product({"@type": "Offer", "priceCurrency": "EUR", "priceSpecification": specs})
    assert made.price == Decimal("60.00")
