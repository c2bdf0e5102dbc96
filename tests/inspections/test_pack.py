"""The work pack holds what a technician needs for one visit, and its criteria judge as here."""

import json
from base64 import urlsafe_b64encode
from datetime import timedelta

import pytest
from django.utils import timezone

from contractors.models import new_id
from inspections import findings, pack, record, sync
from inspections.models import Visit, VisitLine
from tests.inspections import tablets
from tests.inspections.tablets import Tablet

pytestmark = pytest.mark.django_db


def pulled(tablet, cursor=""):
    answer = tablet.client.get(
        "/api/v1/sync/pull/", {"tablet": tablet.id, **({"cursor": cursor} if cursor else {})}
    )
    assert answer.status_code == 200, answer.data
    return json.loads(answer.content)


def line(scene, visit, device, activity):
    with scene.scope():
        found = scene.devices[device]
        VisitLine.objects.create(
            visit=visit,
            system=found.system,
            subject_kind="device",
            subject_id=found.pk,
            activity=activity,
        )


def last_test(scene, residual="70", days=365):
    """A main drain test a year ago."""
    with scene.scope():
        past = Visit.objects.create(building=scene.building, planned_on=timezone.now().date())
        day = (timezone.now() - timedelta(days=days)).date().isoformat()
        entries = [
            record.visit_entry(past, kind, payload, by=scene.manager)
            for kind, payload in (
                ("visit.import", {"grade": "own_record", "done_on": day}),
                (
                    "reading.add",
                    {
                        "subject": tablets.subject(scene),
                        "activity": "main-drain-annual",
                        "name": "residual_pressure",
                        "typed": f"{residual} psi",
                        "value": {"value": residual, "unit": "psi"},
                    },
                ),
                (
                    "item.set",
                    {
                        "subject": tablets.subject(scene),
                        "activity": "main-drain-annual",
                        "answer": "pass",
                    },
                ),
            )
        ]
        record.append(entries, via="import", by=scene.manager)


def test_the_pack_holds_building_lines_limits_and_whom_to_ring(ours, tablet, visit):
    last_test(ours)
    answer = pulled(tablet)
    assert answer["member"]["name"] == "Sam Technician"
    assert answer["member"]["licence"]
    (one,) = answer["visits"]
    assert one["visit"] | {"planned_on": ""} == {
        "id": str(visit.pk),
        "state": "planned",
        "title": "Main drain",
        "kind": "programme",
        "planned_on": "",
        "planned_start": None,
        "technician": "Sam Technician",
        "minutes": 0,
    }
    building = one["building"]
    assert building["contact"] == {"name": "Kim Porter", "phone": "555 0111"}
    assert building["station"] == {"phone": "555 0122", "account": "4471"}
    assert building["authority"] == {"name": "Sample County", "phone": "555 0100"}
    assert building["emergency_phone"] == "911"
    assert building["access"].startswith("Key at the desk")
    (system,) = one["systems"]
    (group,) = system["groups"]
    (main_drain,) = group["lines"]
    assert (group["kind"], group["id"]) == ("riser", str(ours.wet_riser.pk))
    assert main_drain["last_answer"]["answer"] == "pass"
    assert main_drain["cautions"]
    assert one["deficiencies"][main_drain["component"]]
    residual = next(r for r in main_drain["readings"] if r["name"] == "residual_pressure")
    assert residual["unit"] == "psi"
    assert residual["required"]
    assert residual["last"]["typed"] == "70 psi"
    assert residual["limit"]["words"] == "more than 63 psi"
    assert residual["limit"]["computation"] == "main_drain_change"


def test_a_metric_building_is_read_in_its_own_units(ours, tablet, visit):
    last_test(ours)
    with ours.scope():
        type(ours.building).objects.filter(pk=ours.building.pk).update(units="metric")
    (one,) = pulled(tablet)["visits"]
    shown = one["systems"][0]["groups"][0]["lines"][0]["readings"]
    residual = next(r for r in shown if r["name"] == "residual_pressure")
    assert residual["unit"] == "bar"
    assert residual["limit"]["words"] == "more than 4.35 bar"


def test_a_preaction_valve_comes_with_its_guide_and_end_state(ours, tablet, visit):
    line(ours, visit, "preaction_valve", "pad-single-interlock")
    (one,) = pulled(tablet)["visits"]
    preaction = next(s for s in one["systems"] if s["kind"] == "preaction")
    assert preaction["type"] == "preaction_single_electric"
    valve = preaction["groups"][0]["valve"]
    assert valve["device"] == str(ours.devices["preaction_valve"].pk)
    assert valve["tasks"] == ["trip_test", "no_flow_trip_test", "restoration"]
    codes = [item["code"] for item in valve["end_state"]]
    assert codes[0] == "control_valve"
    assert "prime_steady" in codes
    assert "quick_opening_device" not in codes
    words = preaction["groups"][0]["lines"][0]["readings"][0]
    assert (words["quantity"], words["unit"], words["choices"]) == ("word", "word", ["yes", "no"])


def test_only_what_changed_is_sent_again(ours, tablet, visit):
    first = pulled(tablet)
    assert pulled(tablet, first["cursor"])["visits"] == []
    tablet.push(tablets.opened(tablet, visit.pk))
    second = pulled(tablet, first["cursor"])
    (one,) = second["visits"]
    assert one["visit"]["state"] == "open"
    assert [event["kind"] for event in one["events"]] == ["visit.open"]
    assert one["pack_version"] != first["visits"][0]["pack_version"]
    assert pulled(tablet, second["cursor"])["visits"] == []
    assert len(pulled(tablet, "nonsense_at.all")["visits"]) == 1


