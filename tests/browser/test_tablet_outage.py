"""Water shut on the tablet: its clock, what is owed, and its end by proof alone, without signal.

Source of the accessibility rules: axe-core, tags wcag2a to wcag22aa.
"""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

from contractors.models import Person
from inspections.models import Impairment, Outage, Quarantined, Result, Visit
from tests import scene, servers
from tests.browser.tablets import (
    PHONE,
    arrive,
    follow,
    give_pin,
    heading,
    is_accessible,
    press,
)
from tests.inspections import tablets

pytestmark = pytest.mark.once

PULL = re.compile("/sync/pull/")


@pytest.fixture
def visit(ours: scene.Scene) -> Visit:
    made: Visit = tablets.planned(ours)
    return made


@pytest.fixture
def page(ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]) -> Page:
    page = open_page(ours.technician, viewport=PHONE)
    arrive(page)
    return page


def shut(page: Page, valve: str) -> None:
    page.get_by_role("link", name="Shut water").click()
    heading(page, "What is shut?")
    expect(page.locator(".caution").first).to_contain_text("Local codes and the authority")
    is_accessible(page)
    page.get_by_label("Valve, riser or system").select_option(label=f"{valve}, Offices, wet")
    press(page, "Shut: start the clock")
    expect(page.get_by_role("alert")).to_contain_text("without water")
    page.get_by_label("What is out of service?").fill("Floors 1 and 2")
    page.get_by_label(re.compile("^Monitoring station")).check()
    press(page, "Shut: start the clock")


def test_water_is_shut_and_ends_by_proof_alone(ours: scene.Scene, visit: Visit, page: Page) -> None:
    page.context.set_offline(True)
    valve = ours.devices["wet_valve"]
    shut(page, valve.name)
    heading(page, f"Out of service: {valve.name}")
    expect(page.locator(".strip .outage-clock")).to_have_text(re.compile(r"^0:00:\d\d$"))
    is_accessible(page)
    expect(page.get_by_role("button", name="Restored: stop the clock")).to_have_count(0)
    page.get_by_role("button", name="Tag hung").click()
    expect(page.get_by_role("button", name="Tag hung")).to_have_count(0)
    page.get_by_label("Turns, lock, seal or tamper switch").fill("11 turns, locked")
    page.get_by_role("button", name="Seen open").click()
    page.get_by_label("Static pressure, psi").fill("80")
    page.get_by_label("Residual pressure, psi").fill("7o")
    page.get_by_role("button", name="Pass").click()
    expect(page.get_by_role("alert")).to_contain_text("is no number")
    page.get_by_label("Residual pressure, psi").fill("70")
    page.get_by_role("button", name="Pass").click()
    press(page, "Restored: stop the clock")
    heading(page, f"Restored: {valve.name}")
    is_accessible(page)
    expect(page.locator(".strip .outage-clock")).to_have_count(0)
    page.context.set_offline(False)
    with ours.scope():
        servers.until(lambda: Outage.objects.exclude(ended_at=None).exists(), what="the end")
        assert not Impairment.objects.exists()
        assert not Quarantined.objects.exists()


def test_water_still_shut_is_missing_and_leaving_it_is_an_impairment(
    ours: scene.Scene, visit: Visit, page: Page
) -> None:
    valve = ours.devices["wet_valve"]
    shut(page, valve.name)
    follow(page, "Back to the visit")
    page.get_by_role("link", name="Shut water").click()
    expect(page.locator(".caution").first).to_contain_text("Already out of service")
    page.get_by_label("What is out of service?").fill("Archive")
    press(page, "Shut: start the clock")
    expect(page.get_by_role("alert")).to_contain_text("Say why")
    follow(page, "Back to the visit")
    follow(page, "Close the visit")
    expect(page.get_by_role("link", name=f"{valve.name}: water still shut")).to_be_visible()
    follow(page, "Leave as impaired")
    heading(page, "Leave as impaired")
    is_accessible(page)
    page.get_by_label("Why is it left impaired?").fill("The gasket is on order")
    press(page, "Leave as impaired")
    heading(page, "Go up and ring now")
    follow(page, "Clock and restoration")
    expect(page.get_by_text("It ends only with proof")).to_be_visible()
    expect(page.get_by_text("Authority having jurisdiction")).to_be_visible()
    with ours.scope():
        servers.until(lambda: Impairment.objects.exists(), what="the impairment")
        assert Outage.objects.get().became_id == Impairment.objects.get().pk


def test_after_the_minutes_of_the_setting_it_is_an_impairment_without_signal(
    ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]
) -> None:
    page = open_page(ours.technician, viewport=PHONE)
    page.clock.install()
    arrive(page)
    page.context.set_offline(True)
    valve = ours.devices["wet_valve"]
    shut(page, valve.name)
    heading(page, f"Out of service: {valve.name}")
    expect(page.locator(".alarm")).to_have_count(0)
    page.clock.fast_forward("59:00")
    expect(page.get_by_text("stays at the valve")).to_be_visible()
    page.clock.fast_forward("02:00")
    expect(page.locator(".strip .is-shut")).to_contain_text("out of service")
    expect(page.get_by_text("It ends only with proof")).to_be_visible()
    page.clock.fast_forward("45:00")
    alarm = page.locator(".strip .alarm")
    expect(alarm).to_contain_text("Test mode ends at")
    is_accessible(page)
    alarm.get_by_role("link").click()
    heading(page, "Take the station off test")
    page.get_by_text("It takes longer?").click()
    page.clock.fast_forward("20:00")
    expect(alarm).to_contain_text("Test mode ended at")


def test_who_is_on_it_what_is_left_and_who_goes_on(
    ours: scene.Scene, visit: Visit, page: Page
) -> None:
    late: list[Route] = []
    is_late = [True]
    page.route(PULL, lambda route: late.append(route) if is_late[0] else route.continue_())
    page.route("**/people.js", lambda route: route.abort())
    page.reload()
    with page.expect_request(PULL):
        give_pin(page)
    with ours.scope():
        Person.objects.filter(pk=ours.people["manager"].pk).update(is_technician=True)
    page.get_by_role("link", name=re.compile("^Sam Technician")).click()
    heading(page, "Not here yet")
    is_accessible(page)
    page.unroute("**/people.js")
    press(page, "Try again")
    heading(page, "On this visit")
    is_accessible(page)
    follow(page, "Hand over")
    heading(page, "Who goes on?")
    expect(page.get_by_text("The office knows nobody else.")).to_be_visible()
    is_late[0] = False
    for one in late:
        one.continue_()
    expect(page.get_by_label(re.compile("^Sam Manager"))).to_be_visible()
    is_accessible(page)
    press(page, "Hand over")
    expect(page.get_by_role("alert")).to_contain_text("Choose who goes on")
    page.get_by_label(re.compile("^Sam Manager")).check()
    page.get_by_label("How it stands").fill("Nothing is shut; the drain test is open")
    press(page, "Hand over")
    expect(page.locator(".toast")).to_contain_text("Handed over to Sam Manager")
    page.get_by_role("link", name="Not on this visit: 1").click()
    heading(page, "Not on this visit: 1")
    is_accessible(page)
    page.get_by_label("Why is it not done?").fill("The drain is frozen")
    press(page, "Not on this visit")
    with ours.scope():
        servers.until(lambda: Result.objects.filter(visit=visit).exists(), what="the answer")
        visit.refresh_from_db()
        assert (visit.technician.code, visit.second.code) == ("MANA", "TECH")
        assert Result.objects.get(visit=visit).answer == "could_not"
