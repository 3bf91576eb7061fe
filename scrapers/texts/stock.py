"""Stock words of shops, and the availability members of schema.org."""

from __future__ import annotations

import re
from typing import Final

from scrapers.model import Availability as A

MAX_TEXT: Final = 400

# schema.org 30.0, ItemAvailability (12 members); the map is the project's own.
_SCHEMA: Final = {
    "instock": A.IN_STOCK,
    "onlineonly": A.IN_STOCK,
    "limitedavailability": A.LOW_STOCK,
    "preorder": A.PREORDER,
    "presale": A.PREORDER,
    "backorder": A.BACKORDER,
    "madetoorder": A.BACKORDER,
    "outofstock": A.OUT_OF_STOCK,
    "soldout": A.OUT_OF_STOCK,
    "reserved": A.OUT_OF_STOCK,
    "instoreonly": A.OUT_OF_STOCK,
    "discontinued": A.DISCONTINUED,
}
# Words of product metas and feeds beside schema.org's members (common practice).
_FEED: Final = {
    "available": A.IN_STOCK,
    "availablefororder": A.BACKORDER,
    "oos": A.OUT_OF_STOCK,
    "pending": A.PREORDER,
    "unavailable": A.OUT_OF_STOCK,
    "notavailable": A.OUT_OF_STOCK,
    "lowstock": A.LOW_STOCK,
    "limited": A.LOW_STOCK,
    "backordered": A.BACKORDER,
    "true": A.IN_STOCK,
    "false": A.OUT_OF_STOCK,
}


def schema_availability(value: object) -> A | None:
    """The availability that a schema.org member names, in any of its spellings.

    `value`: `https://schema.org/InStock`, `http://schema.org/ instock `, `InStock`,
    `in stock`, `in_stock`, a JSON object with `@id`, or a boolean. None for others.
    """
    if isinstance(value, dict):
        value = value.get("@id") or value.get("name")
    if isinstance(value, bool):
        value = str(value)
    if not isinstance(value, str) or len(value) > 200:
        return None
    name = re.split(r"[/#:]", value.strip().rstrip("/ "))[-1]
    key = re.sub(r"[\W_]+", "", name).casefold()
    return _SCHEMA.get(key) or _FEED.get(key)


