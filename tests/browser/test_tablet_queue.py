"""The tablet's queue in a real browser: answers lost, entries refused, a tablet forgotten.

Nothing that was recorded may be lost, and nothing may be there twice.
"""

import json
import re
from collections.abc import Callable
from io import BytesIO
from typing import Any
from uuid import UUID

import pytest
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Page, Route, expect

from inspections import record
from inspections.models import (
    Event,
    Finding,
    Impairment,
    ImpairmentStep,
    Quarantined,
    Result,
    Tablet,
    Visit,
    VisitLine,
)
from tests import scene
from tests.browser.tablets import choose_pin, give_pin, heading, is_accessible

PUSH = "**/api/v1/sync/push/"
PULL = "**/api/v1/sync/pull/**"
BLOBS = "**/api/v1/blobs/"
PHONE = {"width": 390, "height": 844}
MODULE = """async ([name, call, given]) => {
    const script = document.querySelector("script[type=module]").src;
    const found = await import(new URL(name, script));
    return found[call](...given);
}"""


@pytest.fixture
def visit(ours: scene.Scene) -> Visit:
    with ours.scope():
        made: Visit = Visit.objects.create(
            building=ours.building,
            technician=ours.people["technician"],
            planned_on=timezone.now().astimezone(ours.building.zone).date(),
            title="Quarterly",
        )
        device = ours.devices["wet_valve"]
        VisitLine.objects.create(
            visit=made,
            system=ours.wet,
            subject_kind="device",
            subject_id=device.pk,
            activity="control-valve-locked-monthly",
        )
    return made


@pytest.fixture
def main_drain(ours: scene.Scene, visit: Visit) -> VisitLine:
    """A test with readings on the visit, which two people do."""
    with ours.scope():
        Visit.objects.filter(pk=visit.pk).update(second=ours.people["manager"])
        line: VisitLine = VisitLine.objects.create(
            visit=visit,
            system=ours.wet,
            subject_kind="riser",
            subject_id=ours.wet_riser.pk,
            activity="main-drain-annual",
        )
    return line


@pytest.fixture
def page(ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]) -> Page:
    """The app on the visit, arrived, with everything sent."""
    made = open_page(ours.technician, viewport=PHONE)
    choose_pin(made)
    made.get_by_role("link", name=re.compile("^Old Mill Offices")).click()
    follow(made, "I have arrived")
    press(made, "Arrived")
    expect(made.get_by_role("heading", level=1, name="Put the station on test")).to_be_visible()
    expect(made.locator(".strip")).to_contain_text("all sent")
    return made


def press(page: Page, name: str) -> None:
    page.locator(".thumb").get_by_role("button", name=name, exact=True).click()


def follow(page: Page, name: str) -> None:
    page.locator(".thumb").get_by_role("link", name=name, exact=True).click()


def recorded(ours: scene.Scene, visit: Visit) -> list[str]:
    with ours.scope():
        rows = Event.objects.filter(visit_id=visit.pk).order_by("received_at", "seq")
        return list(rows.values_list("kind", flat=True))


def find(
    page: Page, visit: Visit, text: str, *, grade: str = "Observation", photo: bool = False
) -> None:
    """Record a finding in the app."""
    page.goto(f"/tablet/#/v/{visit.pk}/found")
    page.get_by_label("In your words").fill(text)
    page.get_by_label(re.compile(f"^{grade}")).check()
    if photo:
        out = BytesIO()
        Image.new("RGB", (64, 48), (120, 60, 30)).save(out, "PNG")
        picture: Any = {"name": "a.png", "mimeType": "image/png", "buffer": out.getvalue()}
        page.locator("#f-photo").set_input_files(picture)
        expect(page.get_by_text("Photo kept")).to_be_visible()
    page.locator(".thumb").get_by_role("button", name=re.compile("^Save finding")).click()
    expect(page.get_by_role("heading", level=1, name="What is wrong?")).to_have_count(0)


def all_sent(page: Page) -> None:
    expect(page.locator(".strip")).to_contain_text("all sent")


CLOCKS = """async ([days, hours]) => {
    const script = document.querySelector("script[type=module]").src;
    const clock = await import(new URL("clock.js", script));
    const [real, at] = [Date.now, Date.now() + days * 86_400_000];
    await clock.note({ ticket: "x", server_time: new Date(at).toISOString() });
    const told = hours.map((by) => {
        Date.now = () => real() + by * 3_600_000;
        return clock.now() - at;
    });
    Date.now = real;
    return told;
}"""


