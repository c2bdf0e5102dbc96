"""Days on which work is not wanted: bans on using water, terms of schools, seasons of hotels."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from buildings.models import OffLimits
from contractors.models import AuditEntry
from contractors.refusal import FieldRefused
from inspections.models import Visit, VisitLine
from scheduling import due, off_limits, problems
from scheduling.models import Occurrence
from scheduling.recurrence import Window
from scheduling.windows import KeptFree, free_part, kept_off
from tests.scheduling.recording import done
from tests.scheduling.test_term_pages import post

NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
FLOWS, LOOKS = "waterflow-vane-test", "waterflow-device-inspect"
BAN = {
    "work": "water",
    "from_on": date(2027, 3, 1),
    "until_on": date(2027, 4, 5),
    "authority": "Water utility",
    "reason": "drought",
}
days = st.dates(date(2025, 1, 1), date(2028, 12, 31))
spans = st.builds(
    lambda first, length, yearly: KeptFree(
        from_on=first, until_on=first + timedelta(days=length), yearly=yearly, why="w"
    ),
    days,
    st.integers(0, 300),
    st.booleans(),
)


def window(earliest, wanted, latest):
    return Window(earliest=earliest, due=wanted, latest=latest, reason="Last done.")


@given(days, st.integers(0, 200), st.integers(0, 200), st.lists(spans, max_size=3))
def test_a_wanted_day_moves_within_its_window_alone_and_to_the_nearest_free_day(
    opens, more, rest, kept
):
    wanted = opens + timedelta(days=more)
    before = window(opens, wanted, wanted + timedelta(days=rest))
    found = kept_off(before, kept)
    assert (found.earliest, found.latest) == (before.earliest, before.latest)
    inside = [opens + timedelta(days=n) for n in range(more + rest + 1)]
    free = [day for day in inside if not any(one.holds(day) for one in kept)]
    if free:
        assert found.due in free
        assert abs(found.due - wanted) == min(abs(day - wanted) for day in free)
    else:
        assert found.due == wanted


@given(days, st.integers(0, 300), st.lists(spans, max_size=3))
def test_the_days_for_a_plan_are_free_and_lie_together(first, length, kept):
    last = first + timedelta(days=length)
    start, end = free_part(first, last, kept)
    assert first <= start <= end <= last
    inside = [first + timedelta(days=n) for n in range(length + 1)]
    if any(all(not one.holds(day) for one in kept) for day in inside):
        between = [start + timedelta(days=n) for n in range((end - start).days + 1)]
        assert not any(one.holds(day) for one in kept for day in between)
    else:
        assert (start, end) == (first, last)


@pytest.fixture
def now():
    with time_machine.travel(NOW, tick=False) as clock:
        yield clock


def wanted(ours, activity):
    due.derive(ours.building)
    row = Occurrence.objects.get(subject_id=ours.devices["wet_flow"].pk, activity=activity)
    return row.due_on, row.latest_on, row.reason["window"]


def keep(ours, **more):
    return off_limits.keep(**{**BAN, "by": ours.manager, **more})


@pytest.fixture
def tested(ours, now):
    """The waterflow switch, tested and looked at: the look falls due in December, then the test."""
    with ours.scope():
        done(ours, ours.devices["wet_flow"], FLOWS, date(2026, 9, 20))
        done(ours, ours.devices["wet_flow"], LOOKS, date(2026, 9, 20))
    return ours


@pytest.mark.django_db
def test_a_ban_on_water_moves_what_flows_water_and_nothing_else(tested, theirs):
    with tested.scope():
        before, look = wanted(tested, FLOWS), wanted(tested, LOOKS)
        assert BAN["from_on"] <= before[0] <= BAN["until_on"]
        row = keep(tested, jurisdiction=tested.jurisdiction)
        moved = wanted(tested, FLOWS)
        assert (moved[0], moved[1]) == (date(2027, 4, 6), before[1])
        assert "Water utility: drought" in moved[2]
        assert wanted(tested, LOOKS) == look
        off_limits.withdraw(row, by=tested.manager)
        assert wanted(tested, FLOWS) == before
        told = list(AuditEntry.objects.filter(action__startswith="off_limits."))
        assert len(told) == 2
    with theirs.scope():
        assert not OffLimits.objects.exists()


@pytest.mark.django_db
def test_where_no_day_of_the_window_is_free_it_stays_and_says_so(tested):
    with tested.scope():
        before = wanted(tested, FLOWS)
        keep(tested, building=tested.building, from_on=NOW.date(), until_on=date(2027, 6, 30))
        after = wanted(tested, FLOWS)
        assert after[:2] == before[:2]
        assert "No day of it is free" in after[2]


@pytest.mark.django_db
def test_a_term_keeps_all_of_our_work_off_and_not_the_owners_own(tested):
    with tested.scope():
        due.derive(tested.building)
        own = {r.pk: r.due_on for r in Occurrence.objects.filter(by_owner=True)}
        term = {"work": "any", "from_on": date(2020, 12, 10), "until_on": date(2021, 1, 9)}
        before = wanted(tested, LOOKS)
        keep(tested, building=tested.building, yearly=True, **term)
        after = wanted(tested, LOOKS)
        assert date(2026, 12, 10) <= before[0] <= date(2027, 1, 9)
        assert (after[0], after[1]) == (date(2026, 12, 9), before[1])
        assert {r.pk: r.due_on for r in Occurrence.objects.filter(by_owner=True)} == own


@pytest.mark.django_db
def test_what_was_written_down_later_was_not_known_before(tested, now):
    with tested.scope():
        row = keep(tested, building=tested.building)
        now.shift(timedelta(hours=1))
        off_limits.withdraw(row, by=tested.manager)
        here = [tested.building]
        known = [
            bool(off_limits.at(here, NOW + timedelta(minutes=m))[tested.building.pk])
            for m in (-1, 1, 61)
        ]
        assert known == [False, True, False]
        with pytest.raises(FieldRefused, match="withdrawn"):
            off_limits.withdraw(row, by=tested.manager)


@pytest.mark.django_db
def test_a_plan_looks_for_free_days_too(tested):
    with tested.scope():
        visit = Visit.objects.create(building=tested.building, planned_minutes=60)
        VisitLine.objects.create(
            visit=visit,
            subject_kind="device",
            subject_id=tested.devices["wet_flow"].pk,
            activity=FLOWS,
            latest_on=date(2027, 4, 20),
        )
        keep(tested, building=tested.building)
        asked = problems.windows_of([visit])[str(visit.pk)]
        assert (asked.earliest, asked.due) == (date(2027, 4, 6), date(2027, 4, 20))


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"work": "fire"}, "work"),
        ({"until_on": date(2027, 2, 28)}, "until_on"),
        ({"until_on": date(2028, 3, 1), "yearly": True}, "until_on"),
        ({"from_on": date(1875, 1, 1)}, "from_on"),
        ({"authority": " "}, "authority"),
        ({"reason": ""}, "reason"),
    ],
)
def test_what_is_not_accepted_is_named(ours, now, more, field):
    with ours.scope(), pytest.raises(FieldRefused) as refused:
        keep(ours, building=ours.building, **more)
    assert refused.value.facts["field"] == field


@pytest.mark.django_db
def test_page_and_api_keep_days_free_and_give_them_free_again(ours, now, as_manager, api):
    form = {**BAN, "where": "authority"}
    as_manager.post(reverse("off_limits_new", args=[ours.building.pk]), form)
    page = as_manager.get(reverse("terms", args=[ours.building.pk])).content.decode()
    assert "work that flows water" in page
    assert "Water utility" in page
    client = api(ours.manager)
    (row,) = client.get("/api/v1/off-limits/").data["results"]
    assert (str(row["jurisdiction"]), row["building"]) == (str(ours.jurisdiction.pk), None)
    as_manager.post(reverse("off_limits_end", args=[row["id"]]))
    body = {**BAN, "building": str(ours.building.pk), "yearly": True}
    body |= {"from_on": "2026-11-01", "until_on": "2027-01-31"}
    made = post(client, "/api/v1/off-limits/", body)
    assert (made.status_code, made.data["yearly"]) == (201, True)
    gone = post(client, f"/api/v1/off-limits/{made.data['id']}/withdraw/", {}, key="two")
    assert gone.data["withdrawn_at"] == "2026-11-25T15:00:00Z"
    with ours.scope():
        assert not OffLimits.objects.filter(withdrawn_at=None).exists()
    assert post(api(ours.office), "/api/v1/off-limits/", body, key="3").status_code == 403
