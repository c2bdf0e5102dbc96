"""The tablet in a browser as a technician uses it: its lock, its screens, what is pressed there.

Source of the accessibility rules: axe-core, tags wcag2a to wcag22aa.
"""

import re
from io import BytesIO
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import Page, ViewportSize, expect

from inspections.models import Visit, VisitLine

PIN = "471182"
PHONE: ViewportSize = {"width": 390, "height": 844}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
TOO_WIDE = "() => document.documentElement.scrollWidth - window.innerWidth"


def choose_pin(page: Page, pin: str = PIN) -> None:
    """Open the app for the first time and lock it with a PIN."""
    page.goto("/tablet/")
    page.get_by_label("PIN", exact=True).fill(pin)
    page.get_by_label("The same again").fill(pin)
    page.get_by_role("button", name="Lock with this PIN").click()
    page.locator(".lock").wait_for(state="detached")


def give_pin(page: Page, pin: str = PIN) -> None:
    """Open the lock with its PIN."""
    try_pin(page, pin)
    page.locator(".lock").wait_for(state="detached")


def try_pin(page: Page, pin: str) -> None:
    """Type a PIN and press the button."""
    page.get_by_label("PIN", exact=True).fill(pin)
    page.get_by_role("button", name="Open", exact=True).click()


def add_line(visit: Visit, kind: str, item: Any, activity: str) -> None:
    """Put an activity at a riser or device on a visit."""
    VisitLine.objects.create(
        visit=visit, system=item.system, subject_kind=kind, subject_id=item.pk, activity=activity
    )


def is_accessible(page: Page) -> None:
    """Hold the whole screen to the rules, scrolled nowhere: the thumb zone covers what it may."""
    height = page.evaluate("() => document.documentElement.scrollHeight")
    page.set_viewport_size({"width": PHONE["width"], "height": max(PHONE["height"], height)})
    holds_to_the_rules(page)
    page.set_viewport_size(PHONE)


def holds_to_the_rules(page: Page) -> None:
    """Hold a page as it stands to the rules of accessibility, and to its width."""
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": RULES}})
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate(TOO_WIDE) <= 0


def press(page: Page, name: str) -> None:
    """Press the button of this name in the thumb zone."""
    page.locator(".thumb").get_by_role("button", name=name, exact=True).click()


def follow(page: Page, name: str) -> None:
    """Follow the link of this name in the thumb zone."""
    page.locator(".thumb").get_by_role("link", name=name, exact=True).click()


def heading(page: Page, name: str | re.Pattern[str]) -> None:
    """Wait until the screen has this heading."""
    expect(page.get_by_role("heading", level=1, name=name)).to_be_visible()


def arrive(page: Page) -> None:
    """Choose a PIN, open the visit of today, arrive, and put the station on test."""
    choose_pin(page)
    heading(page, "Visits of today")
    is_accessible(page)
    page.get_by_role("link", name=re.compile("^Old Mill Offices")).click()
    heading(page, "Old Mill Offices")
    is_accessible(page)
    follow(page, "I have arrived")
    heading(page, "Who lets you in?")
    is_accessible(page)
    press(page, "Arrived")
    heading(page, "Put the station on test")
    page.get_by_label("Reference they give").fill("80-2231")
    is_accessible(page)
    press(page, "On test")
    expect(page.locator(".strip")).to_contain_text("On test")


def picture() -> bytes:
    """Return a small photo."""
    out = BytesIO()
    Image.new("RGB", (64, 48), (120, 60, 30)).save(out, "PNG")
    return out.getvalue()


def sign_and_hand_in(page: Page) -> None:
    """Sign as the technician, say why the owner does not, and hand in."""
    heading(page, "Nothing is missing")
    is_accessible(page)
    follow(page, "Sign as technician")
    heading(page, "Technician signs")
    is_accessible(page)
    press(page, "Sign")
    follow(page, "Owner's representative")
    page.get_by_label("Nobody there").check()
    page.get_by_label("Reason, where nobody signs").fill("Desk closed")
    press(page, "Sign")
    press(page, "Hand in")
    heading(page, "Old Mill Offices")
