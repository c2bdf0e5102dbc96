"""How fast the tablet's app is in Chromium: its first load, its start offline, and its main taps.

`make bench ARGS="-k tablet"`. The processor is throttled four times for the taps. A tap's time runs
from the event to the paint after the screen has changed; beside it stands a floor measured in the
same run, a button of an empty page that changes one word.
"""

import gzip
import re
import statistics
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page

from inspections.models import Visit
from tests import scene
from tests.browser.tablets import PIN, add_line, choose_pin, try_pin
from tests.browser.test_tablet_offline import READY
from tests.conftest import PATIENCE_MS, chromium_options, session_of

SLOWER = 4
TURNS = 5
TEXT = re.compile(r"\.(js|css|svg|webmanifest)$")
VISIT = re.compile("^Old Mill Offices")
# From a tap or a typed sign to the paint after the first change that it makes on the screen.
WATCH = """() => {
    globalThis.took = [];
    let from = null;
    const begin = (event) => { from = event.timeStamp; };
    addEventListener("click", begin, { capture: true });
    addEventListener("input", begin, { capture: true });
    new MutationObserver(() => {
        if (from === null) return;
        const since = from;
        from = null;
        requestAnimationFrame(() => {
            const { port1, port2 } = new MessageChannel();
            port1.onmessage = () => globalThis.took.push(performance.now() - since);
            port2.postMessage(null);
        });
    }).observe(document.querySelector("main"), { childList: true, subtree: true });
}"""
LOCKED = """new Promise((done) => {
    const look = () => document.querySelector(".lock input") ? done(performance.now())
        : requestAnimationFrame(look);
    look();
})"""
OPEN = """new Promise((done) => {
    const look = () => document.querySelector("main h1") ? done(performance.now() - globalThis.sent)
        : requestAnimationFrame(look);
    look();
})"""


def say(*words: object) -> None:
    """Write one line at once."""
    sys.stdout.write(" ".join(map(str, words)) + "\n")
    sys.stdout.flush()


@pytest.fixture
def ours(committed_database: None) -> scene.Scene:
    return scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")


@pytest.fixture
def visit(ours: scene.Scene) -> Visit:
    with ours.scope():
        made: Visit = Visit.objects.create(
            building=ours.building,
            technician=ours.people["technician"],
            planned_on=timezone.now().astimezone(ours.building.zone).date(),
            title="Yearly tests",
        )
        add_line(made, "riser", ours.wet_riser, "main-drain-annual")
        add_line(made, "device", ours.devices["wet_valve"], "control-valve-locked-monthly")
        add_line(made, "device", ours.devices["wet_flow"], "waterflow-vane-test")
    return made


@pytest.fixture
def page(browser: Browser, live: str, tmp_path: Path, ours: scene.Scene) -> Iterator[Page]:
    """A browser with a profile of its own, signed in; nothing of the app is on it yet."""
    context = browser.browser_type.launch_persistent_context(
        tmp_path / "profile",
        base_url=live,
        viewport={"width": 390, "height": 844},
        **chromium_options(),
    )
    context.set_default_timeout(PATIENCE_MS)
    session = session_of(ours.technician)
    context.add_cookies([{"name": "sessionid", "value": session, "url": live}])
    yield context.pages[0]
    context.close()


def bench_tablet(page: Page, visit: Visit, ours: scene.Scene) -> None:
    """Print bytes of the first load, milliseconds of the start offline, and of each tap."""
    _first_load(page)
    page.wait_for_function(READY)
    page.context.set_offline(True)
    _start(page)
    with ours.scope():
        lines = {line.activity: f"#/v/{visit.pk}/line/{line.pk}" for line in visit.lines.all()}
    _taps(page, f"#/v/{visit.pk}", lines)


def _first_load(page: Page) -> None:
    """Count what the page itself fetches before it stands, packed as the service sends it."""
    sizes: dict[str, int] = {}
    answers: list[Any] = []
    page.on("response", lambda answer: answers.append(answer))
    page.goto("/tablet/")
    page.locator(".lock input").first.wait_for()
    for answer in [*answers]:
        if "/api/" not in answer.url and answer.request.service_worker is None:
            body = answer.body()
            is_text = TEXT.search(answer.url) or answer.url.endswith("/tablet/")
            sizes[answer.url] = len(gzip.compress(body, 9)) if is_text else len(body)
    say(f"first load: {len(sizes)} files, {sum(sizes.values()) / 1024:.0f} KB packed (at most 150)")
    choose_pin(page)
    page.get_by_role("link", name=VISIT).wait_for()


