"""Sheets of labels: every item once, on the paper that is asked for, each leading to its item."""

import io
import re

import pikepdf
import pytest

from inspections import labels
from inspections.labels import SHEETS

pytestmark = pytest.mark.django_db
# Millimetres of a page's sides: ISO 216 for A4, ANSI/ASME Y14.1 for Letter.
PAPER = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}
POINTS = 72 / 25.4


@pytest.mark.parametrize("key", SHEETS)
def test_the_labels_of_a_sheet_fit_its_paper(key):
    sheet = SHEETS[key]
    width, height = PAPER[sheet.paper]
    across = sheet.left + sheet.across * sheet.width + (sheet.across - 1) * sheet.gap
    assert across <= width + 0.1
    assert sheet.top + sheet.down * sheet.height <= height + 0.1


def test_every_item_in_service_has_one_label_in_water_order(ours):
    with ours.scope():
        found = labels.labels_of(ours.building, ["riser", "device"])
        gone = ours.devices["wet_flow"]
        gone.in_service_to = "2026-01-01"
        gone.save()
        after = labels.labels_of(ours.building, ["riser", "device"])
        alone = labels.labels_of(ours.building, ["device"], ours.wet.pk)
    assert len({one.id for one in found}) == len(found) > 5
    assert [one.id for one in found if one.id != gone.pk] == [one.id for one in after]
    assert {one.id for one in alone} < {one.id for one in after}


@pytest.mark.parametrize("key", SHEETS)
def test_the_sheets_have_their_size_and_number(ours, key):
    with ours.scope():
        (one, *_others) = labels.labels_of(ours.building, ["riser"])
    sheet = SHEETS[key]
    content = labels.render([one] * (sheet.count - 1), sheet, skip=2)
    with pikepdf.open(io.BytesIO(content)) as document:
        assert len(document.pages) == 2
        box = [float(side) for side in document.pages[0].mediabox]
    wanted = [side * POINTS for side in PAPER[sheet.paper]]
    assert box[2:] == pytest.approx(wanted, abs=1)


def test_a_scanned_label_leads_to_its_item(ours, theirs, as_manager):
    for kind, item in (("risers", ours.wet_riser), ("devices", ours.devices["wet_flow"])):
        with ours.scope():
            address = labels.address_of(item.pk)
        assert as_manager.get(address).url == f"/{kind}/{item.pk}/"
    assert as_manager.get(f"/at/{theirs.wet_riser.pk}/").status_code == 404


def test_the_page_gives_the_sheets_and_says_what_is_missing(ours, as_manager):
    address = f"/buildings/{ours.building.pk}/labels/"
    assert "Labels of" in as_manager.get(address).content.decode()
    answer = as_manager.post(address, {"sheet": "a4-24", "kinds": ["device"], "skip": "3"})
    assert answer["Content-Type"] == "application/pdf"
    assert re.search(r'filename="labels-\w+', answer["Content-Disposition"])
    refused = as_manager.post(address, {"sheet": "a4-99", "kinds": [], "skip": "-1"})
    assert refused.status_code == 422
    assert "a4-99" in refused.content.decode()


def test_the_way_to_the_labels_stands_on_the_buildings_page(ours, as_manager):
    page = as_manager.get(f"/buildings/{ours.building.pk}/").content.decode()
    assert f"/buildings/{ours.building.pk}/labels/" in page
