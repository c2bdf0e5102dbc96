"""Water shut for work: its clock, its proof, and what holds a visit while it is shut.

Which test shows a valve open again: main drain test to the edition of 2011, valve status test from
that of 2014 on (fixtures/catalogue/itm/parts_to_tests.csv, from memory).
"""

from datetime import date
from uuid import UUID

import pytest

from buildings.models import Adoption
from contractors.models import new_id
from inspections import evidence, outages, pack, projections
from inspections.catalogue_files import catalogue
from inspections.models import (
    Finding,
    Impairment,
    ImpairmentStep,
    Outage,
    Quarantined,
    Visit,
)
from tests.inspections import tablets

pytestmark = pytest.mark.django_db


class Shutdown:
    """One outage as a tablet records it."""

    def __init__(self, tablet, scene, visit, device="wet_valve"):
        self.tablet, self.visit = tablet, visit.pk
        self.id = str(new_id())
        self.subject = {"kind": "device", "id": str(scene.devices[device].pk)}

    def entry(self, kind, **payload):
        key = "outage" if kind.startswith("outage") else "impairment"
        more = {"stream": "impairment", "stream_id": self.id}
        return self.tablet.entry(self.visit, kind, {key: self.id, **payload}, **more)

    def start(self):
        more = {"extent": "Offices without water", "attended": True, "person": "Sam"}
        return self.entry("outage.start", subject=self.subject, **more)

    def seen_open(self, result="proven"):
        payload = {"device": self.subject["id"], "item": "control_valve", "result": result}
        return self.tablet.entry(self.visit, "proof.set", payload | {"value": "12 turns, locked"})

    def flow(self, activity="control-valve-status-test", answer="pass", **more):
        payload = {"subject": self.subject, "activity": activity, "answer": answer}
        return self.tablet.entry(self.visit, "item.set", payload, **more)

    def impairment(self):
        return self.entry(
            "impairment.start",
            subject=self.subject,
            extent="Offices without water",
            nature="planned",
            unknown_start=False,
        )

    def end(self, *proofs, **more):
        named = [one["id"] for one in proofs]
        return self.entry("outage.end", result="restored_proven", proofs=named, **more)


@pytest.fixture
def shut(tablet, ours, visit):
    return Shutdown(tablet, ours, visit)


def test_it_ends_with_the_valve_seen_open_and_water_flowing_after_it(ours, tablet, shut):
    start, seen, flow = shut.start(), shut.seen_open(), shut.flow()
    assert tablet.statuses(start, seen, flow, shut.end(seen, flow)) == ["applied"] * 4
    with ours.scope():
        outage = Outage.objects.get()
        assert (outage.ended_at is not None, outage.proof_missing) == (True, False)
        assert not Impairment.objects.exists()


@pytest.mark.parametrize(
    ("named", "said"),
    [
        ((), "entries of this system"),
        (("seen",), "after reopening a valve"),
        (("flow",), "the valve seen open"),
        (("bad_flow", "seen"), "after reopening a valve"),
    ],
)
def test_without_its_proofs_an_end_is_kept_aside_and_the_clock_runs_on(
    ours, tablet, shut, named, said
):
    entries = {"start": shut.start(), "seen": shut.seen_open()}
    bad = "bad_flow" in named
    entries["bad_flow" if bad else "flow"] = shut.flow(answer="fail" if bad else "pass")
    tablet.push(*entries.values())
    refused = tablet.push(shut.end(*(entries[name] for name in named)))[0]
    assert refused["status"] == "rejected"
    assert said in refused["reason"].lower()
    with ours.scope():
        assert Outage.objects.get().ended_at is None
        assert Quarantined.objects.count() == 1


def test_what_was_recorded_before_the_valve_was_shut_proves_nothing(ours, tablet, shut):
    seen, flow = shut.seen_open(), shut.flow()
    tablet.push(seen, flow, shut.start())
    refused = tablet.push(shut.end(seen, flow))[0]
    assert (refused["status"], "recorded since" in refused["reason"]) == ("rejected", True)


