"""The first page of the day, and the outbox."""

from datetime import date, datetime, timedelta
from uuid import uuid4

import pytest
import time_machine

from contractors import notices, outbox
from contractors.models import Licence, Notice, OutboxMessage, new_id
from inspections import findings, record
from inspections.models import Visit
from scheduling import due
from scheduling.models import FollowUp, Question
from tests.scheduling.planning import NOW, TODAY, add_visit

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def today(client):
    answer = client.get("/today/")
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_quiet_day_says_so(ours, as_manager):
    page = today(as_manager)
    assert "Nothing needs a person now." in page
    assert "No visit is planned for today." in page


def test_an_open_impairment_stands_first_with_its_clock(ours, as_manager, clock):
    with ours.scope():
        due.derive(ours.building, NOW)
        findings.start_impairment(
            ours.building,
            subject=("system", ours.wet.pk),
            extent="Riser shut, pipe broke",
            nature="emergency",
            started_at=NOW - timedelta(hours=19, minutes=40),
            by=ours.manager,
        )
    page = today(as_manager)
    assert "One system is out of service." in page
    assert "19 h 40 min" in page
    assert page.index("Riser shut, pipe broke") < page.index("Overdue, required")
    assert "Confirm the watch" in page


def test_a_station_left_on_test_is_shown_and_one_taken_off_is_not(ours, as_manager):
    with ours.scope():
        visit = add_visit(ours.building, technician=ours.people["technician"], planned_on=TODAY)
        until = (NOW + timedelta(minutes=28)).isoformat()
        entries = [
            record.visit_entry(visit, "visit.open", {"at": NOW.isoformat()}, by=ours.technician),
            record.visit_entry(
                visit, "visit.station", {"state": "on", "until": until}, by=ours.technician
            ),
        ]
        record.append(entries, via="tablet", by=ours.technician)
    page = today(as_manager)
    assert "Station on test" in page
    assert "28 min" in page
    with ours.scope():
        off = record.visit_entry(visit, "visit.station", {"state": "off"}, by=ours.technician)
        record.append([off], via="tablet", by=ours.technician)
    assert "test ends" not in today(as_manager)


def test_visits_of_earlier_days_and_visits_to_review_are_shown(ours, as_manager):
    with ours.scope():
        who = ours.people["technician"]
        yesterday = TODAY - timedelta(days=1)
        add_visit(ours.building, technician=who, planned_on=yesterday)
        add_visit(ours.building, technician=who, planned_on=yesterday, state=Visit.State.OPEN)
        add_visit(ours.building, state=Visit.State.HANDED_IN, handed_in_at=NOW)
    page = today(as_manager)
    for words in ("Visit not begun", "Visit not handed in", "Waits for review", "1 day"):
        assert words in page


def test_overdue_work_is_one_line_a_building_with_the_way_to_a_visit(ours, as_manager):
    with ours.scope():
        due.derive(ours.building, NOW)
    page = today(as_manager)
    assert page.count("Overdue, required") == 1
    assert f"/due/?week=overdue&amp;building={ours.building.pk}#list" in page


def test_a_follow_up_past_its_day_is_shown(ours, as_manager, clock):
    with ours.scope():
        findings.add(
            ours.building,
            subject=("device", ours.devices["valve"].pk),
            grade="critical",
            text="Packing leaks",
            by=ours.technician,
        )
        due.derive(ours.building)
        FollowUp.objects.filter(kind="respond").update(due_on=TODAY - timedelta(days=2))
    page = today(as_manager)
    assert "Past its day: repair or decide" in page
    assert "Packing leaks" in page


def test_questions_are_asked_with_the_place_to_answer(ours, as_manager):
    with ours.scope():
        due.derive(ours.building, NOW)
    page = today(as_manager)
    assert "Waits for somebody" in page
    assert "decides" in page
    assert f"/buildings/{ours.building.pk}/why/#questions" in page


