"""A technician does a visit on the tablet in a real browser: arrival to hand-in, on a real server.

Source of the accessibility rules: axe-core, tags wcag2a to wcag22aa.
"""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from django.utils import timezone, translation
from playwright.sync_api import Page, Route, expect

from inspections import projections, pump_tests
from inspections.catalogue_files import catalogue
from inspections.closing import taken_readings
from inspections.models import Finding, Outage, Photo, Reading, Result, Visit
from inspections.pack import label_of
from inspections.sequence.fault_words import FAULT_WORDS
from inspections.sequence.words import ENGLISH
from inspections.trips import END_STATE_WORDS
from tests import scene, servers
from tests.browser.tablets import (
    PHONE,
    PIN,
    add_line,
    arrive,
    choose_pin,
    follow,
    give_pin,
    heading,
    is_accessible,
    picture,
    press,
    sign_and_hand_in,
)

TRIP = "pad-trip-preaction-full"
# As the gauges stand on this riser, psi.
AS_FOUND = {"Supply gauge": "92", "System gauge": "10", "Prime gauge": "91"}
MODULES = Path(projections.__file__).parent / "static" / "inspections" / "tablet"
NOT_SAID = ("item.",)  # The pack brings the words of the end-state list.
WRONG_ORDER = "Reset the panel"


@pytest.fixture
def visit(ours: scene.Scene) -> Visit:
    """A visit of today: a main drain and a vane switch on the wet riser, a trip on the other."""
    with ours.scope():
        made: Visit = Visit.objects.create(
            building=ours.building,
            technician=ours.people["technician"],
            planned_on=timezone.now().astimezone(ours.building.zone).date(),
            title="Yearly tests",
        )
        add_line(made, "riser", ours.wet_riser, "main-drain-annual")
        add_line(made, "device", ours.devices["wet_flow"], "waterflow-vane-test")
        add_line(made, "device", ours.devices["preaction_valve"], TRIP)
    return made


def test_a_visit_is_done_from_arrival_to_the_hand_in(
    ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]
) -> None:
    page = open_page(ours.technician, viewport=PHONE)
    arrive(page)
    do_the_main_drain(page)
    fail_the_switch(page)
    trip_and_restore(page)
    answer_the_trip(page)
    prove_the_end_state(page)
    prove_the_water_back(page)
    take_off_test(page)
    follow(page, "Close the visit")
    expect(page.locator(".summary")).to_contain_text("1 otherwise than in order")
    sign_and_hand_in(page)
    expect(page.locator(".visit-where")).to_contain_text("Received")
    is_in_the_record(ours, visit)


def do_the_main_drain(page: Page) -> None:
    follow(page, "Next: Riser R1")
    heading(page, "Riser R1")
    expect(page.locator(".caution").first).to_contain_text("Water damage")
    page.get_by_label("Static pressure").fill("92")
    press(page, "Pass")
    expect(page.get_by_role("alert")).to_contain_text("a reading is wanted here")
    page.get_by_label("Residual pressure").fill("7x")
    press(page, "Pass")
    expect(page.get_by_role("alert")).to_contain_text("is no number")
    page.get_by_label("Residual pressure").fill("78")
    page.get_by_label("Restored pressure").fill("91.5")
    is_accessible(page)
    press(page, "Pass")


def fail_the_switch(page: Page) -> None:
    heading(page, "Waterflow switch")
    page.get_by_label("Time to alarm").fill("120")
    expect(page.locator(".reading-verdict")).to_contain_text("Beyond its limit")
    press(page, "Pass")
    expect(page.get_by_role("alert")).to_contain_text("can't pass")
    press(page, "Fail")
    heading(page, "What is wrong?")
    is_accessible(page)
    page.get_by_label("Something else").check()
    page.get_by_label("In your words").fill("The vane sticks")
    page.get_by_label(re.compile("^Critical deficiency")).check()
    page.locator("#f-photo").set_input_files(
        {"name": "vane.png", "mimeType": "image/png", "buffer": picture()}
    )
    expect(page.get_by_text("Photo kept")).to_be_visible()
    press(page, "Save finding 1")


