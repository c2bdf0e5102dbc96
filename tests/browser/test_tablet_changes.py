"""What the office changes while a visit is on a tablet is said there, and takes no work away."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, Route, expect

from buildings.models import Building
from contractors.models import Membership, new_id
from inspections import held, record
from inspections.models import Event, Photo, Result, Visit
from tests import scene
from tests.browser.tablets import PHONE, choose_pin, give_pin, heading, is_accessible, press
from tests.browser.test_tablet_offline import READY, find
from tests.inspections import tablets

pytestmark = pytest.mark.once

PULL = "**/api/v1/sync/pull/**"
RECEIPTS = "**/api/v1/sync/receipts/**"


@pytest.fixture
def visit(ours: scene.Scene) -> Visit:
    made: Visit = tablets.planned(ours)
    return made


def shut_water(ours: scene.Scene, visit: Visit) -> None:
    """Let somebody else shut the wet riser."""
    outage = str(new_id())
    payload = {
        "outage": outage,
        "subject": tablets.subject(ours),
        "extent": "wet riser",
        "attended": True,
        "person": "Sam",
        "started_at": timezone.now().isoformat(),
    }
    on = {"stream": "impairment", "stream_id": outage, "visit": visit.pk}
    entry = record.entry("outage.start", payload, by=ours.manager, **on)
    record.append([entry], via=Event.Via.API, by=ours.manager)


def test_what_the_office_changed_is_told_until_it_is_seen(
    ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]
) -> None:
    given, moved = tablets.planned(ours), tablets.planned(ours)
    page = open_page(ours.technician, viewport=PHONE)
    with page.expect_response(RECEIPTS):
        choose_pin(page)
    expect(page.locator("main .row-end")).to_have_count(3)
    expect(page.get_by_role("heading", name="Changed meanwhile")).to_have_count(0)
    with ours.scope():
        Visit.objects.filter(pk=given.pk).update(technician=ours.people["manager"])
        Visit.objects.filter(pk=moved.pk).update(planned_on=timezone.now() + timedelta(days=40))
        Building.objects.update(access_notes="Ring at the back gate")
        shut_water(ours, visit)
    page.reload()
    give_pin(page)
    expect(page.get_by_role("heading", name="Changed meanwhile: 4")).to_be_visible()
    told = page.locator("main .plain")
    for words in (
        "went to somebody else.",
        "Moved from ",
        "New access notes: Ring at the back gate",
        "Water shut at ",
    ):
        expect(told.get_by_role("listitem").filter(has_text=words)).to_have_count(1)
    expect(page.locator("main .row-end")).to_have_count(1)
    is_accessible(page)
    page.get_by_role("button", name="Seen").click()
    expect(told).to_have_count(0)
    with page.expect_response(RECEIPTS):
        page.reload()
        give_pin(page)
    heading(page, "Visits of today")
    expect(told).to_have_count(0)


def test_a_visit_that_is_cancelled_while_somebody_types_keeps_what_they_record(
    ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]
) -> None:
    held: list[Route] = []
    is_slow = [True]
    with ours.scope():
        line = visit.lines.get()
    page = open_page(ours.technician, viewport=PHONE)
    choose_pin(page)
    page.goto(f"/tablet/#/v/{visit.pk}/line/{line.pk}")
    heading(page, "Riser R1")
    page.route(PULL, lambda route: held.append(route) if is_slow[0] else route.continue_())
    with page.expect_request(PULL):
        page.reload()
        give_pin(page)
    page.get_by_label("Static pressure").fill("92")
    tablets.cancel(ours, visit)
    is_slow[0] = False
    for route in held:
        route.continue_()
    expect(page.locator(".news")).to_contain_text("is cancelled.")
    is_accessible(page)
    expect(page.get_by_label("Static pressure")).to_have_value("92")
    page.get_by_label("Residual pressure").fill("78")
    press(page, "Pass")
    heading(page, "Visits of today")
    expect(page.get_by_text("No visit is planned for you today.")).to_be_visible()
    expect(page.locator("main .plain")).to_contain_text("is cancelled.")
    expect(page.locator(".strip")).to_contain_text("all sent")
    with ours.scope():
        kept = Event.objects.filter(visit_id=visit.pk, status="held")
        assert sorted(kept.values_list("kind", flat=True)) == ["item.set", *["reading.add"] * 2]


def test_an_account_ended_during_a_visit_without_signal_loses_nothing_it_recorded(
    ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]
) -> None:
    page = open_page(ours.technician, viewport=PHONE, service_workers="allow")
    choose_pin(page)
    expect(page.get_by_role("link", name=re.compile("^Old Mill Offices"))).to_be_visible()
    page.wait_for_function(READY)
    page.context.set_offline(True)
    with ours.scope():
        line = visit.lines.get()
        days_ago = timezone.now() - timedelta(days=2)
        Membership.objects.filter(pk=ours.technician.pk).update(ended_on=days_ago)
    page.goto(f"/tablet/#/v/{visit.pk}/line/{line.pk}")
    page.get_by_label("Static pressure").fill("92")
    page.get_by_label("Residual pressure").fill("78")
    press(page, "Pass")
    heading(page, "Old Mill Offices")
    find(page, visit, "Cracked", photo=True)
    expect(page.locator(".strip")).to_contain_text("6 to send")
    page.context.set_offline(False)
    is_told_to_save_a_file(page)
    # The kept app opens for whoever has the PIN, also after a restart.
    page.reload()
    give_pin(page)
    is_told_to_save_a_file(page)
    is_accessible(page)
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save the file for the office").click()
    desk = open_page(ours.manager)
    desk.goto("/tablets/file/")
    desk.locator("input[type=file]").set_input_files(saved.value.path())
    desk.get_by_role("button", name="Take it over").click()
    expect(desk.get_by_text("5 entries wait for you.")).to_be_visible()
    with ours.scope():
        assert not Event.objects.filter(visit_id=visit.pk).exists()
        for row in held.waiting():
            assert held.take(row, by=ours.manager) == "applied"
        is_in_the_record(ours, visit)
        Membership.objects.filter(pk=ours.technician.pk).update(ended_on=None)
    press(page, "Send now")
    expect(page.locator(".strip")).to_contain_text("all sent")
    with ours.scope():
        is_in_the_record(ours, visit)


def is_told_to_save_a_file(page: Page) -> None:
    """See that nothing is lost, and where it goes."""
    page.goto("/tablet/#/unsent")
    press(page, "Send now")
    expect(page.get_by_text("The office has ended this account's access")).to_be_visible()
    expect(page.locator(".strip")).to_contain_text("6 to send")


def is_in_the_record(ours: scene.Scene, visit: Visit) -> None:
    """See everything once, under the name of whoever did it."""
    events = Event.objects.filter(visit_id=visit.pk)
    wanted = ["finding.add", "item.set", "photo.attach", "reading.add", "reading.add"]
    assert sorted(events.values_list("kind", flat=True)) == wanted
    assert set(events.values_list("by", flat=True)) == {ours.technician.pk}
    assert Result.objects.get(visit=visit).answer == "pass"
    assert Photo.objects.get(visit=visit).file is not None


def test_a_tap_under_which_the_screen_would_change_is_not_lost(
    ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]
) -> None:
    page = open_page(ours.technician, viewport=PHONE)
    with page.expect_response(RECEIPTS):
        choose_pin(page)
    expect(page.locator("main .row-end")).to_have_count(1)
    held: list[Route] = []
    page.route(PULL, lambda route: held.append(route))
    page.reload()
    give_pin(page)
    link = page.locator(f"main a[href='#/v/{visit.pk}']").first
    link.hover()
    page.mouse.down()
    with page.expect_response(RECEIPTS):
        held[0].continue_()
    page.wait_for_timeout(300)
    page.mouse.up()
    heading(page, re.compile("Old Mill Offices"))
