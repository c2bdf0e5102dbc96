"""Licences: every qualification can be held, warnings go out once, who lacks one stays here."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from contractors import licences
from contractors.models import AuditEntry, Licence, Notice, Person
from contractors.refusal import FieldRefused
from inspections import licensed, planned, record, report
from inspections.catalogue_files import catalogue
from inspections.models import Visit
from inspections.planned import Line
from scheduling import escalation, moves, plans, tasks
from scheduling import licences as warnings
from tests.scheduling.planning import add_technician, add_visit, searched

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
FLOW = "waterflow-vane-test"


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False):
        yield


def ends(scene, day, who="technician", kind="inspector"):
    held = Licence.objects.filter(person=scene.people[who], kind=kind)
    held.update(valid_until=day)
    return held.get()


def flow_line(scene):
    return Line(subject_kind="device", subject_id=scene.devices["wet_flow"].pk, activity=FLOW)


def planned_visit(scene, **more):
    return planned.make(
        scene.building, by=scene.office, lines=[flow_line(scene)], **{"title": "Flow test", **more}
    )


def outsider(kind="inspector", until=date(2027, 12, 31)):
    person = Person.objects.create(
        code="OUT", name="Robin Reed", firm="Lock Alarm Works", is_technician=True
    )
    Licence.objects.create(
        person=person, kind=kind, number="X-9", valid_from=date(2020, 1, 1), valid_until=until
    )
    return person


def test_every_qualification_of_the_catalogue_can_be_held():
    held = {name for kind in Licence.Kind.values for name in licensed.covers(kind)}
    asked = {one.qualification for one in catalogue().activities.values()}
    assert asked - set(licensed.NEEDS_NONE) <= held


@pytest.mark.parametrize(
    ("days", "step"), [(61, None), (60, 60), (31, 60), (30, 30), (8, 30), (7, 7), (0, 7), (-1, 0)]
)
def test_each_step_ahead_is_said_to_the_person_and_the_managers(ours, days, step):
    with ours.scope():
        ends(ours, TODAY + timedelta(days=days))
        warnings.tick(NOW)
        sent = Notice.objects.filter(kind__startswith="licence.")
        if step is None:
            assert not sent.exists()
            return
        assert {row.recipient for row in sent} == {
            "technician@northbank.example",
            "manager@northbank.example",
        }
        assert {row.key.split(":")[3] for row in sent} == {str(step)}
        assert all("Sam Technician" in row.body and "INS-100" in row.body.upper() for row in sent)


def test_two_clocks_still_warn_once_for_each_step(ours, theirs):
    with ours.scope():
        ends(ours, TODAY + timedelta(days=60))
    for day in (0, 0, 1, 29, 30, 30, 53, 54, 61, 62):
        with time_machine.travel(NOW + timedelta(days=day), tick=False):
            tasks.tick()
            tasks.tick()
    with ours.scope():
        own = Notice.objects.filter(
            kind__startswith="licence.", recipient="technician@northbank.example"
        )
        assert sorted(int(row.key.split(":")[3]) for row in own) == [0, 7, 30, 60]
    with theirs.scope():
        assert not Notice.objects.filter(kind__startswith="licence.").exists()


def test_a_renewed_licence_warns_no_more(ours):
    with ours.scope():
        old = ends(ours, TODAY + timedelta(days=20))
        licences.renew(old, valid_until=date(2029, 1, 1), by=ours.office)
        warnings.tick(NOW)
        assert not Notice.objects.filter(kind__startswith="licence.").exists()
        held = ours.people["technician"].licence_on(date(2027, 6, 1), "inspector")
        assert (held.valid_from, held.number) == (old.valid_until + timedelta(days=1), old.number)


def test_a_renewal_ends_later_than_what_it_follows(ours):
    with ours.scope(), pytest.raises(FieldRefused, match="A day after"):
        licences.renew(ends(ours, TODAY), valid_until=TODAY, by=ours.office)


def test_an_ended_licence_leaves_its_former_day_in_the_audit(ours):
    with ours.scope():
        held = Licence.objects.get(person=ours.people["technician"], kind="inspector")
        licences.end(held, on=date(2026, 11, 20), reason="Withdrawn by the board", by=ours.office)
        entry = AuditEntry.objects.get(action="licence.ended")
        assert entry.facts["before"] == "2029-12-31"
        assert ours.people["technician"].licence_on(date(2026, 11, 20), "inspector")
        assert ours.people["technician"].licence_on(date(2026, 11, 21), "inspector") is None


def test_after_the_end_a_visit_is_not_given_to_its_holder(ours):
    with ours.scope():
        ends(ours, date(2026, 12, 1))
        there = planned_visit(
            ours, technician=ours.people["technician"], planned_on=date(2026, 12, 1)
        )
        with pytest.raises(licensed.NotQualified) as refused:
            planned.change(there, {"planned_on": date(2026, 12, 2)}, by=ours.office)
        told = str(refused.value)
        for word in ("Sam Technician", "ins-100", "Dec. 2, 2026", "Dec. 1, 2026", "inspector"):
            assert word in told
        there.refresh_from_db()
        assert there.planned_on == date(2026, 12, 1)
        with pytest.raises(licensed.NotQualified):
            planned_visit(ours, technician=ours.people["technician"], planned_on=date(2026, 12, 2))
        assert Visit.objects.count() == 1


def test_two_people_meet_what_one_lacks_and_the_other_firm_is_named(ours):
    with ours.scope():
        ends(ours, date(2026, 12, 1))
        made = planned_visit(
            ours,
            technician=ours.people["technician"],
            second=outsider(),
            planned_on=date(2026, 12, 8),
        )
        assert str(made.second) == "Robin Reed (Lock Alarm Works)"


def test_what_nobody_keeps_a_licence_of_is_not_asked_for(ours):
    with ours.scope():
        Licence.objects.all().delete()
        planned_visit(ours, technician=ours.people["technician"], planned_on=date(2026, 12, 8))


def test_the_api_refuses_with_person_licence_and_day(ours, api):
    with ours.scope():
        ends(ours, date(2026, 12, 1))
        there = planned_visit(ours)
    answer = api(ours.office).patch(
        f"/api/v1/visits/{there.pk}/",
        {"technician": str(ours.people["technician"].pk), "planned_on": "2026-12-08"},
        HTTP_IDEMPOTENCY_KEY="assign",
    )
    assert answer.status_code == 409
    assert answer.json()["code"] == "not_qualified"
    assert "Sam Technician" in answer.json()["detail"]


def test_the_page_of_a_visit_refuses_and_keeps_what_was_typed(ours, as_office):
    with ours.scope():
        ends(ours, date(2026, 12, 1))
        there = planned_visit(ours)
    answer = as_office.post(
        f"/visits/{there.pk}/edit/",
        {
            "building": str(ours.building.pk),
            "kind": "programme",
            "title": "Typed again",
            "planned_on": "2026-12-08",
            "technician": str(ours.people["technician"].pk),
            "once": "a",
        },
    )
    assert answer.status_code == 409
    assert "Sam Technician cannot be sent" in answer.content.decode()
    assert "Typed again" in answer.content.decode()


def test_a_plan_is_not_published_once_a_licence_ended(ours):
    with ours.scope():
        visit = add_visit(ours.building)
        visit.lines.create(
            subject_kind="device", subject_id=ours.devices["wet_flow"].pk, activity=FLOW
        )
        plan = searched(ours)
        stop = plan.stops.get()
        ends(ours, stop.on - timedelta(days=1))
        with pytest.raises(licensed.NotQualified, match="Sam Technician"):
            plans.publish(plan, by=ours.manager, now=NOW)
        plan.refresh_from_db()
        visit.refresh_from_db()
        assert plan.state != "published"
        assert visit.technician_id is None


def test_a_visit_is_not_moved_by_hand_to_who_lacks_the_licence(ours):
    with ours.scope():
        visit = add_visit(ours.building)
        visit.lines.create(
            subject_kind="device", subject_id=ours.devices["wet_flow"].pk, activity=FLOW
        )
        other = add_technician(ours, kinds=("pump_tester",))
        plan = searched(ours)
        stop = plan.stops.get()
        moved = moves.try_move(plan, visit.pk, other, stop.on, now=NOW)
        assert any("does not hold" in words for words in moved.broken)
        with pytest.raises(licensed.NotQualified, match="Robin Second"):
            moves.move(plan, moved, revision=plan.revision, by=ours.manager)
        assert plan.stops.get().technician_id == stop.technician_id


def test_work_signed_under_an_ended_licence_is_flagged_in_review_and_report(ours, as_manager, api):
    with ours.scope():
        ends(ours, date(2026, 10, 31))
        visit = Visit.objects.create(
            building=ours.building,
            technician=ours.people["technician"],
            planned_on=TODAY,
            title="Flow",
        )
        subject = {"kind": "device", "id": str(ours.devices["wet_flow"].pk)}
        entries = [
            record.visit_entry(visit, "visit.open", {"at": NOW.isoformat()}, by=None),
            record.visit_entry(
                visit,
                "item.set",
                {"subject": subject, "activity": FLOW, "answer": "pass"},
                by=None,
            ),
        ]
        record.append(entries, via="page", by=ours.technician)
        Visit.objects.filter(pk=visit.pk).update(state=Visit.State.HANDED_IN)
        visit.refresh_from_db()
        facts = report.facts(visit, 1, "code")
        assert facts["not_licensed"] == [
            "inspector ins-100 of Sam Technician ended on Oct. 31, 2026"
        ]
    page = as_manager.get(f"/visits/{visit.pk}/review/").content.decode()
    assert "Signed without a licence that held on the day" in page
    assert "Oct. 31, 2026" in page
    assert "Signed without a licence" in as_manager.get(f"/visits/{visit.pk}/").content.decode()
    told = api(ours.manager).get(f"/api/v1/visits/{visit.pk}/").json()
    assert len(told["not_licensed"]) == 1


def test_work_done_while_the_licence_held_is_never_flagged_afterwards(ours):
    with ours.scope():
        visit = Visit.objects.create(
            building=ours.building,
            technician=ours.people["technician"],
            state="sealed",
            performed_on=date(2026, 10, 1),
        )
        visit.lines.create(
            subject_kind="device", subject_id=ours.devices["wet_flow"].pk, activity=FLOW
        )
        ends(ours, date(2026, 10, 31))
        assert licensed.flags(visit) == []


def test_the_desk_adds_renews_and_ends_licences_with_their_scan(ours, as_office):
    from django.core.files.uploadedfile import SimpleUploadedFile

    who = ours.people["technician"]
    scan = SimpleUploadedFile("card.pdf", b"%PDF-1.4 made up", content_type="application/pdf")
    answer = as_office.post(
        f"/people/{who.pk}/licence/",
        {
            "kind": "tank_inspector",
            "number": "T-1",
            "valid_from": "2026-01-01",
            "valid_until": "2026-12-20",
            "scan": scan,
            "once": "a",
        },
    )
    assert answer.status_code == 302
    with ours.scope():
        made = Licence.objects.filter(kind="tank_inspector", person=who).latest("pk")
    assert as_office.get(f"/licences/{made.pk}/scan/").content == b"%PDF-1.4 made up"
    listed = as_office.get("/people/").content.decode()
    assert "Sam Technician" in listed
    answer = as_office.post(
        f"/licences/{made.pk}/end/", {"on": "2026-12-01", "reason": "Handed back", "once": "b"}
    )
    assert answer.status_code == 302
    assert "Ends in 6 days" not in listed
    assert as_office.get("/people/").status_code == 200
    answer = as_office.post(
        f"/licences/{made.pk}/renew/", {"valid_until": "2025-01-01", "once": "c"}
    )
    assert answer.status_code == 422
    answer = as_office.post(
        f"/licences/{made.pk}/renew/", {"valid_until": "2027-12-31", "once": "d"}
    )
    assert answer.status_code == 302
    with ours.scope():
        assert Licence.objects.filter(kind="tank_inspector", number="T-1").count() == 2


def test_a_technician_sees_their_own_licences_alone(ours, as_technician, api):
    page = as_technician.get("/people/").content.decode()
    assert "Sam Technician" in page
    assert "Sam Manager" not in page
    rows = api(ours.technician).get("/api/v1/licences/").json()["results"]
    assert {row["person_name"] for row in rows} == {"Sam Technician"}
    assert as_technician.get("/people/new/").status_code == 403


def test_the_api_adds_renews_ends_and_gives_the_scan(ours, api):
    import base64

    client = api(ours.office)
    who = ours.people["technician"]
    body = {
        "person": str(who.pk),
        "kind": "engine_mechanic",
        "number": "E-1",
        "valid_from": "2026-01-01",
        "valid_until": "2026-12-31",
        "scan": {"name": "e.pdf", "content": base64.b64encode(b"%PDF-1").decode()},
    }
    made = client.post("/api/v1/licences/", body, HTTP_IDEMPOTENCY_KEY="a")
    assert made.status_code == 201, made.json()
    key = made.json()["id"]
    assert made.json()["has_scan"] is True
    assert client.get(f"/api/v1/licences/{key}/scan/").content == b"%PDF-1"
    newer = client.post(f"/api/v1/licences/{key}/renew/", {"valid_until": "2027-12-31"})
    assert newer.status_code == 201
    assert newer.json()["valid_from"] == "2027-01-01"
    over = client.post(f"/api/v1/licences/{key}/end/", {"on": "2026-12-01", "reason": "lost"})
    assert over.json()["valid_until"] == "2026-12-01"
    wrong = client.post("/api/v1/licences/", {**body, "kind": "pilot"})
    assert wrong.status_code == 400


def test_somebody_of_another_firm_is_entered_and_assigned(ours, as_office):
    answer = as_office.post(
        "/people/new/",
        {
            "code": "OUT1",
            "name": "Robin Reed",
            "firm": "Lock Alarm Works",
            "is_technician": "on",
            "once": "a",
        },
    )
    assert answer.status_code == 302
    assert "Lock Alarm Works" in as_office.get("/people/").content.decode()
    assert "Robin Reed (Lock Alarm Works)" in as_office.get("/visits/new/").content.decode()


# --- where a licence counts -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("named", "counts"),
    [
        *(("", True), ("ME", True), ("me ", True), ("US", True), ("Sample County", True)),
        *(("NH; ME", True), ("NH", False), ("NH;VT", False), ("Other County", False)),
    ],
)
def test_a_licence_counts_by_state_country_or_authority(ours, named, counts):
    with ours.scope():
        place = licensed.place_of(ours.building)
        assert licensed.counts_at(Licence(jurisdiction=named), place) is counts
        Licence.objects.filter(person=ours.people["technician"]).update(jurisdiction=named)
        held = licensed.held_by(ours.people["technician"], TODAY, place)
        assert ("inspector" in held) is counts


def only_in(scene, place):
    Licence.objects.filter(person=scene.people["technician"]).update(jurisdiction=place)


def test_who_is_licensed_elsewhere_is_refused_at_every_door(ours, as_office, api):
    """Assigned and moved on pages and in the API: refused, and the place is named."""
    with ours.scope():
        visit = planned_visit(ours, planned_on=TODAY)
        only_in(ours, "NH")
        with pytest.raises(licensed.NotQualified, match="counts in NH only"):
            planned.change(visit, {"technician": ours.people["technician"]}, by=ours.office)
    body = {"technician": str(ours.people["technician"].pk)}
    client = api(ours.office)
    answer = client.patch(
        f"/api/v1/visits/{visit.pk}/", body, format="json", HTTP_IDEMPOTENCY_KEY="once"
    )
    assert answer.status_code == 409
    assert answer.data["code"] == "not_qualified"
    with ours.scope():
        only_in(ours, "NH; ME")
        planned.change(visit, {"technician": ours.people["technician"]}, by=ours.office)


def test_a_plan_sends_nobody_where_a_licence_does_not_count(ours):
    with ours.scope():
        add_technician(ours, kinds=("inspector",))
        only_in(ours, "NH")
        visit = planned_visit(ours)
        plan = searched(ours)
        (stop,) = plan.stops.all()
        assert stop.visit_id == visit.pk
        assert stop.technician.code == "SECO"
        Licence.objects.filter(person=stop.technician).update(jurisdiction="NH")
        with pytest.raises(licensed.NotQualified, match="counts in NH only"):
            plans.publish(plan, by=ours.manager, now=NOW)
        again = searched(ours)
        (left,) = again.unplanned
        assert left["reason"] == "no_licence"
        assert left["licences"] == ["inspector"]


def test_the_api_neither_moves_nor_publishes_to_whose_licence_has_ended(ours, api):
    with ours.scope():
        planned_visit(ours)
        other = add_technician(ours, kinds=("pump_tester",))
        plan = searched(ours)
        stop = plan.stops.get()
    client = api(ours.manager)
    wanted = {
        "visit": str(stop.visit_id),
        "technician": str(other.pk),
        "on": stop.on.isoformat(),
        "revision": plan.revision,
    }
    address = f"/api/v1/plans/{plan.pk}"
    moved = client.post(f"{address}/move/", wanted, format="json", HTTP_IDEMPOTENCY_KEY="move")
    with ours.scope():
        ends(ours, stop.on - timedelta(days=1))
    told = {"revision": plan.revision}
    published = client.post(f"{address}/publish/", told, format="json", HTTP_IDEMPOTENCY_KEY="out")
    for answer in (moved, published):
        assert answer.status_code == 409, answer.data
        assert answer.json()["code"] == "not_qualified"


def test_visits_planned_beyond_the_end_of_a_licence_are_listed(
    ours, as_office, as_technician, api, django_assert_max_num_queries
):
    with ours.scope():
        who = ours.people["technician"]
        visits = [
            planned_visit(ours, technician=who, planned_on=day)
            for day in (date(2026, 12, 3), date(2026, 12, 10), date(2026, 12, 11))
        ]
        assert licensed.beyond(TODAY) == []
        licence = ends(ours, date(2026, 12, 5))
        with django_assert_max_num_queries(12):
            found = licensed.beyond(TODAY)
        assert [one.visit for one in found] == visits[1:]
        assert found[0].lacks[0].ended == licence
    for client in (as_office, as_technician):
        page = client.get("/people/").content.decode()
        assert f"/visits/{visits[1].pk}/" in page
        assert f"/visits/{visits[0].pk}/" not in page
    rows = api(ours.office).get("/api/v1/licences/beyond/").json()
    assert [row["visit"] for row in rows] == [str(one.pk) for one in visits[1:]]
    assert rows[0]["lacks"][0]["licence"] == str(licence.pk)
    assert len(api(ours.technician).get("/api/v1/licences/beyond/").json()) == 2


def test_a_service_manager_names_who_answers_for_the_contractor(ours, as_manager, as_office, api):
    address = f"/people/members/{ours.office.pk}/answers/"
    assert as_office.post(address, {"answers": "yes"}).status_code == 403
    assert as_manager.post(address, {"answers": "yes"}).status_code == 302
    with ours.scope():
        assert escalation.principals() == [ours.office.user.email]
        assert AuditEntry.objects.filter(action="member.answers").count() == 1
    assert "Take back" in as_manager.get("/people/").content.decode()
    client, one = api(ours.manager), f"/api/v1/members/{ours.office.pk}/"
    assert client.get(one).json()["is_principal"] is True
    body = {"is_principal": False}
    assert api(ours.office).patch(one, body, format="json").status_code == 403
    assert client.patch(one, body, format="json").json()["is_principal"] is False
    named = client.get("/api/v1/members/?is_principal=true").json()
    assert named["results"] == []
