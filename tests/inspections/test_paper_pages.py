"""A visit typed in from paper: water shut, steps of a trip test, signatures, hand-in."""

import re
from datetime import UTC, date, datetime

import pytest
import time_machine

from inspections import blank, entries, guided, outages, projections, report
from inspections.events.fields import EventRefused
from inspections.models import (
    Event,
    Finding,
    Impairment,
    ImpairmentStep,
    Outage,
    Result,
    Visit,
    VisitLine,
)
from inspections.record import payload_of

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 22, tzinfo=UTC)
MAIN_DRAIN = "main-drain-annual"
# Hours of the day in the building's time, five behind UTC in November.
DAY = "2026-11-25T"


@pytest.fixture
def planned(ours):
    with time_machine.travel(NOW, tick=False), ours.scope():
        visit = Visit.objects.create(
            building=ours.building,
            technician=ours.people["technician"],
            planned_on=date(2026, 11, 25),
            title="Annual",
        )
        VisitLine.objects.create(
            visit=visit, subject_kind="riser", subject_id=ours.wet_riser.pk, activity=MAIN_DRAIN
        )
        yield visit


@pytest.fixture
def typed(planned, as_office):
    """Type a page of the visit in, and return the answer."""

    def send(page, at, **given):
        return as_office.post(f"/visits/{planned.pk}/paper/{page}/", {"at": DAY + at, **given})

    assert send("arrival", "09:00", contact="Front desk").status_code == 302
    return send


def words_of(answer):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def last(kind):
    return Event.objects.filter(kind=kind).order_by("received_at", "position").last()


def test_water_shut_on_paper_ends_only_by_proof_and_keeps_every_step(ours, planned, typed):
    valve = f"device:{ours.devices['wet_valve'].pk}"
    shut = {"subject": valve, "how": "attended", "extent": "Floors 1 to 3", "person": ""}
    refused = typed("shut", "09:30", **shut)
    assert refused.status_code == 422
    assert "Name who stayed at the valve" in words_of(refused)
    assert "Floors 1 to 3" in words_of(refused)
    assert typed("shut", "09:30", **shut | {"person": "A. Fitter"}).status_code == 302
    outage = Outage.objects.get()
    assert outage.started_at == datetime(2026, 11, 25, 14, 30, tzinfo=UTC)
    out = f"out/{outage.pk}"
    second = typed("shut", "09:35", **shut | {"person": "A. Fitter"})
    assert "Why another one was shut" in words_of(second)
    assert typed(f"{out}/tag", "09:32", state="hung", place="at the valve").status_code == 302
    told = {"who": "owner", "name": "Kim Porter", "how": "phone"}
    assert typed(f"{out}/told", "09:33", **told).status_code == 302
    assert typed(f"{out}/watch", "09:40", who="B. Walker", until=DAY + "09:30").status_code == 422
    assert typed(f"{out}/watch", "09:40", who="B. Walker", until=DAY + "09:50").status_code == 302
    proven = {"how": "restored_proven", "reason": ""}
    bare = typed(f"{out}/restored", "10:00", **proven)
    assert bare.status_code == 422
    assert "the valve seen open, its turns counted, secured" in words_of(bare)
    seen = {"open": "12 turns, locked", "flow": "pass"}
    unread = typed(f"{out}/restored", "10:00", **proven | seen)
    assert "A reading is wanted with this test" in words_of(unread)
    names = [one["name"] for one in blank.facts(planned)["flow_test"]["readings"]]
    whole = proven | seen | {f"read_{name}": "64" for name in names}
    assert typed(f"{out}/restored", "09:20", **whole).status_code == 422
    assert Result.objects.count() == 0
    assert typed(f"{out}/restored", "10:00", **whole).status_code == 302
    outage.refresh_from_db()
    assert outage.ended_at == datetime(2026, 11, 25, 15, tzinfo=UTC)
    assert not outage.proof_missing
    paper = payload_of(last("outage.end"))["paper"]
    assert datetime.fromisoformat(paper["at"]) == outage.ended_at
    kinds = [row.kind for row in Event.objects.filter(stream="impairment").order_by("position")]
    assert kinds == [
        *("outage.start", "impairment.tag", "impairment.notice", "impairment.watch"),
        "outage.end",
    ]
    assert typed(f"{out}/unknown", "10:00").status_code == 404


