"""Tax notes in the words of twelve countries' shops: what is said of the tax, and its amount.

The tax's abbreviation is that of the national VAT law (IVA, btw, VAT, DPH, moms, mva, alv, áfa,
TVA); the words around it are common practice of shops, from memory.
"""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from scrapers.model import Outcome, Page, Tax
from scrapers.read import read_page
from scrapers.texts import read_price

NET = """
Imponibile: 5,08 €|5,08 € IVA esclusa|5,08 € (IVA escl.)|5,08 € senza IVA|5,08 € oltre IVA
5,08 € IVA non inclusa|Prezzo netto: 5,08 €|5,08 € tasse escluse|5,08 € sin IVA|5,08 € IVA excluido
Base imponible: 5,08 €|5,08 € más IVA|Precio neto: 5,08 €|5,08 € antes de impuestos
5,08 € sem IVA|5,08 € IVA não incluído|5,08 € s/ IVA|5,08 € acresce IVA|5,08 € IVA excluído
€ 5,08 excl. btw|€ 5,08 exclusief 21% btw|€ 5,08 zonder btw|Nettoprijs: € 5,08
5,08 zł netto|5,08 zł bez VAT|5,08 zł bez podatku|5,08 Kč bez DPH|Bez daně: 5,08 Kč
5,08 SEK exkl. moms|5,08 SEK utan moms|Nettopris: 5,08 SEK|5,08 DKK ekskl. moms|5,08 DKK u. moms
5,08 DKK eksklusiv moms|5,08 NOK eks. mva|5,08 NOK uten mva|Eks. avgifter: 5,08 NOK
5,08 € veroton|Veroton hinta: 5,08 €|5,08 € ilman arvonlisäveroa|5,08 € ei sis. alv
Nettó ár: 5,08 €|5,08 € áfa nélkül|5,08 lei fără TVA|Preț fara TVA: 5,08 lei
5,08 lei TVA neinclus|5,08 lei (TVA nu este inclus)
"""
GROSS = """
5,08 € IVA inclusa|5,08 € IVA compresa|Prezzo ivato: 5,08 €|5,08 € IVA incluido|5,08 € con IVA
5,08 € com IVA|5,08 € c/ IVA|5,08 € IVA incluído|€ 5,08 inclusief btw|€ 5,08 btw incl.
5,08 zł brutto|5,08 zł z podatkiem|5,08 Kč vč. DPH|5,08 Kč s daní|5,08 SEK inkl. moms
5,08 DKK inklusiv moms|5,08 NOK inkludert mva|Inkl. avgifter: 5,08 NOK|5,08 € sis. alv
Verollinen hinta: 5,08 €|Bruttó ár: 5,08 €|5,08 € áfával|5,08 lei cu TVA|5,08 lei TVA inclus
5,08 € com 5% de desconto, com IVA
"""


def texts(table: str) -> list[str]:
    return [text for line in table.split("\n") for text in line.split("|") if text]


@pytest.mark.parametrize("text", texts(NET))
def test_without_tax(text: str) -> None:
    told = read_price(text)
    assert told is not None
    assert (told.amount, told.tax) == (Decimal("5.08"), Tax.EXCLUDED)


@pytest.mark.parametrize("text", texts(GROSS))
def test_with_tax(text: str) -> None:
    told = read_price(text)
    assert told is not None
    assert (told.amount, told.tax) == (Decimal("5.08"), Tax.INCLUDED)


def test_a_word_before_another_amount_is_no_tax_note() -> None:
    told = read_price("5,08 € com desconto, sem IVA")
    assert told is not None
    assert told.tax is Tax.EXCLUDED


# labels of the net line under the price, by language
LINES = (
    "it:Imponibile:", "it:IVA esclusa:", "es:Sin IVA:", "es:Base imponible:", "pt:Sem IVA:",
    "nl:Excl. btw:", "nl:Zonder btw:", "pl:Netto:", "pl:Cena bez VAT:", "cs:Bez DPH:",
    "cs:Bez daně:", "sv:Exkl. moms:", "da:Ekskl. moms:", "da:Uden moms:", "no:Eks. mva:",
    "no:Uten mva:", "fi:Veroton:", "fi:Ilman alv:", "hu:Nettó ár:", "hu:Áfa nélkül:",
    "ro:Fără TVA:", "ro:Preț fără TVA:",
)  # fmt: skip
PAGE = """<!DOCTYPE html><html lang="{lang}"><head><title>Carta Velina 21 g</title></head>
<body><div class="row"><div class="col"><h1>Carta Velina 21 g</h1><ul class="list-unstyled">
<li><h2>6,20 €</h2></li><li>{label} 5,08 €</li></ul>
<div id="product"><button id="button-cart">Add to cart</button></div></div></div></body></html>"""


@pytest.mark.parametrize("line", LINES)
def test_the_net_line_is_not_the_price(line: str) -> None:
    lang, _, label = line.partition(":")
    body = PAGE.format(lang=lang, label=label).encode()
    at = datetime(2026, 11, 24, tzinfo=UTC)
    made = read_page(Page("https://www.velina.example/p/21", body, "text/html", at))
    assert (made.outcome, made.price, made.currency) == (Outcome.OK, Decimal("6.20"), "EUR")
    assert made.tax is Tax.INCLUDED
