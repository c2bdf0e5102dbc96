"""Desk pages of findings and impairments."""

import re
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
import time_machine

from inspections import findings, record
from inspections.models import Finding, Impairment, Visit

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def add(scene, grade="critical", **more):
    with scene.scope():
        return findings.add(
            scene.building,
            subject=("device", scene.devices["wet_flow"].pk),
            grade=grade,
            text="Paddle sticks",
            by=scene.technician,
            **more,
        )


def passed(scene):
    """Record a passed test of the waterflow switch, now."""
    with scene.scope():
        visit = Visit.objects.create(building=scene.building)
        payload = {
            "subject": {"kind": "device", "id": str(scene.devices["wet_flow"].pk)},
            "activity": "waterflow-vane-test",
            "answer": "pass",
        }
        record.append(
            [record.visit_entry(visit, "item.set", payload, by=scene.technician)],
            via="page",
            by=scene.technician,
        )
        return visit.results.get()


def fresh(scene, model=Finding):
    with scene.scope():
        return model.objects.get()


def untokened(answer):
    return re.sub(r'"x-csrftoken": "[^"]*"', "", answer.content.decode())


def test_a_finding_is_recorded_with_the_class_that_the_catalogue_proposes(ours, as_technician):
    path = f"/buildings/{ours.building.pk}/findings/new/"
    typed = {
        "subject": f"device:{ours.devices['wet_sprinklers'].pk}",
        "deficiency": "d-spr-leak-drip",
        "text": "Two sprinklers drip",
        "location": "Floor 2",
        "count": "2",
    }
    answer = as_technician.post(path, typed)
    assert answer.status_code == 302
    found = fresh(ours)
    assert (found.grade, found.activity, found.count) == ("critical", "sprinkler-visual", 2)
    page = as_technician.get(answer.url).content.decode()
    assert "Two sprinklers drip" in page


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"text": ""}, "What is wrong"),
        ({"count": "0"}, "How many"),
        ({"grade": ""}, "Choose a class, or a row that proposes one."),
        ({"subject": "device:1"}, "Item"),
    ],
)
def test_what_is_missing_is_named_and_what_was_typed_stays(ours, as_technician, change, said):
    typed = {
        "subject": f"device:{ours.devices['wet_flow'].pk}",
        "grade": "critical",
        "text": "Paddle sticks",
        "location": "Riser room",
        "count": "1",
    }
    answer = as_technician.post(f"/buildings/{ours.building.pk}/findings/new/", typed | change)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert said in page
    assert 'value="Riser room"' in page
    with ours.scope():
        assert not Finding.objects.exists()


def test_a_finding_of_class_impairment_starts_its_clock(ours, as_technician):
    typed = {
        "subject": f"riser:{ours.wet_riser.pk}",
        "grade": "impairment",
        "text": "Riser found shut",
        "count": "1",
    }
    as_technician.post(f"/buildings/{ours.building.pk}/findings/new/", typed)
    impairment = fresh(ours, Impairment)
    page = as_technician.get(f"/impairments/{impairment.pk}/").content.decode()
    assert "Not told yet" in page
    assert ours.building.station_account in page


def test_the_list_is_worst_first_and_can_be_narrowed_and_saved(ours, as_manager):
    add(ours, "noncritical")
    add(ours, "critical")
    page = as_manager.get("/findings/").content.decode()
    rows = page[page.index("<tbody") :]
    assert rows.index("Critical deficiency") < rows.index("Noncritical deficiency")
    assert "2 findings" in page
    only = as_manager.get("/findings/?grade=noncritical").content.decode()
    assert "One finding" in only
    saved = as_manager.get("/findings.csv?grade=critical").content.decode("utf-8-sig")
    assert saved.count("Paddle sticks") == 1


def test_the_class_is_changed_with_a_reason_and_both_are_kept(ours, as_manager):
    found = add(ours)
    answer = as_manager.post(
        f"/findings/{found.pk}/class/", {"grade": "noncritical", "reason": "Only stiff"}
    )
    assert answer.status_code == 302
    assert fresh(ours).grade == "noncritical"
    page = as_manager.get(answer.url).content.decode()
    assert "Class changed" in page
    assert "Only stiff" in page


def test_the_owners_decision_is_written_down_on_their_behalf(ours, as_office):
    found = add(ours)
    path = f"/findings/{found.pk}/decision/"
    refused = as_office.post(path, {"decision": "defer", "name": "K. Porter", "reason": "x"})
    assert refused.status_code == 422
    assert "A day after today." in refused.content.decode()
    as_office.post(
        path,
        {"decision": "defer", "name": "K. Porter", "until": "2027-02-01", "reason": "budget"},
    )
    assert (fresh(ours).decision, fresh(ours).state) == ("defer", "open")


def test_a_finding_closes_on_its_passed_re_test_only(ours, as_manager, clock):
    found = add(ours, activity="waterflow-vane-test")
    page = as_manager.get(f"/findings/{found.pk}/close/").content.decode()
    assert "An invoice or a word does not close it." in page
    clock.move_to(NOW + timedelta(hours=2))
    result = passed(ours)
    as_manager.post(f"/findings/{found.pk}/close/", {"result": str(result.pk)})
    assert fresh(ours).state == "closed"
    again = as_manager.post(f"/findings/{found.pk}/close/", {"result": str(result.pk)})
    assert again.status_code == 409
    assert "This ended before" in again.content.decode()