def test_found_shut_is_an_impairment_and_without_proof_a_licence_is_wanted(
    ours, planned, typed, as_member
):
    found = {"subject": f"system:{ours.wet.pk}", "how": "found", "extent": "Offices"}
    assert typed("shut", "09:30", **found).status_code == 302
    one = Impairment.objects.get()
    assert (one.unknown_start, one.kind) == (True, "emergency")
    unproven = {"how": "restored_proof_missing", "reason": "no time for the drain test"}
    assert typed(f"out/{one.pk}/restored", "10:00", **unproven).status_code == 403
    assert typed("leave", "10:10", impairments=[str(one.pk)], reason="parts").status_code == 302
    left = projections.picture(planned.pk).left_impaired
    assert left.payload["impairments"] == [str(one.pk)]
    address = f"/visits/{planned.pk}/paper/out/{one.pk}/restored/"
    licensed = as_member(ours.technician)
    assert licensed.post(address, {"at": DAY + "10:20", **unproven}).status_code == 302
    one.refresh_from_db()
    assert one.ended_how == "restored_proof_missing"
    assert Finding.objects.get().text.startswith("Restored, proof missing")


def test_nobody_stayed_makes_a_shutdown_an_impairment_with_its_steps(ours, planned, typed):
    shut = {"how": "attended", "extent": "Offices", "person": "A. Fitter"}
    typed("shut", "09:30", subject=f"system:{ours.wet.pk}", **shut)
    out = f"out/{Outage.objects.get().pk}"
    typed(f"{out}/tag", "09:31", state="hung", place="at the valve")
    assert typed(f"{out}/unattended", "09:45").status_code == 302
    one = Impairment.objects.get()
    assert one.started_at == datetime(2026, 11, 25, 14, 30, tzinfo=UTC)
    assert [step.what for step in ImpairmentStep.objects.all()] == ["tag hung"]


def test_steps_of_a_trip_test_are_typed_in_as_done_as_seen_and_when(ours, planned, typed):
    device = ours.devices["preaction_valve"]
    steps = f"steps/{device.pk}/trip_test"
    at = guided.standing(device, "trip_test", [])
    codes = [one.code for one in at.steps]
    assert codes[0] == "as_found"
    found = typed(f"{steps}/as_found", "09:10", went="as_expected", seen_gauge_supply="85")
    assert found.url == f"/visits/{planned.pk}/paper/{steps}/{codes[1]}/"
    payload = payload_of(last("step.add"))
    assert (payload["seen"]["gauge_supply_psi"], payload["deviation"]) == ("85", False)
    assert payload["seen"]["panel"] == "normal"
    wrong = typed(f"{steps}/{codes[1]}", "09:12", went="as_expected")
    assert wrong.status_code == 302
    late = codes.index("shut_control")
    refused = typed(f"{steps}/{codes[late]}", "09:40", went="as_expected")
    assert refused.status_code == 422
    assert "Not typed in before it" in words_of(refused)
    done = typed(f"{steps}/{codes[late]}", "09:40", went="as_expected", reason="no other valve")
    assert done.status_code == 302
    payload = payload_of(last("step.add"))
    assert (payload["deviation"], payload["reason"]) == (True, "no other valve")
    assert Outage.objects.get().started_at == datetime(2026, 11, 25, 14, 40, tzinfo=UTC)
    assert last("step.add").happened_at == datetime(2026, 11, 25, 14, 40, tzinfo=UTC)
    assert typed(f"{steps}/nothing", "09:40").status_code == 404
    assert typed(f"steps/{device.pk}/unknown/as_found", "09:40").status_code == 404


