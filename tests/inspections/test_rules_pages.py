"""The rules in the API and on the desk: listed, explained, set and ended by the manager."""

from datetime import UTC, date, datetime

import pytest
import time_machine

from buildings.models import Adoption
from contractors.models import AuditEntry
from inspections.catalogue_files import catalogue
from inspections.models import Rule

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
FITTINGS = "pipe-fittings-visual"
STRICTER = {
    "act": "stricter",
    "activity": FITTINGS,
    "frequency": "P6M",
    "source": "policy of the insurer, s.4",
    "reason": "Insured as high risk",
    "from_on": "2026-11-25",
}
OWN = {
    "act": "own",
    "activity": "own-riser-room-look",
    "task": "Look whether the riser room is clear",
    "kind": "inspection",
    "subjects": ["riser"],
    "applies": 'system.kind == "wet"',
    "frequency": "P1M",
    "minutes": 5,
    "source": "agreement with the owner",
    "from_on": "2026-11-25",
}


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def manager(ours, api):
    return api(ours.manager)


def post(client, address, body, key="once"):
    return client.post(address, body, format="json", HTTP_IDEMPOTENCY_KEY=key)


def test_the_manager_sets_a_rule_once_and_ends_it(ours, manager):
    made = post(manager, "/api/v1/rules/", STRICTER)
    assert made.status_code == 201, made.data
    again = post(manager, "/api/v1/rules/", STRICTER)
    assert again.data["id"] == made.data["id"]
    listed = manager.get("/api/v1/rules/", {"act": "stricter", "in_force_on": "2026-12-01"}).data
    assert [row["id"] for row in listed["results"]] == [made.data["id"]]
    before = manager.get("/api/v1/rules/", {"in_force_on": "2026-11-24"}).data
    assert before["count"] == 0
    address = f"/api/v1/rules/{made.data['id']}/"
    ended = post(manager, f"{address}end/", {"until_on": "2026-12-31", "why": "Sold"}, "end")
    assert (ended.status_code, ended.data["until_on"]) == (200, "2026-12-31")
    assert manager.get(address).data["ended_why"] == "Sold"
    with ours.scope():
        done = AuditEntry.objects.filter(subject_kind="rule").values_list("action", flat=True)
        assert sorted(done) == ["rule.ended", "rule.set"]


def test_a_rule_without_a_key_or_by_another_than_the_manager_is_refused(ours, manager, api):
    assert manager.post("/api/v1/rules/", STRICTER, format="json").status_code == 400
    assert post(api(ours.office), "/api/v1/rules/", STRICTER).status_code == 403
    assert api(ours.office).get("/api/v1/rules/").status_code == 200
    assert api(ours.technician).get("/api/v1/rules/").status_code == 403
    with ours.scope():
        assert not Rule.objects.exists()


@pytest.mark.parametrize(
    ("given", "field"),
    [
        (STRICTER | {"frequency": "P2Y"}, "frequency"),
        (STRICTER | {"act": "loosen"}, "act"),
        (STRICTER | {"act": "off"}, "adoption"),
        (STRICTER | {"from_on": "tomorrow"}, "from_on"),
        (OWN | {"applies": "item.colour"}, "applies"),
        (OWN | {"activity": FITTINGS}, "activity"),
        (OWN | {"subjects": ["rocket"]}, "subjects"),
    ],
)
def test_a_rule_that_cannot_be_used_names_its_field(ours, manager, given, field):
    answer = post(manager, "/api/v1/rules/", given)
    assert answer.status_code == 400
    told = answer.data["facts"]["field"] if "facts" in answer.data else ""
    assert field in (told, *(row["field"] for row in answer.data.get("errors", ())))


def test_an_authority_of_another_contractor_cannot_be_amended(ours, theirs, manager):
    with theirs.scope():
        adoption = Adoption.objects.first()
    body = STRICTER | {"act": "off", "frequency": "", "adoption": str(adoption.pk)}
    assert post(manager, "/api/v1/rules/", body).status_code == 400


def test_an_activity_of_our_own_is_reached_like_any_other(ours, theirs, manager, api):
    assert post(manager, "/api/v1/rules/", OWN).status_code == 201
    found = manager.get("/api/v1/activities/own-riser-room-look/").data
    assert (found["own"], found["frequency"], found["regime"]) == (True, "P1M", "own")
    assert found["applies"] == 'system.kind == "wet"'
    listed = manager.get("/api/v1/activities/", {"own": "true"}).data
    assert [row["id"] for row in listed["results"]] == ["own-riser-room-look"]
    everything = manager.get("/api/v1/activities/").data["count"]
    assert everything == len(catalogue().activities) + 1
    stranger = api(theirs.manager)
    assert stranger.get("/api/v1/activities/own-riser-room-look/").status_code == 404
    assert stranger.get("/api/v1/activities/", {"own": "true"}).data["count"] == 0


