"""The tablet without signal, killed, lost and locked, in a real browser with its own profile."""

import gzip
import io
import json
import re
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import segno
from django.conf import settings
from django.db import transaction
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect
from playwright.sync_api import Error as PlaywrightError

from buildings import sketches
from fixtures.demo import sketches as drawn
from inspections import labels, record, rescue
from inspections.models import Event, Photo, Quarantined, Tablet, Visit, VisitLine
from inspections.tablet import shell_files
from tests import scene, servers
from tests.browser.tablets import (
    PIN,
    choose_pin,
    give_pin,
    holds_to_the_rules,
    press,
    sign_and_hand_in,
    try_pin,
)
from tests.conftest import PATIENCE_MS, chromium_options, session_of
from tests.inspections import tablets

pytestmark = pytest.mark.once

MODULES = Path(settings.BASE_DIR) / "inspections" / "static" / "inspections" / "tablet"
PUSH = "**/api/v1/sync/push/"
READY = """async () => {
    await navigator.serviceWorker.ready;
    const found = await caches.match("/tablet/");
    return Boolean(found);
}"""
# Everything that the app keeps, as text.
KEPT = """async () => {
    const answer = (asked) =>
        new Promise((done) => { asked.onsuccess = () => done(asked.result); });
    const show = (name, value) => {
        const bytes = value instanceof ArrayBuffer || ArrayBuffer.isView(value);
        return bytes ? new TextDecoder("latin1").decode(value) : value;
    };
    const text = [];
    for (const { name } of await indexedDB.databases()) {
        const db = await answer(indexedDB.open(name));
        for (const store of db.objectStoreNames) {
            const rows = await answer(db.transaction(store).objectStore(store).getAll());
            text.push(`${store}: ${JSON.stringify(rows, show)}`);
        }
        db.close();
    }
    return text.join("\\n");
}"""

# A tablet's clock that is so many days wrong.
OTHER_CLOCK = """{
    const [real, by] = [Date, %d * 86_400_000];
    globalThis.Date = class extends real {
        constructor(...given) { given.length ? super(...given) : super(real.now() + by); }
        static now() { return real.now() + by; }
    };
}"""
# The ids of the entries that the app keeps.
MADE = """async () => {
    const answer = (asked) =>
        new Promise((done) => { asked.onsuccess = () => done(asked.result); });
    const [{ name }] = await indexedDB.databases();
    const db = await answer(indexedDB.open(name));
    const ids = await answer(db.transaction("events").objectStore("events").getAllKeys());
    db.close();
    return ids;
}"""
FULL = """() => {
    globalThis.add = IDBObjectStore.prototype.add;
    IDBObjectStore.prototype.add = () => { throw new DOMException("full", "QuotaExceededError"); };
}"""
ROOM = "() => { IDBObjectStore.prototype.add = globalThis.add; }"


@pytest.fixture
def visit(ours: scene.Scene) -> Visit:
    with ours.scope():
        made: Visit = Visit.objects.create(
            building=ours.building,
            technician=ours.people["technician"],
            planned_on=timezone.now().astimezone(ours.building.zone).date(),
            title="Quarterly",
        )
        VisitLine.objects.create(
            visit=made,
            system=ours.wet,
            subject_kind="device",
            subject_id=ours.devices["wet_valve"].pk,
            activity="control-valve-locked-monthly",
        )
    return made


@pytest.fixture
def profile(browser: Browser, live: str, tmp_path: Path, ours: scene.Scene) -> Iterator[Any]:
    """Return what starts a browser on one profile, signed in; it ends the one before."""
    running: list[BrowserContext] = []

    def start(*arguments: str) -> Page:
        while running:
            ended = running.pop()
            # A browser that is being closed lets its cut-off requests go; nobody may take them.
            with suppress(PlaywrightError):  # It may have crashed.
                ended.clear_cookies(name="sessionid")
                ended.close()
        context = browser.browser_type.launch_persistent_context(
            tmp_path / "profile",
            base_url=live,
            viewport={"width": 390, "height": 844},
            accept_downloads=True,
            **options | {"args": [*options["args"], *arguments]},
        )
        running.append(context)
        context.set_default_timeout(PATIENCE_MS)
        context.add_cookies([{"name": "sessionid", "value": session, "url": live}])
        return context.pages[0]

    session, options = session_of(ours.technician), chromium_options()
    yield start
    while running:
        running.pop().close()


