"""Numbers and brand in sight and in scripts, where the markup is silent."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from scrapers.model import Evidence, Ids, Reading, Source
from scrapers.readers import details, nearbrand, number, state, statefacts, visible
from scrapers.readers.claims import Product
from scrapers.readers.dom import Doc
from scrapers.readers.statemoney import MINOR
from scrapers.reconcile.names import alike
from scrapers.reconcile.told import Told, filled

_NUMBER_KEYS = ('"sku"', '"sku\\"', '"gtin', '"ean"', '"upc"', '"mpn"', '"barcode"', '"brand"',
                "'brand'", "item_brand", "item_id")  # fmt: skip
_GTIN_KEYS = ('"barcode"', '"ean"')
_ID_NAMES = ("gtin", "mpn", "sku", "brand")


def numbered(doc: Doc, made: Reading, view: visible.View) -> Reading:
    """The reading with the numbers and the brand that its sources left out, and their proofs."""
    ids, evidence = _in_sight(doc, made, view)
    found = _in_scripts(doc, made, ids)
    if found is not None:
        ids, evidence = filled(ids, found[0]), (*evidence, found[1])
    known = ids.brand and (ids.sku or ids.mpn)
    if not (known and (ids.gtin or not _has_codes(doc))):
        ids, evidence = _in_facts(doc, replace(made, ids=ids, evidence=evidence), view)
    if not ids.brand and (brand := nearbrand.beside(doc, view.places)):
        ids, evidence = replace(ids, brand=brand[0]), (*evidence, brand[1])
    return made if ids is made.ids else replace(made, ids=ids, evidence=evidence)


def gives_number(doc: Doc, told: Told, view: visible.View) -> bool:
    """Whether a labelled number in sight is one that the markup gives, or calls its product."""
    held = {told.title, told.ids.sku, told.ids.mpn, told.ids.gtin} - {None}
    found = number.read(doc, view.places)
    if found is not None and found[0] in held:
        return True
    labelled = details.read(doc, view.places)
    return not held.isdisjoint({labelled.mpn, labelled.gtin} - {None})


def _in_sight(doc: Doc, made: Reading, view: visible.View) -> tuple[Ids, tuple[Evidence, ...]]:
    """Completed by labels, by the article number and by a bar code."""
    ids, evidence, modelled = made.ids, made.evidence, False
    if not (ids.brand and ids.gtin and ids.mpn):
        labelled = details.read(doc, view.places)
        ids = _labelled(ids, labelled)
        modelled = labelled.modelled and not made.ids.mpn
        new = (e for e in labelled.evidence if not getattr(made.ids, e.field))
        evidence = (*evidence, *new)
    if not made.ids.sku:
        found = number.read(doc, view.places, several=made.low is not None)
        if found is not None and (modelled or found[0] != ids.mpn):
            ids, evidence = replace(ids, sku=found[0]), (*evidence, found[1])
    if not ids.gtin and (found := number.read_gtin(view.places)):
        ids, evidence = replace(ids, gtin=found[0]), (*evidence, found[1])
    return ids, evidence


def _labelled(ids: Ids, found: details.Details) -> Ids:
    return Ids(ids.gtin or found.gtin, ids.mpn or found.mpn, ids.sku, ids.brand or found.brand)


def _in_scripts(doc: Doc, made: Reading, ids: Ids) -> tuple[Ids, Evidence] | None:
    """What script state adds to `ids`; of a product with another number only the brand."""
    bare = made.source is Source.VISIBLE and not (ids.brand and ids.gtin)
    bare = bare or not (ids.sku or ids.mpn)
    if not bare and (ids.gtin or not _has_codes(doc)):
        return None
    more, where = _in_state(doc, made, all_keys=bare)
    if not (ids.sku is None or more.sku in (None, ids.sku) or ids.gtin == more.gtin is not None):
        more = Ids(brand=more.brand)  # numbers of the shop's own, under the same name
    if more == Ids():
        return None
    return more, Evidence("state", "sku", more.sku or more.gtin or "", where)


def _in_facts(doc: Doc, made: Reading, view: visible.View) -> tuple[Ids, tuple[Evidence, ...]]:
    """Completed by the objects of script state that bear the page's title."""
    titles = tuple(dict.fromkeys(t for t in (made.title, view.title) if t))
    more, where = statefacts.read(doc, titles, lambda amount: _is_price(amount, made))
    if not _agree(made.ids, more):
        more = Ids(brand=more.brand)
    ids = filled(made.ids, more)
    new = [n for n in _ID_NAMES if getattr(ids, n) != getattr(made.ids, n)]
    proofs = [Evidence("state", name, getattr(ids, name), where) for name in new]
    return ids, (*made.evidence, *proofs)


def _agree(ids: Ids, more: Ids) -> bool:
    """Whether what scripts say may be of the thing read: its number, or none that differs."""
    if ids.gtin and more.gtin:
        return ids.gtin == more.gtin
    return ids.sku is None or more.sku in (None, ids.sku)


def _is_price(amount: Decimal, made: Reading) -> bool:
    return made.price is not None and made.price in (amount, amount / 100)


def _has_codes(doc: Doc) -> bool:
    """Whether pure JSON with a price holds a bar code; programs are not searched for one."""
    held = (t for _, s, t in doc.priced_scripts() if "json" in (s.attributes.get("type") or ""))
    return any(key in text for text in held for key in _GTIN_KEYS)


def _in_state(doc: Doc, made: Reading, *, all_keys: bool) -> tuple[Ids, str]:
    """The numbers that script state gives for the product read: same name, same price."""
    texts = [text for _, _, text in doc.priced_scripts()]
    named = any(key in text for text in texts for key in _NUMBER_KEYS)
    if made.price is None or not (named or (all_keys and doc.tables)):
        return Ids(), ""
    found = [p for p in state.read(doc) if alike(p.title, made.title) and _costs(p, made)]
    same = [p for p in found if p.title == made.title] or found
    told = {name: {v for p in same if (v := getattr(p.ids, name))} for name in _ID_NAMES}
    ids = Ids(**{name: next(iter(v)) if len(v) == 1 else None for name, v in told.items()})
    return ids, found[0].where if found else ""


def _costs(product: Product, made: Reading) -> bool:
    """Whether script state names the price that was read, maybe in cents."""
    return made.price is not None and any(
        o.price == made.price or (o.doubt == MINOR and o.price and o.price / 100 == made.price)
        for o in product.offers
    )