def test_the_import_asks_first_for_what_decides_most(ours, as_office):
    page = as_office.get("/imports/")
    assert page.context["panels"] == []
    with ours.scope():
        Question.objects.bulk_create(
            Question(
                building=ours.building,
                subject_kind="device",
                subject_id=new_id(),
                attribute=f"item.{name}",
                asked_as=asked,
                decides=decides,
            )
            for name, asked, decides in (
                ("colour", "What colour?", ["a", "b"]),
                ("size", "How big?", ["a"]),
                ("size", "How big?", ["a", "b", "c"]),
            )
        )
        biggest = Question.objects.filter(asked_as="How big?").last()
    page = as_office.get("/imports/")
    (panel,) = page.context["panels"]
    told = [(one.column, one.decides, one.buildings) for one in panel.context["rows"]]
    assert told == [("size", 4, 1), ("colour", 2, 1)]
    assert panel.context["rows"][0].first == biggest
    assert "decides 4 activities, one building; column <code>size" in page.content.decode()


def test_a_licence_that_ends_soon_is_shown_unless_it_is_renewed(ours, as_manager):
    with ours.scope():
        person = ours.people["technician"]
        row = Licence.objects.get(person=person, kind="inspector")
        Licence.objects.filter(pk=row.pk).update(valid_until=TODAY + timedelta(days=20))
    assert "Ends in 20 days" in today(as_manager)
    with ours.scope():
        Licence.objects.create(
            person=person, kind="inspector", valid_from=TODAY, valid_until=date(2029, 1, 1)
        )
    assert "Ends in 20 days" not in today(as_manager)


def parked(ours):
    with ours.scope():
        job = outbox.add("building.changed", "failing", building=uuid4())
    OutboxMessage.objects.filter(pk=job.pk).update(state="parked", attempts=3, error_code="Oops")
    return job


def test_a_job_given_up_is_started_again_once(ours, as_manager):
    job = parked(ours)
    assert "Start it again" in today(as_manager)
    assert as_manager.post(f"/outbox/{job.pk}/restart/").status_code == 302
    job.refresh_from_db()
    assert (job.state, job.attempts) == ("waiting", 0)
    assert as_manager.post(f"/outbox/{job.pk}/restart/").status_code == 404


def test_a_stranger_starts_nothing(ours, theirs, as_member):
    job = parked(ours)
    stranger = as_member(theirs.manager)
    mine = stranger.post(f"/outbox/{job.pk}/restart/")
    nothing = stranger.post(f"/outbox/{uuid4()}/restart/")
    assert mine.status_code == nothing.status_code == 404
    assert "Oops" not in stranger.get("/today/").content.decode()


def test_the_outbox_says_plainly_that_nothing_leaves(ours, as_manager, settings):
    settings.HAS_MAIL_SERVER = False
    with ours.scope():
        notice = notices.send(
            "a", kind="test", to="desk@mill.example", subject="Visit on Monday", body="At eight."
        )
    for message in OutboxMessage.objects.filter(kind="notice.send"):
        assert outbox.run(message.pk)
    page = as_manager.get("/outbox/").content.decode()
    assert "No mail server is set" in page
    assert "Visit on Monday" in page
    assert "At eight." in page
    with ours.scope():
        assert Notice.objects.get(pk=notice.pk).state == Notice.State.KEPT
    assert "Visit on Monday" not in as_manager.get("/outbox/?state=sent").content.decode()


def test_messages_of_others_are_not_in_the_outbox(ours, theirs, as_member):
    with ours.scope():
        notices.send("a", kind="test", to="desk@mill.example", subject="Ours alone", body="x")
    assert "Ours alone" not in as_member(theirs.manager).get("/outbox/").content.decode()


def test_only_the_desk_comes_in(as_technician, as_owner):
    for path in ("/today/", "/outbox/"):
        assert as_technician.get(path).status_code == 403
        assert as_owner.get(path).status_code == 403


def test_the_page_costs_the_same_for_one_visit_and_many(
    ours, as_manager, django_assert_max_num_queries
):
    with ours.scope():
        due.derive(ours.building, NOW)
        for hour in range(8):
            start = datetime(2026, 11, 25, 8 + hour, tzinfo=NOW.tzinfo)
            add_visit(ours.building, planned_on=TODAY, planned_start=start)
    as_manager.get("/today/")
    with django_assert_max_num_queries(24):
        as_manager.get("/today/")
