"""The service through a real browser: what a stranger and a member see first."""

import pytest
from playwright.sync_api import expect

from tests import scene


def test_a_stranger_is_led_to_the_sign_in_page(open_page):
    page = open_page()
    page.goto("/")
    expect(page.locator("input[name=login]")).to_be_visible()


@pytest.mark.parametrize("width", [390, 820, 1440])
def test_a_member_is_let_in_without_being_asked_again(open_page, width):
    ours = scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")
    page = open_page(ours.manager, viewport={"width": width, "height": 900})
    page.goto("/choose/")
    expect(page.locator("input[name=login]")).to_have_count(0)
    expect(page.locator("body")).to_contain_text("Northbank Fire Protection")
