"""The practice bench in a real browser: by keyboard, without signal, by the model that scores it.

Source of the accessibility rules: axe-core, tags wcag2a to wcag22aa.
"""

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from inspections import practising
from inspections.models import PracticeExercise, PracticeRun
from inspections.practice import bench, score
from tests import scene

pytestmark = pytest.mark.once

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
TYPE, FAULT = "preaction_single_electric", "solenoid_stuck_closed"
DIALS = {"gauge_supply": "Supply gauge", "gauge_system": "System gauge"}


@pytest.fixture
def exercise(ours: scene.Scene) -> PracticeExercise:
    with ours.scope():
        return practising.set_exercise(
            system_type=TYPE, task=bench.FIND_FAULT, fault=FAULT, by=ours.trainer
        )


def tab_to(page: Page, part: str) -> None:
    """Go on with the Tab key until a part of the drawing has the focus."""
    for _press in range(60):
        if page.evaluate("document.activeElement.dataset.part") == part:
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{part} is not reached by the Tab key")


def focused(page: Page) -> str:
    text: str = page.evaluate("document.activeElement.textContent")
    return text


def readings(page: Page) -> dict[str, str]:
    rows = page.locator("#seen > div").all()
    return {one.locator("dt").inner_text(): one.locator("dd").inner_text() for one in rows}


def test_a_hidden_fault_is_found_by_keyboard_and_without_signal(
    ours: scene.Scene, exercise: PracticeExercise, open_page: Callable[..., Page]
) -> None:
    size = {"width": 820, "height": 1180}
    page = open_page(ours.technician, viewport=size, service_workers="allow")
    page.goto(f"/practice/{exercise.pk}/")
    expect(page.get_by_text("Kept on this device")).to_be_visible()
    found = Axe().run(page, options={"runOnly": RULES}).response["violations"]
    assert [(rule["id"], [node["target"] for node in rule["nodes"]]) for rule in found] == []

    page.context.set_offline(True)
    page.reload()
    expect(page.locator('[data-part="zone_1"]')).to_be_visible()
    tab_to(page, "zone_1")
    page.keyboard.press("Enter")
    assert focused(page) == "Set a detector off"
    page.keyboard.press("Enter")
    said = page.get_by_role("status")
    expect(said).to_contain_text("Release output: yes; Detector, zone 1: came")
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.dataset.part") == "zone_1"
    page.get_by_label("Release output: on, or running").press("Space")
    page.get_by_role("button", name="Wait until nothing moves").press("Enter")
    expect(said).to_contain_text("nothing changed")

    run = score.Run(bench.FIND_FAULT, FAULT, ["detector_alarm:z1", "settle"], {}, "")
    config = practising.config_of(TYPE)
    seen = bench.view(config, score.walk(config, run).states[-1])["seen"]
    shown = readings(page)
    assert {name: shown[name] for name in DIALS.values()} == {
        name: f"{seen[code]:.0f} psi" for code, name in DIALS.items()
    }

    page.context.set_offline(False)
    page.get_by_label("What is wrong with this riser?").select_option(FAULT)
    page.get_by_role("button", name="Hand the run in").press("Enter")
    expect(page.get_by_role("heading", level=1, name="Passed")).to_be_visible()
    with ours.scope():
        kept = PracticeRun.objects.get()
        assert (kept.acts, kept.passed) == (list(run.acts), True)
