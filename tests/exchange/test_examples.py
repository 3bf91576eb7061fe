"""The commented files in config/ say everything that may be said, and load as they are."""

from __future__ import annotations

import configparser
import re
from pathlib import Path
from typing import Any

from service.exchange.catalogue import dump_book, parse_toml, read_book
from service.settings import SETTINGS, load_settings

CONFIG = Path(__file__).parents[2] / "config"

# Every key that a catalogue may hold, by the table it stands in.
KEYS = {
    "": "supplier part set build purchase target order movement offcut companion_rules",
    "supplier": "name home country currency prices shipping min_gap min_order contact_note fee",
    "shipping": "to fee free_from up_to_g up_to days class not_class",
    "fee": "name amount percent when",
    "part": "name unit spec class mass density areal_mass tariff_group ids keep shelf_life pair_is "
    "equivalent listing",
    "equivalent": "part note one_way",
    "ids": "gtin mpn sku brand",
    "listing": "supplier url sold_as every choice rule render includes breaks least step days "
    "country",
    "rule": "price currency",
    "breaks": "quantity price per",
    "set": "supplier url supplies",
    "supplies": "part amount split",
    "build": "name currency budget need_by lines destination from replace state dismissed",
    "lines": "part amount group need or counts waste kerf cuts longest grain listing note",
    "or": "part amount",
    "replace": "part by amount",
    "purchase": "part set supplier count price total debited on order condition listing happened "
    "line",
    "happened": "what on count money postage note",
    "order": "on supplier estimate note bill",
    "bill": "what cost on note",
    "movement": "part what amount on build to repair money postage note",
    "offcut": "part cut",
    "target": "listing part need build at_or_below unit_at_or_below below_regular lowest_in "
    "back_in_stock within_budget until hold reopen_above again_below",
}


def written(document: Any, table: str = "") -> set[tuple[str, str]]:
    """Every (table, key) of a parsed file; the names of suppliers, parts and builds left out."""
    if isinstance(document, list):
        return set().union(*(written(item, table) for item in document))
    if not isinstance(document, dict):
        return set()
    found = {(table, key) for key in document}
    for key, item in document.items():
        named = table == "" and key in ("supplier", "part", "build", "order")
        for inner in item.values() if named else [item]:
            found |= written(inner, key)
    return found


def test_the_example_holds_every_key() -> None:
    document = parse_toml((CONFIG / "example.toml").read_text("utf-8"), "example")
    wanted = {(table, key) for table, keys in KEYS.items() for key in keys.split()}
    assert wanted - written(document) == set()


def test_the_example_loads_as_it_is() -> None:
    book = read_book([CONFIG / "example.toml"])
    assert (len(book.suppliers), len(book.builds), len(book.targets)) == (2, 2, 6)
    assert len(book.purchases) == 4  # a set of two parts is one purchase a part


def test_a_set_is_shared_out_to_the_cent() -> None:
    book = read_book([CONFIG / "example.toml"])
    motor, controller = (p for p in book.purchases if p.part in ("motor-3542", "controller-60"))
    assert str(motor.total) == "40.70 EUR"  # 55 % of 74.00
    assert motor.total.amount + controller.total.amount == 74


def test_every_setting_stands_in_the_commented_file(tmp_path: Path) -> None:
    text = (CONFIG / "ebbmark.toml").read_text("utf-8")
    assert load_settings({"EBBMARK_CONFIG": str(CONFIG / "ebbmark.toml")}).currency == "EUR"
    lines = re.findall(r"^# ((?:[a-z_]+ = .*|\[channel.*\].*))$", text, re.MULTILINE)
    lines.remove('db = "postgresql://ebbmark@db.example/ebbmark"')
    file = tmp_path / "ebbmark.toml"
    file.write_text("\n".join(lines), "utf-8")
    settings = load_settings({"EBBMARK_CONFIG": str(file)})
    assert {channel.kind for channel in settings.channels} == {"log", "webhook", "mail", "apprise"}
    named = {re.split(r"[ .\]]", line.strip("["))[0] for line in lines}
    assert named >= {name for name, _ in SETTINGS}


def test_the_unit_keeps_the_service_in_its_own_room() -> None:
    unit = configparser.ConfigParser(strict=False, interpolation=None)
    unit.optionxform = str  # type: ignore[assignment,method-assign]  # keys keep their case
    unit.read_string((CONFIG / "ebbmark.service").read_text("utf-8"))
    service = unit["Service"]
    for name in ("NoNewPrivileges", "PrivateTmp", "ProtectHome", "LockPersonality"):
        assert service[name] == "yes"
    assert service["ProtectSystem"] == "strict"
    assert "127.0.0.1" in service["ExecStart"]


def test_the_dump_of_the_example_has_no_key_that_the_example_lacks() -> None:
    text = dump_book(read_book([CONFIG / "example.toml"]))
    example = written(parse_toml((CONFIG / "example.toml").read_text("utf-8"), "x"))
    names = {(table, key) for table, key in written(parse_toml(text, "x"))}
    assert {pair for pair in names - example if pair[0] not in ("spec", "need")} == set()
