"""The history of an item: trend, limit, hints, pictures, on its page and in the API."""

import itertools
import re
from datetime import UTC, date, datetime

import pytest
import time_machine

from inspections import past, record
from inspections.models import Visit

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
FALLING = [72, 71, 70, 69, 68, 67, 66, 65, 64, 63]


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def drains(scene, residuals, static=82, first=2017, on=()):
    """Record one main drain test a year on the wet riser, or on these."""
    with scene.scope():
        for year, residual in enumerate(residuals, start=first):
            day = date(year, 6, 1)
            with time_machine.travel(datetime(year, 6, 1, 15, tzinfo=UTC), tick=False):
                visit = Visit.objects.create(building=scene.building, planned_on=day, title="Drain")
                opened = {"at": f"{year}-06-01T15:00:00+00:00"}
                entries = [record.visit_entry(visit, "visit.open", opened, by=scene.technician)]
                for riser, (name, psi) in itertools.product(
                    on or [scene.wet_riser],
                    (("static_pressure", static), ("residual_pressure", residual)),
                ):
                    payload = {
                        "subject": {"kind": "riser", "id": str(riser.pk)},
                        "activity": "main-drain-annual",
                        "name": name,
                        "typed": f"{psi} psi",
                        "value": {"value": str(psi), "unit": "psi"},
                    }
                    entries.append(
                        record.visit_entry(visit, "reading.add", payload, by=scene.technician)
                    )
                record.append(entries, via="page", by=scene.technician)


def of_riser(scene):
    with scene.scope():
        return past.of_item(scene.wet_riser)


def test_a_falling_residual_is_told_with_its_limit_and_the_hints(ours):
    drains(ours, FALLING)
    found = of_riser(ours)
    line = found.line("residual_pressure")
    assert line.trend.change == "slope"
    assert line.limit_words == "at least 65 psi"
    assert line.trend.verdict == "fail"
    assert [one.test for one in found.hints] == ["main_drain"]
    assert len(found.hints[0].found.hints) == 2


def test_a_static_that_repeats_to_the_last_digit_asks(ours):
    drains(ours, FALLING[:4])
    assert "same to the last digit" in of_riser(ours).line("static_pressure").trend.question


def test_few_readings_say_how_many_are_missing(ours):
    drains(ours, FALLING[:2])
    assert of_riser(ours).line("residual_pressure").trend.missing == 3


def test_an_item_without_readings_has_no_past(ours):
    assert of_riser(ours) == past.Past((), ())


def test_the_page_shows_words_numbers_and_the_picture(ours, as_manager):
    drains(ours, FALLING)
    page = as_manager.get(f"/risers/{ours.wet_riser.pk}/history/").content.decode()
    assert "at least 65 psi" in page
    assert "control valve partly closed" in page.lower()
    assert "10 readings in numbers" in page
    sources = re.findall(r'<img src="(/[^"]+\.svg)"[^>]* alt="([^"]+)"', page)
    assert {src.rsplit("/", 1)[1] for src, _alt in sources} == {
        "residual_pressure.svg",
        "static_pressure.svg",
    }
    assert all(len(alt) > 40 for _src, alt in sources)
    answer = as_manager.get(sources[0][0])
    assert answer["Content-Type"] == "image/svg+xml"
    assert answer.content == as_manager.get(sources[0][0]).content


def test_the_item_leads_to_its_history(ours, as_technician):
    drains(ours, FALLING[:1])
    page = as_technician.get(f"/risers/{ours.wet_riser.pk}/").content.decode()
    assert f"/risers/{ours.wet_riser.pk}/history/" in page


def test_a_page_asks_the_same_number_of_times_however_much_was_read(
    ours, as_manager, django_assert_max_num_queries
):
    address = f"/risers/{ours.wet_riser.pk}/history/"
    drains(ours, FALLING)
    with django_assert_max_num_queries(25):
        as_manager.get(address)


def test_the_api_gives_trends_and_hints_with_units(ours, api):
    drains(ours, FALLING)
    body = api(ours.manager).get(f"/api/v1/risers/{ours.wet_riser.pk}/trends/").json()
    line = next(one for one in body["trends"] if one["name"] == "residual_pressure")
    assert line["value"] == {"value": pytest.approx(63), "unit": "psi"}
    assert line["limit"]["value"] == pytest.approx(64.8)
    assert line["per_year"]["value"]["value"] == pytest.approx(-1, abs=0.01)
    assert len(line["readings"]) == 10
    assert body["hints"][0]["hints"][0]["confirm"]
    assert body["hints"][0]["remaining"]


def test_the_api_gives_the_picture(ours, api):
    drains(ours, FALLING)
    client = api(ours.manager)
    base = f"/api/v1/risers/{ours.wet_riser.pk}/trends"
    answer = client.get(f"{base}/residual_pressure.svg")
    assert answer.content.startswith(b"<svg")
    assert client.get(f"{base}/nothing.svg").status_code == 404


def test_a_reading_of_a_faulty_instrument_is_left_out(ours):
    drains(ours, [72, 71, 40])
    with ours.scope():
        newest = Visit.objects.order_by("planned_on").last()
        # Corrected after it was handed in: that is when entries are amended.
        Visit.objects.filter(pk=newest.pk).update(state=Visit.State.HANDED_IN)
        visit = Visit.objects.get(pk=newest.pk)
        target = visit.readings.get(name="residual_pressure").event_id
        payload = {
            "target": str(target),
            "kind": "reading.add",
            "value": {
                "subject": {"kind": "riser", "id": str(ours.wet_riser.pk)},
                "activity": "main-drain-annual",
                "name": "residual_pressure",
                "typed": "40 psi",
                "value": {"value": "40", "unit": "psi"},
            },
            "reason": "instrument_fault",
            "text": "gauge 9 read low",
        }
        record.append(
            [record.visit_entry(visit, "visit.amend", payload, by=ours.manager)],
            via="page",
            by=ours.manager,
        )
    line = of_riser(ours).line("residual_pressure")
    assert [one.why for one in line.given.left_out] == ["instrument at fault"]
    assert line.newest == "71 psi"