def _start(page: Page) -> None:
    times, opening = [], []
    for _turn in range(TURNS):
        page.goto("/tablet/")
        page.reload(wait_until="commit")
        times.append(page.evaluate(LOCKED))
        page.evaluate("() => addEventListener('submit', () => { sent = performance.now(); })")
        try_pin(page, PIN)
        page.locator(".lock").wait_for(state="detached")
        opening.append(page.evaluate(OPEN))
    say(f"start offline, to the lock: {_middle(times)} ms (at most 1000)")
    say(f"from the PIN to the visits, key derivation and all: {_middle(opening)} ms")


def _taps(page: Page, at: str, lines: dict[str, str]) -> None:
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    floor = _floor(page)
    say(f"floor, a tap on an empty page, processor {SLOWER} times slower: {floor:.0f} ms")
    _arrive(page)
    for name, tap in _main_taps(page, at, lines):
        times = [took for _turn in range(TURNS) for took in [tap()] if took is not None]
        ratio = statistics.median(times) / floor
        say(f"{name}: {_middle(times)} ms (at most 100), {ratio:.1f} times the floor")


def _floor(page: Page) -> float:
    other = page.context.new_page()
    other.set_content("<main><button>one</button></main>")
    slow = {"rate": SLOWER}
    other.context.new_cdp_session(other).send("Emulation.setCPUThrottlingRate", slow)
    other.evaluate(
        "() => document.querySelector('button').addEventListener('click', (event) => "
        "event.target.replaceChildren('two'))"
    )
    other.evaluate(WATCH)
    times = [_took(other, lambda: other.locator("button").click()) for _turn in range(TURNS)]
    other.close()
    return statistics.median(times)


def _arrive(page: Page) -> None:
    page.get_by_role("link", name=VISIT).click()
    page.locator(".thumb").get_by_role("link", name="I have arrived").click()
    page.locator(".thumb").get_by_role("button", name="Arrived", exact=True).click()
    page.locator(".thumb").get_by_role("button", name="On test", exact=True).click()
    page.get_by_role("heading", level=1, name="Old Mill Offices").wait_for()
    page.evaluate(WATCH)


def _main_taps(page: Page, at: str, lines: dict[str, str]) -> list[tuple[str, Callable[[], float]]]:
    thumb = page.locator(".thumb")

    def from_(place: str, act: Callable[[], None]) -> Callable[[], float]:
        def tap() -> float:
            page.evaluate("(to) => { location.hash = to; }", place)
            page.wait_for_timeout(300)
            return _took(page, act)

        return tap

    def follow(name: str | re.Pattern[str]) -> Callable[[], None]:
        return lambda: page.get_by_role("link", name=name).first.click()

    def press(name: str) -> Callable[[], None]:
        return lambda: thumb.get_by_role("button", name=name, exact=True).click()

    with_verdict = page.get_by_label("Time to alarm")
    return [
        ("open the visit", from_("#/", follow(VISIT))),
        ("open the riser", from_(at, follow(re.compile("^Next: ")))),
        (
            "a reading with its verdict",
            from_(lines["waterflow-vane-test"], lambda: with_verdict.fill("120")),
        ),
        (
            "answer, and on to the next",
            from_(lines["control-valve-locked-monthly"], press("Seen in order")),
        ),
        ("something is wrong", from_(at, follow("Something is wrong"))),
        ("close the visit", from_(at, follow("Close the visit"))),
    ]


def _took(page: Page, act: Callable[[], None]) -> float:
    page.evaluate("() => { took.length = 0; }")
    act()
    page.wait_for_function("() => took.length > 0")
    return float(page.evaluate("() => took[0]"))


def _middle(times: list[float]) -> str:
    return f"{statistics.median(times):.0f} (worst {max(times):.0f})"
