"""The pages in a real browser: the first five minutes, every page on every screen, by keyboard.

Sources: WCAG 2.2 (1.4.10 Reflow, 2.1.1 Keyboard, 2.5.8 Target Size) and axe-core's rules.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from browser_kit import Watch, served
from web_kit import application, desk

if TYPE_CHECKING:
    from collections.abc import Iterator

PAGES = ["/", "/builds", "/builds/curlew", "/builds/curlew#why-1", "/builds/curlew/versions"]
PAGES += ["/builds/curlew/publish", "/parts", "/parts/battery-4s", "/parts/battery-4s#why-2"]
PAGES += [
    "/parts/propeller",
    "/kinds/batteries?cells=4",
    "/deals",
    "/suppliers",
    "/suppliers/harrow",
]
PAGES += ["/workshop", "/settings", "/add", "/login", "/password", "/nothing"]
SCREENS = [(1280, 900, "light"), (1280, 900, "dark"), (390, 844, "light"), (390, 844, "dark")]
SHOTS = Path(os.environ.get("SCREENSHOTS", "")) if os.environ.get("SCREENSHOTS") else None


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("pages")
    with desk(folder) as deps, served(application(deps, folder)) as address:
        yield address


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[str]:
    """An empty book whose fetcher may visit this machine."""
    from service.bootstrap import opened
    from service.settings import Settings
    from service.web.app import create_app

    own = Settings(db=f"sqlite:///{tmp_path / 'book.db'}", allow_hosts=frozenset({"127.0.0.1"}))
    with opened(own) as deps, served(create_app(deps, settings=own, cache=tmp_path)) as address:
        yield address


@pytest.mark.parametrize(("width", "height", "scheme"), SCREENS)
def test_every_page_on_every_screen(
    browser: Any, home: str, width: int, height: int, scheme: str
) -> None:
    """No message on the console, no request off-host, no report of the policy, no sideways scroll."""
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
    watch = Watch(context, home)
    for path in PAGES:
        watch.page.goto(home + path, wait_until="networkidle")
        if path in ("/builds/curlew", "/parts/battery-4s"):
            watch.page.locator("figure.chart").scroll_into_view_if_needed()
            watch.page.wait_for_selector("figure.drawn canvas", timeout=60_000)  # made once, slowly
        wide = watch.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{path} is {wide} px wide"
        if SHOTS:
            name = re.sub(r"[^a-z0-9]+", "-", path).strip("-") or "today"
            watch.page.screenshot(path=str(SHOTS / f"{name}_{width}_{scheme}.png"), full_page=True)
    context.close()
    assert [w for w in watch.wrong if "404" not in w] == []


def test_a_page_without_scripts_shows_its_chart(browser: Any, home: str) -> None:
    context = browser.new_context(
        java_script_enabled=False, viewport={"width": 1280, "height": 900}
    )
    page = context.new_page()
    page.goto(home + "/parts/battery-4s")
    assert page.locator("figure .still svg.wide path.c-line").is_visible()
    assert page.locator("figure .still svg.narrow").is_hidden()
    context.close()


def test_text_in_a_chart_is_13_px_on_a_phone(browser: Any, home: str) -> None:
    context = browser.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(home + "/parts/battery-4s")
    size = page.locator("figure svg.narrow text").first.evaluate(
        "node => parseFloat(getComputedStyle(node).fontSize) * node.getScreenCTM().a"
    )
    assert size >= 12.5  # 13 px but for the rounding of the width
    context.close()


def test_a_page_is_light(browser: Any, home: str) -> None:
    """At most 250 KB beside the chart library and the fonts, which are kept for good."""
    context = browser.new_context()
    page = context.new_page()
    sizes: dict[str, int] = {}
    page.on("response", lambda r: sizes.__setitem__(r.url, len(r.body())))
    page.goto(home + "/builds/curlew", wait_until="networkidle")
    own = {url: n for url, n in sizes.items() if not url.endswith((".ttf", "vega.js"))}
    assert sum(own.values()) <= 250_000, own
    kept = page.request.get(next(url for url in sizes if url.endswith("vega.js")))
    assert kept.headers["cache-control"] == "public, max-age=31536000, immutable"
    context.close()


def test_the_first_five_minutes(browser: Any, empty: str, shop: str) -> None:
    """From an empty book to a build with five lines, a target and a deal."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="de-AT")
    watch = Watch(context, empty)
    page = watch.page
    page.goto(empty)
    assert "Austria" in page.inner_text("main")
    page.fill("#b", "Curlew 2000")
    page.click("text=Begin the build")
    lines = [("/4s", "1", "drive"), ("/motor", "1", "drive"), ("/esc", "1", "drive")]
    lines += [("/balsa", "0.3 m2", "structure"), ("/tube", "2 m", "structure")]
    for path, amount, group in lines:
        page.click("text=Add a page")
        page.fill("#u", shop + path)
        page.click("text=Read it")
        page.wait_for_url("**/add/*")
        page.select_option("#build", label="Curlew 2000")
        page.fill("#amount", amount)
        page.fill("#group", group)
        if path == "/4s":
            page.fill("#target", "42")
        page.click("text=Right, keep it")
        page.wait_for_url("**/builds/**")
    # 41.90 + 44.83 + 39.90 + 3 sheets of 4.10 for 0.3 m2 + 2 tubes of 14.20: by hand 167.33
    assert "167.33" in page.inner_text(".loud")
    assert page.locator("table.parts td >> text=/^[1-5]$/").count() >= 5
    page.click("nav >> text=Deals")
    assert "41.90" in page.inner_text("main")
    page.click("nav >> text=Today")
    assert "1 deal open" in page.inner_text("h1")
    context.close()
    assert watch.wrong == []


