"""The user's own rule: a CSS selector, a JSON path or an RE2 pattern, within limits."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import re2
from selectolax.lexbor import LexborHTMLParser, SelectolaxError

from scrapers.errors import RuleError
from scrapers.model import SiteRules
from scrapers.readers.dom import Doc
from scrapers.readers.lenient import parse
from scrapers.readers.values import clean

MAX_PATTERN = 500
MAX_TEXT = 1 << 20
MAX_FOUND = 300
_ATTRIBUTE = re.compile(r"\A(.*?[^@\s])\s*@\s*([a-zA-Z_:][\w:.-]*)\Z", re.DOTALL)
_STEP = re.compile(r"\[(-?\d+)\]|\['([^']+)'\]|\[\"([^\"]+)\"\]|([^.\[\]]+)")
_REFUSED = (
    (re.compile(r"\(\?<?[=!]"), "looks ahead or behind, which RE2 cannot do in bounded time"),
    (
        re.compile(r"\\[1-9]|\(\?P=|\\k<"),
        "refers back to a group, which RE2 cannot do in bounded time",
    ),
    (re.compile(r"\(\?>|[*+?}]\+"), "uses atomic or possessive repeats, which RE2 does not need"),
    (re.compile(r"\(\?\("), "branches on a group, which RE2 does not know"),
)


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule that is ready to use; `text` is what the user wrote."""

    kind: Literal["css", "json", "re"]
    text: str
    body: str
    attribute: str | None = None


@lru_cache(maxsize=256)
def compile_rule(text: str) -> Rule:
    """A rule text into a Rule. Raises RuleError that says what is wrong and what to write."""
    kind, mark, body = text.partition(":")
    kind, body = kind.strip().lower(), body.strip()
    if not mark or kind not in ("css", "json", "re"):
        raise RuleError(f"{text[:80]!r}: a rule begins with css:, json: or re:")
    if not body:
        raise RuleError(f"{text[:80]!r}: nothing stands after {kind}:")
    if len(body) > MAX_PATTERN:
        raise RuleError(f"a rule may have {MAX_PATTERN} characters, this has {len(body)}")
    if kind == "css":
        return _css(text, body)
    if kind == "json":
        return Rule("json", text, _path(text, body))
    _pattern(body)
    return Rule("re", text, body)


def check_rules(rules: SiteRules) -> None:
    """Raises RuleError for the first rule of a listing that cannot be used."""
    for text in (rules.price, rules.list_price, rules.availability, rules.title):
        if text is not None:
            compile_rule(text)


def _css(text: str, body: str) -> Rule:
    found = _ATTRIBUTE.match(body)
    selector, attribute = (found[1], found[2].lower()) if found else (body, None)
    try:
        LexborHTMLParser("<p>").css_first(selector)
    except (SelectolaxError, ValueError) as error:
        raise RuleError(f"{text[:80]!r} is no CSS selector that we know: {error}") from error
    return Rule("css", text, selector, attribute)


def _path(text: str, body: str) -> str:
    body = body.removeprefix("$").lstrip(".")
    if "".join(m[0] for m in _STEP.finditer(body)) != body.replace(".", "") or not body:
        raise RuleError(f"{text[:80]!r}: a JSON path is written offers[0].price")
    return body


def _options() -> re2.Options:
    options = re2.Options()
    options.max_mem = 8 << 20
    options.log_errors = False
    return options


@lru_cache(maxsize=256)
def _pattern(body: str) -> Any:
    for refused, why in _REFUSED:
        if refused.search(body):
            raise RuleError(f"the pattern {why}; write it without")
    try:
        return re2.compile(body, _options())
    except re2.error as error:
        said = error.args[0] if error.args else error
        said = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
        raise RuleError(f"the pattern cannot be used: {said}") from error


def find(rule: Rule, doc: Doc) -> tuple[str, str] | None:
    """What the rule finds on the page and where; None if nothing."""
    if rule.kind == "css":
        return _find_css(rule, doc)
    if rule.kind == "json":
        return _find_json(rule, doc)
    match = _pattern(rule.body).search(doc.html[:MAX_TEXT])
    if match is None:
        return None
    text = clean(match[1] if match.re.groups else match[0], MAX_FOUND)
    return (text, f"re:{rule.body[:80]}") if text else None


def _find_css(rule: Rule, doc: Doc) -> tuple[str, str] | None:
    node = doc.tree.css_first(rule.body)
    if node is None:
        return None
    raw = node.attributes.get(rule.attribute) if rule.attribute else node.text(separator=" ")
    text = clean(raw, MAX_FOUND)
    return (text, rule.text.partition(":")[2].strip()) if text else None


def _find_json(rule: Rule, doc: Doc) -> tuple[str, str] | None:
    for root in json_roots(doc):
        value = follow(root, rule.body)
        if isinstance(value, bool) or value is None or isinstance(value, (dict, list)):
            continue
        text = clean(str(value), MAX_FOUND)
        if text:
            return text, rule.body
    return None


def json_roots(doc: Doc) -> list[Any]:
    """The JSON of the page: the body itself if it is JSON, else its script blocks."""
    if doc.html.lstrip()[:1] in ("{", "["):
        return list(parse(doc.html[:MAX_TEXT], watch_doubles=False).values)
    found: list[Any] = []
    for node in (*doc.ldjson, *doc.scripts)[:200]:
        text = node.text()
        if len(text) <= MAX_TEXT and text.lstrip()[:1] in ("{", "["):
            found += parse(text, watch_doubles=False).values
    return found


def follow(root: Any, path: str) -> Any:
    """The value at a path; a list on the way without an index means its first entry."""
    at = root
    for step in _STEP.finditer(path):
        key = step[2] or step[3] or step[4]
        if key is None or (isinstance(at, list) and key.strip().lstrip("-").isdigit()):
            number = int(step[1] or key)
            if not isinstance(at, list) or not -len(at) <= number < len(at):
                return None
            at = at[number]
            continue
        if isinstance(at, list):
            at = next((v for v in at if isinstance(v, dict) and key in v), None)
        if not isinstance(at, dict):
            return None
        at = at.get(key)
    return at
