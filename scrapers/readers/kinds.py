"""What an amount is: the price, a list price, a saving, a tier ..., by class, label and strike."""

# the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache

from selectolax.lexbor import LexborNode

from scrapers.model import PriceText, Tax
from scrapers.readers import classes, labels
from scrapers.readers.leaves import Leaf
from scrapers.readers.places import own_class
from scrapers.readers.pricelike import AMOUNT, PRICE_LIKE

_BY_CLASS = (
    ("lowest30", classes.LOWEST), ("shipping", classes.SHIPPING),
    ("instalment", classes.INSTALMENT),
    ("tier", classes.TIER), ("unit", classes.UNIT), ("member", classes.MEMBER),
    ("eco", classes.ECO), ("net", classes.NET), ("list", classes.LIST),
    ("other", classes.OTHER),
)  # fmt: skip
_BY_LABEL = (
    ("lowest30", labels.LOWEST30), ("points", labels.POINTS), ("tier", labels.TIER),
    ("instalment", labels.INSTALMENT), ("shipping", labels.SHIPPING), ("eco", labels.ECO),
    ("used", labels.USED), ("converted", labels.APPROX), ("other", labels.EXTRA),
    ("member", labels.MEMBER),
    ("saving", labels.SAVING),
)  # fmt: skip


_WITH_CLAIMS = (*_BY_LABEL, ("list", labels.LIST), ("regular", labels.REGULAR))
_SPACED = re.compile(r"(?<=\d) (?=\d{3}(?!\d))")  # "1 599"
_PERCENT = re.compile(r"\d+(?:[.,]\d+)?\s?%")
_OFF = re.compile(
    r"\s*(?:(?:off|saved|discount|cash-?back|rabatt|korting|de remise|sconto)\b(?!\s*:)|"
    r"할인(?!가|판매)|割?引き?)",
    re.IGNORECASE,
)
_MONTHLY = re.compile(r"\s*(?:/|per|pro|je)\s*(?:mo|mes|mese|maand|mois)", re.IGNORECASE)


def kind_of(
    leaf: Leaf,
    text: str,
    before: str,
    after: str,
    *,
    size: Callable[[LexborNode], int],
    cut: bool = False,
    close: Callable[[], str] = str,
) -> tuple[str, bool]:
    """What the amount is, and whether class or label call it the current price outright.

    `size`: how many characters an element holds. `cut`: another amount stands before the words
    `before`. `close` gives those in the smallest element that has words; what is said farther
    off of members is said of another amount.
    """
    if leaf.place.struck or _struck_within(leaf.node):
        return ("lowest30" if labels.LOWEST30.search(f"{before} {text}") else "list"), False
    if labels.OPTION.search(text) or labels.MINIMUM.search(before) or _ticked(leaf.node):
        return "option", False
    named = own_class(leaf.node)
    once = bool(labels.ONCE.search(f"{before[-40:]} {text}"))
    strong = once or bool(classes.NOW.search(named) or labels.CURRENT.search(before) or _led(text))
    by_label = _by_label(text, before, after)
    if by_label == "member" and (once or not labels.MEMBER.search(f"{close()} {text}")):
        by_label = None
    if by_label == "regular" and _by_class(leaf, size) == "list":
        return "list", False
    if by_label:
        return by_label, False
    by_class = _by_class(leaf, size)
    if by_class == "unit" and not _says_unit(text, before, after):
        by_class = None  # trade shops call the price of one piece so
    if by_class and not (strong and by_class in ("member", "shipping", "other", "instalment")):
        return by_class, False
    return tax_label(text, before, after, cut=cut) or "now", strong


_TICK = "input[type=checkbox]"


def _ticked(node: LexborNode) -> bool:
    """In the label of a box to tick: an extra, not the thing itself."""
    at: LexborNode | None = node
    for _ in range(4):
        if at is None:
            return False
        if at.tag == "label":
            return at.css_first(_TICK) is not None
        at = at.parent
    return False


_STRUCK = 'del, s, strike, [style*="line-through"]'


def _struck_within(node: LexborNode) -> bool:
    """The sign stands in the element, its digits in a struck one within."""
    child = node.child
    if child is None or (child.next is None and child.is_text_node):
        return False
    inner = node.css_first(_STRUCK)
    return inner is not None and AMOUNT.findall(inner.text()) == AMOUNT.findall(node.text())


def _says_unit(text: str, before: str, after: str) -> bool:
    """Whether words beside an element named for a unit price name a unit."""
    near = f"{before[-30:]} {text} {after[:14]}"
    return bool(labels.UNIT.search(near) or _PER.search(f"{text} {after[:14]}"))


_PER = re.compile(r"[/=)(]|\b(?:per|pro|je|par|al|por|za|le)\b", re.IGNORECASE)


def _led(text: str) -> bool:
    """Whether the amount's own text begins with a word for the current price ("Price: 2.35")."""
    lead = _LEAD.match(text)
    return lead is not None and bool(labels.CURRENT.search(lead[1]))


