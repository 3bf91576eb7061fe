"""Stock as the page tells it: words, class names, the button that orders."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from itertools import takewhile
from typing import NamedTuple

from selectolax.lexbor import LexborNode

from scrapers.model import Availability, Evidence
from scrapers.readers.columns import under_labels
from scrapers.readers.dom import Doc, where
from scrapers.readers.places import Places, own_class
from scrapers.readers.words import Words
from scrapers.texts import read_availability

_CLASS = (
    (
        re.compile(r"out-?of-?stock|sold-?out|not-?available|unavailable|no-?stock", re.IGNORECASE),
        Availability.OUT_OF_STOCK,
    ),
    (re.compile(r"pre-?order", re.IGNORECASE), Availability.PREORDER),
    (re.compile(r"back-?order", re.IGNORECASE), Availability.BACKORDER),
    (re.compile(r"low-?stock|stock-?low|few-?left", re.IGNORECASE), Availability.LOW_STOCK),
    (re.compile(r"in-?stock|available(?!-)|stock-?ok", re.IGNORECASE), Availability.IN_STOCK),
)  # fmt: skip
_BUY = Words(
    r"add (?:item )?to (?:your |my |shopping )?(?:cart|basket|bag|trolley|order)|buy (?:it )?now|"
    r"buy\b|"
    r"in den (?:waren)?korb|in den einkaufswagen|jetzt kaufen|kaufen|(?:ajouter|mettre) au panier|"
    r"acheter|in winkelwagen|"
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
MAX_TEXT = 90


class Stock(NamedTuple):
    """What the page tells of stock; `mixed` where it tells of both some and none.

    `near`: False where only a button further off tells it, which may be that of another thing.
    """

    said: Availability = Availability.UNKNOWN
    proof: Evidence | None = None
    mixed: bool = False
    near: bool = True


def read(doc: Doc, places: Places) -> Stock:
    """The nearest stock word of the page's own matter; UNKNOWN where it says nothing."""
    found: list[tuple[int, int, Availability, Evidence]] = []
    for order, node in enumerate(doc.stocks[:200]):
        place = places.of(node)
        if place.zone in ("other", "hidden") or _one_of_several(node):
            continue
        text = " ".join(node.text(separator=" ").split())
        said, value = _of(node, text)
        if said in _OUT and _of_choice(node, value):
            continue
        if said is not Availability.UNKNOWN:
            proof = Evidence("visible", "availability", value[:80], where(node))
            found.append((place.level, order, said, proof))
    button, proof_of, level = _button(doc, places)
    if not found:
        words = _in_words(places) or _in_column(places)
        if words is None:
            return Stock(button, proof_of, near=level <= NEAR_BUTTON)
        if button is not Availability.IN_STOCK:
            return words
        # a badge that a theme always prints may be hidden by its style sheet
        said = Availability.UNKNOWN if words.said in _OUT else words.said
        return words._replace(said=said, mixed=True)
    _, _, said, proof = min(found, key=lambda one: one[:2])
    signs = {one[2] in _OUT for one in found} | ({button in _OUT} if proof_of else set())
    return Stock(said, proof, mixed=len(signs) > 1)


# a label that makes the words after it the stock of the page's own goods
_LEAD = re.compile(
    r"(?:verf[üu]gbarkeit|liefer(?:zeit|status|barkeit)|lager(?:status|bestand|saldo)?|bestand|"
    r"avail(?:ability)?|stock(?: status)?|delivery(?: time)?|disponibilit[éà]|disponibilidade?|"
    r"d[ée]lai|stock|levertijd|voorraad(?:status)?|beschikbaarheid|dost[ęe]pno[śs][ćc]|"
    r"dostupnos[tť]|saatavuus|varastotilanne|k[ée]szlet|el[ée]rhet[őo]s[ée]g|leveranstid|"
    r"leveringstid|p[åa] lager|disponibilitate|disponibilitat|stan magazynowy|sklad(?:em|ovost)?|"
    r"estoque|existencias|在庫(?:状況|数)?|库存|庫存|재고|наличие|наявність)\b\s*:?\s+\S",
    re.IGNORECASE,
)
_SUM = re.compile(r"[€$£¥]\s?\d|\d\s?[€$£¥]|\d[.,]\d\d\b")  # words around a price tell no stock
_BUTTONS = frozenset({"button", "label", "a"})  # words of a choice, not of the page
MAX_WORDS = 60
MAX_LED = 80  # behind a label the shop may say more of it
MAX_NEAR = 2_500


def _tags(node: LexborNode) -> set[str]:
    outer = node.parent
    return {node.tag or "", (outer.tag if outer is not None else None) or ""}