def test_ids_and_times_are_the_servers_whatever_the_clock_says(page: Page, visit: Visit) -> None:
    made = [page.evaluate(MODULE, ["ids.js", "newId", []]) for _again in range(3)]
    assert all(
        re.fullmatch(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab].{3}-.{12}", one) for one in made
    )
    for one in (*made, str(visit.pk)):
        derived = page.evaluate(MODULE, ["ids.js", "impairmentOf", [one]])
        assert derived == str(record.impairment_id_of(UUID(one)))
    for days in (400, -400):
        told = page.evaluate(CLOCKS, [days, [0, -37, 24 * 400]])
        assert all(abs(off) < 60_000 for off in told)


def test_an_answer_that_comes_after_signing_out_leaves_nothing(page: Page) -> None:
    page.evaluate(MODULE, ["store.js", "clear", []])
    page.evaluate(MODULE, ["clock.js", "note", [{"ticket": "late", "server_time": "2026-11-26"}]])
    assert page.evaluate(MODULE, ["store.js", "value", ["ticket"]]) is None
    page.evaluate(MODULE, ["store.js", "keepPack", [{"visit": {"id": "late"}}]])
    assert page.evaluate(MODULE, ["store.js", "packs", []]) == []


def test_an_answer_that_is_lost_changes_nothing(
    ours: scene.Scene, visit: Visit, page: Page
) -> None:
    lost: list[int] = []

    def lose(route: Route) -> None:
        if len(lost) < 2:
            lost.append(route.fetch().status)
            route.abort()
        else:
            route.continue_()

    page.route(PUSH, lose)
    find(page, visit, "the first")
    find(page, visit, "the second")
    all_sent(page)
    assert lost == [200, 200]
    assert recorded(ours, visit).count("finding.add") == 2
    with ours.scope():
        assert not Quarantined.objects.exists()


def test_an_entry_that_the_server_cannot_read_is_put_aside_and_the_others_come(
    ours: scene.Scene, visit: Visit, page: Page
) -> None:
    def refuse(route: Route) -> None:
        given = [event.get("payload") for event in route.request.post_data_json["events"]]
        if "the bad one" in json.dumps(given):
            route.fulfill(status=400, json={"detail": "cannot be read", "code": "invalid"})
        else:
            route.continue_()

    page.route(PUSH, lambda route: route.abort())
    for text in ("one", "two", "the bad one", "three", "four"):
        find(page, visit, text)
    page.route(PUSH, refuse)  # over the first one: no push finds the way free between the two
    page.goto("/tablet/#/unsent")
    press(page, "Send now")
    all_sent(page)
    with ours.scope():
        rows = Event.objects.filter(visit_id=visit.pk, kind="finding.add")
        texts = [record.payload_of(row)["text"] for row in rows.order_by("seq")]
        assert texts == ["one", "two", "three", "four"]
        assert "the bad one" in Quarantined.objects.get().text


def test_a_tablet_that_the_server_forgot_counts_anew_and_loses_nothing(
    ours: scene.Scene, visit: Visit, page: Page
) -> None:
    page.route(PUSH, lambda route: route.abort())
    find(page, visit, "before")
    find(page, visit, "after")
    with ours.scope():
        before = set(Tablet.objects.values_list("pk", flat=True))
        Tablet.objects.all().delete()
    page.unroute(PUSH)
    page.reload()
    give_pin(page)
    all_sent(page)
    assert recorded(ours, visit).count("finding.add") == 2
    with ours.scope():
        (fresh,) = Tablet.objects.all()
        assert fresh.pk not in before
        assert fresh.last_seq == Event.objects.filter(tablet=fresh.pk).count() >= 2


def test_a_photo_that_is_refused_holds_up_nothing_and_is_named(
    ours: scene.Scene, visit: Visit, page: Page
) -> None:
    page.route(
        BLOBS,
        lambda route: route.fulfill(status=422, json={"detail": "It is damaged.", "code": "x"}),
    )
    find(page, visit, "Cracked", photo=True)
    all_sent(page)
    assert "photo.attach" in recorded(ours, visit)
    page.goto("/tablet/#/unsent")
    expect(page.get_by_text("It is damaged.")).to_be_visible()