def test_a_step_seen_otherwise_keeps_what_was_seen_and_its_times(ours, planned, typed, as_office):
    device = ours.devices["preaction_valve"]
    steps = f"steps/{device.pk}/trip_test"
    at = guided.standing(device, "trip_test", [])
    step = next(one for one in at.steps if "trip_seconds" in one.timers)
    keys = {f"seen_{key}": "yes" for key, one in step.expected.items() if one is True}
    given = {"went": "otherwise", "reason": "the rest was not written down", "seen_panel": "normal"}
    odd = {"time_trip_seconds": "fast", "seen_gauge_system": "-4"}
    refused = typed(f"{steps}/{step.code}", "09:30", **given | keys | odd)
    said = words_of(refused)
    assert refused.status_code == 422
    assert said.count("digits such as 82 or 62.5") == 1 + ("gauge_system" in step.expected)
    kept = typed(f"{steps}/{step.code}", "09:30", **given | keys | {"time_trip_seconds": "12,5"})
    assert kept.status_code == 302
    payload = payload_of(last("step.add"))
    assert (payload["seen"]["trip_seconds"], payload["seconds"]) == ("12.5", "12.5")
    assert payload["seen"]["panel"] == "normal"
    assert payload["expected"]["panel"] == "alarm"
    listed = words_of(as_office.get(f"/visits/{planned.pk}/paper/{steps}/"))
    assert "out of order" in listed
    assert "from paper" in listed


def test_what_is_missing_refuses_the_hand_in_and_then_both_signatures_stand(
    ours, planned, typed, as_office
):
    page = words_of(as_office.get(f"/visits/{planned.pk}/paper/hand-in/"))
    assert "2 missing" in page
    signed = {"technician": "Sam Technician", "owner": "owner_rep", "name": "Kim Porter"}
    assert typed("hand-in", "11:00", **signed).status_code == 409
    assert not Event.objects.filter(kind="signature.add").exists()
    line = planned.lines.get()
    given = {"at": DAY + "09:40", "answer": "pass", "read_residual_pressure": "64"}
    assert as_office.post(f"/paper/{line.pk}/", given).status_code == 302
    assert typed("station", "09:05", state="on").status_code == 422
    assert typed("station", "09:05", state="on", until=DAY + "12:00").status_code == 302
    assert "still on test" in words_of(typed("hand-in", "11:00", **signed))
    off = {"state": "off", "signals": "waterflow 09:41"}
    assert typed("station", "10:30", **off).status_code == 302
    assert typed("note", "10:40", text="Spare heads low").status_code == 302
    nobody = {"technician": "Sam Technician", "owner": "absent", "name": "", "reason": ""}
    assert "Say why there is no signature" in words_of(typed("hand-in", "11:00", **nobody))
    done = typed(
        "hand-in", "11:00", **nobody | {"reason": "office shut", "taken_by": "Sam Technician"}
    )
    assert done.url == planned.get_absolute_url()
    planned.refresh_from_db()
    assert planned.state in ("handed_in", "sealed")
    assert planned.handed_in_at == datetime(2026, 11, 25, 16, tzinfo=UTC)
    facts = report.facts(planned, 1, "x-y")
    assert [one["role"] for one in facts["signatures"]] == ["technician", "absent"]
    assert {one["paper"]["typed_by"] for one in facts["signatures"]} == {"Sam Office"}
    assert "signed on paper" in words_of(as_office.get(planned.get_absolute_url()))
    assert typed("note", "10:50", text="late").status_code == 409


def test_an_apprentices_name_on_paper_does_not_sign_for_the_licensed_one(ours, planned, typed):
    apprentice = ours.people["trainer"]
    Visit.objects.filter(pk=planned.pk).update(second=apprentice)
    signed = {"technician": apprentice.name.upper(), "owner": "absent", "reason": "x"}
    refused = typed("hand-in", "11:00", **signed)
    assert refused.status_code == 422
    assert ours.people["technician"].name in words_of(refused)


def test_a_finding_open_before_is_linked_from_paper_instead_of_doubled(ours, planned, typed):
    riser = f"riser:{ours.wet_riser.pk}"
    first = {"subject": riser, "grade": "noncritical", "text": "Sign gone", "count": 1}
    typed("finding", "09:20", **first)
    known = Finding.objects.get()
    again = {"again": str(known.pk), "count": 2, "text": "still gone"}
    assert typed("finding", "09:30", **again).status_code == 302
    known.refresh_from_db()
    assert (Finding.objects.count(), known.count) == (1, 2)