_LEAD = re.compile(r"([^\W\d_][^\d€$£¥:]{1,24}(?::|(?= ?[\d€$£¥])))")


def _several(node: LexborNode) -> bool:
    return len(set(AMOUNT.findall(_PERCENT.sub("", _SPACED.sub("", node.text(separator=" ")))))) > 1


def _same(node: LexborNode, leaf: Leaf) -> bool:
    """Whether the element holds no digit but the amount's own, whose pieces stand apart."""
    return _NOT_DIGIT.sub("", node.text()) == _NOT_DIGIT.sub("", leaf.raw)


_NOT_DIGIT = re.compile(r"\D")


_DISCOUNTED = re.compile(
    r"(?:with|has|is|ws|price|prix|preis|pris|prijs|prezzo|cena)[-_]{0,2}discount"
    r"(?![-_]?(?:amount|value|percent|label|badge|info|text))|"
    r"discount(?:ed)?[-_]{0,2}(?:price|prix|preis|pris|prijs|prezzo|cena)",
    re.IGNORECASE,
)
_OFF_SIGN = re.compile(r"^\W*[-−–]\s?\D{0,4}\d|%")  # noqa: RUF001  # the minus of pages


def _by_class(leaf: Leaf, size: Callable[[LexborNode], int]) -> str | None:
    at: LexborNode | None = leaf.node
    for _ in range(3):
        if at is None:
            break
        if size(at) > len(leaf.raw) + 60:
            break
        own = own_class(at)
        kind = _class_kind(own, own_one=at is leaf.node) if own else None
        if kind == "saving" and _DISCOUNTED.search(own) and not _OFF_SIGN.search(leaf.raw):
            kind = None  # the price after the discount, not the discount
        if kind == "list" and at is not leaf.node and not _same(at, leaf) and _several(at):
            kind = None  # the box of current and old price together
        if kind is not None:
            return kind
        at = at.parent
    return None


_LETTERS = re.compile(r"[^\W\d_]{2}")


# "with-list-price": the price that has a list price beside it, not the list price itself
_BESIDE_IT = re.compile(
    r"(?<![\w-])(?:with|has|is)-\S+|(?<![a-z])(?:with|has)(?-i:[A-Z])\S+", re.IGNORECASE
)


# the box around current and old price alike
_LIST_OF = re.compile(r"prices?[-_]?list", re.IGNORECASE)


@lru_cache(maxsize=8192)
def _class_kind(named: str, *, own_one: bool) -> str | None:
    bare = _BESIDE_IT.sub("", named)
    if not own_one:
        bare = _LIST_OF.sub("", bare)
    for kind, pattern in _BY_CLASS:
        if pattern.search(bare if kind == "list" else named):
            return kind
    saved = classes.SAVING if own_one else classes.SAVED
    if saved.search(named) and not classes.NOW.search(named):
        return "saving"
    return "regular" if classes.REGULAR.search(named) else None


def _claims(text: str) -> bool:
    """Whether the amount's own text calls it an old or a list price."""
    return bool(labels.LIST.search(text) or labels.REGULAR.search(text))


# "3x", "4 payments": how often, not how much
_TIMES = re.compile(
    r"(?<![\d.,])\d{1,2}\s?(?:[x\u00d7](?!\w)|(?=(?:interest|payment|instal|rat[aey]|raten|termijn|cuota|"
    r"mois|mensualit|monat|month|pagament|paiement|pagos|versement|parcela|spl[áa]t|delbetal)))",
    re.IGNORECASE,
)


def _by_label(text: str, before: str, after: str) -> str | None:
    words = f"{before} {text}"
    if not _LETTERS.search(words) and not _LETTERS.search(after) and "%" not in words:
        return None
    bare = _TIMES.sub("", _PERCENT.sub("", _SPACED.sub("", text)))
    if (prior := labels.LOWEST30.search(text)) and not AMOUNT.search(text[: prior.start()]):
        return "lowest30"
    if len(AMOUNT.findall(bare)) > 1:
        found = "converted" if labels.APPROX.search(text) else _led_by(f"{before} {text}")
    else:
        found = _labelled(words, f"{before} {AMOUNT.split(bare, 1)[0]}", before)
    if found is None and _OFF.match(after):
        return "saving"
    return found or ("instalment" if _MONTHLY.match(after) else None)


_LEADING = (("shipping", labels.SHIPPING), ("instalment", labels.INSTALMENT))


def _led_by(text: str) -> str | None:
    """What the words before the first of several amounts say of all of them."""
    money = PRICE_LIKE.search(text)
    lead = _BEGUN.sub("", text[: money.start()]) if money else AMOUNT.split(text, 1)[0]
    if _SELLERS.search(lead):
        return "used"
    if money and labels.VOUCHER.search(text) and labels.SAVING.search(text):
        return "other"  # "10 off orders over 50 with code ..."
    taxed = labels.GROSS.search(text) or labels.NET.search(text)
    if taxed and labels.LIST.search(lead) and not labels.CURRENT.search(lead):
        return "list"  # with and without tax: "\u5b9a\u4fa1 3,980 (\u7a0e\u8fbc 4,378)"
    return next((kind for kind, pattern in _LEADING if pattern.search(lead)), None)


