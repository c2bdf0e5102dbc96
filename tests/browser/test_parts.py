"""Every part of the look in a real browser: nothing refused, nothing wider than its screen.

Source of the accessibility rules: axe-core, tags wcag2a to wcag22aa.
"""

import mimetypes
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
import time_machine
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from playwright.sync_api import Browser, Page, Route

from tests.contractors import parts

pytestmark = pytest.mark.once

HOST = "http://parts.test"
POLICY = "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
WIDTHS = [195, 320, 390, 820, 1440]
TOO_WIDE = "() => document.documentElement.scrollWidth - window.innerWidth"


@pytest.fixture(scope="module")
def documents() -> dict[str, str]:
    with time_machine.travel(parts.NOW, tick=False):
        return {
            "/parts": parts.render_parts(),
            "/missing": render_to_string("404.html"),
            "/broken": render_to_string("500.html"),
            "/found": render_to_string("contractors/_found.html", {"groups": parts.FOUND}),
        }


@pytest.fixture
def sheet(browser: Browser, documents: dict[str, str]) -> Iterator[Page]:
    """A page that is answered from templates and static files alone, with the policy."""

    def answer(route: Route) -> None:
        path = urlsplit(route.request.url).path
        if path in documents:
            headers = {"content-security-policy": POLICY, "content-type": "text/html"}
            route.fulfill(body=documents[path], headers=headers)
        elif path == "/search/suggestions/":
            route.fulfill(body=documents["/found"], content_type="text/html")
        elif path == "/refused":
            refusal = {"refusal": {"message": "The visit is sealed. Add an amendment instead."}}
            route.fulfill(status=409, body=render_to_string("_refusal.html", refusal))
        elif path.startswith(settings.STATIC_URL) and (
            found := finders.find(path.removeprefix(settings.STATIC_URL))
        ):
            content_type = mimetypes.guess_type(path)[0] or "font/woff2"
            route.fulfill(body=Path(found).read_bytes(), content_type=content_type)
        else:
            route.fulfill(status=404)

    context = browser.new_context()
    page = context.new_page()
    page.route("**/*", answer)
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.complaints = complaints  # type: ignore[attr-defined]
    yield page
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", ["/parts", "/missing", "/broken"])
def test_a_page_keeps_the_rules_of_accessibility(sheet: Page, path: str, scheme: str):
    sheet.emulate_media(color_scheme=scheme)
    sheet.goto(HOST + path)

    found = Axe().run(sheet, options={"runOnly": RULES}).response["violations"]

    assert [(rule["id"], [node["target"] for node in rule["nodes"]]) for rule in found] == []
    assert sheet.complaints == []  # type: ignore[attr-defined]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("path", ["/parts", "/missing"])
def test_nothing_is_wider_than_the_screen(sheet: Page, path: str, width: int):
    sheet.set_viewport_size({"width": width, "height": 800})
    sheet.goto(HOST + path)

    assert sheet.evaluate(TOO_WIDE) <= 0


def test_every_symbol_is_drawn(sheet: Page):
    sheet.goto(HOST + "/parts")
    sheet.wait_for_load_state("networkidle")

    empty = sheet.evaluate(
        "() => [...document.querySelectorAll('.symset svg')]"
        ".filter((svg) => svg.getBBox().width === 0 && svg.getBBox().height === 0).length"
    )

    assert empty == 0


def test_the_slash_goes_to_the_search_until_it_is_switched_off(sheet: Page):
    sheet.goto(HOST + "/parts")
    sheet.keyboard.press("/")
    assert sheet.evaluate("document.activeElement.id") == "find"

    sheet.get_by_role("button", name="Switch the / key off").click()
    sheet.keyboard.press("/")
    assert sheet.evaluate("document.activeElement.id") != "find"

    sheet.reload()
    sheet.keyboard.press("/")
    assert sheet.evaluate("document.activeElement.id") != "find"


