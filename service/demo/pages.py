"""The product pages of the invented shops, each with another way to mark up prices."""
# ruff: noqa: E501  the lines of a page stand as the shop sends them

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from html import escape


@dataclass(frozen=True, slots=True)
class Goods:
    """One article as its shop shows it. `usual` is struck through where it is higher."""

    host: str
    path: str
    title: str
    brand: str
    sku: str
    price: Decimal
    usual: Decimal
    in_stock: bool = True

    @property
    def on_sale(self) -> bool:
        """Whether the page announces a reduction."""
        return self.price < self.usual


def comma(value: Decimal) -> str:
    """`12.9` -> `12,90`."""
    return f"{value:.2f}".replace(".", ",")


def _frame(lang: str, title: str, head: str, body: str) -> str:
    return (
        f'<!DOCTYPE html>\n<html lang="{lang}"><head><meta charset="utf-8">'
        f"<title>{escape(title)}</title>{head}</head>\n<body>\n{body}\n</body></html>\n"
    )


def structured(goods: Goods) -> str:
    """JSON-LD beside a visible price; the basket and a related article come first."""
    offer = {
        "@type": "Offer",
        "price": f"{goods.price:.2f}",
        "priceCurrency": "EUR",
        "availability": f"https://schema.org/{'InStock' if goods.in_stock else 'OutOfStock'}",
    }
    product = {
        "@context": "https://schema.org",
        "@type": "Product",
        "name": goods.title,
        "sku": goods.sku,
        "brand": {"@type": "Brand", "name": goods.brand},
        "offers": offer,
    }
    script = json.dumps(product).replace("<", "\\u003c")
    was = f"<del>€{goods.usual:.2f}</del> " if goods.on_sale else ""
    body = f"""<header><a class="basket" href="/basket">Basket <span class="price">€0.00</span></a></header>
<main><h1>{escape(goods.title)}</h1>
<p class="price">{was}<ins>€{goods.price:.2f}</ins></p>
<p class="stock">{"In stock" if goods.in_stock else "Out of stock"}</p>
<p>Prices include VAT, plus shipping from €4.95.</p></main>
<aside class="related"><h2>Goes well with it</h2><ul><li>Sanding block <span class="price">€6.40</span></li></ul></aside>"""
    head = f'<script type="application/ld+json">{script}</script>'
    return _frame("en", f"{goods.title} | Larkspur Flightworks", head, body)


def annotated(goods: Goods) -> str:
    """Microdata on formatted text with a decimal comma."""
    word = "InStock" if goods.in_stock else "OutOfStock"
    stock = "Auf Lager" if goods.in_stock else "Zurzeit ausverkauft"
    was = f'<span class="alt">statt <s>{comma(goods.usual)} €</s></span> ' if goods.on_sale else ""
    body = f"""<div itemscope itemtype="https://schema.org/Product">
<h1 itemprop="name">{escape(goods.title)}</h1>
<p>Art.-Nr. <span itemprop="sku">{escape(goods.sku)}</span>, Marke <span itemprop="brand">{escape(goods.brand)}</span></p>
<div itemprop="offers" itemscope itemtype="https://schema.org/Offer">
{was}<span itemprop="price">{comma(goods.price)}</span> €<meta itemprop="priceCurrency" content="EUR">
<link itemprop="availability" href="https://schema.org/{word}"><p>{stock}</p>
<p>inkl. 19 % MwSt., zzgl. Versand ab 5,90 €</p></div></div>"""
    return _frame("de", f"{goods.title} - Holzbrise Modellbedarf", "", body)


def plain(goods: Goods) -> str:
    """No markup at all: only what a person reads."""
    was = f"<s>{comma(goods.usual)} €</s> " if goods.on_sale else ""
    stock = "En stock" if goods.in_stock else "Rupture de stock"
    body = f"""<div id="entete"><a href="/panier">Panier (0) : 0,00 €</a></div>
<div id="fiche"><h1>{escape(goods.title)}</h1>
<p>Référence {escape(goods.sku)}, marque {escape(goods.brand)}</p>
<p class="tarif">{was}<strong>{comma(goods.price)} €</strong> TTC</p>
<p>{stock}, expédié sous 48 h. Livraison offerte dès 60,00 €.</p>
<form action="/panier"><button>Ajouter au panier</button></form></div>
<div id="aussi"><h2>Vous aimerez aussi</h2><p>Cale à poncer <span>5,90 €</span></p></div>"""
    return _frame("fr", f"{goods.title} - Atelier Merle", "", body)


def without_tax(goods: Goods) -> str:
    """Metas and visible text, in pounds and without tax."""
    stock = "instock" if goods.in_stock else "oos"
    head = (
        f'<meta property="og:title" content="{escape(goods.title)}">'
        '<meta property="og:type" content="product">'
        f'<meta property="product:price:amount" content="{goods.price:.2f}">'
        '<meta property="product:price:currency" content="GBP">'
        f'<meta property="product:availability" content="{stock}">'
    )
    was = f'<span class="was">was £{goods.usual:.2f}</span> ' if goods.on_sale else ""
    body = f"""<main><h1>{escape(goods.title)}</h1><p>{escape(goods.brand)} / {escape(goods.sku)}</p>
<div class="price">{was}<b>£{goods.price:.2f}</b> <small>ex VAT</small></div>
<p>{"In stock, sent the same day" if goods.in_stock else "Sold out"}</p>
<p>All prices exclude VAT.</p></main>"""
    return _frame("en-GB", f"{goods.title} - Millrace Cells and Motors", head, body)


PAGES: dict[str, Callable[[Goods], str]] = {
    "larkspur": structured,
    "holzbrise": annotated,
    "merle": plain,
    "millrace": without_tax,
}
