"""Pages that are no product page: bot checks, walls, carts, "not found", withdrawn goods ..."""

# ruff: noqa: RUF001  # the words and signs of pages hold look-alike characters on purpose

from __future__ import annotations

import re
from typing import NamedTuple

from scrapers.readers import ordering
from scrapers.readers.barriers import BOT_HTML, BOT_TEXT, BOT_TITLE, WALL
from scrapers.readers.dom import Doc
from scrapers.readers.places import Places
from scrapers.readers.pricelike import squeeze
from scrapers.readers.words import Words

_LOST = Words(
    r"^\W*404\b|\b404\W+(?:error|page|not|-)|error\W*404\b|(?:page|product|item|article|"
    r"site)[\w ,']{0,30}(?:not (?:be )?found|does(?: not|"
    r"n['’]t) exist|"
    r"no longer exists|cannot be found|can['’]t be found|could(?: not|n['’]t) be found)|not found|"
    r"nothing (?:was )?found|"
    r"(?:can['’]t|cannot|could not|couldn['’]t) find (?:the|that|this|your)|page you(?:'re|"
    r" are) looking for|"
    r"\boops\b|seite (?:wurde )?nicht gefunden|(?:nicht|nichts) gefunden|existiert nicht|"
    r"page (?:est )?introuvable|"
    r"n['’]existe (?:pas|plus)|introuvable|niet gevonden|bestaat niet|pagina non trovata|"
    r"non trovat[ao]|non esiste|"
    r"p[áa]gina no encontrada|no encontrad[ao]|no existe|nie (?:zosta[łl]a? )?znalezion\w*|"
    r"nie istnieje|"
    r"nenalezen\w*|neexistuje|hittades inte|finns inte|kunne ikke findes|findes ikke|ikke fundet",
)
_SEARCH = Words(
    r"(?:search|showing \d*)\W*results?\b|\bresults? (?:for|of your search)\b|"
    r"\bsuchergebnis\w*|ergebnisse f[üu]r\b|r[ée]sultats? (?:de (?:la )?recherche|pour)\b|"
    r"zoekresulta\w+|resultaten voor\b|risultati (?:di ricerca|della ricerca|per)\b|"
    r"resultados? (?:de (?:la )?b[úu]squeda|da (?:busca|pesquisa)|para)\b|wyniki wyszukiwania|"
    r"v[ýy]sledky (?:vyhled[áa]v[áa]n[íi]|h[ľl]ad[áa]nia)|s[öo]kresultat\w*|s[øo]g?eresultat\w*|"
    r"hakutulokset|tal[áa]latok|rezultatele c[ăa]ut[ăa]rii|検索結果|搜索结果|搜尋結果|검색 ?결과",
)
_DOWN = Words(
    r"under maintenance|maintenance mode|scheduled maintenance|be (?:right )?back (?:soon|shortly)|"
    r"temporarily (?:unavailable|closed)|wartungs(?:arbeiten|modus)|en maintenance|in onderhoud|"
    r"in manutenzione|en mantenimiento|prace konserwacyjne|(?:shop|store) is closed",
)
_ASIDE = Words(
    r"^\W*(?:(?:your|my|the|shopping|ihr|mein|votre|mon|il tuo|tu|mi|tw[óo]j|uw|je) )?"
    r"(?:shopping )?(?:cart|basket|bag|trolley|checkout|warenkorb|einkaufswagen|panier|"
    r"winkelwagen|winkelmandje|carrello|carrito|cesta|koszyk|ko[šs][íi]k|varukorg|kundvagn|"
    r"indk[øo]bskurv|handlekurv|カート|購物車|购物车|wish ?-?lists?|favou?rites|account|orders?|"
    r"order history|compare products|product comparison|wunschliste|merkzettel|konto|"
    r"bestellungen|produktvergleich|compte|commandes|liste d.envies|"
    r"track (?:your |my )?(?:order|parcel|package)|order (?:status|tracking|confirmation|details)|"
    r"volg (?:je|uw) bestelling|bestellstatus|sendungsverfolgung|suivi de (?:votre |ma )?commande|"
    r"traccia (?:il tuo |l.)?ordine|seguimiento del? pedido|"
    r"[śs]ledzenie (?:zam[óo]wienia|przesy[łl]ki)|sledov[áa]n[íi] (?:objedn[áa]vky|z[áa]silky)|"
    r"sp[åa]ra (?:din )?(?:order|best[äa]llning)|"
    r"(?:check (?:your )?)?gift ?(?:card|voucher)s? balance|gutschein-?guthaben|"
    r"solde (?:de (?:la |votre )?)?carte[- ]cadeau|saldo (?:van je )?cadeaukaart|"
    r"compar(?:er les produits|ateur|ar productos|ar produtos)|confronta prodotti|"
    r"(?:producten vergelijken|productvergelijking)|por[óo]wna(?:nie|j) produkt[óo]w|"
    r"porovn[áa]n[íi](?: produkt[ůu]| zbo[žz][íi])?|j[äa]mf[öo]r produkter|sammenlign produkter|"
    r"lista (?:dei desideri|de deseos|de desejos|[żz]ycze[ńn])|verlanglijst(?:je)?|"
    r"[öo]nskelista|[øo]nskeliste|kedvencek|k[ív]áns[áa]glista)"
    r"(?: (?:contents|summary|items?|\(\d+\)|\d+ items?))?\W*(?:$|[-|–:•]\s)",
)
_SERVICE = Words(
    r"^\W*(?:shipping|delivery|postage|returns?|payment|privacy|refund|cookie|warranty|terms)"
    r"(?: (?:and|&|\+) (?:shipping|delivery|returns?|payments?|refunds?|handling|privacy|"
    r"conditions?))?"
    r"(?: (?:rates?|costs?|charges?|information|info|policy|options|methods|notice|of service|"
    r"of use))?\W*(?:$|[-|–:•]\s)|"
    r"^\W*(?:versand(?:kosten)?|zahlung(?:sarten)?|lieferung|widerruf\w*|impressum|agb|datenschutz|"
    r"livraison|mentions l[ée]gales|verzending|verzendkosten|spedizione|env[íi]os?|dostawa|doprava|"
    r"frakt)(?: (?:und|et|en|e|y|i|a|och|&) [^\W\d_]+)?\W*(?:$|[-|–:•]\s)",
)
_PARKED = Words(
    r"\bdomain(?: ?name)? (?:is |may be |ist |est |is te |[èe] )?"
    r"(?:for sale|available for|zu verkaufen|steht zum verkauf|[àa] vendre|te koop|in vendita|"
    r"parked|geparkt)|"
    r"[a-z0-9-]+\.[a-z]{2,10} (?:is|may be) (?:for sale|parked)|buy this domain|"
    r"diese domain (?:steht|ist)|parked (?:free|domain)",
)
_LOGIN_PRICE = Words(
    r"(?:log ?in|sign ?in|register|login) (?:to (?:see|view|show)|for) (?:the |our |"
    r"your )?(?:trade )?pric(?:e|es|ing)|"
    r"price(?:s)? (?:only )?(?:visible )?(?:after|for) (?:log ?in|registered|logged)|"
    r"pre(?:is|ise) (?:nur )?(?:nach|f[üu]r) (?:anmeldung|angemeldete|login|registrier\w+)|"
    r"preise (?:sehen|erhalten|finden) sie (?:erst |nur )?nach (?:der |dem |ihrer )?"
    r"(?:anmeldung|login)|"
    r"anmelden,? um (?:den |die )?preise? zu sehen|connectez-vous pour (?:voir|conna[îi]tre)|"
    r"log in (?:om|voor) (?:de )?prijs|accedi per vedere|inicia sesi[óo]n para ver|"
    r"zaloguj si[ęe],? aby|"
    r"p[řr]ihlaste se|logga in f[öo]r att se|log ind for at se",
)
_LOGIN_PAGE = Words(
    r"\b(?:log ?in|sign ?in|anmelden|einloggen|connexion|connectez-vous|inloggen|accedi|"
    r"iniciar sesi[óo]n|"
    r"zaloguj|p[řr]ihl[áa][šs]\w*|logga in|log ind)\b",
)
_CALL = Words(
    r"(?:call|ask|e-?mail|contact us|enquire|click) for (?:a |the )?(?:price|pricing|quote)|"
    r"price on (?:request|application)|"
    r"request a quote|\bp\.?o\.?a\.?\b|preis auf anfrage|auf anfrage|prix sur demande|sur devis|"
    r"prijs op aanvraag|"
    r"prezzo su richiesta|precio (?:a consultar|bajo pedido)|cena na (?:zapytanie|dotaz)|"
    r"pris p[åa] foresp[øo]rgsel|"
    r"pris p[åa] f[öo]rfr[åa]gan",
)
# all that an element named for the price says where a shop wants to be asked
_ASK = re.compile(
    r"\W*(?:(?:price|preis|prix|prijs|prezzo|precio|cena|pre[çc]o|цена|giá|harga|fiyat)\W+)?"
    r"(?:contact(?: us)?|call(?: us)?|ask(?: us)?|enquire|inquire|(?:price )?on (?:request|"
    r"application)|request (?:a )?(?:quote|price)|quote|tba|tbd|poa|n/a|"
    r"(?:preis )?auf anfrage|bitte anfragen|(?:prix )?sur (?:demande|devis)|nous consulter|"
    r"(?:prijs )?op aanvraag|(?:prezzo )?su richiesta|(?:precio )?a consultar|consultar|"
    r"sob consulta|(?:cena )?na (?:zapytanie|dotaz|vyžiadanie)|zapytaj o cenę|"
    r"(?:pris )?på (?:förfrågan|forespørsel|forespørgsel)|hinta pyydettäessä|kysy hinta\w*|"
    r"ár egyeztetés\w*|la cerere|по запросу|по договор[её]нности|договорная|уточняйте|"
    r"за запитом|договірна|liên hệ|fiyat (?:sorunuz|alın\w*)|sorunuz|hubungi kami|"
    r"κατόπιν (?:ζήτησης|συνεννόησης)|"
    r"お問い合わせ(?:ください)?|応相談|要見積り?|询价|面议|面議|詢價|"
    r"(?:가격 ?)?문의)\W*",
    re.IGNORECASE,
)
_WITHDRAWN = Words(
    r"\bdiscontinued\b|replaced by|superseded by|no longer (?:available|sold|in (?:our|the) range|"
    r"stocked|produced|manufactured|made)|has been (?:discontinued|withdrawn|removed|retired)|"
    r"is discontinued|not (?:currently )?available (?:for sale|any ?more)|currently unavailable|"
    r"(?:product|item|article) (?:is|was) (?:no longer|withdrawn|retired|removed)|"
    r"end of (?:life|line)\b|"
    r"nicht mehr (?:verf[üu]gbar|lieferbar|erh[äa]ltlich|im (?:sortiment|programm|angebot)|"
    r"verkauft|"
    r"hergestellt|bestellbar)|artikel ist ausgelaufen|auslaufartikel|aus dem (?:sortiment|"
    r"programm) genommen|"
    r"n['’]est plus (?:disponible|commercialis\w+|en vente|vendu|fabriqu\w+|propos\w+)|"
    r"(?:produit|article) (?:supprim[ée]|retir[ée]|arr[êe]t[ée])|plus disponible [àa] la vente|"
    r"niet (?:meer|langer) (?:leverbaar|beschikbaar|verkrijgbaar|te koop|in (?:ons |"
    r"het )?assortiment)|"
    r"(?:komt|keert) niet meer terug|uit (?:ons |het )?assortiment|"
    r"non [èe] pi[ùu] (?:disponibile|in (?:vendita|produzione|catalogo))|fuori (?:produzione|"
    r"catalogo)|"
    r"articolo (?:rimosso|ritirato)|"
    r"ya no (?:est[áa] (?:disponible|a la venta)|se (?:vende|fabrica))|descatalogad\w+|"
    r"(?:producto|art[íi]culo) (?:retirado|eliminado|discontinuado)|"
    r"j[áa] n[ãa]o (?:est[áa] )?dispon[íi]vel|produto (?:descontinuado|retirado)|"
    r"produkt (?:zosta[łl] )?wycofan\w+|wycofan\w+ ze? (?:sprzeda[żz]y|oferty)|"
    r"nie jest ju[żz] (?:dost[ęe]pn\w+|sprzedawan\w+|produkowan\w+)|"
    r"ji[žz] (?:nen[íi]|nelze) (?:v (?:nab[íi]dce|prodeji)|k dispozici|dostupn\w+|objednat)|"
    r"u[žz] (?:nie je|nepred[áa]vame|nen[íi]) (?:v ponuke|dostupn\w*|v nab[íi]dce)|"
    r"prodej (?:byl )?ukon[čc]en|"
    r"(?:predaj|v[ýy]roba) (?:bol |byla )?ukon[čc]en|"
    r"finns inte l[äa]ngre|s[äa]ljs inte l[äa]ngre|har utg[åa]tt|utg[åa]tt (?:ur|fr[åa]n)|"
    r"utg[åa]ngen|"
    r"er udg[åa]et|udg[åa]et (?:af|fra)|f[øo]res ikke l[æa]ngere|"
    r"ikke l[æa]ngere (?:i sortimentet|tilg[æa]ngelig)|"
    r"er utg[åa]tt|ikke lenger (?:i sortimentet|tilgjengelig)|poistunut (?:valikoimasta|"
    r"myynnist[äa])|"
    r"ei ole en[äa][äa] (?:saatavilla|myynniss[äa])|m[áa]r nem (?:kaphat[óo]|rendelhet[őo]|"
    r"forgalmaz)|"
    r"megsz[űu]nt term[ée]k|kifutott (?:term[ée]k|modell)|nu mai (?:este|e) (?:disponibil|"
    r"[îi]n ofert)|"
    r"снят[оа]? с (?:производства|продажи)|販売(?:を)?終了|生産終了|廃番|已下架|已停产|停產|"
    r"단종|판매 ?종료",
)
# on the page of a lot: nobody can buy it any more
_ENDED = Words(
    r"auction (?:has |is )?(?:ended|closed|over)|bidding (?:has |is )?(?:ended|closed)|winning bid|"
    r"hammer price|auktion (?:ist )?(?:beendet|abgelaufen)|ench[èe]res? (?:est )?termin[ée]es?|"
    r"veiling (?:is )?(?:gesloten|afgelopen|be[ëe]indigd)|asta (?:[èe] )?(?:terminata|conclusa)|"
    r"subasta (?:finalizada|cerrada|terminada)|aukcja (?:zosta[łl]a )?zako[ńn]czona|"
    r"aukce (?:byla )?(?:skon[čc]ila|ukon[čc]ena)|auktionen (?:[äa]r |har )?(?:avslutad|avslutats)|"
    r"auktionen er (?:slut|afsluttet)",
)
_CONSENT = Words(
    r"(?:before you continue|accept (?:all )?cookies|we (?:use|value) (?:cookies|your privacy)|"
    r"cookie|consent|datenschutz|"
    r"are you (?:over|at least) \d\d|age verification|verify your age|altersverifikation|"
    r"volljährig)",
)
SMALL = 2_500  # characters of text: a wall says little else