def test_a_proposed_finding_is_accepted_or_dropped(ours, as_manager):
    found = add(ours, proposed=True, source="another firm's report")
    assert fresh(ours).state == "proposed"
    as_manager.post(f"/findings/{found.pk}/accept/", {"reason": "seen on site"})
    assert fresh(ours).state == "open"


def test_notices_and_watch_are_recorded_and_the_clock_ends_with_proof(ours, as_manager, clock):
    path = f"/buildings/{ours.building.pk}/impairments/new/"
    typed = {
        "subject": f"system:{ours.wet.pk}",
        "nature": "planned",
        "extent": "Wet system, floors 1 and 2",
    }
    answer = as_manager.post(path, typed)
    assert answer.status_code == 302
    impairment = fresh(ours, Impairment)
    base = f"/impairments/{impairment.pk}/"
    as_manager.post(
        base + "notice/",
        {"told": "owner", "name": "K. Porter", "how": "phone", "at": "2026-11-25T10:00"},
    )
    clock.move_to(NOW + timedelta(hours=11))
    page = as_manager.get(base).content.decode()
    assert "More than 10 hours in 24" in page
    assert "No fire watch is recorded." in page
    assert "K. Porter" in page
    bad = as_manager.post(
        base + "watch/", {"who": "S", "begun": "2026-11-25T18:00", "ended": "2026-11-25T17:00"}
    )
    assert bad.status_code == 422
    leg = {"who": "Sam", "begun": "2026-11-25T18:00", "ended": "2026-11-25T20:30"}
    as_manager.post(base + "watch/", leg)
    over = as_manager.get(base).content.decode()
    assert "kept until 25 November, 20:30; nobody has the next leg" in over
    as_manager.post(base + "watch/", {"who": "Sam", "begun": "2026-11-25T20:30"})
    assert "nobody has the next leg" not in as_manager.get(base).content.decode()
    assert "25 November, 18:00" in as_manager.get(base).content.decode()
    bare = as_manager.post(base + "end/", {"proven": "yes"})
    assert bare.status_code == 422
    assert "Nothing passed or proven is recorded" in bare.content.decode()
    proof = passed(ours)
    as_manager.post(base + "end/", {"proven": "yes", "proofs": [str(proof.event_id)]})
    ended = fresh(ours, Impairment)
    assert ended.ended_how == "restored_proven"
    assert "Restored, proven" in as_manager.get(base).content.decode()


def test_proof_missing_is_for_a_licensed_person_with_a_reason(ours, as_office, as_manager):
    add(ours, "impairment")
    impairment = fresh(ours, Impairment)
    path = f"/impairments/{impairment.pk}/end/"
    refused = as_office.post(path, {"proven": "no", "reason": "no gauge"})
    assert refused.status_code == 403
    assert "licensed person" in refused.content.decode()
    assert as_manager.post(path, {"proven": "no", "reason": ""}).status_code == 422
    assert as_manager.post(path, {"proven": "no", "reason": "no gauge"}).status_code == 302


def test_a_stranger_gets_the_same_answer_as_for_nothing(ours, theirs, as_manager):
    found = add(theirs, "impairment")
    with theirs.scope():
        impairment = Impairment.objects.get()
    for path, key in (
        ("/findings/{}/", found.pk),
        ("/findings/{}/class/", found.pk),
        ("/findings/{}/close/", found.pk),
        ("/impairments/{}/", impairment.pk),
        ("/impairments/{}/end/", impairment.pk),
        ("/buildings/{}/findings/new/", theirs.building.pk),
        ("/buildings/{}/impairments/new/", theirs.building.pk),
    ):
        mine, nothing = as_manager.get(path.format(key)), as_manager.get(path.format(uuid4()))
        assert mine.status_code == nothing.status_code == 404, path
        assert untokened(mine) == untokened(nothing)
    assert "Paddle sticks" not in as_manager.get("/findings/").content.decode()


def test_a_technician_does_not_change_classes_and_an_owner_is_not_let_in(
    ours, as_technician, as_owner
):
    found = add(ours)
    assert as_technician.get(f"/findings/{found.pk}/").status_code == 200
    assert as_technician.get(f"/findings/{found.pk}/class/").status_code == 403
    assert as_owner.get("/findings/").status_code == 403


def test_the_list_asks_the_database_a_steady_number_of_times(
    ours, as_manager, django_assert_max_num_queries
):
    for _ in range(5):
        add(ours)
    as_manager.get("/findings/")
    with django_assert_max_num_queries(13):
        as_manager.get("/findings/")


def test_a_wrong_filter_is_named_and_the_right_ones_still_hold(ours, as_manager):
    add(ours, "critical")
    page = as_manager.get("/findings/?grade=noncritical&state=asleep").content.decode()
    assert "0 findings" in page
    refused = as_manager.get("/findings.csv?state=asleep")
    assert refused.status_code == 400
    assert "asleep" in refused.content.decode()