_BEGUN = re.compile(
    r"\d[\d.,'\u2019 \u00a0\u202f]*\Z"
)  # an amount before its currency begins there
# "3 new from 9.50", "2 offers from": what others ask
_SELLERS = re.compile(
    r"\b\d+\s+(?:other )?(?:new|used|sellers?|offers?|neue?|angebote?|anbieter|vendeurs?|offres?|"
    r"neufs?|nieuwe?|nuev[oa]s?|nuov[oi]|now[ey]|nov[ée]|nya|nye|gebrauchte?|"
    r"verkopers?|aanbied\w+|venditori|offerte|vendedores|ofertas?|s[äa]ljare|s[æa]lgere)\b[^\d]{0,12}\Z",
    re.IGNORECASE,
)


_PIECES = re.compile(
    r"\b(?:st(?:[üu]cks?|k|uks?)?|pcs?|pieces?|each|szt\w*|ks|kus|pi[èe]ces?|unidad|unit[éà]|unit|pezz[oi]|"
    r"paar|pair|paire|par|set|pack\w*|kpl|db|rol\w*|artikel|item)\b|€|£|\d",
    re.IGNORECASE,
)


def _labelled(words: str, lead: str, before: str) -> str | None:
    """What the words around the one amount of a text say; `lead`: those before it."""
    now = labels.CURRENT.search(before) and not _claims(lead[len(before) :])
    if labels.SET.search(lead) or labels.ASIDE.search(lead) or labels.GIFT_CARD.search(lead):
        return "other"
    if labels.NEWSLETTER.search(words):
        return "other"
    if labels.UNIT.search(lead) and not _PIECES.search(lead):
        return "unit"
    if not now and labels.LIST.search(lead) and not labels.SAVING.search(lead):
        return "list"
    claims = _BY_LABEL if now else _WITH_CLAIMS
    return next((kind for kind, pattern in claims if pattern.search(words)), None)


def tax_label(text: str, before: str, after: str, *, cut: bool = False) -> str | None:
    if not _LETTERS.search(f"{before} {text} {after}"):
        return None
    net, gross = labels.NET.search(text), labels.GROSS.search(text)
    if net and gross:
        return _tail_label(text)
    if cut and not net and not gross and (trailing := _trailing_label(after)):
        return trailing  # what stands before may belong to the amount before
    if net or (not gross and labels.NET.search(before) and not labels.NET.search(after)):
        return "net"
    if not gross and (closing := _CLOSING.match(after)):
        return _trailing_label(closing[0].rstrip(" )"))
    return "gross" if gross or labels.GROSS.search(before) else _trailing_label(after)


def _tail_label(text: str) -> str | None:
    """Of two tax words the one behind the amount: "incl. BTW (20,62 excl.)"."""
    tail = AMOUNT.split(text)[-1]
    net, gross = labels.NET.search(tail), labels.GROSS.search(tail)
    return None if bool(net) == bool(gross) else "net" if net else "gross"


_CLOSING = re.compile(r"[^\d()]{2,24}\)")  # "120.00 inc GST (109.09 ex GST)"


def _trailing_label(after: str) -> str | None:
    """A tax word right after the amount, unless it leads the next one ("Ex Tax: 6.00")."""
    after = after.lstrip(" (*")
    if _PLUS_TAX.match(after):
        return "net"
    for kind, pattern in (("net", labels.NET), ("gross", labels.GROSS)):
        found = pattern.match(after)
        if found and not after[found.end() :].lstrip().startswith(":"):
            return kind
    return None


# "5.08 + VAT", but not "5.08 + VAT 1.02"
_PLUS_TAX = re.compile(
    r"\+ ?(?:iva|btw|vat|gst|dph|moms|mva|alv|[áa]fa|tva|mwst|ust)\b(?![^\w(]{0,4}\d)",
    re.IGNORECASE,
)


def refined(kind: str, told: PriceText) -> str:
    if kind == "now" and told.low is not None:
        return "low"
    if kind in ("now", "net", "gross") and told.per and not labels.PIECE.search(told.per):
        return "unit"
    if kind in ("now", "net", "gross") and told.tax is Tax.EXCLUDED:
        return "net"
    return kind


_WITHOUT_TAX = re.compile(r"without-?tax", re.IGNORECASE)


def tax_of_seen(told: PriceText, kind: str, label: str | None, named: str) -> Tax:
    if told.tax is not Tax.UNKNOWN:
        return told.tax
    if "net" in (kind, label):
        # one theme calls its only price "without tax" where the shop has no taxes at all
        bare = label != "net" and _WITHOUT_TAX.search(named)
        return Tax.UNKNOWN if bare else Tax.EXCLUDED
    gross = "gross" in (kind, label) or classes.GROSS.search(named)
    return Tax.INCLUDED if gross else Tax.UNKNOWN
