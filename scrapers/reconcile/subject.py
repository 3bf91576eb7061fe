"""The page that is asked, and what is known of it before anything is weighed."""

from __future__ import annotations

from scrapers.model import SiteRules
from scrapers.readers import meta, said
from scrapers.readers.dom import Doc
from scrapers.readers.titles import shop_names
from scrapers.reconcile.names import akin
from scrapers.reconcile.places import country_of
from scrapers.reconcile.told import Told


class Subject:
    """One page with the user's rules for it, what its head tells, its language and country."""

    def __init__(self, doc: Doc, rules: SiteRules) -> None:
        self.doc = doc
        self.rules = rules
        self.head = meta.head(doc)
        self.shops = shop_names(doc)
        self.locale = rules.locale or self.head.locale
        self.country = rules.country or country_of(doc.url, self.locale)
        self._text: str | None = None

    def text(self) -> str:
        """The text of the whole page, made only where something must be searched in it."""
        if self._text is None:
            self._text = said.text_of(self.doc)
        return self._text

    def akin(self, told: Told, heading: str | None) -> bool:
        """Whether markup may speak of the page's product by its name, or by having none."""
        names = [n for n in (heading, self.head.title) if n]
        return not (told.title and names) or any(akin(told.title, n) for n in names)
