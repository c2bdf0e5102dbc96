"""Visits bundled, routes searched, moved by hand, published, planned again."""

import functools
import sys
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine

from contractors.models import Licence, Notice, OutboxMessage
from contractors.refusal import ChangedMeanwhile, FieldRefused, NotThere
from inspections.models import Visit, VisitLine
from scheduling import bundle, crew, due, load, moves, plans, problems, replans, telling
from scheduling.models import Occurrence, Plan, Stop
from scheduling.routing import run
from scheduling.routing.verify import verify
from tests.scheduling.planning import (
    FIRST,
    LAST,
    NOW,
    TODAY,
    add_buildings,
    add_technician,
    add_visit,
    run_search,
    searched,
)

pytestmark = pytest.mark.django_db
EASTERN = ZoneInfo("America/New_York")


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def derived(ours):
    with ours.scope():
        due.derive(ours.building, NOW)
    return ours


@pytest.fixture
def town(ours):
    """Four more buildings, each with a visit of two hours that waits for a day."""
    with ours.scope():
        return [add_visit(building) for building in add_buildings(ours)]


# --- bundled ---------------------------------------------------------------------------------


def test_what_the_owner_does_is_never_put_into_a_visit(derived):
    with derived.scope():
        bundles = bundle.bundles(TODAY)
        assert bundles
        assert not any(row.by_owner for one in bundles for row in one.occurrences)
        theirs = Occurrence.objects.filter(by_owner=True).values_list("pk", flat=True)
        with pytest.raises(bundle.NothingPicked):
            bundle.make_visits(list(theirs), today=TODAY, by=derived.manager)
        assert not Visit.objects.exists()


def test_everything_in_a_bundle_has_a_common_day_inside_its_windows(derived):
    with derived.scope():
        for one in bundle.bundles(TODAY):
            for row in one.occurrences:
                assert (row.earliest_on or TODAY) <= max(one.latest, TODAY)
                assert row.due_on <= TODAY + timedelta(days=14) or not row.known


def test_a_window_that_opens_later_is_left_for_later(derived):
    with derived.scope():
        row = Occurrence.objects.filter(by_owner=False).first()
        later = TODAY + timedelta(days=15)
        Occurrence.objects.filter(pk=row.pk).update(
            earliest_on=later, due_on=later, latest_on=later + timedelta(days=9)
        )
        held = {r.pk for one in bundle.bundles(TODAY) for r in one.occurrences}
        assert row.pk not in held
        assert held


def test_a_bundle_fits_a_working_day_and_the_hours_of_the_building(derived):
    with derived.scope():
        derived.building.hours = {"0": ["08:00-11:00"]}
        derived.building.save(update_fields=["hours"])
        bundles = bundle.bundles(TODAY)
        several = [one for one in bundles if len(one.occurrences) > 1]
        assert len(several) > 1
        assert all(one.minutes <= 180 for one in several)


def test_work_that_nobody_is_licensed_for_does_not_hold_up_the_rest(derived):
    with derived.scope():
        Licence.objects.exclude(kind="inspector").delete()
        bundles = bundle.bundles(TODAY)
        held = set(crew.technicians(TODAY)[0].held)
        able = [one for one in bundles if one.needs <= held]
        assert able
        assert all(one.needs.isdisjoint(held) or one in able for one in bundles)


def test_set_up_counts_once_for_a_visit(derived):
    with derived.scope():
        rows = list(Occurrence.objects.filter(activity="waterflow-vane-test"))
        rows += list(Occurrence.objects.filter(activity="main-drain-test")[:1])
        alone = sum(bundle.minutes_of([row]) for row in rows)
        assert bundle.minutes_of(rows) <= alone


def test_a_visit_holds_its_lines_and_their_days(derived):
    with derived.scope():
        ids = list(Occurrence.objects.filter(by_owner=False).values_list("pk", flat=True)[:6])
        made = bundle.make_visits(ids, today=TODAY, by=derived.manager)
        lines = VisitLine.objects.filter(visit__in=made)
        rows = Occurrence.objects.filter(pk__in=ids)
        assert {(x.subject_id, x.activity, x.latest_on) for x in lines} == {
            (x.subject_id, x.activity, x.latest_on) for x in rows
        }
        assert all(row.visit in made for row in rows)
        assert all(visit.planned_minutes > 0 and visit.title for visit in made)