def _in_words(places: Places) -> Stock | None:
    """Stock words in a short element of the heading's block, where no name tells of stock."""
    at = places.heading
    for _ in range(3):
        at = at.parent if at is not None else None
        if at is None or at.tag in ("body", "html") or len(at.text()) > MAX_NEAR:
            return None
        for node in at.css("p, div, span, strong, b, font, li, tr, dl")[:80]:
            text = " ".join(node.text(deep=False).split())
            whole = " ".join(node.text(separator=" ")[: 4 * MAX_WORDS].split())
            if _LEAD.match(whole):
                text = whole
            elif whole.endswith(":"):
                text = whole = f"{whole} {_behind(node)}"
            most = MAX_LED if text is whole else MAX_WORDS
            if (
                not 3 < len(text) <= most
                or _BUTTONS.intersection(_tags(node))
                or places.of(node).zone in ("other", "hidden")
            ):
                continue
            said = None if _SUM.search(text) else read_availability(text)
            if said is Availability.IN_STOCK and not _LEAD.match(text):
                continue
            if said in _OUT and (places.of(node).zone == "spoken" or _of_choice(node, text)):
                continue
            if said not in (None, Availability.UNKNOWN):
                return Stock(said, Evidence("visible", "availability", text, where(node)))
    return None


def _behind(node: LexborNode) -> str:
    """The text right behind an element, up to the next one: a value behind its label."""
    after = node.next
    said = after.text_content if after is not None and after.is_text_node else None
    return " ".join((said or "")[: 2 * MAX_LED].split())


def _of_choice(node: LexborNode, said: str) -> bool:
    """Whether words tell of one size or shop among several: in a row beside its name."""
    at: LexborNode | None = node
    for _ in range(3):
        if at is None:
            return False
        if at.tag in _ROWS:
            whole = " ".join(at.text(separator=" ")[:200].split())
            name = whole.replace(said, "", 1).strip()
            alone = not any(one.tag == at.tag for one in (_next(at), _next(at, back=True)) if one)
            return 0 < len(name) <= MAX_NAME and ":" not in name and not alone
        at = at.parent
    return False


def _next(node: LexborNode, *, back: bool = False) -> LexborNode | None:
    at = node.prev if back else node.next
    while at is not None and not at.is_element_node:
        at = at.prev if back else at.next
    return at


_ROWS = frozenset({"li", "label", "option"})
MAX_NAME = 24


def _in_column(places: Places) -> Stock | None:
    """Stock words under their label, in a table of labels and one row."""
    for label, value, cell in under_labels(places):
        said = read_availability(value) if _LEAD.match(f"{label}: {value}") else None
        if said not in (None, Availability.UNKNOWN):
            return Stock(said, Evidence("visible", "availability", value, where(cell)))
    return None


_CHOICE = frozenset({"button", "option", "label", "input"})  # its class tells of one size only
_OUT = (Availability.OUT_OF_STOCK, Availability.DISCONTINUED)
_GOOD = (Availability.IN_STOCK, Availability.LOW_STOCK)


def _of(node: LexborNode, text: str) -> tuple[Availability, str]:
    if text and len(text) <= MAX_TEXT:
        said = read_availability(text)
        if said is not None and said is not Availability.UNKNOWN:
            return (_somewhere(node) if said in _OUT else None) or (said, text)
    if len(text) <= MAX_TEXT and node.tag not in _CHOICE:
        named = own_class(node)
        for pattern, said in _CLASS:
            if pattern.search(named):
                return said, text or named
    return Availability.UNKNOWN, ""


def _one_of_several(node: LexborNode) -> bool:
    """A size or colour in a row of short ones: that it is sold out says nothing of the others."""
    if _SIZE.search(own_class(node)) and not node.css_first("li, [class*=size]"):
        return True
    row = node.parent
    if node.tag != "li" or row is None or len(row.text()) > MAX_OPTIONS:
        return False
    beside = [one for one in row.iter() if one.tag == "li" and one.mem_id != node.mem_id]
    said = [read_availability(" ".join(one.text(separator=" ").split())) for one in beside]
    return bool(beside) and all(one in (None, Availability.UNKNOWN) for one in said)


MAX_OPTIONS = 300
_SIZE = re.compile(
    r"(?:^|[\s_-])(?:sizes?|swatch(?:es)?|colou?rs?|opt(?:ion)?)(?=$|[\s_-])", re.IGNORECASE
)


def _somewhere(node: LexborNode) -> tuple[Availability, str] | None:
    """Of a list of warehouses or shops the first one that has the goods."""
    texts = [" ".join(one.text(separator=" ").split()) for one in node.iter()]
    said = [(read_availability(text) or Availability.UNKNOWN, text) for text in texts if text]
    held = [one for one in said if one[0] in _GOOD]
    best = next((one for one in held if one[0] is Availability.IN_STOCK), held[0] if held else None)
    return best if any(found in _OUT for found, _ in said) else None


NEAR_BUTTON = 2  # levels above the heading; lists of other goods hang further up


