"""What orders something: buttons, links like buttons, forms that lead into a cart."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from itertools import takewhile
from typing import NamedTuple

from selectolax.lexbor import LexborNode

from scrapers.model import Availability, Evidence
from scrapers.readers.dom import Doc, where
from scrapers.readers.places import Places
from scrapers.readers.pricelike import is_price_like, squeeze
from scrapers.readers.words import Words
from scrapers.texts import read_availability

_BUY = Words(
    r"add (?:item )?to (?:your |my |shopping )?(?:cart|basket|bag|trolley|order)|buy (?:it )?now|"
    r"buy\b|"
    r"in den (?:waren)?korb|in den einkaufswagen|jetzt kaufen|kaufen|(?:ajouter|mettre) au panier|"
    r"acheter|in (?:mijn |je |uw )?winkelwagen|"
    r"in (?:mijn )?winkelmand\w*|toevoegen|bestel|(?:aggiungi|metti) (?:al|nel) carrello|acquista|"
    r"(?:a[ñn]adir|agregar) (?:al?|a la) (?:carrito|cesta|carro)|comprar|"
    r"do koszyka|dodaj do|kup teraz|do ko[šs][íi]k[ua]|(?:p[řr]idat|prida[ťt]|vlo[žz]i[tť]) do|"
    r"koupit|k[úu]pi[ťt]\b|l[äa]gg i (?:varukorg|kundvagn)|k[öo]p|"
    r"(?:l[æa]g|put) i (?:ind)?k(?:[øo]bsk)?urv(?:en)?|k[øo]b|legg i (?:handle)?kurv|kj[øo]p|"
    r"(?:ostos)?koriin|\bosta\b|kos[áa]rba|megveszem|adaug[ăa] [îi]n co[șs]|v ko[šs]arico|"
    r"u ko[šs]aricu|στο καλάθι|ostukorvi|[îi] krep[šs]el[įi]|pievienot grozam|"
    r"add (?:one |item |this )?to (?:basket|order)|^order(?: now| online| this| item)?$|"
    r"^make payments|^pay (?:now|with)|"
    r"sepete ekle|sat.n al|th[êe]m v[àa]o gi[ỏo]|mua ngay|\bbeli\b|keranjang|"
    r"หยิบใส่|ตะกร้า|הוסף לסל|أضف إلى|купи\b|"
    r"в корзину|купить|в кошик|купити|koop\b|立即购买|加入购物车|加入購物車|"
    r"かごに(?:追加|入れる)|買い物かご|購入する|立即購買|장바구니|구매하기|"
    r"^(?:adicionar|a[ñn]adir|toevoegen|hinzuf[üu]gen|aggiungi)$|adicionar [àa] sacola|"
    r"voeg toe aan|in (?:mijn )?(?:tas|mandje)\b|"
    r"adicionar ao carrinho|カートに入れる|カートに追加",
)
_TO_CART = re.compile(
    r"cart|basket|trolley|korb|wagen|panier|winkelmand|carrello|carrito|cesta|koszyk|ko[šs][íi]k|"
    r"varukorg|kundvagn|kurv|ostoskor|koriin|kos[áa]r|carrinho|co[șs]\b",
    re.IGNORECASE,
)
_CART = re.compile(
    r"add[-_]?(?:to[-_]?)?(?:cart|basket|bag|trolley)|action=(?:add_product|buy_now|add)\b|"
    r"(?:cart|basket|warenkorb|panier|winkelwagen|carrello|carrito|koszyk|kosik|varukorg|kurv)"
    r"(?:[/._?-]|\Z)",
    re.IGNORECASE,
)
_ADDS = re.compile(r"add-?to-?(?:cart|basket|bag)", re.IGNORECASE)
_LETTERS = re.compile(r"[^\W\d_]{2}")
_LINKS = (
    'a[class*="buy" i], a[class*="cart" i], a[class*="btn" i], a[class*="button" i], '
    'a[id*="cart" i], a[id*="buy" i], a[href^="javascript:"], [role="button"], a[href*="cart"]'
)
_NO_SENDERS = frozenset({"button", "reset"})
MAX_BUTTONS = 150
MAX_LINKS = 600
MAX_MUTE = 12  # characters of a button that tells little: "Add", "Go"
MAX_LINK = 30  # characters of a link that orders by its words alone
MAX_SAID = 80
MAX_PROOF = 60
MAX_LINKED = 8
FORM_DEEP = 10
CARD_DEEP = 7


class Button(NamedTuple):
    """What an order button tells of stock; `level`: steps from the heading up to a shared box."""

    level: int = 0
    said: Availability = Availability.UNKNOWN
    proof: Evidence | None = None


def orderers(doc: Doc, places: Places | None = None) -> list[LexborNode]:
    """What orders something in the page's own matter: buttons, else links like buttons."""
    buttons = doc.buttons[:MAX_BUTTONS]
    found = [n for n in _own(buttons, places) if _BUY.search(_words(n))]
    found = found or _own(_selling_links(doc), places)
    found = found or _own([n for n in buttons if _sends_to_cart(n)], places)
    return found or _own([n for n in doc.tree.css("a")[:MAX_LINKS] if _orders(_words(n))], places)