def test_another_systems_test_proves_nothing(ours, tablet, visit, shut):
    other = Shutdown(tablet, ours, visit, "valve")
    start, seen, flow = shut.start(), shut.seen_open(), other.flow()
    tablet.push(start, seen, flow)
    assert tablet.push(shut.end(seen, flow))[0]["status"] == "rejected"


def test_what_was_taken_back_later_proves_nothing(ours, tablet, shut):
    start, seen, flow = shut.start(), shut.seen_open(), shut.flow()
    tablet.push(start, seen, flow, shut.seen_open("not_proven"))
    assert tablet.push(shut.end(seen, flow))[0]["status"] == "rejected"


def test_the_building_s_edition_says_which_test_it_takes(ours, tablet, shut):
    drain = "main-drain-after-valve"
    with ours.scope():
        assert (
            outages.flow_test_after(ours.building, date(2026, 3, 1)) == "control-valve-status-test"
        )
        Adoption.objects.update(edition=2011)
        assert outages.flow_test_after(ours.building, date(2026, 3, 1)) == drain
        Adoption.objects.all().delete()
        assert outages.flow_test_after(ours.building, date(2026, 3, 1)) == drain
    start, seen, status = shut.start(), shut.seen_open(), shut.flow()
    tablet.push(start, seen, status)
    assert tablet.push(shut.end(seen, status))[0]["status"] == "rejected"
    full = shut.flow(drain)
    assert tablet.statuses(full, shut.end(seen, full)) == ["applied"] * 2


def test_an_outage_that_became_an_impairment_ends_by_the_same_proof(ours, tablet, shut):
    start, left = shut.start(), shut.impairment()
    tag = shut.entry("impairment.tag", state="hung", place="at the valve", at=tablets.WALL)
    seen, flow = shut.seen_open(), shut.flow()
    assert set(tablet.statuses(start, left, tag, seen, flow)) == {"applied"}
    with ours.scope():
        impairment = Impairment.objects.get()
        assert impairment.ended_at is None
        assert ImpairmentStep.objects.get().what == "tag hung"
    assert tablet.statuses(shut.end(seen, flow)) == ["applied"]
    with ours.scope():
        impairment.refresh_from_db()
        assert impairment.ended_how == "restored_proven"


def test_found_shut_is_an_impairment_at_once_and_ends_by_proof(ours, tablet, visit, shut):
    found = shut.entry(
        "impairment.start",
        subject=shut.subject,
        extent="Offices",
        nature="emergency",
        unknown_start=True,
    )
    seen, flow = shut.seen_open(), shut.flow()
    tablet.push(found, seen, flow)
    bare = shut.entry("impairment.end", result="restored_proven", proofs=[seen["id"]])
    assert tablet.push(bare)[0]["status"] == "rejected"
    named = [seen["id"], flow["id"]]
    whole = shut.entry("impairment.end", result="restored_proven", proofs=named)
    assert tablet.statuses(whole) == ["applied"]
    with ours.scope():
        assert Impairment.objects.get().ended_at is not None


def test_restored_with_proof_missing_takes_a_licence_and_leaves_a_finding(ours, tablet, shut):
    missing = {"result": "restored_proof_missing", "reason": "no drain to flow into"}
    tablet.push(shut.start())
    made_up = shut.entry("outage.end", licence="made-up-1", **missing)
    assert tablet.push(made_up)[0]["status"] == "rejected"
    pulled = tablet.client.get("/api/v1/sync/pull/", {"tablet": tablet.id})
    licence = pulled.data["member"]["licence"]
    assert tablet.statuses(shut.entry("outage.end", licence=licence, **missing)) == ["applied"]
    with ours.scope():
        finding = Finding.objects.get()
        assert (finding.grade, finding.state) == ("critical", "open")
        assert finding.text == "Restored, proof missing: no drain to flow into"
        assert Outage.objects.get().proof_missing


def handed_in(tablet, ours, visit, *entries):
    work = [*tablets.worked(tablet, ours, visit.pk), *entries]
    work += tablets.signed(tablet, visit.pk, work)
    tablet.push(*work)
    return tablet.push(tablet.hand_in(visit.pk, work))[0]