def _button(doc: Doc, places: Places) -> tuple[Availability, Evidence | None, int]:
    """The ordering button nearest the heading: its words, else able or disabled; its level."""
    best = _best(doc.buttons[:150], places)
    if best is None:
        best = _best([n for n in orderers(doc, places) if n.tag == "a"], places)
    return (best[1], best[2], best[0]) if best else (Availability.UNKNOWN, None, 0)


def _best(nodes: list[LexborNode], places: Places) -> tuple[int, Availability, Evidence] | None:
    best: tuple[int, Availability, Evidence] | None = None
    for node in nodes:
        place = places.of(_box(node))
        if place.zone in ("other", "hidden") or (best and place.level >= best[0]):
            continue
        text = _words(node)[:60]
        said = _said(text, disabled="disabled" in node.attributes)
        if said is not None:
            best = (place.level, said, Evidence("visible", "availability", text, where(node)))
    return best


def orderers(doc: Doc, places: Places | None = None) -> list[LexborNode]:
    """What orders something in the page's own matter: buttons, else links like buttons."""
    found = [n for n in _own(doc.buttons[:150], places) if _BUY.search(_words(n))]
    if not found:
        found = _own([n for n in doc.tree.css(_LINKS)[:150] if _BUY.search(_words(n))], places)
    found = found or _own([n for n in doc.buttons[:150] if _sends_to_cart(n)], places)
    return found or _own([n for n in doc.tree.css("a")[:600] if _orders(_words(n))], places)


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


MAX_MUTE = 12
FORM_DEEP = 10
_NO_SENDERS = frozenset({"button", "reset"})
_CART = re.compile(
    r"add[-_]?(?:to[-_]?)?(?:cart|basket|bag|trolley)|action=(?:add_product|buy_now|add)\b|"
    r"(?:cart|basket|warenkorb|panier|winkelwagen|carrello|carrito|koszyk|kosik|varukorg|kurv)"
    r"(?:[/._?-]|\Z)",
    re.IGNORECASE,
)


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


CARD_DEEP = 7
MAX_LINKED = 8
_LETTERS = re.compile(r"[^\W\d_]{2}")


def ordered_within(doc: Doc, places: Places, level: int) -> int:
    """How many buttons and links order something no further from the heading than `level`."""
    nodes = (*doc.buttons[:150], *doc.tree.css(_LINKS)[:150])
    found = {n.mem_id: n for n in nodes if _BUY.search(_words(n))}
    return sum(places.of(n).level <= level for n in _own(list(found.values()), places))


def _own(nodes: list[LexborNode], places: Places | None) -> list[LexborNode]:
    if places is None:
        return nodes
    return [n for n in nodes if places.of(_box(n)).zone not in ("other", "hidden")]


def _box(node: LexborNode) -> LexborNode:
    """Where a button stands; a link of class "cart" leads into it, its own name says nothing."""
    return node.parent if node.tag == "a" and node.parent is not None else node


_LINKS = (
    'a[class*="buy" i], a[class*="cart" i], a[class*="btn" i], a[class*="button" i], '
    'a[id*="cart" i], a[id*="buy" i], a[href^="javascript:"], [role="button"], a[href*="cart"]'
)


def _orders(text: str) -> bool:
    """A short link that names the cart; a bare "buy" may lead anywhere."""
    short = len(text) <= MAX_LINK
    return short and _BUY.search(text) is not None and _TO_CART.search(text) is not None


MAX_LINK = 30
_TO_CART = re.compile(
    r"cart|basket|trolley|korb|wagen|panier|winkelmand|carrello|carrito|cesta|koszyk|ko[šs][íi]k|"
    r"varukorg|kundvagn|kurv|ostoskor|koriin|kos[áa]r|carrinho|co[șs]\b",
    re.IGNORECASE,
)


_ADDS = re.compile(r"add-?to-?(?:cart|basket|bag)", re.IGNORECASE)


def _words(node: LexborNode) -> str:
    """What a button says: its text, or the attribute that speaks for its picture."""
    attrs = node.attributes
    text = " ".join(node.text(separator=" ").split())
    if node.css_first("script") is not None and _ADDS.search(attrs.get("class") or ""):
        return "add to cart"  # a script writes what it says
    names = ("value", "alt", "title", "aria-label")
    return (text or next((v for n in names if (v := attrs.get(n))), "") or "")[:80]


def _said(text: str, *, disabled: bool) -> Availability | None:
    if not text:
        return None
    if _BUY.search(text):
        return Availability.UNKNOWN if disabled else Availability.IN_STOCK
    said = read_availability(text)
    return said if said is not Availability.UNKNOWN else None


def buy_buttons(doc: Doc, places: Places) -> int:
    """How many buttons of the page's own matter order something; one page, one product: few."""
    return len(orderers(doc, places))