def find(page: Page, visit: Visit, text: str, *, photo: bool = False) -> None:
    page.goto(f"/tablet/#/v/{visit.pk}/found")
    page.get_by_label("In your words").fill(text)
    page.get_by_label(re.compile("^Observation")).check()
    if photo:
        file: Any = {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": tablets.picture()}
        page.locator("#f-photo").set_input_files(file)
        expect(page.get_by_text("Photo kept")).to_be_visible()
    page.locator(".thumb").get_by_role("button", name=re.compile("^Save finding")).click()
    expect(page.get_by_role("heading", level=1, name="What is wrong?")).to_have_count(0)


def take_along(page: Page) -> None:
    """Open the app with signal, so that everything is on the tablet."""
    choose_pin(page)
    expect(page.get_by_role("link", name=re.compile("^Old Mill Offices"))).to_be_visible()
    page.wait_for_function(READY)


def lose_signal(page: Page) -> None:
    # A page that is being opened may reach the server before the browser counts it as offline.
    page.context.route(PUSH, lambda route: route.abort())
    page.context.set_offline(True)


def texts(ours: scene.Scene, visit: Visit) -> list[str]:
    with ours.scope():
        rows = Event.objects.filter(visit_id=visit.pk, kind="finding.add").order_by("seq")
        return [record.payload_of(row)["text"] for row in rows]


def calculate(page: Page) -> None:
    """Calculate at the riser, first with what cannot be, then right."""
    page.goto("/tablet/#/calculate/gauge_accuracy")
    page.get_by_label("Full scale of the gauge", exact=True).fill("20 bar")
    off = page.get_by_label("Reading less test gauge", exact=True)
    off.fill("seven")
    act = page.locator(".thumb").get_by_role("button", name="Calculate")
    act.click()
    expect(page.get_by_role("alert")).to_contain_text("seven is no number")
    off.fill("0.7")
    page.get_by_label("Unit of Reading less test gauge").select_option("bar")
    act.click()
    # By hand: 3 percent of 20 bar is 0.6 bar.
    expect(page.locator(".mark", has_text="fail")).to_be_visible()


def test_a_whole_visit_without_signal_comes_through_every_mishap_once(
    ours: scene.Scene,
    visit: Visit,
    profile: Callable[[], Page],
    web_server: tuple[servers.Server, str],
) -> None:
    page = profile()
    page.add_init_script(OTHER_CLOCK % 400)
    take_along(page)
    lose_signal(page)
    calculate(page)
    page.goto("/tablet/#/")
    begin_the_visit(page)
    kill_the_browser(page)
    page = profile()
    page.add_init_script(OTHER_CLOCK % -400)
    lose_signal(page)
    finish_the_visit(page, visit)
    waiting = made_on_the_tablet(page)
    assert recorded(ours, visit) == []
    come_back_by_a_bad_line(page, ours, web_server[0])
    expect(page.locator(".strip")).to_contain_text("all sent")
    assert sorted(recorded(ours, visit)) == sorted(waiting)
    with ours.scope():
        visit.refresh_from_db()
        assert visit.state == Visit.State.HANDED_IN
        assert not Quarantined.objects.exists()
        assert Photo.objects.filter(visit=visit).exclude(file=None).count() == 1
        rows = list(Event.objects.filter(visit_id=visit.pk))
        assert all(abs(row.received_at - row.happened_at) < timedelta(hours=1) for row in rows)
        assert [row.kind for row in rows].count("item.set") == 1
        assert record.verify("visit", visit.pk).holds


def begin_the_visit(page: Page) -> None:
    page.get_by_role("link", name=re.compile("^Old Mill Offices")).click()
    page.locator(".thumb").get_by_role("link", name="I have arrived").click()
    press(page, "Arrived")
    press(page, "On test")
    page.locator(".thumb").get_by_role("link", name=re.compile("^Next: ")).click()
    # Two taps of one gloved thumb are one answer.
    page.locator(".thumb").get_by_role("button", name="Seen in order", exact=True).dblclick()
    expect(page.get_by_role("heading", level=1, name="Old Mill Offices")).to_be_visible()


def kill_the_browser(page: Page) -> None:
    with suppress(PlaywrightError):
        page.context.new_cdp_session(page).send("Browser.crash")


def finish_the_visit(page: Page, visit: Visit) -> None:
    page.goto("/tablet/")
    give_pin(page)
    expect(page.locator(".strip")).to_contain_text("4 to send")
    find(page, visit, "after the fall", photo=True)
    page.goto(f"/tablet/#/v/{visit.pk}/station")
    page.get_by_label(re.compile("^Signals read back")).fill("Waterflow 10:41, supervisory 10:43")
    press(page, "Off test")
    expect(page.locator(".strip")).to_contain_text("Not on test")
    page.goto(f"/tablet/#/v/{visit.pk}/close")
    sign_and_hand_in(page)
    expect(page.locator(".visit-where")).to_contain_text("On this tablet")


def made_on_the_tablet(page: Page) -> list[str]:
    return list(page.evaluate(MADE))


def come_back_by_a_bad_line(page: Page, ours: scene.Scene, server: servers.Server) -> None:
    """Bring half a batch, the whole of it five times, all unanswered; then crash the server."""
    page.context.unroute(PUSH)
    turns: list[int] = []

    def deliver(route: Route) -> None:
        body = route.request.post_data_json
        half = {**body, "events": body["events"][: len(body["events"]) // 2]}
        for given in [body] * 5 if turns else [half]:
            assert route.fetch(post_data=json.dumps(given)).status == 200
        turns.append(len(body["events"]))
        route.abort()

    page.route(PUSH, deliver, times=2)
    page.context.set_offline(False)
    page.goto("/tablet/#/unsent")
    while len(turns) < 2:
        with page.expect_event("requestfailed", lambda request: "push" in request.url):
            press(page, "Send now")
    with ours.scope(), transaction.atomic():
        # While somebody else holds the row, the push waits in the server that then falls.
        Tablet.objects.update(label="held")
        with page.expect_request(PUSH):
            press(page, "Send now")
        server.crash_children()
    servers.until(lambda: sends(page), seconds=60, what="the rest of the entries")


def sends(page: Page) -> bool:
    """Press the button, as people do; say whether everything is sent."""
    press(page, "Send now")
    page.wait_for_timeout(100)
    return "all sent" in page.locator(".strip").inner_text()


def recorded(ours: scene.Scene, visit: Visit) -> list[str]:
    with ours.scope():
        return [str(row.id) for row in Event.objects.filter(visit_id=visit.pk)]


def test_two_windows_a_full_tablet_and_strangers_on_the_line_lose_nothing(
    ours: scene.Scene, visit: Visit, open_page: Callable[..., Page]
) -> None:
    page = open_page(ours.technician, viewport={"width": 390, "height": 844})
    choose_pin(page)
    expect(page.get_by_role("link", name=re.compile("^Old Mill Offices"))).to_be_visible()
    meet_a_portal(page, visit)
    find_the_server_busy(page, visit)
    have_no_room(page, visit)
    three = ["one", "two", "three"]
    servers.until(lambda: texts(ours, visit) == three, what="the third finding")
    sign_out_in_another_window(page, visit)
    page.wait_for_url("**/account/login/**")
    assert texts(ours, visit) == [*three, "four"]


def meet_a_portal(page: Page, visit: Visit) -> None:
    """Let a portal of somebody's network answer everything, then photos, with its own page."""

    def stranger(route: Route) -> None:
        route.fulfill(status=200, content_type="text/html", body="<h1>Welcome</h1>")

    strip = page.locator(".strip")
    page.route("**/api/v1/**", stranger)
    find(page, visit, "one", photo=True)
    page.goto("/tablet/#/unsent")
    press(page, "Send now")
    expect(strip).to_contain_text("3 to send")
    page.unroute("**/api/v1/**")
    page.route("**/api/v1/blobs/", stranger)
    press(page, "Send now")
    expect(strip).to_contain_text("1 to send")
    page.unroute("**/api/v1/blobs/")
    press(page, "Send now")
    expect(strip).to_contain_text("all sent")


def find_the_server_busy(page: Page, visit: Visit) -> None:
    """Whoever asks for patience is not asked again at once."""
    asked: list[str] = []

    def busy(route: Route) -> None:
        asked.append(route.request.url)
        route.fulfill(status=429, headers={"Retry-After": "60"}, json={"detail": "too often"})

    page.route(PUSH, busy)
    with page.expect_response(PUSH):
        find(page, visit, "two")
    page.goto("/tablet/#/unsent")
    press(page, "Send now")
    press(page, "Send now")
    assert len(asked) == 1
    page.unroute(PUSH)
    page.reload()
    give_pin(page)
    expect(page.locator(".strip")).to_contain_text("all sent")


def have_no_room(page: Page, visit: Visit) -> None:
    """What could not be kept is not called kept; done again with room, it is there once."""
    page.evaluate(FULL)
    page.goto(f"/tablet/#/v/{visit.pk}/found")
    page.get_by_label("In your words").fill("three")
    page.get_by_label(re.compile("^Observation")).check()
    save = page.locator(".thumb").get_by_role("button", name=re.compile("^Save finding"))
    save.click()
    expect(page.get_by_role("alert")).to_contain_text("no room left")
    page.evaluate(ROOM)
    save.click()


def sign_out_in_another_window(page: Page, visit: Visit) -> None:
    """Sign out in one window: the other one shows nothing of the visits any more."""
    other = page.context.new_page()
    other.goto("/tablet/")
    give_pin(other)
    find(other, visit, "four")
    expect(page.locator(".strip")).to_contain_text("all sent")
    other.goto("/tablet/#/unsent")
    expect(other.locator(".strip")).to_contain_text("all sent")
    other.get_by_text("Sign out and clear this tablet").click()
    other.get_by_role("button", name="Sign out and clear").click()


def test_nothing_that_the_tablet_keeps_can_be_read_without_the_pin(
    ours: scene.Scene, visit: Visit, profile: Callable[[], Page]
) -> None:
    with ours.scope():
        floor = drawn.ground_floor("Offices", ["R1"])
        told: dict[str, Any] = {"kind": "sketch", "caption": "Way in", "by": ours.manager}
        sketches.add(ours.building, floor, name="floor.png", **told)
    page = profile()
    take_along(page)
    page.wait_for_function(f"async () => (await ({KEPT})()).includes('sha256')")
    lose_signal(page)
    page.goto(f"/tablet/#/v/{visit.pk}/arrive")
    page.get_by_role("link", name="Way in").click()
    picture = page.get_by_role("img", name="Way in")
    page.wait_for_function("() => document.querySelector('.board-box img')?.naturalWidth === 1400")
    whole = picture.bounding_box()
    page.get_by_role("group", name="Way in").press("+")
    large = picture.bounding_box()
    assert whole
    assert large
    assert large["width"] == pytest.approx(1.5 * whole["width"], abs=2)
    find(page, visit, "Cracked behind the boiler")
    kept = page.evaluate(KEPT)
    assert "events:" in kept
    assert str(visit.pk) in kept
    for secret in ("Old Mill", "Cracked", "Porter", "555 0", "Sam Tech", PIN, "JFIF"):
        assert secret not in kept, secret


def test_ten_wrong_pins_leave_only_what_the_office_can_open(
    visit: Visit, profile: Callable[[], Page]
) -> None:
    page = profile()
    take_along(page)
    page.route(PUSH, lambda route: route.abort())
    find(page, visit, "Cracked behind the boiler")
    page.reload()
    for left in range(9, 0, -1):
        try_pin(page, "000111")
        expect(page.get_by_role("alert")).to_contain_text(f"{left} tries are left")
    try_pin(page, "000111")
    expect(page.get_by_role("heading", name="Choose a PIN for this tablet")).to_be_visible()
    expect(page.get_by_text(re.compile("^1 entries were not sent|^1 "))).to_be_visible()
    assert "packs: []" in page.evaluate(KEPT)
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save the file for the office").click()
    bundle = json.loads(Path(saved.value.path()).read_text())
    (envelope,) = bundle["envelopes"]
    (sealed,) = bundle["events"]
    event = json.loads(rescue.opened(rescue.work_key(envelope), sealed, sealed["id"]))
    assert event["payload"]["text"] == "Cracked behind the boiler"
    holds_to_the_rules(page)
    page.get_by_text("The office has the file").click()
    page.get_by_role("button", name="Throw them away here").click()
    expect(page.get_by_text("The office has the file")).to_have_count(0)
    assert "events: []" in page.evaluate(KEPT)
    choose_pin(page, "950260")
    expect(page.get_by_role("link", name=re.compile("^Old Mill Offices"))).to_be_visible()


def test_signing_out_on_the_tablet_leaves_nothing_on_it(
    visit: Visit, profile: Callable[[], Page]
) -> None:
    page = profile()
    take_along(page)
    page.route(PUSH, lambda route: route.abort())
    find(page, visit, "Cracked")
    page.goto("/tablet/#/unsent")
    expect(page.get_by_text("It cannot be sent?")).to_be_visible()
    expect(page.get_by_text("Sign out and clear this tablet")).to_have_count(0)
    page.unroute(PUSH)
    page.locator(".thumb").get_by_role("button", name="Send now").click()
    expect(page.locator(".strip")).to_contain_text("all sent")
    page.goto("/tablet/#/")
    page.goto("/tablet/#/unsent")
    page.get_by_text("Sign out and clear this tablet").click()
    page.get_by_role("button", name="Sign out and clear").click()
    page.wait_for_url("**/account/login/**")
    kept = page.evaluate(KEPT)
    for store in ("values", "packs", "events", "photos", "pictures"):
        assert f"{store}: []" in kept
    assert page.evaluate("() => caches.keys()") == []
    page.goto("/tablet/")
    page.wait_for_url("**/account/login/**")


def test_the_first_load_of_the_app_is_small_enough_for_a_weak_line() -> None:
    scripts = _loaded_first(MODULES / "main.js")
    looks = [name for name in shell_files() if not name.endswith((".js", ".png", ".webmanifest"))]
    assert len(scripts) > 15
    assert sum(map(_packed, looks)) + sum(map(_script, scripts)) <= 150 * 1024


def _loaded_first(module: Path, met: tuple[Path, ...] = ()) -> tuple[Path, ...]:
    """Return a module and all that it imports before it runs."""
    met = (*met, module)
    for name in re.findall(r'^(?:import|export) [^(]*?from "([^"]+)"', module.read_text(), re.M):
        wanted = _vendored((module.parent / name).resolve())
        if wanted not in met:
            met = _loaded_first(wanted, met)
    return met


def _vendored(path: Path) -> Path:
    """Return where a module lies in the repository: static files of all apps are served as one."""
    if path.exists():
        return path
    return (
        MODULES.parents[3]
        / "contractors"
        / "static"
        / "contractors"
        / path.relative_to(MODULES.parents[1] / "contractors")
    )


def _script(path: Path) -> int:
    return len(gzip.compress(path.read_bytes()))


def _packed(name: str) -> int:
    app, _, rest = name.partition("/")
    content = (Path(settings.BASE_DIR) / app / "static" / app / rest).read_bytes()
    return len(content) if name.endswith(".woff2") else len(gzip.compress(content))


def a_film_of(png: bytes, path: Path) -> None:
    """Write a picture as an uncompressed film, as Chromium's made-up camera plays it."""
    picture = Image.open(io.BytesIO(png)).convert("RGB").resize((480, 480))
    frame = Image.new("RGB", (640, 480), "white")
    frame.paste(picture, (80, 0))
    luma, blue, red = frame.convert("YCbCr").split()
    half = [part.resize((320, 240)).tobytes() for part in (blue, red)]
    body = b"FRAME\n" + luma.tobytes() + half[0] + half[1]
    path.write_bytes(b"YUV4MPEG2 W640 H480 F10:1 Ip A1:1 C420jpeg\n" + body * 5)


def test_a_label_held_before_the_camera_leads_to_its_item(
    ours: scene.Scene, visit: Visit, profile: Callable[..., Page], tmp_path: Path
) -> None:
    valve = ours.devices["wet_valve"]
    with ours.scope():
        made = segno.make(labels.address_of(valve.pk), error="m", micro=False)
    png = io.BytesIO()
    made.save(png, kind="png", scale=10, border=4)
    film = tmp_path / "label.y4m"
    a_film_of(png.getvalue(), film)
    page = profile(
        "--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={film}"
    )
    take_along(page)
    page.context.grant_permissions(["camera"])
    page.context.set_offline(True)
    page.goto(f"/tablet/#/v/{visit.pk}/scan")
    page.get_by_label("Number, name or serial number").fill(valve.name[:6].lower())
    expect(page.get_by_role("link", name=re.compile(f"^{valve.name}")).first).to_be_visible()
    page.locator(".thumb").get_by_role("button", name="Read the label").click()
    expect(page.get_by_role("heading", level=1, name=valve.name)).to_be_visible()
    expect(page.get_by_role("heading", name="On this visit: 1")).to_be_visible()
    holds_to_the_rules(page)
