"""When outages at an authority's buildings call for more: the page, the interface, the audit."""

import pytest

from buildings import authorities
from contractors.models import AuditEntry
from contractors.refusal import FieldRefused

pytestmark = pytest.mark.django_db


def kept(scene):
    with scene.scope():
        scene.jurisdiction.refresh_from_db()
    return scene.jurisdiction.impairment_hours, scene.jurisdiction.attended_minutes


@pytest.fixture
def address(ours):
    return f"/api/v1/jurisdictions/{ours.jurisdiction.pk}/"


def test_an_authority_is_told_with_its_times(ours, api, address):
    told = api(ours.technician).get(address).data
    assert (told["name"], told["impairment_hours"], told["attended_minutes"]) == (
        *("Sample County", 10, 60),
    )
    (listed,) = api(ours.technician).get("/api/v1/jurisdictions/").data["results"]
    assert listed == told


def test_the_manager_sets_one_time_and_the_other_stays(ours, api, address):
    answer = api(ours.manager).patch(address, {"attended_minutes": 0})
    assert (answer.status_code, answer.data["attended_minutes"]) == (200, 0)
    assert kept(ours) == (10, 0)
    with ours.scope():
        entry = AuditEntry.objects.get(action="outage_times.set")
        assert entry.member == ours.manager
        assert entry.facts["attended_minutes"] == [60, 0]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        *(("attended_minutes", value) for value in (-1, 1441, 1.5, "long", None)),
        *(("impairment_hours", value) for value in (0, -2, 24.5, "nan", "ten")),
    ],
)
def test_a_time_that_cannot_be_is_refused_by_its_name(ours, api, address, field, value):
    answer = api(ours.manager).patch(address, {field: value})
    assert answer.status_code == 400
    assert [one["field"] for one in answer.data["errors"]] == [field]
    assert kept(ours) == (10, 60)


def test_only_the_manager_sets_them_and_only_our_own(ours, theirs, api, address):
    assert api(ours.office).patch(address, {"attended_minutes": 5}).status_code == 403
    strange = f"/api/v1/jurisdictions/{theirs.jurisdiction.pk}/"
    assert api(ours.manager).patch(strange, {"attended_minutes": 5}).status_code == 404
    assert kept(theirs) == (10, 60)


def test_the_page_shows_and_sets_them(ours, as_manager):
    given = {"jurisdiction": ours.jurisdiction.pk, "impairment_hours": "4", "attended_minutes": "0"}
    answer = as_manager.post("/follow-ups/outages/set/", given, follow=True)
    text = answer.content.decode()
    assert "4 hours in 24" in text
    assert "none: each one is an impairment" in text
    assert kept(ours) == (4, 0)


def test_the_page_keeps_what_was_typed_and_says_what_is_accepted(ours, as_manager):
    given = {"jurisdiction": ours.jurisdiction.pk, "impairment_hours": "30"}
    answer = as_manager.post("/follow-ups/outages/set/", {**given, "attended_minutes": "90"})
    assert answer.status_code == 422
    assert "Hours above 0, at most 24." in answer.content.decode()
    assert kept(ours) == (10, 60)


def test_what_is_set_is_a_number(ours):
    with ours.scope(), pytest.raises(FieldRefused):
        authorities.set_outage_times(
            ours.jurisdiction, impairment_hours=float("nan"), attended_minutes=60, by=ours.manager
        )
