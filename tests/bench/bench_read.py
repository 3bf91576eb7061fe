"""One page of a shop, read and cross-checked, against the bare parse and against extruct.

    python tests/bench/bench_read.py

All in one run, best of many, ratios to the bare selectolax parse of the same bytes.
extruct and price-parser are the peers; they are no dependency of the project.
"""

from __future__ import annotations

import gzip
import json
import re
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import extruct
from selectolax.lexbor import LexborHTMLParser

from scrapers.model import Page
from scrapers.read import read_page
from scrapers.structure import structure

AT = datetime(2026, 11, 24, tzinfo=UTC)
THREE = ["json-ld", "microdata", "opengraph"]
URL = "https://shop.example/p/balsa-3"


def card(n: int) -> str:
    return (
        f'<li class="product-card grid__item"><a href="/p/{n}" class="card__link"><img src="/i/{n}.jpg" alt="Spruce strip"'
        f' loading="lazy" width="300"><h3 class="card__title">Spruce strip {n} x 5 mm</h3></a><div class="card__price price">'
        f'<span class="price__now money">€ {n},95</span></div><button class="btn btn--small" type="button">Add</button></li>'
    )


def review(n: int) -> str:
    star = '<svg class="icon" viewBox="0 0 24 24" aria-hidden="true"><path d="M12 2L2 7l10 5 10-5-10-5z"></path></svg>'
    return (
        f'<div class="review"><div class="review__stars">{star * 5}</div><p class="review__text">Good part number {n}, came'
        ' quickly and well packed, would buy again for the next build.</p><span class="review__by">A builder</span></div>'
    )


def page(scale: int) -> bytes:
    """A product page: head with metas, styles, state and scripts, navigation, description, cards, reviews."""
    nav = "".join(
        f'<li class="nav__item"><a href="/c/{i}" class="nav__link">Category {i}</a></li>'
        for i in range(40 * scale)
    )
    styles = "".join(
        f".c{i}{{color:#{i:06x};margin:0 auto;display:flex}}" for i in range(120 * scale)
    )
    script = "".join(
        f"function f{i}(a,b){{for(var c=0;c<a.length;c++)if(a[c]<b)return c}};"
        for i in range(120 * scale)
    )
    state = json.dumps(
        {
            f"k{i}": {"label": "Lorem ipsum dolor", "enabled": True, "n": i}
            for i in range(120 * scale)
        }
    )
    text = "".join(
        f"<p>Light and <b>stiff</b> paragraph {i} with words on the part, its mass and use in a wing or a fuselage.</p>"
        for i in range(20 * scale)
    )
    offer = {
        "@type": "Offer",
        "price": "12.95",
        "priceCurrency": "EUR",
        "availability": "https://schema.org/InStock",
    }
    item = {
        "@context": "https://schema.org",
        "@type": "Product",
        "name": "Balsa sheet 3 mm",
        "sku": "B3",
        "offers": offer,
    }
    head = (
        '<meta charset="utf-8"><title>Balsa sheet 3 mm | Shop</title><meta property="og:title" content="Balsa sheet 3 mm">'
        '<meta property="og:type" content="product"><meta property="product:price:amount" content="12.95">'
        '<meta property="product:price:currency" content="EUR"><link rel="canonical" href="/p/balsa-3">'
        f'<script type="application/ld+json">{json.dumps(item)}</script><style>{styles}</style>'
    )
    main = (
        '<div class="product" itemscope itemtype="https://schema.org/Product"><meta itemprop="name" content="Balsa sheet 3 mm">'
        '<h1 class="product__title">Balsa sheet 3 mm</h1><div class="product__price price" itemprop="offers" itemscope'
        ' itemtype="https://schema.org/Offer"><span class="price__current">€ 12,95</span><meta itemprop="price" content="12.95">'
        '<meta itemprop="priceCurrency" content="EUR"><span class="tax">inkl. MwSt.</span></div><p class="stock in-stock">Auf Lager'
        f'</p><form action="/cart"><button class="btn" type="submit">In den Warenkorb</button></form><div class="rte">{text}</div></div>'
    )
    cards, reviews = "".join(map(card, range(8 * scale))), "".join(map(review, range(20 * scale)))
    return (
        f'<!doctype html><html lang="de"><head>{head}</head><body><header class="site-header"><nav><ul>{nav}</ul></nav>'
        f'<div class="mini-cart"><span class="cart-total price">€ 0,00</span></div></header><main>{main}<section class="related">'
        f"<ul>{cards}</ul></section><section>{reviews}</section></main><footer><ul>{nav}</ul></footer>"
        f'<script type="application/json">{state}</script><script>{script}</script></body></html>'
    ).encode()