def test_nothing_is_put_into_two_visits(derived):
    with derived.scope():
        ids = list(Occurrence.objects.filter(by_owner=False).values_list("pk", flat=True)[:3])
        made = bundle.make_visits(ids, today=TODAY, by=derived.manager)
        with pytest.raises(bundle.AlreadyInVisit):
            bundle.make_visits(ids[:1], today=TODAY, by=derived.manager)
        Visit.objects.filter(pk__in=[v.pk for v in made]).update(state=Visit.State.CANCELLED)
        assert bundle.make_visits(ids[:1], today=TODAY, by=derived.manager)


def test_capacity_leaves_out_days_off(ours):
    with ours.scope():
        people = crew.technicians(TODAY)
        whole = crew.capacity(people, FIRST, LAST)
        person = ours.people["technician"]
        crew.add_absence(person, [FIRST])
        less = crew.capacity(crew.technicians(TODAY), FIRST, LAST)
        assert whole - less == pytest.approx(whole / 5, abs=1)


def test_the_grid_counts_each_occurrence_in_one_week_or_as_overdue(derived):
    with derived.scope():
        grid = load.grid(load.counted(load.Asked(), TODAY), TODAY)
        end = grid.weeks[-1].monday + timedelta(days=7)
        ours = Occurrence.objects.filter(by_owner=False, due_on__lt=end)
        assert grid.activities == ours.count()
        assert grid.overdue == ours.filter(latest_on__lt=TODAY).count()
        listed = load.OVERDUE, *(week.monday.isoformat() for week in grid.weeks)
        counted = [load.narrowed(load.Asked(week=week), TODAY).count() for week in listed]
        assert sum(counted) == grid.activities


# --- searched --------------------------------------------------------------------------------


def test_a_search_in_a_child_process_places_every_visit_and_breaks_nothing(ours, town):
    plan = searched(ours)
    with ours.scope():
        assert (plan.state, plan.unplanned) == (Plan.State.READY, [])
        assert {s.visit_id for s in plan.stops.all()} == {v.pk for v in town}
        setting = moves.setting_of(plan, NOW)
        assert verify(setting.problem, problems.routes_of(setting, plan)) == ()
        assert plan.summary["planned"] == 4
        assert plan.summary["drive_s"] > 0
        for stop in plan.stops.all():
            start = stop.start_at.astimezone(EASTERN)
            assert start.date() == stop.on
            assert 7 <= start.hour < 17


def test_stored_stops_come_back_as_the_same_routes(ours, town):
    plan = searched(ours)
    with ours.scope():
        setting = moves.setting_of(plan, NOW)
        routes = problems.routes_of(setting, plan)
        again = problems.stops_of(setting, routes, plan)
        kept = ("visit_id", "technician_id", "on", "position", "start_at", "end_at")
        stored = {tuple(getattr(s, n) for n in kept) for s in plan.stops.all()}
        assert {tuple(getattr(s, n) for n in kept) for s in again} == stored
        assert routes.cost.total == plan.summary["cost"]["total"]


def test_a_visit_is_planned_between_its_earliest_and_latest_day(ours, town):
    with ours.scope():
        VisitLine.objects.create(
            visit=town[0],
            subject_kind="building",
            subject_id=town[0].building_id,
            activity="main-drain-test",
            due_on=date(2026, 11, 27),
            latest_on=date(2026, 11, 27),
        )
    plan = searched(ours)
    with ours.scope():
        assert plan.stops.get(visit=town[0]).on <= date(2026, 11, 27)


def test_what_nobody_may_do_is_left_out_with_its_reason(ours, town):
    with ours.scope():
        Licence.objects.filter(kind="electrician").delete()
        activity = next(
            a.id for a in bundle.catalogue().activities.values() if a.qualification == "electrician"
        )
        VisitLine.objects.create(
            visit=town[0],
            subject_kind="building",
            subject_id=town[0].building_id,
            activity=activity,
        )
    plan = searched(ours)
    with ours.scope():
        (left,) = plan.unplanned
        assert left["visit"] == str(town[0].pk)
        assert "electrician" in plans.reason_words(left)
        assert plan.stops.count() == 3


