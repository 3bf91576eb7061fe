"""A product page with JSON-LD, for tests that are about something else than reading."""

from __future__ import annotations

import json


def product_page(
    price: str,
    currency: str = "EUR",
    *,
    title: str = "Outrunner 2822",
    sku: str = "A1",
    was: str | None = None,
    stock: str = "InStock",
) -> bytes:
    offer = {
        "@type": "Offer",
        "price": price,
        "priceCurrency": currency,
        "availability": f"https://schema.org/{stock}",
    }
    data = {"@context": "https://schema.org", "@type": "Product", "name": title, "sku": sku}
    data["offers"] = offer
    struck = f"<del>{was} {currency}</del>" if was else ""
    return (
        f"<!DOCTYPE html><html lang=en><head><meta charset=utf-8><title>{title}</title>"
        f'<script type="application/ld+json">{json.dumps(data)}</script></head>'
        f"<body><main><h1>{title}</h1><p class=price>{struck}<ins>{price} {currency}</ins></p>"
        f"<p>{'In stock' if stock == 'InStock' else 'Sold out'}</p></main></body></html>"
    ).encode()
