"""What a recorded result closes besides its own, from the record to the reason."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from buildings.models import Adoption
from contractors.refusal import FieldRefused
from inspections import also, record, rules
from inspections.catalogue_files import catalogue
from inspections.models import Result, Visit
from scheduling import due, programme
from scheduling.models import Occurrence

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
EXERCISE, SIGNAL = "control-valve-exercise", "valve-supervisory-test"
VANE, SEEN = "waterflow-vane-test", "waterflow-device-inspect"


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def test_every_remark_that_the_catalogue_asks_for_has_words():
    assert {need for one in catalogue().substitutions for need in one.also_needs} == set(also.WORDS)


def answered(ours, device, activity, answer, *, readings=(), on=TODAY, **more):
    visit = Visit.objects.create(building=ours.building)
    about = {"subject": {"kind": "device", "id": str(device.pk)}, "activity": activity}
    given = [
        {**about, "name": name, "typed": typed, "value": {"value": typed.split()[0], "unit": unit}}
        for name, typed, unit in readings
    ]
    entries = [
        record.visit_entry(visit, kind, payload, by=ours.technician)
        for kind, payload in (
            ("visit.import", {"grade": "own_record", "done_on": on.isoformat()}),
            *(("reading.add", one) for one in given),
            ("item.set", {**about, "answer": answer, **more}),
        )
    ]
    record.append(entries, via="import", by=ours.office)
    due.derive(ours.building, NOW)
    return Result.objects.get(visit=visit)


def last(device, activity):
    row = Occurrence.objects.get(subject_id=device.pk, activity=activity)
    return row.last_done_on, row.reason.get("absorbed", "")


def looked(ours, *device_and_activity):
    """A look of a quarter ago, so that the next one is open today."""
    return answered(ours, *device_and_activity, "seen_in_order", on=QUARTER_AGO)


QUARTER_AGO = TODAY - timedelta(days=91)
TAMPER = (("time_to_signal", "2 s", "s"), ("turns_to_signal", "1", "count"))
SIGNAL_SECONDS = (("time_to_alarm", "41 s", "s"),)


def test_a_passed_test_with_its_readings_is_that_quarters_look_and_the_reason_says_so(ours):
    with ours.scope():
        switch = ours.devices["wet_flow"]
        looked(ours, switch, SEEN)
        result = answered(ours, switch, VANE, "pass", readings=SIGNAL_SECONDS)
        assert result.read == ["time_to_alarm"]
        day, reason = last(switch, SEEN)
        assert day == TODAY
        assert reason == f"{VANE} took its place on {TODAY}: the device is seen at its test."
        told = programme.why_not(ours.building, switch.pk, SEEN)
        assert any(VANE in words for words in told.words)
        assert told.lines[0].why.last.activity == VANE
        assert told.lines[0].why.last.result == result.pk
        assert last(switch, VANE) == (TODAY, "")


@pytest.mark.parametrize(
    ("answer", "readings"), [("fail", SIGNAL_SECONDS), ("pass", ()), ("could_not", ())]
)
def test_a_failed_test_or_one_without_its_readings_takes_nothing_in(ours, answer, readings):
    with ours.scope():
        switch = ours.devices["wet_flow"]
        looked(ours, switch, SEEN)
        more = {"reason": "Panel locked"} if answer == "could_not" else {}
        answered(ours, switch, VANE, answer, readings=readings, **more)
        assert last(switch, SEEN) == (QUARTER_AGO, "")


def test_a_test_outside_the_shorter_window_takes_nothing_in(ours):
    with ours.scope():
        switch = ours.devices["wet_flow"]
        answered(ours, switch, SEEN, "seen_in_order", on=TODAY - timedelta(days=20))
        answered(ours, switch, VANE, "pass", readings=SIGNAL_SECONDS)
        assert last(switch, SEEN) == (TODAY - timedelta(days=20), "")


def test_the_signal_counts_only_where_it_was_recorded(ours):
    with ours.scope():
        valve, switch = ours.devices["valve"], ours.devices["switch"]
        turns = (("turns", "24", "count"),)
        answered(ours, switch, SIGNAL, "pass", readings=TAMPER, on=TODAY - timedelta(days=190))
        answered(ours, valve, EXERCISE, "pass", readings=turns, on=TODAY - timedelta(days=1))
        assert last(switch, SIGNAL) == (TODAY - timedelta(days=190), "")
        said = [{"what": "signal_recorded"}]
        result = answered(ours, valve, EXERCISE, "pass", readings=turns, also=said)
        assert result.also == [{"what": "signal_recorded", "on": []}]
        day, reason = last(switch, SIGNAL)
        assert day == TODAY
        assert EXERCISE in reason


def test_the_past_programme_knows_what_was_taken_in_by_then(ours, now):
    with ours.scope():
        switch = ours.devices["wet_flow"]
        looked(ours, switch, SEEN)
        now.shift(timedelta(hours=1))
        answered(ours, switch, VANE, "pass", readings=SIGNAL_SECONDS)
        now.shift(timedelta(hours=1))
        before = programme.why_not(ours.building, switch.pk, SEEN, TODAY, NOW)
        after = programme.why_not(ours.building, switch.pk, SEEN, TODAY, NOW + timedelta(hours=2))
        assert before.lines[0].why.last.on == QUARTER_AGO
        assert after.lines[0].why.last.on == TODAY


def test_longer_work_takes_in_the_shorter_where_an_agreement_or_a_law_says_so(ours):
    with ours.scope():
        told = {"by": ours.manager, "from_on": TODAY - timedelta(days=30)}
        agreed = rules.take_in(source="contract of the county, s.3", **told)
        found = rules.catalogue_on(TODAY, ours.building).takes_in
        assert [one.source for one in found] == ["contract of the county, s.3"]
        assert rules.catalogue_on(TODAY - timedelta(days=31), ours.building).takes_in == ()
        rules.end(agreed, until_on=TODAY, why="Contract ended", by=ours.manager)
        assert rules.catalogue_on(TODAY + timedelta(days=1), ours.building).takes_in == ()
        adoption = Adoption.objects.filter(jurisdiction=ours.jurisdiction).latest("valid_from")
        law = rules.take_in(adoption=adoption, source="Fire code, 46.041", **told)
        assert "Amended by" in str(rules.change_of(law))
        with pytest.raises(FieldRefused, match="holds wherever"):
            rules.take_in(adoption=adoption, source="x", building=ours.building, **told)


def test_it_is_set_on_the_page_and_in_the_api(ours, as_manager, api):
    body = {"source": "contract, s.3", "from_on": "2026-11-25"}
    made = api(ours.manager).post(
        "/api/v1/rules/",
        {"act": "takes_in", **body},
        format="json",
        HTTP_IDEMPOTENCY_KEY="once",
    )
    assert made.status_code == 201, made.data
    assert (made.data["act"], made.data["activity"]) == ("takes_in", "*")
    answer = as_manager.post("/rules/new/takes_in/", {**body, "source": "contract, s.4"})
    assert answer.status_code == 302, answer.content.decode()[:2000]
    assert "contract, s.4" in as_manager.get("/rules/").content.decode()
    assert "Every activity" in as_manager.get(answer["Location"]).content.decode()