def test_a_building_without_coordinates_is_left_out_and_said_so(ours, town):
    with ours.scope():
        town[0].building.latitude = None
        town[0].building.save(update_fields=["latitude"])
    plan = searched(ours)
    with ours.scope():
        assert plan.unplanned[0]["reason"] == problems.NO_PLACE
        assert "coordinates" in plans.reason_words(plan.unplanned[0])


def test_a_licence_that_ends_inside_the_plan_is_not_used_after_its_day(ours, town):
    with ours.scope():
        Licence.objects.filter(kind="inspector").update(valid_until=FIRST)
        activity = next(
            a.id
            for a in bundle.catalogue().activities.values()
            if a.qualification == "inspector" and a.people == 1
        )
        for visit in town:
            VisitLine.objects.create(
                visit=visit,
                subject_kind="building",
                subject_id=visit.building_id,
                activity=activity,
            )
    plan = searched(ours)
    with ours.scope():
        assert {stop.on for stop in plan.stops.all()} == {FIRST}


def test_a_search_that_finds_nothing_to_do_is_refused(ours):
    with ours.scope():
        with pytest.raises(plans.NothingToPlan):
            plans.make(FIRST, LAST, seconds=1, by=ours.manager, today=TODAY)
        add_visit(ours.building)
        ours.people["technician"].week = {}
        ours.people["technician"].save(update_fields=["week"])
        with pytest.raises(plans.NobodyToSend):
            plans.make(FIRST, LAST, seconds=1, by=ours.manager, today=TODAY)
        with pytest.raises(FieldRefused):
            plans.make(TODAY - timedelta(days=1), LAST, seconds=1, by=None, today=TODAY)


def test_a_search_called_off_before_its_turn_never_runs(ours, town):
    with ours.scope():
        plan = plans.make(FIRST, LAST, seconds=1, by=ours.manager, today=TODAY)
        plans.cancel(plan)
    assert run_search(plan)
    with ours.scope():
        plan.refresh_from_db()
        assert plan.state == Plan.State.FAILED
        assert "old plan is kept" in plan.message
        assert not plan.stops.exists()
        with pytest.raises(plans.NotReady):
            plans.cancel(plan)


def test_a_running_search_that_is_called_off_is_killed_and_keeps_the_old_plan(ours, town):
    with ours.scope():
        plan = plans.make(FIRST, LAST, seconds=60, by=ours.manager, today=TODAY)
        OutboxMessage.objects.filter(kind=plans.SEARCH).update(cancel_asked=True)
    assert run_search(plan)
    with ours.scope():
        plan.refresh_from_db()
        assert (plan.state, plan.stops.count()) == (Plan.State.FAILED, 0)


def test_a_search_whose_child_answers_nonsense_leaves_no_plan(ours, town, monkeypatch):
    nonsense = functools.partial(run.Search, child=(sys.executable, "-c", "print('[]')"))
    monkeypatch.setattr(run, "Search", nonsense)
    plan = searched(ours)
    with ours.scope():
        assert (plan.state, plan.stops.count()) == (Plan.State.FAILED, 0)
        assert "old plan kept" in plan.message


# --- moved by hand ---------------------------------------------------------------------------


@pytest.fixture
def ready(ours, town):
    with ours.scope():
        add_technician(ours)
    return searched(ours)


def other_day(stop):
    return LAST if stop.on != LAST else FIRST


def test_a_move_tells_its_cost_and_changes_nothing_before_it_is_taken(ours, ready):
    with ours.scope():
        stop = ready.stops.first()
        tried = moves.try_move(ready, stop.visit_id, stop.technician, other_day(stop), now=NOW)
        assert tried.broken == ()
        assert tried.drive_after != tried.drive_before or tried.total == 0
        stop.refresh_from_db()
        assert stop.on != other_day(stop)
        moves.move(ready, tried, revision=0, by=ours.manager)
        moved = Stop.objects.get(plan=ready, visit=stop.visit)
        assert (moved.on, moved.moved_by_hand) == (other_day(stop), True)
        assert Plan.objects.get(pk=ready.pk).revision == 1


