"""An export through a real browser, a real server and a real worker.

Source of the accessibility rules: axe-core, tags wcag2a to wcag22aa.
"""

import json
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, expect

from tests import scene, servers
from tests.browser.tablets import holds_to_the_rules


def test_a_table_is_asked_for_written_by_the_worker_and_fetched(
    worker: servers.Server, open_page: Callable[..., Page], tmp_path: Path
) -> None:
    ours = scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")
    page = open_page(ours.manager, viewport={"width": 390, "height": 900})
    page.goto("/exports/")
    page.get_by_label("Table", exact=True).select_option("inventory")
    page.get_by_label("JSON").check()
    holds_to_the_rules(page)
    page.get_by_role("button", name="Write the file").click()
    link = page.get_by_role("link", name="Fetch the file")
    expect(link).to_be_visible()
    for width in (1440, 820, 390):
        page.set_viewport_size({"width": width, "height": 900})
        holds_to_the_rules(page)
    with page.expect_download() as coming:
        link.click()
    coming.value.save_as(tmp_path / "inventory.json")
    document = json.loads((tmp_path / "inventory.json").read_text())
    assert {row["building"] for row in document["rows"]} == {"Old Mill Offices"}
    assert len(document["rows"]) > 20


def test_a_calendar_is_made_on_its_page(open_page: Callable[..., Page]) -> None:
    ours = scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")
    page = open_page(ours.technician, viewport={"width": 390, "height": 844})
    page.goto("/calendars/")
    holds_to_the_rules(page)
    page.get_by_label("Name", exact=True).fill("Telephone")
    page.get_by_role("button", name="Make the address").click()
    address = page.get_by_label("Address", exact=True).input_value()
    holds_to_the_rules(page)
    answer = page.request.get(address)
    assert answer.status == 200
    assert answer.text().startswith("BEGIN:VCALENDAR\r\n")