def test_the_api_types_the_same_in_from_paper(ours, planned, typed, api):
    client, base = api(ours.technician), f"/api/v1/visits/{planned.pk}/"
    paper = {"at": "2026-11-25T14:40:00+00:00"}
    subject = {"kind": "device", "id": str(ours.devices["wet_valve"].pk)}
    shut = {"subject": subject, "extent": "Offices", "attended": True, "person": "A. Fitter"}
    begun = client.post(
        f"{base}entries/",
        [{"kind": "outage.start", "payload": shut | {"paper": paper}}],
        format="json",
        headers={"Idempotency-Key": "1"},
    )
    assert begun.status_code == 201, begun.content
    outage = Outage.objects.get()
    ids = [f"018f0000-0000-7000-8000-00000000000{n}" for n in (1, 2)]
    later = {"at": "2026-11-25T15:00:00+00:00"}
    test = outages.flow_test_after(ours.building, date(2026, 11, 25))
    proof = {"device": subject["id"], "item": "control_valve", "result": "proven", "paper": later}
    drain = {"subject": subject, "activity": test, "answer": "pass", "paper": later}
    end = {"outage": str(outage.pk), "result": "restored_proven", "proofs": ids, "paper": later}
    whole = [
        {"id": ids[0], "kind": "proof.set", "payload": proof},
        {"id": ids[1], "kind": "item.set", "payload": drain},
        {"kind": "outage.end", "stream_id": str(outage.pk), "payload": end},
    ]
    once = {"Idempotency-Key": "2"}
    short = [whole[0], whole[2] | {"payload": end | {"proofs": ids[:1]}}]
    refused = client.post(f"{base}entries/", short, format="json", headers=once)
    assert refused.status_code == 400
    assert not Event.objects.filter(kind="proof.set").exists()
    once = {"Idempotency-Key": "3"}
    done = client.post(f"{base}entries/", whole, format="json", headers=once)
    assert done.status_code == 201, done.content
    outage.refresh_from_db()
    assert outage.ended_at == datetime(2026, 11, 25, 15, tzinfo=UTC)
    early = client.post(f"{base}hand-in/", {"paper": {"at": "soon"}}, format="json")
    assert early.status_code == 400
    held = client.post(f"{base}hand-in/", {"paper": later}, format="json")
    assert held.status_code == 409


def test_the_blank_prints_the_steps_where_something_is_tested(ours, planned):
    (group,) = [one for system in blank.facts(planned)["systems"] for one in system["groups"]]
    assert group["valve"] is not None
    guides = group["valve"]["guides"]
    assert [guide["task"] for guide in guides][-1] == "restoration"
    assert guides[0]["words"] == "Alarm and main drain test"
    first = guides[0]["steps"][0]
    assert first["code"] == "as_found"
    assert all(figure["expected"] == "" for figure in first["figures"])
    assert any(step["timers"] for step in guides[0]["steps"])


def test_a_signature_keeps_where_it_was_put_and_how_it_was_drawn(ours, planned, typed, as_office):
    sign = {"role": "technician", "name": "Sam Technician", "shown": "0" * 64}
    place = {"latitude": "44.70000", "longitude": "-70.59000", "accuracy_m": "12"}
    given = sign | {"place": place, "strokes": "10,20 12,24;40,60"}
    entries.append(planned, [{"kind": "signature.add", "payload": given}], by=ours.technician)
    (told,) = report.facts(planned, 1, "x-y")["signatures"]
    assert told["place"] == "44.70000, -70.59000 ± 12 m"
    assert told["path"] == "M10,20 L12,24 M40,60"
    assert "M10,20 L12,24" in as_office.get(planned.get_absolute_url()).content.decode()
    for bad in ({"strokes": "10,20 <b>"}, {"place": {"latitude": "north"}}):
        entry = {"kind": "signature.add", "payload": sign | bad}
        with pytest.raises(EventRefused):
            entries.append(planned, [entry], by=ours.technician)
