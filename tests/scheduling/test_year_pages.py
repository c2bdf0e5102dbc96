"""A building's year as a calendar, the reasons of what is on it and not, and its questions."""

from datetime import date

import pytest
import time_machine

from buildings.models import Revision
from contractors.templatetags.look import STATES
from scheduling import due
from scheduling.models import Occurrence, Question
from scheduling.year import KINDS
from tests.scheduling.planning import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def derived(ours):
    with ours.scope():
        due.derive(ours.building, NOW)
    return ours


def of(scene, page="year", query=""):
    return f"/buildings/{scene.building.pk}/{page}/{query}"


def test_a_year_has_twelve_months_and_each_mark_leads_to_its_reason(derived, as_manager):
    answer = as_manager.get(of(derived))
    page = answer.content.decode()
    year = answer.context["year"]
    assert [month.isoformat()[:7] for month in year.months][::11] == ["2026-11", "2027-10"]
    with derived.scope():
        row = Occurrence.objects.filter(due_on__lte="2027-10-31").first()
    assert f"item={row.subject_id}&amp;activity={row.activity}" in page
    assert page.count("<table") == len(year.parts)
    assert derived.wet.name in page


def test_every_open_occurrence_within_the_year_stands_in_its_month(derived, as_manager):
    year = as_manager.get(of(derived)).context["year"]
    shown = sum(
        len(mark.days)
        for part in year.parts
        for row in part.rows.values()
        for cell in row.cells
        for mark in cell
        if mark.kind not in ("later", "done")
    )
    with derived.scope():
        assert shown == Occurrence.objects.filter(due_on__lte="2027-10-31").count() > 0


def test_what_was_done_stands_in_the_past_year(derived, as_manager):
    page = as_manager.get(of(derived, query="?from=2025-11"))
    assert page.status_code == 200
    assert page.context["year"].months[0] == date(2025, 11, 1)


@pytest.mark.parametrize("month", ["soon", "2026-13", "0001-01", "9999-01"])
def test_a_month_that_is_none_is_refused_by_name(derived, as_manager, month):
    answer = as_manager.get(of(derived, query=f"?from={month}"))
    assert answer.status_code == 400
    assert month in answer.content.decode()


def test_the_number_of_queries_of_the_year_is_constant(
    derived, as_manager, django_assert_max_num_queries
):
    with django_assert_max_num_queries(33):
        as_manager.get(of(derived))


def test_the_reason_names_rule_edition_source_and_confidence(derived, as_manager):
    with derived.scope():
        row = Occurrence.objects.filter(frequency="P1Y").first()
    page = as_manager.get(
        of(derived, "why", f"?item={row.subject_id}&activity={row.activity}")
    ).content.decode()
    assert "Why it is there" in page
    assert "NFPA" in page or "nfpa25" in page
    for word in ("Window", "Last performed", "Confidence", "Edition", "Source"):
        assert word in page


def test_every_activity_of_an_item_holds_waits_or_does_not_with_its_reason(derived, as_manager):
    answer = as_manager.get(of(derived, "why", f"?item={derived.wet_riser.pk}"))
    kinds = {kind for kind, _words, _rows in answer.context["groups"]}
    assert "holds" in kinds
    for _kind, _words, rows in answer.context["groups"]:
        assert all(one.owed.reason for one in rows)
    off = [one for kind, _w, rows in answer.context["groups"] if kind == "off" for one in rows]
    if off:
        one = off[0].owed
        page = as_manager.get(
            of(derived, "why", f"?item={derived.wet_riser.pk}&activity={one.activity.id}")
        ).content.decode()
        assert "Why not" in page


@pytest.mark.parametrize("query", ["?item=x", "?on=soon", "?activity=no-such-thing"])
def test_what_cannot_be_asked_is_refused(derived, as_manager, query):
    assert as_manager.get(of(derived, "why", query)).status_code == 400


def test_an_item_of_another_building_is_not_there(derived, theirs, as_manager):
    query = f"?item={theirs.wet.pk}"
    assert as_manager.get(of(derived, "why", query)).status_code == 404


def a_question(scene):
    """Ask about an attribute of a device, as the deriving would."""
    with scene.scope():
        Question.objects.filter(building=scene.building).delete()
        return Question.objects.create(
            building=scene.building,
            subject_kind="building",
            subject_id=scene.building.pk,
            attribute="building.frost",
            asked_as="Does it freeze there?",
            decides=["main-drain-annual"],
        )


def test_a_question_is_answered_in_place_since_a_day(derived, as_manager):
    question = a_question(derived)
    assert "Does it freeze there?" in as_manager.get(of(derived, "why")).content.decode()
    answer = as_manager.post(
        of(derived, "answer"),
        {
            "question": question.pk,
            "value": "no",
            "valid_from": "2026-03-01",
            "reason": "seen on site",
        },
    )
    assert answer.status_code == 302
    with derived.scope():
        derived.building.refresh_from_db()
        assert derived.building.attributes["frost"] is False
        written = Revision.objects.get(subject_id=derived.building.pk, valid_from=date(2026, 3, 1))
        assert written.reason == "seen on site"
        assert not Question.objects.filter(pk=question.pk).exists()


@pytest.mark.parametrize(
    "wrong", [{"value": ""}, {"value": "perhaps"}, {"valid_from": "2027-01-01"}, {"reason": ""}]
)
def test_an_answer_that_cannot_be_kept_says_so_and_changes_nothing(derived, as_manager, wrong):
    question = a_question(derived)
    data = {"question": question.pk, "value": "yes", "valid_from": "2026-03-01", "reason": "x"}
    answer = as_manager.post(of(derived, "answer"), {**data, **wrong}, follow=True)
    assert [m.level_tag for m in answer.context["messages"]] == ["error"]
    with derived.scope():
        assert Question.objects.filter(pk=question.pk).exists()


def test_questions_stand_by_how_much_they_decide(derived, as_manager):
    with derived.scope():
        for n in (1, 3, 2):
            Question.objects.create(
                building=derived.building,
                subject_kind="building",
                subject_id=derived.building.pk,
                attribute=f"building.x{n}",
                asked_as=f"Question {n}",
                decides=[f"a{i}" for i in range(n + 90)],
            )
    shown = as_manager.get(of(derived, "why")).context["questions"][:3]
    assert [one.question.asked_as for one in shown] == ["Question 3", "Question 2", "Question 1"]


def test_a_technician_reads_the_reasons_and_answers_nothing(derived, as_technician):
    question = a_question(derived)
    assert (
        '<button class="btn btn-main">'
        not in as_technician.get(of(derived, "why")).content.decode().split('id="questions"')[1]
    )
    assert as_technician.post(of(derived, "answer"), {"question": question.pk}).status_code == 403


def test_each_mark_of_a_year_has_a_shape_and_words_of_its_own():
    shapes = [STATES[state][0] for kind, (state, _words) in KINDS.items()]
    words = [str(words) for _state, words in KINDS.values()]
    assert len(set(shapes)) == len(shapes)
    assert len(set(words)) == len(words)