def trip_and_restore(page: Page) -> None:
    heading(page, "Preaction deluge valve")
    page.goto("/tablet/")
    give_pin(page)
    page.get_by_role("link", name=re.compile("^Old Mill Offices")).click()
    page.get_by_role("link", name=re.compile("^Trip test Preaction")).click()
    heading(page, "Trip test")
    is_accessible(page)
    page.locator(".thumb").get_by_role("link", name="Readings as found").click()
    write_down_as_found(page)
    for _count in range(60):
        title = page.get_by_role("heading", level=1).inner_text()
        if title == "Trip test":
            break
        if title == "Clear the cause":
            try_the_wrong_order(page)
            expect(page.locator(".strip .outage-clock")).to_have_text(re.compile(r"^0:0\d:\d\d$"))
        if title == "Lose the air alone":
            see_the_prime_fall(page)
        else:
            do_the_step(page, title)
    expect(page.get_by_text("All steps are done.")).to_be_visible()


def write_down_as_found(page: Page) -> None:
    heading(page, "Readings as found")
    press(page, "Done, as expected")
    expect(page.get_by_role("alert")).to_contain_text("before anything is touched")
    for name, figure in AS_FOUND.items():
        page.get_by_label(name).fill(figure)
    is_accessible(page)
    press(page, "Done, as expected")
    heading(page, "Permission and test mode")


def see_the_prime_fall(page: Page) -> None:
    """Confirm a prime that is not as expected: likely faults are named, none as the cause."""
    for reading in page.locator(".reading").all():
        expected = re.search(r"Expected (-?[\d.]+)", reading.inner_text())
        reading.get_by_role("textbox").fill(expected.group(1) if expected else "12")
    page.get_by_label("Prime gauge").fill("64")
    expect(page.locator(".mismatches")).to_contain_text("Prime gauge: 64 psi, expected 92 psi")
    page.locator(".thumb").get_by_role("button", name=re.compile("^Done")).click()
    heading(page, "Not as expected")
    likely = page.locator(".likely li")
    expect(likely.first).to_have_text("Solenoid leaking")
    expect(likely.nth(1)).to_have_text("Hydraulic latch leaking")
    expect(page.get_by_text("none is proven")).to_be_visible()
    expect(page.get_by_text("tells these apart")).to_be_visible()
    is_accessible(page)
    follow(page, "Go on")
    heading(page, "Restore the air")


def try_the_wrong_order(page: Page) -> None:
    """Reset the panel with the detector still in alarm: warned, done anyway, kept as such."""
    page.locator(".steps").get_by_role("link", name=re.compile(f"^{WRONG_ORDER}")).click()
    heading(page, WRONG_ORDER)
    expect(page.locator(".unsafe")).to_contain_text("Not now")
    expect(page.locator(".unsafe")).to_contain_text("Detectors and stations clear before")
    is_accessible(page)
    press(page, "It was done anyway")
    press(page, "It was done anyway")
    expect(page.get_by_role("alert").last).to_contain_text("Say why")
    page.get_by_label("Why was it done otherwise than in order?").fill("Thought it was clear")
    press(page, "It was done anyway")
    heading(page, "Clear the cause")


def do_the_step(page: Page, title: str) -> None:
    """Time what is to be timed, type every figure as it is expected, and go on."""
    while page.locator(".watch").count():
        laps = page.locator(".watch .lap")
        start = page.get_by_role("button", name="Start the watch")
        if laps.count():
            laps.first.click()
        elif start.count():
            start.click()
        else:
            break
    for reading in page.locator(".reading").all():
        expected = re.search(r"Expected (-?[\d.]+)", reading.inner_text())
        reading.get_by_role("textbox").fill(expected.group(1) if expected else "12")
    expect(page.locator(".mismatches")).to_be_empty()
    page.locator(".thumb").get_by_role("button", name=re.compile("^Done")).click()
    expect(page.get_by_role("heading", level=1, name=title, exact=True)).to_have_count(0)