STATE = json.dumps({"product": {"title": "Balsa sheet 3 mm", "price": "12.95", "currency": "EUR"}})


def kinds(whole: str) -> dict[str, str]:
    """The page as other shops would build it: with one source of the price only."""
    bare = re.sub(r'<script type="application/ld\+json">.*?</script>', "", whole)
    no_metas = re.sub(r'<meta property="product:[^>]*>', "", bare)
    unmarked = re.sub(
        r"<meta itemprop[^>]*>| item(?:scope|prop=\S+?|type=\S+?)(?=[ >])", "", no_metas
    )
    script = f"<script>window.__STATE__ = {STATE};</script></head>"
    hidden = unmarked.replace("€ 12,95", "").replace("</head>", script)
    microdata = re.sub(
        r"<meta itemprop[^>]*>| item(?:scope|prop=\S+?|type=\S+?)(?=[ >])", "", whole
    )
    return {"json-ld": microdata, "microdata": no_metas, "in sight": unmarked, "state": hidden}


def best(jobs: dict[str, tuple[Callable[[], object], int]], rounds: int) -> dict[str, float]:
    """Best time of each job in ms, the jobs taking turns."""
    times = dict.fromkeys(jobs, 9e9)
    for turn in range(rounds):
        for name, (job, most) in jobs.items():
            if turn < most:
                start = time.perf_counter()
                job()
                times[name] = min(times[name], (time.perf_counter() - start) * 1e3)
    return times


def other_shops(rounds: int = 60) -> None:
    """The same 240 kB with the price in one place only."""
    for name, text in kinds(page(5).decode()).items():
        body = text.encode()
        given = Page(URL, body, "text/html; charset=utf-8", AT)
        made = read_page(given)
        assert (made.outcome, str(made.price)) == ("ok", "12.95"), (name, made)
        times = best(
            {
                "parse": (lambda b=body: LexborHTMLParser(b), rounds),
                "read": (lambda p=given: read_page(p), rounds),
                "three": (
                    lambda t=text: extruct.extract(t, base_url=URL, syntaxes=THREE),
                    rounds,
                ),
            },
            rounds,
        )
        read, three = times["read"], times["three"]
        print(
            f"  price only in {name:10s} read {read / times['parse']:5.2f} x parse, "
            f"extruct on three syntaxes {three / read:5.2f} x read"
        )


def main() -> None:
    for scale in (1, 5, 25):
        body = page(scale)
        text = body.decode()
        given = Page(URL, body, "text/html; charset=utf-8", AT)
        made = read_page(given)
        assert (made.outcome, str(made.price)) == ("ok", "12.95"), made
        packed = gzip.compress(body)
        rounds = 60 if scale < 25 else 10
        times = best(
            {
                "parse": (lambda b=body: LexborHTMLParser(b), rounds),
                "read": (lambda p=given: read_page(p), rounds),
                "structure": (lambda b=body: structure(b), rounds),
                "gunzip": (lambda z=packed: gzip.decompress(z), rounds),
                "extruct, three": (
                    lambda t=text: extruct.extract(t, base_url=URL, syntaxes=THREE),
                    rounds,
                ),
                "extruct, all": (lambda t=text: extruct.extract(t, base_url=URL), 3),
            },
            rounds,
        )
        print(f"{len(body) / 1e3:.0f} kB, parse {times['parse']:.2f} ms")
        for name, took in times.items():
            print(
                f"  {name:16s} {took / times['parse']:7.2f} x parse   {took / times['read']:7.2f} x read"
            )
    other_shops()


if __name__ == "__main__":
    main()
