"""A visit on paper: printed with codes that lead back, typed in with the time it was written."""

import io
import json
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pikepdf
import pypdf
import pytest
import time_machine

from buildings.models import Device
from inspections import blank, entries, pdf, report
from inspections.events.fields import EventRefused
from inspections.models import Event, Finding, Impairment, Reading, Result, Visit, VisitLine
from inspections.record import payload_of

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 22, tzinfo=UTC)
ARRIVED = datetime(2026, 11, 25, 14, tzinfo=UTC)
# Millimetres of a page's sides: ISO 216 for A4, ANSI/ASME Y14.1 for Letter.
SIDES = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}


@pytest.fixture
def planned(ours):
    with time_machine.travel(NOW, tick=False), ours.scope():
        visit = Visit.objects.create(
            building=ours.building,
            technician=ours.people["technician"],
            planned_on=date(2026, 11, 25),
            title="Annual",
        )
        lines = (
            ("riser", ours.wet_riser.pk, "main-drain-annual"),
            ("device", ours.devices["wet_valve"].pk, "control-valve-supervised-monthly"),
            ("device", ours.devices["preaction_valve"].pk, "pad-trip-preaction-full"),
        )
        for kind, pk, activity in lines:
            VisitLine.objects.create(
                visit=visit, subject_kind=kind, subject_id=pk, activity=activity
            )
        yield visit


def on_paper(at, **more):
    return {"paper": {"at": at.isoformat(), **more}}


def main_drain(ours, at, answer="pass"):
    subject = {"kind": "riser", "id": str(ours.wet_riser.pk)}
    payload = {"subject": subject, "activity": "main-drain-annual", "answer": answer}
    return {"kind": "item.set", "payload": payload | on_paper(at)}


def arrival(at):
    return {"kind": "visit.open", "payload": {"at": at.isoformat(), **on_paper(at)}}


def test_codes_are_short_unlike_and_the_same_again():
    ids = [uuid4() for _n in range(400)]
    codes = blank.codes_of(ids)
    assert codes == blank.codes_of(reversed(ids))
    assert len(set(codes.values())) == 400
    assert {len(code) for code in codes.values()} <= {5, 6}
    assert not set("".join(codes.values())) & set("ILOU")


def test_a_code_is_understood_however_it_is_typed(planned):
    for line_id, code in blank.codes_of(planned.lines.values_list("pk", flat=True)).items():
        typed = code.lower().replace("0", "o").replace("1", "l")
        assert blank.line_of(planned, f" {typed[:2]}-{typed[2:]} ") == line_id
    assert blank.line_of(planned, "-----") is None


@pytest.mark.parametrize(("country", "paper"), [("US", "letter"), ("CA", "letter"), ("DE", "A4")])
def test_the_paper_is_the_one_usual_in_the_country(country, paper):
    assert blank.paper_for(country) == paper


def test_the_blank_says_what_the_visit_needs_and_carries_its_codes(ours, planned):
    content = blank.render([planned])
    with pikepdf.open(io.BytesIO(content)) as document:
        told = json.loads(document.attachments["blank.json"].get_file().read_bytes())
        box = [float(side) for side in document.pages[0].mediabox]
    assert box[2:] == pytest.approx([side * 72 / 25.4 for side in SIDES["letter"]], abs=1)
    text = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages)
    lines = told[0]["lines"]
    assert set(lines.values()) == {str(pk) for pk in planned.lines.values_list("pk", flat=True)}
    for words in (*lines, "Kim Porter", "Key at the desk", "4471", "Offices, wet", "Archive"):
        assert words in text
    for words in ("Pass", "Not done", "Caution A", "End state", "Fire watch", "Signatures"):
        assert words in text