def test_a_move_says_what_it_breaks(ours, ready):
    with ours.scope():
        stop = ready.stops.first()
        stop.visit.building.hours = {"0": ["07:00-08:00"]}
        stop.visit.building.save(update_fields=["hours"])
        monday = date(2026, 11, 30)
        tried = moves.try_move(ready, stop.visit_id, stop.technician, monday, now=NOW)
        assert any("outside the hours of the building" in words for words in tried.broken)


def test_a_move_to_a_day_off_is_refused_by_name(ours, ready):
    with ours.scope():
        stop = ready.stops.first()
        with pytest.raises(FieldRefused, match="A day of the plan on which"):
            moves.try_move(ready, stop.visit_id, stop.technician, date(2026, 11, 28), now=NOW)
        with pytest.raises(FieldRefused, match="position"):
            moves.try_move(ready, stop.visit_id, stop.technician, stop.on, now=NOW, position=99)


def test_two_people_who_move_at_once_do_not_undo_each_other(ours, ready):
    with ours.scope():
        stop = ready.stops.first()
        tried = moves.try_move(ready, stop.visit_id, stop.technician, other_day(stop), now=NOW)
        moves.move(ready, tried, revision=0, by=ours.manager)
        with pytest.raises(ChangedMeanwhile):
            moves.move(ready, tried, revision=0, by=ours.manager)


def test_an_appointment_that_is_kept_stays_where_it_is_in_the_next_search(ours, ready):
    with ours.scope():
        stop = ready.stops.order_by("-on").first()
        visit = plans.lock(ready, stop.visit_id, keep=True, by=ours.manager)
        assert (visit.planned_on, visit.planned_start) == (stop.on, stop.start_at)
    again = searched(ours)
    with ours.scope():
        kept = again.stops.get(visit=visit)
        assert (kept.on, kept.start_at, kept.technician) == (
            stop.on,
            stop.start_at,
            stop.technician,
        )
        other = moves.try_move(again, visit.pk, stop.technician, other_day(stop), now=NOW)
        assert any("appointment" in words for words in other.broken)


# --- published -------------------------------------------------------------------------------


def test_publishing_gives_visits_technician_day_and_start_and_tells_everybody(ours, ready):
    with ours.scope():
        told = telling.who_is_told(ready, NOW)
        assert {one.role for one in told} == {"technician", "owner"}
        plans.publish(ready, by=ours.manager, now=NOW)
        for stop in ready.stops.select_related("visit"):
            visit = stop.visit
            assert (visit.technician_id, visit.planned_on) == (stop.technician_id, stop.on)
            assert visit.planned_start == stop.start_at
        assert {n.recipient for n in Notice.objects.all()} == {one.email for one in told}
        assert Notice.objects.filter(recipient="desk2@row.example").exists()


def test_publishing_twice_happens_once(ours, ready):
    with ours.scope():
        first = plans.publish(ready, by=ours.manager, now=NOW)
        count = Notice.objects.count()
        second = plans.publish(ready, by=ours.manager, now=NOW + timedelta(minutes=1))
        assert second.published_at == first.published_at
        assert Notice.objects.count() == count


def test_a_newer_plan_replaces_the_published_one_and_tells_only_what_changed(ours, ready):
    with ours.scope():
        plans.publish(ready, by=ours.manager, now=NOW)
        copy = plans.copy(ready, by=ours.manager)
        assert telling.who_is_told(copy, NOW) == []
        stop = copy.stops.first()
        tried = moves.try_move(copy, stop.visit_id, stop.technician, other_day(stop), now=NOW)
        copy = moves.move(copy, tried, revision=0, by=ours.manager)
        told = telling.who_is_told(copy, NOW)
        buildings = {one.name for one in told if one.role == "owner"}
        assert buildings == {stop.visit.building.name}
        plans.publish(copy, by=ours.manager, now=NOW)
        assert Plan.objects.get(pk=ready.pk).state == Plan.State.REPLACED


def test_a_visit_begun_meanwhile_stays_as_it_is(ours, ready):
    with ours.scope():
        stop = ready.stops.first()
        Visit.objects.filter(pk=stop.visit_id).update(state=Visit.State.OPEN)
        plans.publish(ready, by=ours.manager, now=NOW)
        assert Visit.objects.get(pk=stop.visit_id).planned_on is None