def test_a_visit_that_was_taken_away_is_withdrawn_with_the_reason(ours, tablet, visit):
    other = tablets.planned(ours)
    cursor = pulled(tablet)["cursor"]
    with ours.scope():
        Visit.objects.filter(pk=other.pk).update(technician=ours.people["manager"])
    tablets.cancel(ours, visit)
    withdrawn = {one["visit"]: one["reason"] for one in pulled(tablet, cursor)["withdrawn"]}
    assert withdrawn == {str(visit.pk): "cancelled", str(other.pk): "given_away"}


def test_a_visit_moved_beyond_reach_is_withdrawn_with_its_day(ours, tablet, visit):
    cursor, day = pulled(tablet)["cursor"], timezone.now().date() + timedelta(days=30)
    for moved in (day, None):
        with ours.scope():
            Visit.objects.filter(pk=visit.pk).update(planned_on=moved)
        told = {"visit": str(visit.pk), "reason": "moved", "planned_on": moved and str(moved)}
        assert pulled(tablet, cursor)["withdrawn"] == [told]


def cursor_of(*visit_ids):
    return urlsafe_b64encode(b"".join(one.bytes + b"\0" * 8 for one in visit_ids)).decode()


def test_a_cursor_with_a_strangers_visit_tells_nothing(ours, theirs, tablet, visit):
    foreign, nobodys = tablets.planned(theirs).pk, new_id()
    withdrawn = pulled(tablet, cursor_of(foreign, nobodys))["withdrawn"]
    told = {"reason": "unknown", "planned_on": None}
    assert withdrawn == [{"visit": str(one), **told} for one in (foreign, nobodys)]


def test_a_colleagues_visit_in_a_cursor_does_not_tell_its_state(ours, tablet, visit):
    with ours.scope():
        Visit.objects.filter(pk=visit.pk).update(technician=ours.people["manager"])
    tablets.cancel(ours, visit)
    (one,) = pulled(tablet, cursor_of(visit.pk))["withdrawn"]
    assert (one["reason"], one["planned_on"]) == ("given_away", None)


def test_a_visit_closed_days_ago_leaves_the_tablet_as_closed(ours, tablet, visit):
    cursor = pulled(tablet)["cursor"]
    with ours.scope():
        long_ago = timezone.now() - timedelta(days=9)
        Visit.objects.filter(pk=visit.pk).update(state="sealed", handed_in_at=long_ago)
    (one,) = pulled(tablet, cursor)["withdrawn"]
    assert one["reason"] == "closed"


@pytest.mark.once
def test_a_cursor_fits_into_an_address_however_many_visits_there_are(ours, tablet):
    for _each in range(sync.MOST_NAMED + 2):
        tablets.planned(ours)
    first = pulled(tablet)
    assert len(first["visits"]) == sync.MOST_NAMED + 2
    assert len(first["cursor"]) < 3_800
    again = pulled(tablet, first["cursor"])
    assert len(again["visits"]) == 2
    assert again["withdrawn"] == []


def test_the_next_fourteen_days_are_in_it_and_what_is_open(ours, tablet):
    today = timezone.now().date()
    for days in (1, 14):
        tablets.planned(ours, title=f"in {days} days", planned_on=today + timedelta(days=days))
    tablets.planned(ours, title="too early", planned_on=today + timedelta(days=15))
    long_ago = today - timedelta(days=60)
    tablets.planned(ours, title="begun and left", planned_on=long_ago, state="open")
    tablets.planned(ours, title="forgotten", planned_on=long_ago)
    titles = [one["visit"]["title"] for one in pulled(tablet)["visits"]]
    assert titles == ["begun and left", "in 1 days", "in 14 days"]


def test_nobody_elses_visits_are_in_it(ours, theirs, tablet, api):
    tablets.planned(theirs)
    manager = Tablet(api(ours.manager), ours.manager)
    own = tablets.planned(ours)
    assert pulled(manager)["visits"] == []
    with ours.scope():
        Visit.objects.filter(pk=own.pk).update(technician=ours.people["manager"])
    assert [one["visit"]["id"] for one in pulled(manager)["visits"]] == [str(own.pk)]
    assert pulled(tablet)["visits"] == []


def test_open_findings_and_running_impairments_come_along(ours, tablet, visit):
    with ours.scope():
        findings.add(
            ours.building,
            subject=("device", ours.devices["wet_valve"].pk),
            grade="impairment",
            text="Found shut",
            by=ours.manager,
        )
    (one,) = pulled(tablet)["visits"]
    assert [(row["class"], row["text"]) for row in one["findings"]] == [
        ("impairment", "Found shut")
    ]
    assert one["findings"][0]["subject_name"] == ours.devices["wet_valve"].name
    assert [row["extent"] for row in one["impairments"]] == ["Found shut"]


def test_the_pack_costs_the_same_for_few_lines_and_many(ours, visit, django_assert_max_num_queries):
    with ours.scope():
        for device in ours.devices.values():
            VisitLine.objects.create(
                visit=visit,
                system=device.system,
                subject_kind="device",
                subject_id=device.pk,
                activity="gauge-wet-quarterly",
            )
        fresh = Visit.objects.select_related("building__jurisdiction", "technician").get(
            pk=visit.pk
        )
        with django_assert_max_num_queries(60):
            pack.pack_of(fresh)