def test_a_valves_end_state_is_asked_once_where_it_is_left(ours, planned):
    Device.objects.filter(pk=ours.devices["panel"].pk).update(riser=None)
    VisitLine.objects.create(
        visit=planned,
        subject_kind="device",
        subject_id=ours.devices["panel"].pk,
        activity="releasing-panel-battery",
    )
    groups = [one for system in blank.facts(planned)["systems"] for one in system["groups"]]
    pads = [one for one in groups if any("pad-trip" in line["activity"] for line in one["lines"])]
    valves = [one["valve"]["device"] for one in groups if one["valve"]]
    assert len(groups) > len(pads)
    assert valves.count(str(ours.devices["preaction_valve"].pk)) == 1


def test_what_was_written_down_counts_at_that_time_and_keeps_both(ours, planned):
    later = ARRIVED + timedelta(minutes=40)
    entries.append(planned, [arrival(ARRIVED), main_drain(ours, later)], by=ours.office)
    row = Event.objects.get(kind="item.set")
    assert (row.version, row.happened_at, row.received_at) == (2, later, NOW)
    paper = payload_of(row)["paper"]
    assert datetime.fromisoformat(paper["at"]) == later
    assert datetime.fromisoformat(paper["typed_at"]) == NOW
    planned.refresh_from_db()
    assert (planned.state, planned.opened_at) == ("open", ARRIVED)
    assert planned.performed_on == date(2026, 11, 25)
    assert Result.objects.get().recorded_at == later


@pytest.mark.parametrize(
    ("at", "opened", "words"),
    [
        (NOW + timedelta(minutes=1), True, "has passed"),
        (ARRIVED - timedelta(minutes=1), True, "not before its arrival on 25 November 2026, 09:00"),
        (ARRIVED - timedelta(days=1), False, "not before the day it is planned for"),
    ],
)
def test_a_time_outside_the_visit_is_refused_in_words(ours, planned, at, opened, words):
    if opened:
        entries.append(planned, [arrival(ARRIVED)], by=ours.office)
    with pytest.raises(EventRefused, match=words) as refused:
        entries.append(planned, [main_drain(ours, at)], by=ours.office)
    assert refused.value.field == "payload.paper.at"
    assert not Result.objects.exists()


def test_an_impairment_found_on_paper_runs_from_the_time_on_the_paper(ours, planned):
    entries.append(planned, [arrival(ARRIVED)], by=ours.office)
    found = {
        "subject": {"kind": "riser", "id": str(ours.wet_riser.pk)},
        "class": "impairment",
        "text": "Valve found shut",
        **on_paper(ARRIVED + timedelta(hours=1)),
    }
    entries.append(planned, [{"kind": "finding.add", "payload": found}], by=ours.office)
    assert Finding.objects.get().found_at == ARRIVED + timedelta(hours=1)
    assert Impairment.objects.get().started_at == ARRIVED + timedelta(hours=1)


def test_the_report_says_what_came_from_paper(ours, planned):
    entries.append(planned, [arrival(ARRIVED), main_drain(ours, ARRIVED)], by=ours.office)
    planned.refresh_from_db()
    facts = report.facts(planned, 1, "x-y")
    (told,) = [one for system in facts["systems"] for one in system["results"]]
    assert facts["from_paper"] == 2
    assert told["paper"]["typed_by"] == "Sam Office"
    context = {"report": facts, "sha256": "0" * 64, "qr": "", "drawn": {}}
    page = " ".join(pdf.render_to_string("inspections/report.html", context).split())
    assert "taken down on paper at 25 November 2026, 09:00, typed in by" in page
    assert "at 25 November 2026, 17:00" in page
    assert "2 entries of this visit were taken down on paper" in page


