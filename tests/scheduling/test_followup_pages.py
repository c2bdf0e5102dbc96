"""Pages and API of follow-ups, response times and messages."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from contractors import notices
from contractors.models import AuditEntry, Contractor, Membership, Notice
from inspections import findings
from scheduling import due, followups
from scheduling.models import FollowUp, Holiday, Ladder, OverdueClass, ResponseTime

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def found(ours, text="Paddle sticks", grade="critical"):
    row = findings.add(
        ours.building,
        subject=("device", ours.devices["wet_flow"].pk),
        grade=grade,
        text=text,
        by=ours.technician,
    )
    due.derive(ours.building)
    return row


@pytest.fixture
def three(ours):
    """A critical one that is late, a noncritical one approved, and an impairment."""
    with ours.scope():
        late = found(ours, "Late and critical")
        approved = found(ours, "Approved", "noncritical")
        found(ours, "Out of service", "impairment")
        findings.decide(approved, decision="approve", on=TODAY)
        due.derive(ours.building)
        FollowUp.objects.filter(finding=late, kind="respond").update(
            due_on=date(2026, 11, 1), opened_on=date(2026, 10, 1)
        )
        FollowUp.objects.filter(kind="tell_owner").update(state="done")
    return ours


def listed(answer):
    return {
        (row.kind, row.finding.text if row.finding else row.impairment.extent)
        for row, _who, _movable in answer.context["rows"]
    }


@pytest.mark.parametrize(
    ("query", "wanted"),
    [
        ("grade=critical", {("respond", "Late and critical")}),
        ("age=late", {("respond", "Late and critical")}),
        ("age=30", {("respond", "Late and critical")}),
        ("age=90", set()),
        ("who=owner", {("respond", "Late and critical"), ("respond", "Out of service")}),
        ("who=us", {("respond", "Approved"), ("proof", "Out of service")}),
        ("kind=proof", {("proof", "Out of service")}),
        ("building=elsewhere", set()),
        ("building=old+mill&grade=noncritical", {("respond", "Approved")}),
        ("age=soon&grade=critical", {("respond", "Late and critical")}),
    ],
)
def test_the_list_is_narrowed_by_class_age_and_who_is_waited_for(three, as_manager, query, wanted):
    answer = as_manager.get(f"/follow-ups/?{query}")
    assert answer.status_code == 200
    assert listed(answer) == wanted


def test_the_list_asks_the_database_equally_often_however_long_it_is(
    three, as_manager, django_assert_max_num_queries
):
    with three.scope():
        for number in range(12):
            found(three, f"More {number}")
    with django_assert_max_num_queries(14):
        as_manager.get("/follow-ups/")


def picked(ours, text):
    with ours.scope():
        return FollowUp.objects.get(kind="respond", finding__text=text)


def test_many_get_another_day_with_the_reason_and_the_audit_says_so(three, as_office):
    rows = [picked(three, "Late and critical"), picked(three, "Approved")]
    answer = as_office.post(
        "/follow-ups/redate/",
        {
            "pick": [str(row.pk) for row in rows],
            "on": "2026-12-11",
            "reason": "parts on order",
            "query": "grade=critical",
        },
        follow=True,
    )
    assert answer.redirect_chain[0][0] == "/follow-ups/?grade=critical"
    with three.scope():
        for row in rows:
            row.refresh_from_db()
            assert row.due_on == date(2026, 12, 11)
            assert "parts on order" in row.basis
        due.derive(three.building)
        assert picked(three, "Approved").due_on == date(2026, 12, 11)
        entries = AuditEntry.objects.filter(action="follow_up.redated", member=three.office)
        told = entries.get(subject_id=rows[0].pk).facts
        assert told == {"before": "2026-11-01", "after": "2026-12-11", "reason": "parts on order"}
        assert entries.count() == 2


@pytest.mark.parametrize(
    ("on", "reason", "status"),
    [
        ("2026-11-24", "parts on order", 400),
        ("2029-01-01", "parts on order", 400),
        ("soon", "parts on order", 422),
        ("2026-12-11", "", 422),
        ("2026-12-11", "x", 400),
    ],
)
def test_a_day_or_reason_that_makes_no_sense_moves_nothing(three, as_manager, on, reason, status):
    row = picked(three, "Late and critical")
    answer = as_manager.post(
        "/follow-ups/redate/", {"pick": [str(row.pk)], "on": on, "reason": reason}
    )
    assert answer.status_code == status
    assert f'value="{row.pk}" id="pick-{row.pk}" checked' in answer.content.decode()
    with three.scope():
        row.refresh_from_db()
        assert row.due_on == date(2026, 11, 1)


def test_what_is_out_of_service_gets_no_other_day_nor_what_goes_with_it(three, api):
    with three.scope():
        proof = FollowUp.objects.get(kind="proof")
    row = picked(three, "Late and critical")
    body = {
        "follow_ups": [str(row.pk), str(proof.pk)],
        "on": "2026-12-11",
        "reason": "parts on order",
    }
    client = api(three.manager)
    answer = client.post("/api/v1/follow-ups/redate/", body, HTTP_IDEMPOTENCY_KEY="a")
    assert (answer.status_code, answer.data["code"]) == (409, "cannot_move")
    with three.scope():
        row.refresh_from_db()
        assert row.due_on == date(2026, 11, 1)
    body["follow_ups"].pop()
    assert client.post("/api/v1/follow-ups/redate/", body).status_code == 400
    answer = client.post("/api/v1/follow-ups/redate/", body, HTTP_IDEMPOTENCY_KEY="b")
    assert answer.data[0]["due_on"] == "2026-12-11"
    assert answer.data[0]["waits_for"] == "owner"


def test_a_technician_neither_moves_nor_sets_anything(three, as_technician, api):
    row = picked(three, "Late and critical")
    assert as_technician.get("/follow-ups/").status_code == 403
    assert as_technician.get("/follow-ups/times/").status_code == 403
    client = api(three.technician)
    body = {"follow_ups": [str(row.pk)], "on": "2026-12-11", "reason": "parts on order"}
    answer = client.post("/api/v1/follow-ups/redate/", body, HTTP_IDEMPOTENCY_KEY="a")
    assert answer.status_code == 403
    for path in ("response-times", "escalation-ladders", "overdue-classes", "holidays"):
        assert client.post(f"/api/v1/{path}/", {}).status_code == 403
    assert client.put("/api/v1/notice-hours/", {}).status_code == 403


def test_the_api_narrows_by_who_is_waited_for_and_by_what_is_late(three, api):
    client = api(three.manager)
    late = client.get("/api/v1/follow-ups/?late=true").data["results"]
    assert [row["due_on"] for row in late] == ["2026-11-01"]
    ours = client.get("/api/v1/follow-ups/?waits_for=us&is_open=true").data["results"]
    assert {row["kind"] for row in ours} == {"respond", "proof"}


def test_the_page_says_what_is_custom_and_what_is_law(ours, as_manager):
    page = as_manager.get("/follow-ups/times/").content.decode()
    assert page.count("custom; common practice, no source") == 3
    assert "Florida Rules 69A-46" in page
    rule = {
        "grade": "critical",
        "jurisdiction": "",
        "days": 14,
        "counts": "calendar",
        "basis": "law",
        "source": "Code 12-4",
        "valid_from": "2026-11-25",
    }
    answer = as_manager.post("/follow-ups/times/set/", rule, follow=True)
    page = answer.content.decode()
    assert page.count("custom; common practice, no source") == 2
    assert "14 days, our own rule, law or rule of the authority, Code 12-4" in page


@pytest.mark.parametrize(
    ("path", "body", "said"),
    [
        ("times/set/", {"grade": "critical", "days": "-1"}, "greater than or equal to 0"),
        ("times/set/", {"grade": "critical", "days": "1000"}, "less than or equal to 730"),
        ("times/set/", {"grade": "critical", "days": "9", "basis": "law"}, "where the law"),
        ("times/set/", {"grade": "critical", "days": "9", "valid_from": "1900-01-01"}, "1990"),
        ("ladders/set/", {"grade": "critical", "steps": "7, 0"}, "line 1 has when"),
        ("ladders/set/", {"grade": "critical", "steps": "7, 0, mayor"}, "steps.0.tell"),
        ("ladders/set/", {"grade": "impairment", "steps": "9, 0, manager"}, "within the first"),
        ("hours/set/", {"digest_at": "03:00"}, "outside the quiet hours"),
        ("hours/set/", {"quiet_until": "12:00"}, "At most fourteen"),
        ("overdue/set/", {"what": "P5Y", "grade": "critical"}, "where the law"),
    ],
)
def test_nonsense_is_refused_at_its_field_and_nothing_is_set(ours, as_manager, path, body, said):
    common = {
        "basis": "practice" if "overdue" not in path else "law",
        "source": "",
        "valid_from": "2026-11-25",
        "counts": "calendar",
        "jurisdiction": str(ours.jurisdiction.pk),
        "quiet_from": "20:00",
        "quiet_until": "07:00",
        "digest_at": "13:00",
        "owner_mail": "each",
    }
    answer = as_manager.post(f"/follow-ups/{path}", common | body)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    with ours.scope():
        for model in (ResponseTime, Ladder, OverdueClass):
            assert not model.objects.exists()
    assert f"{Contractor.objects.get(pk=ours.contractor.pk).digest_at:%H:%M}" == "07:00"


def test_ladder_hours_holidays_and_overdue_classes_are_set_on_the_page(ours, as_manager):
    place = {"jurisdiction": str(ours.jurisdiction.pk)}
    rule = {"basis": "law", "source": "Code 1", "valid_from": "2026-11-25"}
    posts = {
        "ladders/set/": rule
        | {"grade": "critical", "steps": "0, 7, manager+owner\n\n9,0,principal"},
        "hours/set/": {
            "quiet_from": "21:30",
            "quiet_until": "06:00",
            "digest_at": "06:30",
            "owner_mail": "weekly",
        },
        "holidays/set/": place | {"on": "2026-12-25", "name": "Christmas"},
        "overdue/set/": place | rule | {"what": "sampling", "grade": "critical"},
    }
    for path, body in posts.items():
        answer = as_manager.post(f"/follow-ups/{path}", body)
        assert answer.status_code == 302, path
    with ours.scope():
        assert [step["after"] for step in Ladder.objects.get().steps] == [0, 9]
        assert Holiday.objects.get().name == "Christmas"
        assert OverdueClass.objects.get().what == "sampling"
    assert Contractor.objects.get(pk=ours.contractor.pk).owner_mail == "weekly"


def test_the_api_sets_rules_and_names_what_it_refuses(ours, api):
    client = api(ours.manager)
    rule = {"valid_from": "2026-11-25", "basis": "law", "source": "Code 1"}
    time = client.post(
        "/api/v1/response-times/",
        rule | {"grade": "critical", "days": 12, "jurisdiction": str(ours.jurisdiction.pk)},
    )
    assert time.status_code == 201
    assert client.get(f"/api/v1/response-times/{time.data['id']}/").data["days"] == 12
    ladder = client.post(
        "/api/v1/escalation-ladders/",
        rule | {"grade": "critical", "steps": [{"after": 3, "tell": ["owner"]}]},
    )
    assert ladder.data["steps"] == [{"after": 3, "every": 0, "tell": ["owner"]}]
    held = {row["grade"]: row for row in client.get("/api/v1/response-times/in-force/").data}
    assert held["critical"]["steps_custom"] is False
    assert held["noncritical"]["custom"] is True
    refused = client.post(
        "/api/v1/escalation-ladders/",
        rule | {"grade": "impairment", "steps": [{"after": 3, "tell": ["owner"]}]},
    )
    assert (refused.status_code, refused.data["code"]) == (400, "field_refused")
    assert (
        client.post("/api/v1/response-times/", rule | {"grade": "x", "days": 2}).status_code == 400
    )
    for method in ("put", "patch", "delete"):
        path = f"/api/v1/response-times/{time.data['id']}/"
        assert getattr(client, method)(path, {}).status_code == 405


def test_everybody_chooses_their_own_mail(ours, as_technician, as_owner, api):
    assert as_technician.post("/mail/", {"mail": "daily"}).status_code == 302
    assert as_owner.post("/portfolio/mail/", {"mail": "none"}).status_code == 302
    assert as_owner.post("/portfolio/mail/", {"mail": "often"}).status_code == 422
    assert Membership.objects.get(pk=ours.technician.pk).mail == "daily"
    owner = api(ours.access)
    assert owner.get("/api/v1/my-mail/").data == {"mail": "none"}
    assert owner.put("/api/v1/my-mail/", {"mail": ""}).data == {"mail": ""}
    assert api(ours.technician).put("/api/v1/my-mail/", {"mail": ""}).status_code == 400


def test_an_impairments_mail_that_is_refused_stands_on_today_until_it_is_passed_on(
    ours, as_manager
):
    with ours.scope():
        notice = notices.send(
            "k",
            kind="impairment.running",
            to="a@b.example",
            subject="Impaired",
            body="x",
            urgent=True,
        )
        Notice.objects.update(state="failed", error="550 no such mailbox")
    today = as_manager.get("/today/")
    first = today.context["slips"][0]
    assert (first.kind, first.act) == ("message", "Tell them now")
    assert "550 no such mailbox" in today.content.decode()
    answer = as_manager.post(first.url, {"how": "Kim Porter, by telephone"})
    assert answer.status_code == 302
    assert not [one for one in as_manager.get("/today/").context["slips"] if one.kind == "message"]
    assert "Kim Porter, by telephone" in as_manager.get("/outbox/").content.decode()
    assert as_manager.post(first.url, {"how": "again"}).status_code == 409
    with ours.scope():
        notice.refresh_from_db()
        assert notice.settled_by == ours.manager


def test_a_mail_server_tells_what_came_back_by_its_message_id(ours, api):
    with ours.scope():
        sent = notices.send(
            "k",
            kind="impairment.running",
            to="a@b.example",
            subject="Impaired",
            body="x",
            urgent=True,
        )
        Notice.objects.update(state="sent")
    client = api(ours.office)
    found = client.get("/api/v1/notices/", {"message_id": sent.message_id}).data["results"][0]
    answer = client.post(f"/api/v1/notices/{found['id']}/came-back/", {"why": "mailbox full"})
    assert answer.data["state"] == "bounced"
    assert client.get("/api/v1/notices/?undelivered=true").data["count"] == 1
    path = f"/api/v1/notices/{found['id']}/passed-on/"
    assert client.post(path, {"how": "by telephone"}).data["settled_how"] == "by telephone"
    assert client.get("/api/v1/notices/?undelivered=true").data["count"] == 0


def test_the_authority_is_told_by_a_person_who_writes_down_whom(ours, as_member, clock):
    with ours.scope():
        found(ours)
        late = NOW + timedelta(days=60)
        clock.move_to(late)
        followups.tick(late)
        asked = FollowUp.objects.get(kind="authority")
    as_manager = as_member(ours.manager)
    page = as_manager.get(f"/follow-ups/{asked.pk}/settle/").content.decode()
    assert "Nothing is sent from here" in page
    assert as_manager.post(f"/follow-ups/{asked.pk}/settle/", {"how": ""}).status_code == 422
    answer = as_manager.post(f"/follow-ups/{asked.pk}/settle/", {"how": "Fire marshal, telephone"})
    assert answer.status_code == 302
    with ours.scope():
        asked.refresh_from_db()
        assert (asked.state, asked.done_how) == ("done", "Fire marshal, telephone")
