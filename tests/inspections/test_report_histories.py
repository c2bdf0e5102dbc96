"""The report draws what was read over the years from its own frozen facts."""

import io
import re
from datetime import date

import pikepdf
import pypdf
import pytest

from buildings import inventory
from buildings.models import Riser
from inspections import pdf, report
from inspections.events.canonical import canonical_bytes
from inspections.models import Visit
from inspections.pictures import history
from tests.inspections.test_past import FALLING, clock, drains  # noqa: F401

pytestmark = pytest.mark.django_db


def test_a_main_drain_brings_its_history_and_the_pdf_draws_it(ours):
    drains(ours, FALLING)
    with ours.scope():
        visit = Visit.objects.filter(planned_on=date(2024, 6, 1)).get()
        visit.performed_on = date(2024, 6, 1)
        facts = report.facts(visit, 1, "code") | {"histories": report.histories(visit)}
    told = facts["histories"]
    assert [one["title"].split(",")[0] for one in told] == ["Residual pressure"]
    # What came after the visit is not in its report.
    assert told[0]["points"][-1][0] == "2024-06-01"
    assert canonical_bytes(facts)
    drawn = history.draw(history.of_data(told[0]))
    assert drawn.rows[0] == ("2017-06-01", "72 psi")
    made = pdf.render(facts, "{}", {})
    assert made == pdf.render(facts, "{}", {})
    with pikepdf.open(io.BytesIO(made)) as document, document.open_metadata() as said:
        assert (said["pdfaid:part"], said["pdfaid:conformance"]) == ("3", "A")
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(made)).pages)
    assert "Readings over the years" in text
    assert "72 psi" in text


def test_a_report_frozen_before_has_no_histories_and_still_renders(ours):
    drains(ours, FALLING[:1])
    with ours.scope():
        facts = report.facts(Visit.objects.get(), 1, "code")
    assert "histories" not in facts
    assert pdf.render(facts, "{}", {}).startswith(b"%PDF")


@pytest.mark.parametrize("several", [False, True])
def test_more_years_and_more_items_ask_no_more_queries(
    ours, several, django_assert_max_num_queries
):
    with ours.scope():
        more = [
            Riser(building=ours.building, system=ours.wet, code=f"R1{n}", name=f"Riser 1{n}")
            for n in range(6 if several else 0)
        ]
        inventory.add(more, by=None, tell=False)
    drains(ours, FALLING[:8] if several else FALLING[:2], on=[ours.wet_riser, *more])
    with ours.scope():
        visit = Visit.objects.order_by("planned_on").last()
        # Items, the readings of the day, and all that of_items asks; 3 for a database's scopes.
        with django_assert_max_num_queries(10 + 3):
            assert len(report.histories(visit)) == (7 if several else 1)


def test_pictures_keep_the_width_of_the_page_whatever_else_is_drawn():
    style = pdf.STYLE.read_text()
    page = (pdf.STYLE.parents[2] / "templates/inspections/report.html").read_text()
    assert '<img class="picture" src="maindrain:drawn/' in page
    assert re.findall(r"^\.picture \{([^}]*)\}", style, re.MULTILINE) == [
        " display: block; width: 100%; "
    ]