def test_every_activity_tells_all_that_the_tables_say_of_it(ours, manager):
    rows = []
    for page in (1, 2, 3, 4):
        asked = {"page_size": 100, "page": page}
        rows += manager.get("/api/v1/activities/", asked).data["results"]
    known = catalogue()
    assert {row["id"] for row in rows} == set(known.activities)
    for row in rows:
        activity = known.activities[row["id"]]
        assert row["source"] == activity.source
        assert row["confidence"] in ("read", "memory")
        assert row["regime"] == activity.regime
        assert row["applies"] == activity.applies.text
        assert row["gate"] == activity.gate.text
        assert bool(row["windows"]) == (activity.frequency is not None)
        assert len(row["families"]) == len(known.roles(activity.id))
        assert len(row["deficiencies"]) == len(known.deficiencies_for(activity_id=activity.id))
    by_id = {row["id"]: row for row in rows}
    (window,) = [w for w in by_id[FITTINGS]["windows"] if not w["provisional"]]
    assert (window["edition_from"], window["least"], window["greatest"]) == (2014, "P9M", "P1Y3M")
    assert window["per_year"] == 1
    assert by_id["sprinkler-test-standard-50y"]["first_after"] == "P50Y"
    assert by_id["dry-trip-full"]["alternates"] is None
    turns = by_id["internal-assessment"]["alternates"]
    assert (turns["opened_by"], turns["opened_within"]) == (["finding", "fail"], "P30D")
    closing = {one["closes"] for one in by_id["dry-trip-full"]["closes"]}
    assert "dry-trip-partial" in closing
    assert "dry-trip-full" in {one["performed"] for one in by_id["dry-trip-partial"]["closed_by"]}


def test_the_page_lists_what_is_in_force_and_narrows_it(ours, as_manager, as_office):
    page = as_office.get("/rules/", {"q": "pipe-fittings"}).content.decode()
    assert FITTINGS in page
    assert "sprinkler-visual" not in page
    assert "Add an activity of our own" not in page
    assert "Add an activity of our own" in as_manager.get("/rules/").content.decode()
    kind = as_manager.get("/rules/", {"kind": "test", "frequency": "1 year"}).content.decode()
    assert "fp-annual-flow" in kind or "dry-trip-partial" in kind
    nothing = as_manager.get("/rules/", {"ours": "changed"}).content.decode()
    assert "No rule answers to this" in nothing


def test_the_page_of_an_activity_says_why_and_how_far_it_may_stray(ours, as_office):
    page = as_office.get(f"/activities/{FITTINGS}/").content.decode()
    activity = catalogue().activity(FITTINGS)
    assert activity.source.split(",")[0] in page
    assert "P1Y3M" in page
    assert as_office.get("/activities/nothing/").status_code == 404


def test_the_manager_sets_and_ends_rules_on_the_pages(ours, as_manager, as_office):
    assert as_office.get("/rules/new/stricter/").status_code == 403
    assert as_manager.get("/rules/new/looser/").status_code == 404
    refused = as_manager.post("/rules/new/stricter/", {**STRICTER, "frequency": "P2Y"})
    assert refused.status_code == 422
    assert "may only ask for more" in refused.content.decode()
    made = as_manager.post("/rules/new/stricter/", STRICTER, follow=True)
    page = made.content.decode()
    assert "policy of the insurer, s.4" in page
    assert "Insured as high risk" in page
    assert "6 months" in page
    own = {**OWN, "qualification": "inspector"}
    assert as_manager.post("/rules/new/own/", own).status_code == 302
    with ours.scope():
        adoption = Adoption.objects.get(jurisdiction=ours.jurisdiction)
        row = Rule.objects.get(act="stricter")
    amendment = {
        "act": "off",
        "activity": "sprinkler-visual",
        "adoption": str(adoption.pk),
        "source": "fire code of the county, ch.9",
        "from_on": "2026-11-25",
    }
    answer = as_manager.post("/rules/new/amendment/", amendment)
    assert answer.status_code == 302, answer.content.decode()[:3000]
    listed = as_manager.get("/rules/").content.decode()
    for word in ("own-riser-room-look", "fire code of the county", "policy of the insurer"):
        assert word in listed
    ended = as_manager.post(
        f"/rules/{row.pk}/end/", {"until_on": "2026-12-31", "why": "Sold"}, follow=True
    )
    assert "Sold" in ended.content.decode()
    with ours.scope():
        row.refresh_from_db()
    assert row.until_on == date(2026, 12, 31)
    twice = as_manager.post(f"/rules/{row.pk}/end/", {"until_on": "2026-12-31", "why": "Sold"})
    assert twice.status_code == 422