def press_to(page: Any, selector: str) -> None:
    """Tab until the element has the focus; fails where the keyboard cannot reach it."""
    for _ in range(80):
        if page.evaluate("s => document.activeElement?.matches(s) ?? false", selector):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{selector} cannot be reached by keyboard")


def add_by_keys(page: Any, url: str, amount: str, group: str, target: str = "") -> None:
    """One shop page, from the button at the top to the kept line, without a pointer."""
    press_to(page, "header.top a.btn")
    page.keyboard.press("Enter")
    page.wait_for_url("**/add")
    press_to(page, "#u")
    page.keyboard.type(url)
    press_to(page, "form button.full")
    page.keyboard.press("Enter")
    page.wait_for_url("**/add/*")
    press_to(page, "#build")
    page.keyboard.press("ArrowDown")
    for field, text in (("#amount", amount), ("#group", group), ("#target", target)):
        if text:
            press_to(page, field)
            page.keyboard.press("Control+a")
            page.keyboard.type(text)
    press_to(page, "form.keep button.full")
    page.keyboard.press("Enter")
    page.wait_for_url("**/builds/keys-only**")


def test_the_first_five_minutes_by_keyboard_alone(browser: Any, empty: str, shop: str) -> None:
    """Empty book, build, five lines, a target, a deal: the pointer is never used (WCAG 2.1.1)."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="de-AT")
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.goto(empty)
    press_to(page, "#b")
    page.keyboard.type("Keys only")
    page.keyboard.press("Enter")
    page.wait_for_url("**/builds/keys-only")
    add_by_keys(page, shop + "/4s", "1", "drive", "42")
    add_by_keys(page, shop + "/motor", "1", "drive")
    add_by_keys(page, shop + "/esc", "1", "drive")
    add_by_keys(page, shop + "/balsa", "0.3 m2", "structure")
    add_by_keys(page, shop + "/tube", "2 m", "structure")
    assert "167.33" in page.inner_text(".loud")  # the sum by hand stands above
    assert page.locator("table.parts td >> text=/^[1-5]$/").count() >= 5
    press_to(page, "nav a[href='/deals']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/deals")
    assert "41.90" in page.inner_text("main")
    context.close()


def test_the_chart_by_keyboard(browser: Any, home: str) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto(home + "/parts/battery-4s", wait_until="networkidle")
    page.wait_for_selector("figure.drawn canvas")
    page.focus("figure.chart")
    page.keyboard.press("ArrowLeft")
    assert "49.90" in page.inner_text(".reader") or "41.90" in page.inner_text(".reader")
    page.keyboard.press("Home")
    assert "46.90" in page.inner_text(".reader")
    context.close()


def test_a_target_is_set_by_dragging(browser: Any, home: str) -> None:
    context = browser.new_context(viewport={"width": 1280, "height": 1000})
    page = context.new_page()
    page.goto(home + "/parts/battery-4s", wait_until="networkidle")
    page.wait_for_selector("figure.drawn canvas")
    before = float(page.input_value("#aim"))
    box = page.locator("figure .live").bounding_box()
    for y in range(int(box["y"]) + 10, int(box["y"] + box["height"]), 6):
        page.mouse.move(box["x"] + 300, y)
        if page.locator("figure .live").evaluate("n => n.style.cursor") == "ns-resize":
            break
    page.mouse.down()
    page.mouse.move(box["x"] + 300, y - 40, steps=4)
    page.mouse.up()
    assert float(page.input_value("#aim")) > before + 1
    context.close()


def axe_source(tmp: Path) -> str:
    """axe-core, fetched when the test runs and never kept; skips with the reason."""
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("no npm on this machine to fetch axe-core with")
    try:
        subprocess.run(
            [npm, "install", "--no-save", "--silent", "--prefix", str(tmp), "axe-core@4"],
            check=True, timeout=90, capture_output=True,
        )  # fmt: skip
    except (subprocess.SubprocessError, OSError) as error:
        pytest.skip(f"axe-core could not be fetched: {error}")
    return (tmp / "node_modules" / "axe-core" / "axe.min.js").read_text("utf-8")


@pytest.fixture(scope="module")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    return axe_source(tmp_path_factory.mktemp("axe"))


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (390, "dark")])
def test_no_serious_finding_of_axe(
    browser: Any, home: str, axe: str, width: int, scheme: str
) -> None:
    context = browser.new_context(
        viewport={"width": width, "height": 900}, color_scheme=scheme, bypass_csp=True
    )
    page = context.new_page()
    wrong = []
    for path in PAGES:
        page.goto(home + path, wait_until="networkidle")
        page.evaluate(axe)
        found = page.evaluate("async () => JSON.stringify((await axe.run()).violations)")
        for rule in json.loads(found):
            if rule["impact"] in ("serious", "critical"):
                nodes = [node["html"][:120] for node in rule["nodes"][:3]]
                wrong.append(f"{path}: {rule['id']}: {nodes}")
    context.close()
    assert wrong == []
