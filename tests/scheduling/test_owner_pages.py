"""The owner's rooms: what they see, what they decide, and that nobody else's is there."""

import io
import re
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pypdf
import pytest
import time_machine

from contractors import outbox
from contractors.models import OutboxMessage
from inspections import findings
from inspections.models import Finding
from scheduling import due
from scheduling.models import FollowUp, OwnerAct, PublishedReport
from tests.inspections.test_record import close, visit  # noqa: F401, a fixture

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def finding(ours):
    with ours.scope():
        made = findings.add(
            ours.building,
            subject=("device", ours.devices["valve"].pk),
            grade="critical",
            text="Packing leaks at the stem",
            location="Riser room",
            by=ours.technician,
        )
        due.derive(ours.building)
    return made


def run_jobs(*kinds):
    for kind in kinds:
        for message in OutboxMessage.objects.filter(kind=kind, state="waiting"):
            assert outbox.run(message.pk)


def test_the_portfolio_opens_with_one_sentence_and_the_worst_first(ours, as_owner, finding):
    page = as_owner.get("/portfolio/").content.decode()
    assert "0 of 1 building is in order in what we look after." in page
    assert ours.building.name in page
    assert "1 overdue" in page
    assert "One decision waits for you." in page


def test_in_the_evening_it_is_still_today_at_the_owners_buildings(ours, as_owner, finding, clock):
    clock.move_to(datetime(2026, 11, 26, 2, tzinfo=UTC))
    page = as_owner.get("/portfolio/")
    assert page.context["today"] == date(2026, 11, 25)
    assert "25 November" in page.content.decode()


def test_a_past_day_can_be_asked_for(ours, as_owner, finding):
    page = as_owner.get("/portfolio/?on=2023-11-25").content.decode()
    assert "Not known yet" in page
    refused = as_owner.get("/portfolio/?on=yesterday")
    assert refused.status_code == 400
    assert "A day such as 2026-11-25." in refused.content.decode()


def test_the_building_page_says_what_is_wrong_why_and_what_is_asked(ours, as_owner, finding):
    page = as_owner.get(f"/portfolio/{ours.building.pk}/").content.decode()
    assert "We ask you to decide" in page
    assert "Packing leaks at the stem" in page
    assert "NFPA 25, 2020" in page


def test_a_decision_goes_into_the_record_as_the_owners(ours, as_owner, finding):
    answer = as_owner.post(
        f"/decisions/{finding.pk}/",
        {"decision": "defer", "until": "2027-03-01", "reason": "next year's budget"},
    )
    assert answer.status_code == 302
    run_jobs("owner.act", "building.recorded")
    with ours.scope():
        decided = Finding.objects.get()
        assert (decided.state, decided.decision) == ("open", "defer")
        row = FollowUp.objects.get(finding=finding, kind="respond")
        assert (row.state, row.due_on) == ("deferred", date(2027, 3, 1))
        assert OwnerAct.objects.get().taken_at == NOW
    page = as_owner.get(f"/portfolio/{ours.building.pk}/").content.decode()
    assert "We ask you to decide" not in page
    assert "You decided" in page


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"decision": "perhaps"}, "approve, defer or decline."),
        ({"decision": "defer", "reason": "later"}, "A day after today."),
        ({"decision": "defer", "until": "2026-11-25", "reason": "x"}, "A day after today."),
        ({"decision": "decline", "reason": " "}, "Say in a few words why"),
        ({"decision": "defer", "until": "soon", "reason": "x"}, "A day such as 2027-03-01."),
    ],
)
def test_a_decision_that_lacks_something_is_refused_and_keeps_what_was_typed(
    ours, as_owner, finding, typed, said
):
    answer = as_owner.post(f"/decisions/{finding.pk}/", {**typed, "note": "kept"})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert said in page
    if typed.get("reason", "").strip():
        assert f">{typed['reason']}</textarea>" in page
    with ours.scope():
        assert not OwnerAct.objects.exists()


def test_an_access_that_only_reads_does_not_decide(ours, as_owner, finding):
    ours.access.role = "reads"
    ours.access.save(update_fields=["role"])
    answer = as_owner.post(f"/decisions/{finding.pk}/", {"decision": "approve"})
    assert answer.status_code == 403


def test_a_stranger_gets_the_same_answer_as_for_nothing(ours, theirs, as_member, finding):
    stranger = as_member(theirs.access)
    for path in ("/portfolio/{}/", "/decisions/{}/", "/proof/{}/"):
        mine = stranger.get(path.format(finding.pk if "decisions" in path else ours.building.pk))
        nothing = stranger.get(path.format(uuid4()))
        assert mine.status_code == nothing.status_code == 404
        assert untokened(mine) == untokened(nothing)
    assert ours.building.name not in stranger.get("/portfolio/").content.decode()


def untokened(answer):
    """Return a page without its form token, which is new in every answer."""
    return re.sub(r'"x-csrftoken": "[^"]*"', "", answer.content.decode())


def test_a_contractors_member_is_not_let_into_the_owners_rooms(as_manager, as_owner, client):
    assert as_manager.get("/portfolio/").status_code == 403
    assert client.get("/portfolio/").status_code == 302


def test_an_access_that_ended_opens_nothing(ours, as_owner, clock):
    ours.access.until_on = date(2026, 11, 24)
    ours.access.save(update_fields=["until_on"])
    assert as_owner.get("/portfolio/").status_code == 302


def test_a_sealed_report_can_be_taken_home_and_checked_by_its_code(ours, as_owner, client, visit):  # noqa: F811
    with ours.scope():
        close(ours, visit)
    run_jobs("report.make", "building.recorded")
    with ours.scope():
        report = PublishedReport.objects.get()
    page = as_owner.get("/proof/").content.decode()
    assert report.code in page
    answer = as_owner.get(f"/proof/{report.report_id}/")
    assert answer["Content-Type"] == "application/pdf"
    text = pypdf.PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    assert ours.building.name in text
    checked = client.get(f"/verify/{report.code}/")
    assert checked.status_code == 200
    assert "Record whole" in checked.content.decode()
    assert report.sha256[:16] in checked.content.decode()
    assert client.get(f"/verify/{report.code}x/").status_code == 404


def test_after_the_engagement_the_reports_stay_and_nothing_new_comes(
    ours, as_owner, finding, clock
):
    with ours.scope():
        ours.building.engagements.update(until_on=date(2026, 11, 25))
        clock.move_to(NOW + timedelta(days=2))
        due.derive(ours.building)
    page = as_owner.get("/portfolio/").content.decode()
    assert "Our engagement ended on" in page
    assert "No building is looked after yet." in page


def test_the_portfolio_costs_the_same_for_one_building_and_many(
    ours, as_owner, finding, django_assert_max_num_queries
):
    as_owner.get("/portfolio/")
    with django_assert_max_num_queries(14):
        as_owner.get("/portfolio/")