def test_what_is_found_is_walked_with_the_arrows_and_left_with_escape(sheet: Page):
    sheet.goto(HOST + "/parts")
    box, offers = sheet.locator("#find"), sheet.locator("#find-offers")
    focused = "document.activeElement.textContent"
    box.press_sequentially("mill")
    offers.get_by_role("link").first.wait_for()
    assert box.get_attribute("aria-expanded") == "true"

    sheet.keyboard.press("ArrowDown")
    sheet.keyboard.press("ArrowDown")
    assert "Mill Riser" in sheet.evaluate(focused)
    sheet.keyboard.press("ArrowUp")
    sheet.keyboard.press("ArrowUp")
    assert sheet.evaluate("document.activeElement.id") == "find"
    sheet.keyboard.press("Escape")
    assert offers.is_hidden()
    assert box.input_value() == "mill"
    assert box.get_attribute("aria-expanded") == "false"

    box.press_sequentially("s")
    offers.get_by_role("link").first.wait_for()
    sheet.keyboard.press("ArrowDown")
    sheet.keyboard.press("Enter")
    sheet.wait_for_url(HOST + "/missing")


def test_the_slash_stays_a_slash_while_somebody_types(sheet: Page):
    sheet.goto(HOST + "/parts")
    room = sheet.get_by_label("Room of the riser")
    room.fill("")
    room.press("/")

    assert room.input_value() == "/"


def test_arrows_move_between_the_rows_of_a_list(sheet: Page):
    sheet.goto(HOST + "/parts")
    focused = "document.activeElement.textContent"
    sheet.get_by_role("link", name="Tannery Row Market").focus()

    sheet.keyboard.press("ArrowDown")
    assert sheet.evaluate(focused) == "Ferry Street Archive"
    sheet.keyboard.press("End")
    assert sheet.evaluate(focused) == "Plumtree Clinic and Rehabilitation"
    sheet.keyboard.press("ArrowDown")
    assert sheet.evaluate(focused) == "Plumtree Clinic and Rehabilitation"
    sheet.keyboard.press("Home")
    assert sheet.evaluate(focused) == "Tannery Row Market"


def test_a_toast_stays_until_it_is_closed(sheet: Page):
    sheet.goto(HOST + "/parts")
    toast = sheet.get_by_text("Millrace Lofts moved to 22 April.")
    assert toast.is_visible()

    sheet.locator("[data-toast]").get_by_role("button", name="Close").click()

    assert toast.count() == 0


def test_a_refusal_goes_among_the_toasts_and_leaves_the_page_as_it_is(sheet: Page):
    sheet.goto(HOST + "/parts")
    sheet.wait_for_load_state("networkidle")
    sheet.evaluate("htmx.ajax('GET', '/refused', {target: '#main', swap: 'innerHTML'})")

    sheet.get_by_text("The visit is sealed. Add an amendment instead.").wait_for()

    assert sheet.get_by_role("heading", name="Parts", exact=True).is_visible()


def test_a_failure_is_told_in_words(sheet: Page):
    sheet.goto(HOST + "/parts")
    sheet.wait_for_load_state("networkidle")
    sheet.evaluate("htmx.ajax('GET', '/nowhere', {target: '#main', swap: 'innerHTML'})")

    sheet.get_by_text("Nothing was changed: the service did not accept this.").wait_for()

    assert sheet.get_by_role("heading", name="Parts", exact=True).is_visible()


def test_reasons_are_open_on_paper_and_closed_again_after(sheet: Page):
    sheet.goto(HOST + "/parts")
    closed = "document.querySelectorAll('details.why:not([open])').length"
    before = sheet.evaluate(closed)
    assert before > 0

    sheet.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert sheet.evaluate(closed) == 0
    sheet.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert sheet.evaluate(closed) == before


def test_the_vendored_modules_load(sheet: Page):
    sheet.goto(HOST + "/parts")
    base = f"{HOST}{settings.STATIC_URL}contractors/vendor"

    leaflet = f"import('{base}/leaflet/leaflet.js').then((module) => module.version)"
    assert sheet.evaluate(leaflet) == "1.9.4"
    idb = f"import('{base}/idb/idb.js').then((module) => typeof module.openDB)"
    assert sheet.evaluate(idb) == "function"
