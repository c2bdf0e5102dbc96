"""Every screen of the tablet for those who read large, in the sun, by ear or by keyboard.

Source of the rules: WCAG 2.2 AA by axe-core's tags, 1.4.4 (text at 200 %), 1.4.10 (reflow), 2.4.7,
2.4.11; targets of 48 px are our own, for gloves (2.5.8 asks for 24).
"""

import re
from collections.abc import Callable
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from inspections.models import Visit
from tests import scene
from tests.browser.tablets import PHONE, TOO_WIDE, add_line, choose_pin, heading, press
from tests.inspections import tablets

pytestmark = pytest.mark.once

ENHANCED = ["color-contrast-enhanced"]
TRIP = "pad-trip-preaction-full"
# What a finger has to hit and is smaller than it should be; links inside a sentence are text.
SMALL = """() => [...document.querySelectorAll(
    "a[href], button, input, select, textarea, summary, label.choice")].filter((one) => {
    if (!one.checkVisibility() || one.closest("p:not(.btn-row), .skip")) return false;
    const ticked = ["checkbox", "radio"].includes(one.type) ? one.labels[0] : null;
    const target = one.closest("label") ?? ticked ?? one.closest(".with-unit") ?? one;
    const { width, height } = target.getBoundingClientRect();
    return width > 2 && (height < 47.5 || width < 47.5);
}).map((one) => one.outerHTML.slice(0, 120))"""
# What stands out of the screen at the side, or out of a box that hides it.
CUT = """() => [...document.querySelectorAll("body *")].filter((one) => {
    if (!one.checkVisibility() || one.closest("svg, .skip, .hide")) return false;
    const style = getComputedStyle(one);
    const hides = style.overflowX === "hidden" && one.scrollWidth > one.clientWidth + 1;
    const { left, right, width } = one.getBoundingClientRect();
    return width > 0 && (hides || right > innerWidth + 1 || left < -1);
}).map((one) => one.outerHTML.slice(0, 120))"""

GO_TO = """(to) => new Promise((shown) => {
  addEventListener("hashchange", () => shown(), { once: true });
  location.hash = to;
})"""


@pytest.fixture
def visit(ours: scene.Scene) -> Visit:
    made: Visit = tablets.planned(ours)
    with ours.scope():
        add_line(made, "device", ours.devices["preaction_valve"], TRIP)
    return made


def screens(page: Page, visit: Visit, lines: list[Any]) -> list[str]:
    """Return the addresses of the app's screens at a visit that has begun."""
    device = page.evaluate("() => document.querySelector('a[href*=\"/guide/\"]')?.hash ?? ''")
    lines = [f"line/{one}" for one in lines]
    places = ["", *lines, "found", "station", "close", "sign/technician", "left", "shut", "people"]
    at = f"#/v/{visit.pk}"
    return ["#/", "#/unsent", *(f"{at}/{place}".rstrip("/") for place in [*places, "scan"]), device]


def test_every_screen_can_be_read_large_and_hit_with_gloves(
    ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]
) -> None:
    page = open_page(ours.technician, viewport=PHONE)
    choose_pin(page)
    page.get_by_role("link", name=re.compile("^Old Mill Offices")).click()
    page.locator(".thumb").get_by_role("link", name="I have arrived").click()
    press(page, "Arrived")
    press(page, "On test")
    heading(page, "Old Mill Offices")
    with ours.scope():
        lines = [line.pk for line in visit.lines.all()]
    found: dict[str, Any] = {}
    for place in filter(None, screens(page, visit, lines)):
        page.evaluate(GO_TO, place)
        expect(page.get_by_role("heading", level=1, name="Opening")).to_have_count(0)
        found |= {f"{place} {what}": one for what, one in looked_at(page).items() if one}
    assert found == {}
    page.emulate_media(color_scheme="dark")
    page.evaluate("() => { location.hash = '#/'; }")
    sun = page.get_by_role("button", name="Contrast for the sun")
    sun.click()
    expect(sun).to_have_attribute("aria-pressed", "true")
    expect(sun).to_be_focused()
    seen = Axe().run(page, options={"runOnly": {"type": "rule", "values": ENHANCED}})
    assert seen.violations_count == 0, seen.generate_report()


def test_the_desks_pages_that_a_technician_reads_can_be_hit_with_gloves_too(
    ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]
) -> None:
    page = open_page(ours.technician, viewport=PHONE, has_touch=True)
    at, riser = f"/buildings/{ours.building.pk}/", f"/risers/{ours.wet_riser.pk}/"
    found: dict[str, Any] = {}
    for place in ["/visits/", visit.get_absolute_url(), at, riser, f"{at}findings/new/", "/mail/"]:
        page.goto(place)
        small = page.evaluate(SMALL)
        page.evaluate("() => { document.documentElement.style.fontSize = '200%'; }")
        found |= {place: small} if small else {}
        assert page.evaluate(TOO_WIDE) <= 0, place
    assert found == {}


def looked_at(page: Page) -> dict[str, Any]:
    small = page.evaluate(SMALL)
    page.evaluate("() => { document.documentElement.style.fontSize = '200%'; }")
    cut = page.evaluate(CUT)
    page.evaluate("() => { document.documentElement.style.fontSize = ''; }")
    return {"small": small, "cut at 200 %": cut, "focus": focus_of(page)}


def focus_of(page: Page) -> str:
    """Return what is wrong with where the focus stands after a screen came: nothing, mostly."""
    at = page.evaluate("() => document.activeElement?.tagName")
    return "" if at == "H1" else f"the focus stands on {at}"
