"""The service manager plans two weeks in a real browser, with a real server and a real worker.

Source of the accessibility rules: axe-core, tags wcag2a to wcag22aa.
"""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from contractors.models import OutboxMessage
from inspections.models import Visit
from scheduling.models import Plan
from tests import scene, servers
from tests.browser.tablets import TOO_WIDE, holds_to_the_rules
from tests.scheduling.planning import add_buildings, add_technician, add_visit


@pytest.fixture
def ours(committed_database: None) -> scene.Scene:
    made = scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")
    with made.scope():
        add_technician(made)
        for building in add_buildings(made):
            add_visit(building)
    return made


def test_two_weeks_are_planned_changed_by_hand_and_published(
    ours: scene.Scene, worker: servers.Server, open_page: Callable[..., Page]
) -> None:
    page = open_page(ours.manager, viewport={"width": 1440, "height": 1000})
    page.goto("/plans/")
    holds_to_the_rules(page)
    page.get_by_label("Seconds of search").fill("2")
    page.get_by_label(re.compile("First make visits")).uncheck()
    page.get_by_role("button", name="Search routes").click()
    expect(page.get_by_text("4 visits are placed.")).to_be_visible()
    holds_to_the_rules(page)
    page.locator(".win-when a").first.click()
    expect(page.get_by_role("heading", name=re.compile("^Move Mill Row"))).to_be_visible()
    expect(page.locator(".map .map-stop").first).to_be_visible()
    holds_to_the_rules(page)
    who = page.get_by_label("Technician", exact=True)
    now = who.input_value()
    others = [v for v in who.locator("option").evaluate_all("all => all.map(o => o.value)") if v]
    who.select_option(next(value for value in others if value != now))
    expect(page.get_by_role("button", name="Move it there")).to_be_visible()
    holds_to_the_rules(page)
    page.get_by_role("button", name="Move it there").click()
    expect(page.get_by_text("Moved. Nobody is told before you publish.")).to_be_visible()
    page.get_by_role("link", name="See who is told, and publish").click()
    expect(page.get_by_text("desk2@row.example")).to_be_visible()
    holds_to_the_rules(page)
    page.get_by_role("button", name="Publish and tell them").click()
    expect(page.get_by_text("Published. Everybody named")).to_be_visible()
    with ours.scope():
        assert Plan.objects.get().state == Plan.State.PUBLISHED
        assert Visit.objects.filter(planned_on__isnull=False).count() == 4
    page.goto("/today/")
    holds_to_the_rules(page)
    page.goto("/due/")
    holds_to_the_rules(page)


def test_a_stop_is_dragged_and_its_cost_is_shown_before_anything_is_done(
    ours: scene.Scene, worker: servers.Server, open_page: Callable[..., Page]
) -> None:
    page = open_page(ours.manager, viewport={"width": 1440, "height": 1000})
    page.goto("/plans/")
    page.get_by_label("Seconds of search").fill("1")
    page.get_by_label(re.compile("First make visits")).uncheck()
    page.get_by_role("button", name="Search routes").click()
    expect(page.get_by_text("4 visits are placed.")).to_be_visible()
    page.locator(".places a").nth(1).click()
    stop = page.locator("[data-movable]").first
    box = stop.locator("rect").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 10, box["y"] + 10)
    page.mouse.down()
    page.mouse.move(box["x"] + 130, box["y"] + 10, steps=6)
    page.mouse.up()
    expect(page.get_by_role("heading", name=re.compile("^Move Mill Row"))).to_be_visible()
    expect(page.get_by_text("In all, as time")).to_be_visible()
    with ours.scope():
        assert not Plan.objects.get().stops.filter(moved_by_hand=True).exists()


def test_a_long_search_is_called_off_from_its_page(
    ours: scene.Scene, worker: servers.Server, open_page: Callable[..., Page]
) -> None:
    page = open_page(ours.manager, viewport={"width": 390, "height": 844})
    page.goto("/plans/")
    page.get_by_label("Seconds of search").fill("300")
    page.get_by_label(re.compile("First make visits")).uncheck()
    page.get_by_role("button", name="Search routes").click()
    expect(page.get_by_text("stops placed")).to_be_visible()
    page.get_by_role("button", name="Call the search off").click()
    expect(page.get_by_text("Called off. No result, the old plan is kept.")).to_be_visible()
    assert page.evaluate(TOO_WIDE) <= 0
    assert OutboxMessage.objects.get(kind="plan.search").cancel_asked