def test_a_found_impairment_says_to_ring_and_starts_one_clock(
    ours: scene.Scene, visit: Visit, page: Page
) -> None:
    find(page, visit, "Found shut", grade="Impairment")
    expect(page.get_by_role("heading", level=1, name="Go up and ring now")).to_be_visible()
    expect(page.get_by_role("link", name="555 0111")).to_be_visible()
    expect(page.get_by_role("link", name="911")).to_be_visible()
    page.get_by_role("button", name="Told now").first.click()
    expect(page.get_by_text(re.compile(r"^told \d\d:\d\d, Kim Porter"))).to_be_visible()
    all_sent(page)
    with ours.scope():
        (impairment,) = Impairment.objects.all()
        assert impairment.finding == Finding.objects.get()
        assert [step.what for step in ImpairmentStep.objects.all()] == ["told owner"]


def test_two_tablets_on_one_visit_lose_nothing_and_show_the_worse_answer(
    ours: scene.Scene, visit: Visit, page: Page, open_page: Callable[..., Page]
) -> None:
    with ours.scope():
        Visit.objects.filter(pk=visit.pk).update(second=ours.people["manager"])
        line = VisitLine.objects.get(visit=visit)
    other = open_page(ours.manager, viewport=PHONE)
    choose_pin(other)
    said = {page: "Seen in order", other: "Not fitted"}
    for tablet, word in said.items():
        tablet.goto(f"/tablet/#/v/{visit.pk}/line/{line.pk}")
        expect(tablet.locator(".thumb").get_by_role("button", name=word)).to_be_visible()
        tablet.context.set_offline(True)
        press(tablet, word)
        expect(tablet.locator(".strip")).to_contain_text("to send")
    for tablet in said:
        tablet.context.set_offline(False)
        all_sent(tablet)
    with ours.scope():
        result = Result.objects.get(visit=visit)
        assert (result.answer, result.disputed) == ("not_fitted", True)
    assert recorded(ours, visit).count("item.set") == 2
    for tablet in said:
        tablet.reload()
        with tablet.expect_response("**/sync/receipts/**"):
            give_pin(tablet)
        tablet.goto(f"/tablet/#/v/{visit.pk}/line/{line.pk}")
        expect(tablet.locator(".heads li")).to_have_count(2)
        expect(tablet.locator(".heads li").first).to_contain_text("Not fitted")


def drain(page: Page, psi: tuple[str, str, str], answer: str) -> None:
    """Fill in a main drain test and answer it."""
    names = ("Static pressure", "Residual pressure", "Restored pressure")
    for name, figure in zip(names, psi, strict=True):
        page.get_by_label(name).fill(figure)
    press(page, answer)
    expect(page.get_by_role("heading", level=1, name="Riser R1")).to_have_count(0)
    all_sent(page)


@pytest.mark.parametrize(("looked", "stands"), [(True, ("pass", False)), (False, ("fail", True))])
def test_what_another_tablet_answers_is_told_beside_what_is_being_typed(
    ours: scene.Scene,
    visit: Visit,
    main_drain: VisitLine,
    page: Page,
    open_page: Callable[..., Page],
    looked: bool,
    stands: tuple[str, bool],
) -> None:
    held: list[Route] = []
    page.goto(f"/tablet/#/v/{visit.pk}/line/{main_drain.pk}")
    heading(page, "Riser R1")
    is_slow = [True]
    page.route(PULL, lambda route: held.append(route) if is_slow[0] else route.continue_())
    with page.expect_request(PULL):
        page.reload()
        give_pin(page)
    page.get_by_label("Static pressure").fill("92")
    other = open_page(ours.manager, viewport=PHONE)
    choose_pin(other)
    other.goto(f"/tablet/#/v/{visit.pk}/line/{main_drain.pk}")
    drain(other, ("88", "40", "87"), "Fail")
    expect(page.locator(".news")).to_have_count(0)
    is_slow[0] = False
    for route in held:
        route.continue_()
    news = page.locator(".news")
    expect(news).to_contain_text("Sam Manager recorded this meanwhile: Fail")
    expect(page.locator(".heads li")).to_have_count(0)
    is_accessible(page)
    if looked:
        page.get_by_role("button", name="Show it").click()
        expect(page.locator(".heads li")).to_have_count(4)
        expect(page.locator(".heads")).to_be_focused()
        expect(page.locator(".heads li").first).to_contain_text("Fail")
        expect(page.locator(".heads")).to_contain_text("Residual pressure 40 psi, Sam Manager")
        expect(news).to_have_count(0)
        is_accessible(page)
    expect(page.get_by_label("Static pressure")).to_have_value("92")
    drain(page, ("92", "78", "91.5"), "Pass")
    with ours.scope():
        result = Result.objects.get(visit=visit)
        assert (result.answer, result.disputed) == stands
    assert recorded(ours, visit).count("reading.add") == 6