def test_the_desk_types_in_a_line_found_by_its_code(ours, planned, as_office):
    line = planned.lines.get(activity="main-drain-annual")
    code = blank.codes_of(planned.lines.values_list("pk", flat=True))[line.pk]
    page = as_office.get(f"/visits/{planned.pk}/paper/")
    assert code in page.content.decode()
    assert as_office.get(f"/visits/{planned.pk}/paper/?code=zzzzz").status_code == 404
    to = as_office.get(f"/visits/{planned.pk}/paper/?code={code.lower()}").url
    assert to == f"/paper/{line.pk}/"
    given = {"at": "2026-11-25T09:40", "answer": "pass", "read_residual_pressure": "64"}
    refused = as_office.post(to, given | {"at": "2026-11-25T23:40"})
    assert refused.status_code == 422
    assert "a moment that has passed" in refused.content.decode()
    assert as_office.post(to, given | {"once": "1"}).url == f"/visits/{planned.pk}/paper/"
    assert (Result.objects.get().answer, Reading.objects.get().typed) == ("pass", "64 psi")
    assert as_office.post(to, given | {"answer": "fail", "once": "2"}).status_code == 302
    assert [(one.answer, one.disputed) for one in Result.objects.all()] == [("fail", False)]


def test_a_tablets_answer_is_never_replaced_from_paper(ours, planned, as_office):
    entry = main_drain(ours, ARRIVED)
    del entry["payload"]["paper"]
    entries.append(planned, [entry], by=ours.technician, via=Event.Via.TABLET)
    line = planned.lines.get(activity="main-drain-annual")
    given = {"at": "2026-11-25T09:40", "answer": "fail", "once": "1"}
    assert as_office.post(f"/paper/{line.pk}/", given).status_code == 302
    assert (Result.objects.get().answer, Result.objects.get().disputed) == ("fail", True)


def test_arrival_finding_and_end_state_are_typed_in_too(ours, planned, as_office):
    base = f"/visits/{planned.pk}/paper"
    told = {"at": "2026-11-25T09:00", "contact": "Front desk", "taken_by": "A. Fitter"}
    assert as_office.post(f"{base}/arrival/", told).status_code == 302
    found = {
        "at": "2026-11-25T09:30",
        "subject": f"riser:{ours.wet_riser.pk}",
        "grade": "noncritical",
        "text": "Sign gone",
        "count": 1,
    }
    assert as_office.post(f"{base}/finding/", found).status_code == 302
    device = ours.devices["preaction_valve"].pk
    seen = {"at": "2026-11-25T10:30", "control_valve": "proven"}
    assert as_office.post(f"{base}/end-state/{device}/", seen).status_code == 302
    kinds = [row.kind for row in Event.objects.order_by("received_at", "happened_at")]
    assert kinds == ["visit.open", "finding.add", "proof.set"]
    assert Finding.objects.get().visit_id == planned.pk
    assert payload_of(Event.objects.get(kind="visit.open"))["paper"]["by"] == "A. Fitter"
    assert as_office.get(f"{base}/end-state/{uuid4()}/").status_code == 404


def test_the_days_visits_are_asked_for_at_once(ours, planned, as_office, api, monkeypatch):
    monkeypatch.setattr(pdf, "write", lambda *_a, **_k: b"%PDF-1.7")
    assert (
        f"/visits/{planned.pk}/blank/" in as_office.get(f"/visits/{planned.pk}/").content.decode()
    )
    assert as_office.get(f"/visits/{planned.pk}/blank/").content == b"%PDF-1.7"
    assert as_office.post("/visits/blanks/", {"day": "2026-11-25"}).content == b"%PDF-1.7"
    none = as_office.post("/visits/blanks/", {"day": "2026-11-26"})
    assert (none.status_code, "No visit that is still" in none.content.decode()) == (422, True)
    client = api(ours.technician)
    answer = client.get(f"/api/v1/visits/{planned.pk}/blank/", {"paper": "A4"})
    assert answer["Content-Type"] == "application/pdf"
    assert client.get("/api/v1/visits/blanks/", {"day": "2026-11-25"}).content == b"%PDF-1.7"
    assert client.get("/api/v1/visits/blanks/", {"day": "2026-11-26"}).status_code == 404
    for address in (f"/api/v1/visits/{planned.pk}/blank/", f"/visits/{planned.pk}/blank/"):
        here = client if address.startswith("/api/") else as_office
        assert here.get(address, {"paper": "A0"}).status_code == 400