# Searched in this order: what says no comes before the words that it negates.
_SAYINGS: Final = (
    (
        A.DISCONTINUED,
        r"discontinued|no longer (?:available|made|produced|in (?:our )?(?:range|production))|end of (?:life|line)|"
        r"nicht mehr (?:lieferbar|erhältlich|verfügbar|produziert|im (?:sortiment|programm))|auslaufartikel|eingestellt|"
        r"produktion eingestellt|artikel entfällt|arrêté|fin de (?:série|vie)|plus (?:fabriqué|commercialisé|produit)|"
        r"n'est plus (?:disponible|fabriqué|commercialisé)|niet meer (?:leverbaar|verkrijgbaar|beschikbaar)|"
        r"uit (?:het )?assortiment|fuori produzione|non più (?:disponibile|in produzione)|descatalogado|"
        r"ya no (?:está )?disponible|fuera de producción|wycofan[yeoa]|produkt wycofany|już niedostępn|"
        r"ukončen[aáoéý]?\b|prodej (?:byl )?ukončen|již (?:není|se) (?:v nabídce|nevyrábí)|vyřazen|utgått|utgår|"
        r"har utgått|udgået|udgår|ikke længere (?:i sortimentet|tilgængelig)",
    ),
    (
        A.PREORDER,
        r"pre-?\s?orders?|pre-?\s?sale|coming soon|not yet (?:released|available)|vorbestell\w*|vorbestellbar|vorverkauf|"
        r"demnächst (?:verfügbar|lieferbar|erhältlich)|bald (?:verfügbar|erhältlich)|neuheit.{0,20}lieferbar ab|"
        r"précommande\w*|pré-commande\w*|en prévente|bientôt disponible|binnenkort (?:verwacht|leverbaar|beschikbaar)|"
        r"voorbestel\w*|pre-?ordine|prenota(?:bile|zione)?|preordina|in arrivo|prossimamente|reserva ahora|preventa|"
        r"pre-?compra|pre-?pedido|próximamente|przedsprzedaż|zapowiedź|wkrótce|předobjedn\w*|předprodej|"
        r"připravujeme|brzy v prodeji|förhandsbok\w*|förbeställ\w*|forudbestil\w*|kommer snart|kommer snarast",
    ),
    (
        A.OUT_OF_STOCK,
        r"out[- ]of[- ]stock|sold[- ]?out|(?:currently |temporarily |is |now )*un-?available|not (?:currently )?(?:in stock|available|in store)|"
        r"no stock|zero stock|no longer in stock|(?<!\d)0 (?:in stock|available|left|pcs|pieces|items?)|(?:notify|email|tell|alert) me when|"
        r"(?:in|instore) store only|back in stock soon|temporarily out|"
        r"nicht (?:auf|an|am) lager|nicht (?:lieferbar|verfügbar|vorrätig|vorhanden|bestellbar|erhältlich)|"
        r"(?:derzeit|momentan|zurzeit|zur zeit|aktuell|leider|vorübergehend) (?:nicht|ausverkauft|vergriffen)|ausverkauft|vergriffen|"
        r"kein bestand|bestand:? 0\b|lagerbestand:? 0\b|0 (?:stück|stk\.?) (?:auf lager|verfügbar|vorrätig)|nur im laden|nur im ladengeschäft|"
        r"en rupture|rupture de stock|épuisée?s?|indisponibles?|non disponibles?|pas (?:en stock|disponible)|plus en stock|hors stock|"
        r"niet (?:op|in) voorraad|niet (?:leverbaar|beschikbaar|voorradig)|uitverkocht|geen voorraad|tijdelijk (?:uitverkocht|niet)|"
        r"non (?:è )?disponibile|esaurit[oaie]|non in (?:stock|magazzino)|terminato|"
        r"agotad[oa]s?|sin (?:stock|existencias)|no (?:está )?disponible|fuera de stock|no hay (?:stock|existencias)|"
        r"niedostępn[yeao]\w*|brak (?:w magazynie|towaru|produktu|na stanie)|brak\b|wyprzedan[yeao]\w*|chwilowo|nakład wyczerpany|"
        r"nedostupn[ýáéo]\w*|není (?:skladem|na skladě|dostupn\w*)|vyprodán[oay]?\b|momentálně (?:není|nedostupn\w*)|nemáme (?:skladem|na skladě)|"
        r"slut(?:såld)?(?: i lager)?\b|ej i lager|(?:finns )?(?:inte|ej) (?:i lager|tillgänglig)|tillfälligt slut|"
        r"udsolgt|ikke (?:på|på vort) lager|ikke tilgængelig|ikke på lager",
    ),
    (
        A.BACKORDER,
        r"back-?\s?order(?:ed)?s?|made to order|built to order|on (?:back)?order\b|special order|available (?:to|on|for) order|"
        r"(?:ships|available|dispatched|delivery|expected|due|restock\w*) (?:again )?(?:in|within|by|from|on)? ?(?:about |approx\.? |~)?(?:\d+\s?(?:-|–|to)\s?)?\d+ (?:weeks?|months?)|"
        r"nachbestell\w*|auf bestellung|bestellartikel|wird (?:für sie )?bestellt|beim lieferanten bestellt|rückstand|"
        r"im zulauf|zulauf|lieferbar (?:ab|in) (?:\d+|ca)|lieferzeit:? (?:ca\.? )?(?:\d+\s?(?:-|–|bis)\s?)?\d+ (?:wochen?|monate?)|wieder (?:verfügbar|lieferbar) (?:ab|in|am)|"
        r"sur commande|en (?:cours de )?réapprovisionnement|réassort|réappro\w*|expédié sous \d+ (?:semaines?|mois)|"
        r"op bestelling|nabestel\w*|in bestelling|nalevering|levertijd:? (?:\d+\s?(?:-|–|tot)\s?)?\d+ (?:weken|week|maanden)|"
        r"su ordinazione|ordinabile|in riordino|in riassortimento|disponibile (?:su richiesta|tra)|"
        r"bajo pedido|por encargo|en reposición|bajo demanda|disponible en \d+ semanas?|"
        r"na zamówienie|na zamowienie|na objednávku|na objednání|na dotaz|u dodavatele|"
        r"beställningsvara|restnoterad|på väg in|kan beställas|bestillingsvare|skaffevare|i restordre|restordre|på vej hjem",
    ),
    (
        A.LOW_STOCK,
        r"(?:only|just|last) (?:a )?(?:few|\d+)\b|\b\d{1,2} left\b|few (?:left|remaining|items)|low (?:in )?stock|limited (?:stock|availability|quantit\w+)|"
        r"last (?:one|item|piece|unit|pieces|items)\b|almost (?:gone|sold out)|hurry|selling fast|"
        r"nur noch|noch \d{1,2} (?:stück|stk|verfügbar|auf lager|vorrätig)|wenige (?:stück|exemplare|verfügbar|artikel)|knapper|geringer bestand|"
        r"(?:geringe|begrenzte|niedrige) (?:stückzahl|menge|verfügbarkeit)|letzte(?:s|r)? (?:stück|artikel|exemplare?)|begrenzt verfügbar|restposten|"
        r"plus que \d+|(?:dernier|dernière)s? (?:pièces?|articles?|exemplaires?|unités?)|stock (?:faible|limité)|(?:bientôt|presque) épuisé|quantité limitée|"
        r"(?:nog maar|slechts|nog) \d{1,2}\b|laatste (?:stuks?|exemplaar|artikelen?)|beperkte? (?:voorraad|beschikbaar)|bijna uitverkocht|lage voorraad|weinig voorraad|"
        r"ultim[oiae] (?:pezz[oi]|\d+|disponibil\w+|articol[oi]|unità)|(?:solo|soltanto) \d{1,2}\b|disponibilità limitata|quasi esaurito|in esaurimento|pochi pezzi|"
        r"últim[oa]s? (?:unidad(?:es)?|piezas?|artículos?|\d+)|(?:solo|sólo|quedan?) (?:quedan? )?\d{1,2}\b|pocas (?:unidades|existencias)|stock (?:limitado|bajo)|"
        r"ostatni\w* (?:sztuk\w*|szt\.?|egzemplarz\w*)|(?:tylko|zostało|pozostało) \d{1,2}\b|mała ilość|na wyczerpaniu|niski stan|końcówka|"
        r"posledn\w* (?:kus\w*|ks)|(?:pouze|jen|zbývá(?:jí)?|už jen) \d{1,2} (?:ks|kus\w*)|málo kusů|téměř vyprodáno|"
        r"(?:endast|bara) \d{1,2}\b|få (?:i lager|kvar|stk|tilbage|på lager)|\d{1,2} kvar\b|begränsat (?:antal|lager)|lågt lager(?:saldo)?|sista (?:exemplar\w*|chansen)|snart slut|"
        r"(?:kun|blot) \d{1,2}\b|\d{1,2} tilbage|få på lager|begrænset (?:antal|lager)|sidste (?:stk|chance|eksemplar\w*)|lavt lager|næsten udsolgt",
    ),
    (
        A.IN_STOCK,
        r"in[- ]?stock|\b(?:is )?available\b|ready to (?:ship|dispatch)|ships (?:today|now|same day|immediately|in|within)|dispatch(?:ed)? (?:today|within|in|same)|"
        r"(?:same|next)[- ]day (?:dispatch|delivery)|add to (?:cart|basket|bag)|buy (?:it )?now|\b\d+\+? (?:pcs?|pieces|units|items)\b|"
        r"(?:usually )?(?:dispatched|delivered|delivery|shipped|shipping) (?:time )?(?:in|within|:)? ?\d|\d+\s?(?:-|–|to)\s?\d+ (?:(?:working|business) )?days?|"
        r"auf lager|an lager|am lager|ab lager|lagernd|lagerware|lieferbar|verfügbar|vorrätig|vorhanden|sofort\w*|(?:versand|lieferung|lieferzeit|versandfertig|lieferfrist)\D{0,12}\d|"
        r"in den warenkorb|heute (?:noch )?(?:versendet|verschickt)|versandbereit|\d+\s?(?:-|–|bis)\s?\d+ (?:werk)?tage?n?|"
        r"en stock|disponibles?|dispo\b|expédié|expédition|livr(?:é|able|aison) (?:en|sous)|sous \d+ ?h|ajouter au panier|\d+\s?(?:-|–|à)\s?\d+ jours|"
        r"op voorraad|in voorraad|voorradig|uit voorraad|direct leverbaar|leverbaar|beschikbaar|vandaag (?:besteld|verzonden)|morgen in huis|in winkelwagen|levertijd\D{0,6}\d|"
        r"disponibil\w*|in (?:stock|magazzino)|pronta consegna|subito|spedizione (?:immediata|in|entro)|aggiungi al carrello|"
        r"en (?:existencias?|almacén)|hay (?:stock|existencias)|entrega (?:inmediata|en)|envío (?:inmediato|en)|añadir al carrito|"
        r"dostępn[yeao]\w*|w magazynie|na stanie|od ręki|na magazynie|wysyłka (?:w|dziś|natychmiast|\d)\w*|do koszyka|"
        r"skladem|na skladě|dostupn[ýáéo]\w*|k dispozici|ihned|odesíláme|expedice|do košíku|"
        r"i lager|finns (?:i|på)|på lager|skickas|levereras|lagervara|i butiken|lägg i (?:varukorg|kundvagn)|leveranstid\D{0,6}\d|"
        r"lagervare|leveres|sendes|klar til (?:levering|afsendelse)|læg i (?:kurv|indkøbskurv)|tilgængelig|tillgänglig|leveringstid\D{0,6}\d|dages? levering",
    ),
)
_PATTERNS: Final = tuple(
    (kind, re.compile(rf"(?<!\w)(?:{words})", re.IGNORECASE)) for kind, words in _SAYINGS
)
_COUNT: Final = re.compile(
    r"(?:stock|lager|lagerbestand|bestand|verfügbar|voorraad|skladem|available|disponibili?|quantity|qty|anzahl|lagersaldo|magazynie)"
    r"\s*[:=(]?\s*[>~]?\s*(\d{1,6})(?![\d.,]|\s?(?:%|-|–|days?|tage?|weeks?|€|h\b))"
    r"|[>~]?\s?(?<![\d.,-])(\d{1,6})\s?\+?\s*(?:x |st\.? |ks |szt\.? |stk\.? |stück |pcs?\.? |pieces |items |units |unidades |pezzi |pièces )?"
    r"(?:in stock|available|auf lager|vorrätig|verfügbar|lagernd|en stock|op voorraad|disponibili|skladem|na skladě|i lager|på lager|w magazynie|left in stock)",
    re.IGNORECASE,
)
LOW: Final = 3


def _counted(text: str) -> A | None:
    """A printed stock count: none, few, or enough."""
    found = _COUNT.search(text)
    if found is None:
        return None
    count = int(found[1] or found[2])
    if count == 0:
        return A.OUT_OF_STOCK
    return A.LOW_STOCK if count <= LOW else A.IN_STOCK


def read_availability(text: str) -> A | None:
    """What stock words say, or None where they say nothing.

    A lead time alone ("Versand in 2-3 Tagen") means that the shop sends from stock;
    one of weeks means that it must get the goods first.
    """
    plain = " ".join(text[:MAX_TEXT].replace("\u2019", "'").split())
    if not plain:
        return None
    known = _SCHEMA.get(re.sub(r"[\W_]+", "", plain).casefold())
    if known is not None:
        return known
    for kind, pattern in _PATTERNS:
        if pattern.search(plain):
            return _counted(plain) or kind if kind is A.IN_STOCK else kind
    return _counted(plain)