def test_a_visit_with_water_shut_is_not_handed_in(ours, tablet, visit, shut):
    tablet.push(shut.start())
    refused = handed_in(tablet, ours, visit)
    assert refused["status"] == "rejected"
    assert [one["lack"] for one in refused["missing"]] == ["water_shut"]
    assert "water still shut" in refused["reason"]


def test_left_as_an_impairment_it_is_handed_in(ours, tablet, visit, shut):
    start = shut.start()
    given = {"impairments": [shut.id], "reason": "part on order"}
    leaving = tablet.entry(visit.pk, "visit.leave", given)
    tablet.push(start, leaving)
    work = [*tablets.worked(tablet, ours, visit.pk), leaving]
    work += tablets.signed(tablet, visit.pk, work)
    tablet.push(*work[:3], *work[3:4], *work[5:])
    attended = tablet.push(tablet.hand_in(visit.pk, work))[0]
    assert [one["lack"] for one in attended["missing"]] == ["water_shut"]
    assert tablet.statuses(shut.impairment(), tablet.hand_in(visit.pk, work)) == ["applied"] * 2
    with ours.scope():
        visit.refresh_from_db()
        assert visit.state == Visit.State.HANDED_IN


def test_an_answer_for_many_at_once_is_no_answer_for_a_valve(ours, tablet, visit, shut):
    payload = {"subject": shut.subject, "answer": "seen_in_order", "bulk": True}
    looked_at = next(
        one.id
        for one in catalogue().activities.values()
        if (one.component, one.kind) == ("control_valve", "inspection")
    )
    valve = tablet.entry(visit.pk, "item.set", payload | {"activity": looked_at})
    refused = tablet.push(valve)[0]
    assert (refused["status"], "payload.bulk" in refused["reason"]) == ("rejected", True)


def test_the_pack_tells_what_is_shut_and_which_test_follows(ours, tablet, visit, shut):
    tablet.push(shut.start())
    with ours.scope():
        told = pack.pack_of(Visit.objects.get(pk=visit.pk))
    assert [(one["id"], one["impaired"]) for one in told["outages"]] == [(shut.id, False)]
    assert told["outages"][0]["system"] == str(ours.wet.pk)
    assert told["flow_test"]["activity"] == "control-valve-status-test"
    assert told["building"]["attended_minutes"] == 60
    assert [one["licence"] is not None for one in told["people"]] == [True]


def test_at_the_desk_an_outage_takes_the_same_proof(ours, tablet, shut):
    start, left, seen, flow = shut.start(), shut.impairment(), shut.seen_open(), shut.flow()
    tablet.push(start, left, seen, flow)
    proofs = [UUID(seen["id"]), UUID(flow["id"])]
    with ours.scope():
        impairment = Impairment.objects.get()
        offered = {one.id for one in evidence.restoration_proofs(impairment)}
        assert set(proofs) <= offered
        with pytest.raises(evidence.NotProven, match="seen open and secured"):
            evidence.end_proven(impairment, proofs[1:], by=ours.manager, via="page")
        evidence.end_proven(impairment, proofs, by=ours.manager, via="page")
        impairment.refresh_from_db()
        assert impairment.ended_how == "restored_proven"
        assert Outage.objects.get().ended_at == impairment.ended_at


def test_through_the_api_an_outage_takes_the_same_proof(ours, api, tablet, visit, shut):
    start, seen = shut.start(), shut.seen_open()
    tablet.push(start, seen)
    payload = {"outage": shut.id, "result": "restored_proven", "proofs": [seen["id"]]}
    ending = [{"kind": "outage.end", "payload": payload}]
    answer = api(ours.manager).post(f"/api/v1/visits/{visit.pk}/entries/", ending, format="json")
    assert answer.status_code == 400
    assert "flow water" in str(answer.data["errors"])
    with ours.scope():
        assert Outage.objects.get().ended_at is None


def test_what_is_derived_again_is_the_same(ours, tablet, shut):
    start, left, seen, flow = shut.start(), shut.impairment(), shut.seen_open(), shut.flow()
    tablet.push(start, left, seen, flow, shut.end(seen, flow))
    with ours.scope():
        before = list(Outage.objects.values()), list(Impairment.objects.values())
        projections.rebuild()
        assert (list(Outage.objects.values()), list(Impairment.objects.values())) == before
