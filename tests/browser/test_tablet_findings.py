"""Findings on the tablet: found again and linked, pictures marked, alike answered as last time."""

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from contractors.models import new_id
from inspections import findings, record
from inspections.catalogue_files import catalogue
from inspections.closing import may_be_bulk
from inspections.models import Event, Finding, Photo, Result, Visit
from tests import scene, servers
from tests.browser.tablets import (
    PHONE,
    add_line,
    choose_pin,
    heading,
    is_accessible,
    picture,
    press,
)
from tests.inspections import tablets

pytestmark = pytest.mark.once


@pytest.fixture
def visit(ours: scene.Scene) -> Visit:
    made: Visit = tablets.planned(ours)
    return made


@pytest.fixture
def start(ours: scene.Scene, open_page: Callable[..., Page]) -> Callable[[], Page]:
    def opened() -> Page:
        page = open_page(ours.technician, viewport=PHONE)
        choose_pin(page)
        page.get_by_role("link", name=re.compile("^Old Mill Offices")).click()
        heading(page, "Old Mill Offices")
        return page

    return opened


def test_what_is_open_already_is_found_again_and_not_doubled(
    ours: scene.Scene, visit: Visit, start: Callable[[], Page]
) -> None:
    device = ours.devices["wet_sprinklers"]
    with ours.scope():
        before = findings.add(
            ours.building,
            subject=("device", device.pk),
            grade="noncritical",
            text="Painted sprinklers",
            count=14,
            by=ours.technician,
        )
    page = start()
    page.context.set_offline(True)
    page.goto(f"/tablet/#/v/{visit.pk}/found")
    heading(page, "What is wrong?")
    page.get_by_label("Which item?").select_option(label=device.name)
    page.get_by_label(re.compile("^Found again: Painted sprinklers")).check()
    expect(page.get_by_label("How many")).to_have_value("14")
    expect(page.get_by_label(re.compile("^Critical deficiency"))).to_be_hidden()
    page.get_by_label("How many").fill("9")
    page.get_by_label("In your words").fill("Five replaced")
    is_accessible(page)
    press(page, "Save finding 1")
    heading(page, "Riser R1")
    page.goto(f"/tablet/#/v/{visit.pk}")
    expect(page.get_by_role("link", name=re.compile("found again today"))).to_be_visible()
    page.context.set_offline(False)
    with ours.scope():
        servers.until(
            lambda: Finding.objects.get(pk=before.pk).seen_again == 1, what="the recurrence"
        )
        only = Finding.objects.get()
        assert (only.pk, only.count, only.text) == (before.pk, 9, "Painted sprinklers")


def test_a_picture_is_marked_with_a_finger_and_kept_beside_the_first(
    ours: scene.Scene, visit: Visit, start: Callable[[], Page]
) -> None:
    page = start()
    page.goto(f"/tablet/#/v/{visit.pk}/found")
    heading(page, "What is wrong?")
    page.get_by_label("In your words").fill("Leaks at the flange")
    page.get_by_label(re.compile("^Observation")).check()
    page.locator("#f-photo").set_input_files(
        {"name": "leak.png", "mimeType": "image/png", "buffer": picture()}
    )
    page.get_by_role("button", name="Mark the picture").click()
    board = page.locator(".board")
    box = board.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + 5, box["y"] + 5)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, steps=4)
    page.mouse.up()
    board.focus()
    for key in ("Enter", "ArrowRight", "ArrowDown", "Enter"):
        page.keyboard.press(key)
    is_accessible(page)
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name="Keep the marks").click()
    marked = page.get_by_text("the photo without marks is kept")
    expect(marked).to_be_visible()
    page.get_by_label("What the picture shows").fill("flange")
    press(page, "Save finding 1")
    with ours.scope():
        servers.until(lambda: Photo.objects.exclude(file=None).count() == 2, what="both pictures")
        finding = Finding.objects.get()
        assert {photo.finding_id for photo in Photo.objects.all()} == {finding.pk}
        told = [record.payload_of(row) for row in Event.objects.filter(kind="photo.attach")]
        assert {one["caption"] for one in told} == {"flange", "Marked: flange"}
        assert all(one["size"] < 200_000 for one in told)
        assert told[0]["sha256"] != told[1]["sha256"]


def looked_at(count: int) -> list[str]:
    """Return visual inspections that may be answered for many at once."""
    return [
        one.id
        for one in catalogue().activities.values()
        if (may_be_bulk(one) and one.component == "hangers_braces") or one.component == "signs"
        if one.kind == "inspection"
    ][:count]


def test_alike_items_are_answered_as_last_time_and_the_exceptions_one_by_one(
    ours: scene.Scene, visit: Visit, start: Callable[[], Page]
) -> None:
    good, bad, new = looked_at(3)
    with ours.scope():
        earlier = Visit.objects.create(building=ours.building)
        then = timezone.now() - timedelta(days=90)
        for activity, answer in ((good, "seen_in_order"), (bad, "finding")):
            payload: dict[str, Any] = {
                "subject": {"kind": "riser", "id": str(ours.wet_riser.pk)},
                "activity": activity,
                "answer": answer,
            }
            entry = record.visit_entry(
                earlier, "item.set", payload, by=ours.technician, id=new_id()
            )
            record.append([entry], via="page", by=ours.technician, happened_at=then)
        for activity in (good, bad, new):
            add_line(visit, "riser", ours.wet_riser, activity)
    page = start()
    page.get_by_role("link", name=re.compile("^As last time: 3 together")).click()
    heading(page, "Which of these do you see as last time?")
    expect(page.get_by_role("checkbox")).to_have_count(2)
    expect(page.get_by_role("link", name=re.compile("Last time: Finding"))).to_be_visible()
    is_accessible(page)
    press(page, "As last time")
    expect(page.get_by_role("alert")).to_contain_text("Tick what you looked at")
    press(page, "Tick all")
    press(page, "As last time")
    heading(page, "Old Mill Offices")
    with ours.scope():
        servers.until(lambda: Result.objects.filter(visit=visit).count() == 2, what="answers")
        rows = Result.objects.filter(visit=visit).values_list("activity", "answer", "in_bulk")
        assert set(rows) == {(good, "seen_in_order", True), (new, "seen_in_order", True)}