def test_a_plan_shown_before_somebody_moved_something_is_not_published(ours, ready):
    with ours.scope():
        with pytest.raises(ChangedMeanwhile):
            plans.publish(ready, by=ours.manager, now=NOW, revision=7)
        Plan.objects.filter(pk=ready.pk).update(state=Plan.State.FAILED)
        with pytest.raises(plans.NotReady):
            plans.publish(ready, by=ours.manager, now=NOW)


# --- planned again ---------------------------------------------------------------------------


def test_an_absence_moves_the_absent_technicians_visits_and_no_others(ours, ready):
    with ours.scope():
        plans.publish(ready, by=ours.manager, now=NOW)
        before = {s.visit_id: (s.technician_id, s.on) for s in ready.stops.all()}
        stop = ready.stops.order_by("-on").first()
        replans.away(stop.technician, [stop.on], by=ours.manager)
        ready.refresh_from_db()
        plan = replans.again(ready, by=ours.manager, seconds=60)
    run_search(plan)
    with ours.scope():
        plan.refresh_from_db()
        assert plan.state == Plan.State.READY, plan.message
        after = {s.visit_id: (s.technician_id, s.on) for s in plan.stops.all()}
        hit = {v for v, place in before.items() if place == (stop.technician_id, stop.on)}
        assert hit
        assert not any(place == (stop.technician_id, stop.on) for place in after.values())
        assert {v: after.get(v) for v in before if v not in hit} == {
            v: before[v] for v in before if v not in hit
        }
        assert {one["visit"] for one in plan.summary["changes"]} == {str(v) for v in hit}


def test_a_visit_made_since_is_taken_in_and_a_cancelled_one_let_go(ours, ready):
    with ours.scope():
        plans.publish(ready, by=ours.manager, now=NOW)
        ready.refresh_from_db()
        gone = ready.stops.order_by("-on").first().visit
        Visit.objects.filter(pk=gone.pk).update(state=Visit.State.CANCELLED)
        fresh = add_visit(ours.building, minutes=60)
        plan = replans.again(ready, by=ours.manager, seconds=60)
    run_search(plan)
    with ours.scope():
        plan.refresh_from_db()
        placed = {s.visit_id for s in plan.stops.all()}
        assert fresh.pk in placed
        assert gone.pk not in placed


def test_what_was_begun_stays_when_the_rest_is_planned_again(ours, ready, clock):
    with ours.scope():
        plans.publish(ready, by=ours.manager, now=NOW)
        ready.refresh_from_db()
        stop = ready.stops.order_by("start_at").first()
        clock.move_to(stop.start_at + timedelta(minutes=30))
        Visit.objects.filter(pk=stop.visit_id).update(
            state=Visit.State.OPEN, opened_at=stop.start_at
        )
        plan = replans.again(ready, by=ours.manager, seconds=60)
    run_search(plan)
    with ours.scope():
        plan.refresh_from_db()
        assert plan.state == Plan.State.READY, plan.message
        kept = plan.stops.get(visit=stop.visit_id)
        assert (kept.start_at, kept.technician_id) == (stop.start_at, stop.technician_id)


def test_only_a_published_plan_is_planned_again(ours, ready):
    with ours.scope(), pytest.raises(plans.NotReady):
        replans.again(ready, by=ours.manager)


def test_a_visit_that_the_plan_does_not_hold_is_neither_locked_nor_moved(ours, ready):
    with ours.scope():
        other = add_visit(ours.building)
        with pytest.raises(NotThere):
            plans.lock(ready, other.pk, keep=True, by=ours.manager)
        with pytest.raises(NotThere):
            moves.try_move(ready, other.pk, ours.people["technician"], FIRST, now=NOW)


def test_the_day_is_the_contractors_own(ours):
    ours.contractor.time_zone = "Pacific/Auckland"
    ours.contractor.save(update_fields=["time_zone"])
    with ours.scope():
        assert plans.today_at(datetime(2026, 11, 25, 15, tzinfo=UTC)) == date(2026, 11, 26)