class PageClass(NamedTuple):
    """`kind`: barred, lost (nothing here), login (price hidden) ..., or "" for none of them."""

    kind: str
    reason: str = ""


NONE = PageClass("")


def challenge(doc: Doc, text: str) -> PageClass:
    """A bot check: its title or words on a page that says little else."""
    title = doc.titles[0] if doc.titles else ""
    words = text.split(None, SMALL // 2)
    text = " ".join(words) if len(words) <= SMALL // 2 else text  # more words are no small page
    small = len(text) < SMALL
    asked = BOT_TEXT.search(text) and not WALL.search(title)  # scripts are wanted by any wall
    if small and (BOT_TITLE.search(title) or asked):
        return PageClass("barred", "the page is a bot check")
    marked = len(text) < 600 or BOT_TITLE.search(title)
    if marked and BOT_HTML.search(doc.html[:60_000]):
        return PageClass("barred", "the page is a bot check")
    return NONE


def lost(doc: Doc, heading: str | None) -> PageClass:
    """A page that says in its title or heading that there is nothing here."""
    title = squeeze(doc.titles[0] if doc.titles else "")[:200]
    for text in (title, (heading or "")[:200]):
        for kind, words, reason in _SAID:
            if words.search(text):
                return PageClass(kind, reason.format(text[:60]))
        if WALL.search(text) and not ordering.orderers(doc):
            return PageClass("wall", f'the page asks first: "{text[:60]}"')
    return NONE


_SAID = (
    ("lost", _LOST, 'the page says "{}"'),
    ("search", _SEARCH, 'the page lists what was searched for ("{}")'),
    ("down", _DOWN, 'the page says "{}"'),
    ("aside", _ASIDE, 'the page is the shop\'s "{:.40}"'),
    ("aside", _SERVICE, 'the page is about "{:.40}"'),
    ("parked", _PARKED, "the page offers its own address for sale"),
)
MAX_WHY = 80_000
_WHY = (
    ("login", _LOGIN_PRICE, 60_000, 'the price is shown only after logging in ("{}")'),
    ("withdrawn", _WITHDRAWN, 60_000, 'the product is no longer sold ("{}")'),
    ("call", _CALL, 60_000, 'the page states no price ("{}")'),
    ("lost", _LOST, 3_000, 'the page says "{}"'),
    ("down", _DOWN, 3_000, 'the page says "{}"'),
)  # fmt: skip


def auction_ended(text: str) -> bool:
    """Whether a page says that its lot has been sold to the highest bidder."""
    return _ENDED.search(squeeze(text[:MAX_WHY])) is not None


def asks(doc: Doc, places: Places) -> tuple[int, str] | None:
    """How far from the heading a price element says to ask for the price, and its words."""
    found = []
    for node in doc.priced[:MAX_ASKED]:
        text = squeeze(node.text(separator=" ")[: 4 * MAX_ASK])
        if len(text) <= MAX_ASK and _ASK.fullmatch(text):
            place = places.of(node)
            found += [(place.level, text)] * (place.zone == "" and not place.struck)
    return min(found, default=None)


MAX_ASKED = 400
MAX_ASK = 30


def why_no_price(text: str) -> PageClass:
    """For a page without a price of its own: what it says instead."""
    size = len(text)
    text = squeeze(text[:MAX_WHY])  # a phrase may run over several elements
    for kind, words, limit, reason in _WHY:
        if found := words.search(text[:limit]):
            return PageClass(kind, reason.format(found[0][:40]))
    small = text if size < SMALL else ""
    if _LOGIN_PAGE.search(small):
        return PageClass("wall", "the page asks to log in")
    if _CONSENT.search(small):
        return PageClass("wall", "the page asks for consent or age first")
    return NONE