def answer_the_trip(page: Page) -> None:
    follow(page, "End state")
    heading(page, re.compile("^Not restored: "))
    is_accessible(page)
    follow(page, "Back to the visit")
    follow(page, "Next: Preaction deluge valve")
    expect(page.get_by_label("Trip time")).not_to_have_value("")
    page.get_by_label("Trip air pressure").fill("10")
    press(page, "Pass")


def prove_the_end_state(page: Page) -> None:
    heading(page, "Old Mill Offices")
    page.locator(".strip").get_by_role("link", name=re.compile("not restored")).click()
    follow(page, "Next item")
    counted = page.locator(".visit-where").get_by_text(re.compile(r"^\d+ of \d+$"))
    expect(counted).to_be_visible()
    first = True
    while counted.count():
        if first:
            is_accessible(page)
            press(page, "Not proven")
            expect(page.get_by_role("alert")).to_contain_text("Say why")
            first = False
        title = page.get_by_role("heading", level=1).inner_text()
        press(page, "Proven")
        expect(page.get_by_role("heading", level=1, name=title, exact=True)).to_have_count(0)
    heading(page, "Nothing left to restore")


def prove_the_water_back(page: Page) -> None:
    """The clock that shutting the valve started ends by a flow test alone."""
    page.locator(".strip").get_by_role("link", name=re.compile("water shut")).click()
    heading(page, re.compile("^Out of service: "))
    expect(page.get_by_role("button", name="Restored: stop the clock")).to_have_count(0)
    page.get_by_label("Static pressure, psi").fill("92")
    page.get_by_label("Residual pressure, psi").fill("79")
    page.get_by_role("button", name="Pass", exact=True).click()
    press(page, "Restored: stop the clock")
    heading(page, re.compile("^Restored: "))
    follow(page, "Back to the visit")


def take_off_test(page: Page) -> None:
    follow(page, "Close the visit")
    heading(page, "Missing: 1")
    page.get_by_role("link", name="Monitoring station still on test").click()
    page.get_by_label(re.compile("^Signals read back")).fill("Waterflow 10:41, supervisory 10:43")
    press(page, "Off test")


def is_in_the_record(ours: scene.Scene, visit: Visit) -> None:
    def handed_in() -> bool:
        visit.refresh_from_db()
        return visit.state == Visit.State.HANDED_IN

    with ours.scope():
        servers.until(handed_in, what="the hand-in")
        answers = dict(Result.objects.filter(visit=visit).values_list("activity", "answer"))
        assert answers == {
            "main-drain-annual": "pass",
            "waterflow-vane-test": "fail",
            "control-valve-status-test": "pass",
            TRIP: "pass",
        }
        riser = ours.wet_riser.pk
        residual = Reading.objects.get(visit=visit, name="residual_pressure", subject_id=riser)
        assert residual.typed == "78 psi"
        assert residual.value_si == pytest.approx(78 * 6894.757293168362)
        seen = projections.picture(visit.pk)
        off = [step for step in seen.steps if step.payload["deviation"]]
        assert [step.payload["step"] for step in off] == ["reset_panel"]
        assert off[0].payload["reason"] == "Thought it was clear"
        assert {proof.result for proof in seen.proofs} == {"proven"}
        assert len(seen.proofs) >= 10
        assert [one.payload["role"] for one in seen.signatures] == ["technician", "absent"]
        outage = Outage.objects.get(visit=visit)
        assert (outage.ended_at is not None, outage.subject_id) == (True, ours.preaction.pk)
        finding = Finding.objects.get(visit=visit)
        assert finding.grade == "critical"
        photo = Photo.objects.get(visit=visit)
        assert photo.finding_id == finding.pk
        assert photo.file is not None