def shares_box(doc: Doc, node: LexborNode) -> bool:
    """Whether a button that orders stands in a small box with the element, as in one form."""
    boxes = {box.mem_id for box in _around(node) if box.tag not in ("body", "html")}
    sellers = (n for n in doc.buttons[:MAX_BUTTONS] if _BUY.search(_words(n)))
    return any(not boxes.isdisjoint(box.mem_id for box in _around(n)) for n in sellers)


def _selling_links(doc: Doc) -> list[LexborNode]:
    return [n for n in doc.tree.css(_LINKS)[:MAX_BUTTONS] if _BUY.search(_words(n))]


def buy_buttons(doc: Doc, places: Places) -> int:
    """How many buttons of the page's own matter order something; one page, one product: few."""
    return len(orderers(doc, places))


def ordered_within(doc: Doc, places: Places, level: int) -> int:
    """How many buttons and links order something no further from the heading than `level`."""
    buttons = [n for n in doc.buttons[:MAX_BUTTONS] if _BUY.search(_words(n))]
    found = {n.mem_id: n for n in (*buttons, *_selling_links(doc))}
    return sum(places.of(n).level <= level for n in _own(list(found.values()), places))


def nearest(doc: Doc, places: Places) -> Button:
    """The order button nearest the heading: its words, else whether it is able or disabled."""
    best = _best(doc.buttons[:MAX_BUTTONS], places)
    if best is None:
        best = _best([n for n in orderers(doc, places) if n.tag == "a"], places)
    return best or Button()


def _best(nodes: list[LexborNode], places: Places) -> Button | None:
    best: Button | None = None
    for node in nodes:
        place = places.of(_box(node))
        if place.zone in ("other", "hidden") or (best and place.level >= best.level):
            continue
        text = _words(node)[:MAX_PROOF]
        said = _said(text, disabled="disabled" in node.attributes)
        if said is not None:
            proof = Evidence("visible", "availability", text, where(node))
            best = Button(place.level, said, proof)
    return best


def _said(text: str, *, disabled: bool) -> Availability | None:
    if not text:
        return None
    if _BUY.search(text):
        return Availability.UNKNOWN if disabled else Availability.IN_STOCK
    said = None if is_price_like(text) else read_availability(text)  # "Shipping 4,90 EUR"
    return said if said is not Availability.UNKNOWN else None


def _own(nodes: list[LexborNode], places: Places | None) -> list[LexborNode]:
    if places is None:
        return nodes
    return [n for n in nodes if places.of(_box(n)).zone not in ("other", "hidden")]


def _box(node: LexborNode) -> LexborNode:
    """Where a button stands; a link of class "cart" leads into it, its own name says nothing."""
    return node.parent if node.tag == "a" and node.parent is not None else node


def _words(node: LexborNode) -> str:
    """What a button says: its text, or the attribute that speaks for its picture."""
    attrs = node.attributes
    text = squeeze(node.text(separator=" "))
    if node.css_first("script") is not None and _ADDS.search(attrs.get("class") or ""):
        return "add to cart"  # a script writes what it says
    names = ("value", "alt", "title", "aria-label")
    return (text or next((v for n in names if (v := attrs.get(n))), "") or "")[:MAX_SAID]


def _orders(text: str) -> bool:
    """A short link that names the cart; a bare "buy" may lead anywhere."""
    short = len(text) <= MAX_LINK
    return short and _BUY.search(text) is not None and _TO_CART.search(text) is not None


def _sends_to_cart(button: LexborNode) -> bool:
    """Whether a button of few words ("Add", "Go") sends a form whose address is a cart's."""
    if len(_words(button)) > MAX_MUTE or (button.attributes.get("type") or "") in _NO_SENDERS:
        return False
    at = button.parent
    for _ in range(FORM_DEEP):
        if at is None or at.tag == "form":
            break
        at = at.parent
    action = at.attributes.get("action") if at is not None and at.tag == "form" else None
    return action is not None and _CART.search(action) is not None


def linked(doc: Doc, places: Places) -> bool:
    """Whether the box around an order button has a title, a picture or a link: a list's card."""
    nodes = list({node.mem_id: node for node in orderers(doc, places)}.values())[:MAX_LINKED]
    shared = Counter(box.mem_id for node in nodes for box in _around(node))
    return any(
        _has_link(box, node)
        for node in nodes
        for box in takewhile(lambda box: shared[box.mem_id] == 1, _around(node))
        if box.mem_id not in places.above
    )


def _around(node: LexborNode) -> Iterator[LexborNode]:
    """The boxes around a button, the nearest first: a card has a few."""
    at = node.parent
    for _ in range(CARD_DEEP):
        if at is None:
            return
        yield at
        at = at.parent


def _has_link(box: LexborNode, button: LexborNode) -> bool:
    if box.css_first("h2, h3, h4, img, [itemprop=name]") is not None:
        return True
    for link in box.css("a[href]")[:4]:
        href = link.attributes.get("href") or ""
        named = _LETTERS.search(link.text()) or link.css_first("img") is not None
        if link.mem_id != button.mem_id and named and not href.startswith(("#", "java")):
            return True
    return False
