"""Stock words by common practice of shops; schema.org members by its vocabulary 30.0."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scrapers.model import Availability as A  # noqa: N817  short, since the tables below are wide
from scrapers.texts import read_availability, schema_availability

# schema.org 30.0, ItemAvailability: all twelve members
MEMBERS = {
    "BackOrder": A.BACKORDER,
    "Discontinued": A.DISCONTINUED,
    "InStock": A.IN_STOCK,
    "InStoreOnly": A.OUT_OF_STOCK,
    "LimitedAvailability": A.LOW_STOCK,
    "MadeToOrder": A.BACKORDER,
    "OnlineOnly": A.IN_STOCK,
    "OutOfStock": A.OUT_OF_STOCK,
    "PreOrder": A.PREORDER,
    "PreSale": A.PREORDER,
    "Reserved": A.OUT_OF_STOCK,
    "SoldOut": A.OUT_OF_STOCK,
}
SPELLINGS = [
    "https://schema.org/{}",
    "http://schema.org/{}",
    "http://www.schema.org/{}",
    "https://schema.org/{}/",
    "//schema.org/{}",
    "schema:{}",
    "{}",
    " {} ",
    "http://schema.org/ {} ",
]


@pytest.mark.parametrize("spelling", SPELLINGS)
@pytest.mark.parametrize(("member", "meaning"), MEMBERS.items())
def test_member(spelling: str, member: str, meaning: A) -> None:
    for name in (member, member.lower(), member.upper()):
        assert schema_availability(spelling.format(name)) is meaning


def test_other_shapes_of_the_value() -> None:
    assert schema_availability({"@id": "https://schema.org/SoldOut"}) is A.OUT_OF_STOCK
    assert schema_availability("in_stock") is A.IN_STOCK
    assert schema_availability("out of stock") is A.OUT_OF_STOCK
    assert schema_availability("available for order") is A.BACKORDER
    assert schema_availability(True) is A.IN_STOCK
    assert schema_availability(None) is None
    assert schema_availability(3) is None
    assert schema_availability("https://schema.org/Product") is None


WORDS = {
    A.IN_STOCK: (
        "In stock|in stock, ready to ship|40 in stock|Available|Ships within 24 hours|Dispatched in 1-2 days|"
        "auf Lager|sofort lieferbar|Sofort verfügbar, Lieferzeit 1-3 Tage|Versand in 2-3 Tagen|lagernd|lieferbar|"
        "Artikel vorrätig|In den Warenkorb|en stock|disponible|Expédié sous 24h|livraison en 2 jours|"
        "op voorraad|Direct leverbaar|uit voorraad leverbaar|disponibile|Disponibilità immediata|in stock, spedizione in 24h|"
        "disponible en stock|en existencias|Envío en 24h|dostępny|w magazynie|Wysyłka w 24h|Na stanie|"
        "skladem|Skladem 12 ks|na skladě|ihned k odeslání|i lager|Finns i lager|I lager, skickas inom 1-2 dagar|"
        "på lager|Lagervare, leveres på 1-2 dage|På lager - klar til levering"
    ),
    A.LOW_STOCK: (
        "only 2 left|Only 1 left in stock|3 left|Low stock|last few|nur noch 3 Stück|Nur noch wenige Stück verfügbar|"
        "noch 2 Stück auf Lager|geringer Bestand|plus que 2 en stock|Dernières pièces|stock faible|"
        "nog maar 2 op voorraad|laatste stuks|ultimi pezzi|solo 2 disponibili|últimas unidades|quedan 3|"
        "letzte 3 Stück|dernières 2 pièces|laatste 2 stuks|poslední 3 kusy|sista 2 exemplaren|"
        "ostatnie sztuki|Ostatnie 2 sztuki|tylko 2 szt.|poslední kus|zbývá 2 ks|endast 2 kvar|få kvar|kun 2 tilbage|få på lager|2 in stock|在庫残りわずか：あと2点"
    ),
    A.OUT_OF_STOCK: (
        "out of stock|Out-of-stock|Sold out|currently unavailable|not in stock|0 in stock|Temporarily out of stock|"
        "Notify me when available|nicht auf Lager|ausverkauft|derzeit nicht verfügbar|Momentan nicht lieferbar|vergriffen|"
        "leider nicht vorrätig|Bestand: 0|rupture de stock|épuisé|indisponible|non disponible|pas en stock|plus en stock|"
        "niet op voorraad|uitverkocht|niet leverbaar|esaurito|non disponibile|agotado|sin stock|no disponible|"
        "niedostępny|brak w magazynie|wyprzedane|nedostupné|není skladem|vyprodáno|slut i lager|ej i lager|tillfälligt slut|"
        "finns inte i lager|udsolgt|ikke på lager|"
        # no longer in stock
        "Dieser Artikel ist nicht mehr auf Lager|nicht mehr vorrätig|niet meer op voorraad|niet langer op voorraad|"
        "non è più in magazzino|Este producto ya no está en stock|no está en stock|já não está em stock|"
        "nie jest już na stanie|už není skladem|ikke længere på lager|finns inte längre i lager|ikke lenger på lager|"
        "ce produit n'est plus en stock|ei enää varastossa|már nincs raktáron"
    ),
    A.BACKORDER: (
        "Backorder|available on backorder|made to order|Ships in 3-4 weeks|nachbestellt|auf Bestellung|Lieferzeit 3-4 Wochen|"
        "Lieferbar ab 12.12.2026|sur commande|en réapprovisionnement|op bestelling|nabestelling|su ordinazione|bajo pedido|"
        "na zamówienie|na objednávku|beställningsvara|restnoterad|bestillingsvare|i restordre|"
        # gone, and to be ordered all the same: schema.org's BackOrder
        "Not in stock, can be ordered|Nicht auf Lager – bestellbar, Lieferzeit 6 Wochen|Nicht vorrätig, auf Bestellung|"
        "Épuisé, commande possible|niet op voorraad, wel te bestellen|Esaurito, ordinabile|Agotado, bajo pedido|"
        "Brak w magazynie, na zamówienie|Není skladem, na objednávku|Slut i lager, kan beställas|"
        "Ikke på lager – bestillingsvare"
    ),
    A.PREORDER: (
        "Pre-order|preorder now|Coming soon|Vorbestellung|jetzt vorbestellen|demnächst verfügbar|précommande|bientôt disponible|"
        "voorbestellen|binnenkort verwacht|in arrivo|preordine|próximamente|przedsprzedaż|předobjednávka|förbeställ|forudbestil"
    ),
    A.DISCONTINUED: (
        "Discontinued|no longer available|nicht mehr lieferbar|Auslaufartikel|fin de série|n'est plus disponible|"
        "niet meer leverbaar|fuori produzione|descatalogado|wycofany|prodej ukončen|utgått|udgået"
    ),
}


@pytest.mark.parametrize(
    ("text", "meaning"),
    [(text, kind) for kind, texts in WORDS.items() for text in texts.split("|")],
)
def test_words(text: str, meaning: A) -> None:
    assert read_availability(text) is meaning
    assert read_availability(f"  {text.upper()} ") is meaning


# The standard sentence of a shop program whose stock may go below nought, as translated
# for its shops (from memory): what is in stock is sold at once, only more must be ordered.
HELD = (
    "32 in stock (can be backordered)|In stock (can be backordered)|12 vorrätig (kann nachbestellt werden)|"
    "Vorrätig (kann nachbestellt werden)|8 en stock (peut être commandé)|7 disponibles (puede reservarse)|"
    "15 op voorraad (kan via nabestelling besteld worden)|15 op voorraad (kan nabesteld worden)|"
    "9 disponibili (ordinabile)|9 disponibili (può essere ordinato)|5 em stock (pode ser encomendado)|"
    "5 em estoque (pode ser encomendado)|20 w magazynie (może być zamówiony)|20 na stanie (na zamówienie)|"
    "6 skladem (lze objednat předem)|11 i lager (kan restnoteras)|11 på lager (kan restordres)|"
    "14 på lager (kan restbestilles)|5 varastossa (voidaan jälkitoimittaa)|"
    "5 készleten (utánrendelhető)|7 în stoc (poate fi comandat)"
)
NOT_HELD = {
    "Disponibile (su ordinazione)": A.BACKORDER,
    "Available (made to order)": A.BACKORDER,
    "Verfügbar (auf Bestellung)": A.BACKORDER,
    "Available on backorder": A.BACKORDER,
    "Backorder (2 in stock at the supplier)": A.BACKORDER,
    "10 available (pre-order)": A.PREORDER,
    "Verfügbar ab Mai (kann vorbestellt werden)": A.PREORDER,
    "Sold out (can be backordered)": A.BACKORDER,
    "0 in stock (can be backordered)": A.BACKORDER,
    "2 in stock (can be backordered)": A.LOW_STOCK,
    "Nur noch 2 vorrätig (kann nachbestellt werden)": A.LOW_STOCK,
}


@pytest.mark.parametrize("text", HELD.split("|"))
def test_more_can_be_ordered_than_the_count(text: str) -> None:
    assert read_availability(text) is A.IN_STOCK


@pytest.mark.parametrize(("text", "meaning"), NOT_HELD.items())
def test_remark_in_brackets_makes_no_stock(text: str, meaning: A) -> None:
    assert read_availability(text) is meaning


@pytest.mark.parametrize(
    "text", ["", "   ", "Balsa sheet", "12,99 €", "3 mm", "Blue", "Versandkosten"]
)
def test_says_nothing(text: str) -> None:
    assert read_availability(text) is None


@given(st.text(max_size=120))
def test_no_text_raises(text: str) -> None:
    assert read_availability(text) is None or isinstance(read_availability(text), A)
    assert schema_availability(text) is None or isinstance(schema_availability(text), A)