def test_a_late_answer_leaves_what_is_being_typed(
    ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]
) -> None:
    page = open_page(ours.technician, viewport=PHONE)
    arrive(page)
    follow(page, "Next: Riser R1")
    heading(page, "Riser R1")
    held: list[Route] = []
    is_slow = [True]
    page.route(
        "**/api/v1/sync/pull/**",
        lambda route: held.append(route) if is_slow[0] else route.continue_(),
    )
    page.reload()
    give_pin(page)
    page.get_by_label("Static pressure").fill("92")
    with page.expect_response("**/api/v1/sync/receipts/**") as answered:
        is_slow[0] = False
        for route in held:
            route.continue_()
    answered.value.finished()
    page.locator(".strip").get_by_text("all sent").wait_for()
    assert page.get_by_label("Static pressure").input_value() == "92"


def test_the_app_speaks_spanish_once_chosen_and_stays_so(
    ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]
) -> None:
    page = open_page(ours.technician, viewport=PHONE)
    choose_pin(page)
    page.get_by_role("button", name="Español").click()
    heading(page, "Visitas de hoy")
    page.reload()
    is_accessible(page)
    give_pin_in_spanish(page)
    heading(page, "Visitas de hoy")
    assert page.locator("html").get_attribute("lang") == "es"
    is_accessible(page)
    with ours.scope():
        line = visit.lines.get(activity="main-drain-annual")
    with page.expect_request("**/api/v1/sync/pull/**") as asked:
        page.reload()
        give_pin_in_spanish(page)
    assert asked.value.headers["accept-language"] == "es"
    page.goto(f"/tablet/#/v/{visit.pk}/line/{line.pk}")
    expect(page.locator(".visit-say")).to_contain_text("Abra del todo el drenaje principal")
    expect(page.locator(".caution").first).to_contain_text("Daño por agua")
    page.get_by_label("Presión estática").fill("92")
    is_accessible(page)


def give_pin_in_spanish(page: Page) -> None:
    page.get_by_label("PIN", exact=True).fill(PIN)
    page.get_by_role("button", name="Abrir", exact=True).click()


def test_every_sentence_of_the_app_has_its_spanish() -> None:
    table = (MODULES / "words_es.js").read_text()
    said = {
        sentence
        for file in MODULES.glob("*.js")
        for sentence in re.findall(r'\bt\("([^"]+)"', file.read_text())
    }
    keys = {key for key in ENGLISH | FAULT_WORDS if not key.startswith(NOT_SAID)}
    assert len(said) > 200
    assert {one for one in said | keys if f'"{one}": "' not in table} == set()


def test_every_sentence_of_a_computation_has_its_spanish() -> None:
    table = (MODULES / "words_es.js").read_text()
    functions = (MODULES / "riser.js").read_text().partition("\nimport ")[2]
    # A long one is put together from parts, each of which stands in the whole one.
    said = {one.strip() for one in re.findall(r'"([^"\n]*)"', functions) if " " in one}
    parts = {part for one in said for part in re.split(r"(?<=\.) ", one)}
    sentences = {one for one in parts if re.search("[a-z]{2}", one)}
    assert len(sentences) > 70
    assert {one for one in sentences if one not in table} == set()


def test_everything_that_packs_bring_from_the_catalogue_has_its_spanish() -> None:
    table = (MODULES / "pack_es.js").read_text()
    brought = catalogue()
    activities = brought.activities.values()
    with translation.override("en"):
        said = {*(one.task for one in activities), *map(str, END_STATE_WORDS.values())}
    said |= {told for activity in activities for told in brought.cautions_told(activity)}
    said |= {
        label_of(name, point)
        for activity in activities
        for name in taken_readings(activity)
        for point in ("", *pump_tests.POINTS)
        if point in pump_tests.points_read(activity.id, name)
    }
    assert len(said) > 450
    quoted = {one: json.dumps(one, ensure_ascii=False) for one in said}
    assert {one for one in said if f'{quoted[one]}: "' not in table} == set()
