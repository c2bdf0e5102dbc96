"""Desk pages of visits: planned, moved, reviewed, corrected, and what stands first on them."""

import io
import re
from datetime import UTC, date, datetime

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from contractors import outbox
from contractors.models import OutboxMessage, new_id
from inspections import findings, projections, record, visits
from inspections.models import Event, Photo, Reading, Report, Visit, VisitLine

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def visit(ours):
    return planned(ours)


def planned(scene, **more):
    with scene.scope():
        usual = {"planned_on": date(2026, 11, 25), "technician": scene.people["technician"]}
        made = Visit.objects.create(
            building=scene.building, title="Main drain, wet riser", **(usual | more)
        )
        VisitLine.objects.create(
            visit=made,
            system=scene.wet,
            subject_kind="riser",
            subject_id=scene.wet_riser.pk,
            activity="main-drain-annual",
        )
    return made


def entry(scene, visit, kind, **payload):
    return record.visit_entry(visit, kind, payload, by=scene.technician)


def about(scene):
    subject = {"kind": "riser", "id": str(scene.wet_riser.pk)}
    return {"subject": subject, "activity": "main-drain-annual"}


def read(scene, visit, name, psi):
    return entry(
        scene, visit, "reading.add", **about(scene),
        name=name, typed=f"{psi} psi", value={"value": str(psi), "unit": "psi"},
    )  # fmt: skip


def work(scene, visit, *more, at=NOW):
    with scene.scope():
        entries = [
            entry(scene, visit, "visit.open", at=at.isoformat(), contact="the caretaker"),
            read(scene, visit, "static_pressure", 82),
            read(scene, visit, "residual_pressure", 64),
            entry(scene, visit, "item.set", **about(scene), answer="pass"),
            *more,
        ]
        record.append(entries, via="tablet", by=scene.technician)


def hand_in(scene, visit, *more):
    work(scene, visit, *more)
    with scene.scope():
        shown = projections.picture(visit.pk).shown
        sign = {"shown": shown}
        record.append(
            [
                entry(scene, visit, "signature.add", role="technician", name="Sam T", **sign),
                entry(scene, visit, "signature.add", role="absent", reason="nobody in", **sign),
            ],
            via="tablet",
            by=scene.technician,
        )
        visits.hand_in(visit, by=scene.technician)


def seal(scene, visit, *more):
    hand_in(scene, visit, *more)
    with scene.scope():
        visits.review(visit, accept=True, by=scene.manager)


def fresh(scene, visit):
    with scene.scope():
        return Visit.objects.get(pk=visit.pk)


def address(visit, tail=""):
    return f"/visits/{visit.pk}/{tail}"


def text(answer):
    return re.sub(r"\s+", " ", answer.content.decode())


def test_the_list_is_narrowed_sorted_and_saved(ours, as_manager):
    planned(ours, planned_on=date(2026, 11, 20))
    planned(ours, planned_on=date(2026, 11, 27), technician=None, kind="survey")
    page = text(as_manager.get("/visits/"))
    assert "2 visits are listed" in page
    assert page.index("27 November") < page.index("20 November")
    assert page.count("Visit not closed") == 1
    up = text(as_manager.get("/visits/", {"order": "day"}))
    assert up.index("20 November") < up.index("27 November")
    for asked, expected in (
        ({"day_from": "2026-11-21"}, ["27"]),
        ({"day_to": "2026-11-21"}, ["20"]),
        ({"kind": "survey"}, ["27"]),
        ({"technician": ours.people["technician"].pk}, ["20"]),
        ({"state": "sealed"}, []),
        ({"building": "mill"}, ["27", "20"]),
    ):
        listed = as_manager.get("/visits/", asked).context["page_obj"]
        assert [row.day.strftime("%d") for row in listed] == expected, asked
    assert "No visit fits" in text(as_manager.get("/visits/", {"state": "sealed"}))
    saved = as_manager.get("/visits.csv", {"kind": "survey"}).content.decode("utf-8-sig")
    assert saved.count("Old Mill Offices") == 1
    wrong = text(as_manager.get("/visits/", {"state": "lost"}))
    assert "lost is not one of the available choices" in wrong


def test_a_visit_is_planned_once_however_often_it_is_pressed(ours, as_office):
    typed = {
        "once": "k1",
        "building": ours.building.pk,
        "kind": "survey",
        "planned_on": "2026-12-01",
        "start": "09:30",
        "technician": ours.people["technician"].pk,
        "title": "Look at the vault",
    }
    first, again = (as_office.post("/visits/new/", typed) for _ in range(2))
    assert first.status_code == again.status_code == 302
    assert first.url == again.url
    with ours.scope():
        made = Visit.objects.get()
    assert made.planned_start == datetime(2026, 12, 1, 14, 30, tzinfo=UTC)
    assert (made.kind, made.state) == ("survey", "planned")
    page = text(as_office.get(first.url))
    assert "Look at the vault" in page
    assert "at 09:30" in page


def test_what_is_wrong_is_named_and_what_was_typed_stays(ours, as_office):
    typed = {"building": ours.building.pk, "kind": "survey", "planned_on": "soon", "title": "Keep"}
    answer = as_office.post("/visits/new/", typed)
    assert answer.status_code == 422
    page = text(answer)
    assert "You typed “soon”" in page
    assert 'value="Keep"' in page


def test_a_planned_visit_is_moved_and_given_away_an_open_one_only_given_away(
    ours, visit, as_office
):
    path = address(visit, "edit/")
    form = as_office.get(path).context["form"]
    typed = {f.html_name: f.value() for f in form if f.value() not in (None, False)}
    typed |= {"planned_on": "2026-11-27", "start": "08:00"}
    assert as_office.post(path, typed).status_code == 302
    moved = fresh(ours, visit)
    assert (moved.planned_on, moved.planned_start.hour) == (date(2026, 11, 27), 13)
    work(ours, visit)
    late = as_office.post(path, typed | {"planned_on": "2026-11-28"})
    assert late.status_code == 409
    assert "neither moved nor given" in text(late)
    assert as_office.post(path, typed | {"technician": ""}).status_code == 302
    assert fresh(ours, visit).technician is None


def test_a_visit_is_cancelled_with_its_reason(ours, visit, as_office):
    path = address(visit, "cancel/")
    silent = as_office.post(path, {"reason": "other"})
    assert silent.status_code == 422
    assert as_office.post(path, {"reason": "weather", "text": "Ice"}).status_code == 302
    page = text(as_office.get(address(visit)))
    assert "Cancelled: weather." in page
    assert "stays due" in page
    assert as_office.post(path, {"reason": "weather"}).status_code == 409


def test_what_is_missing_stands_first(ours, visit, as_manager):
    with ours.scope():
        opened = entry(ours, visit, "visit.open", at=NOW.isoformat())
        record.append([opened], via="tablet", by=ours.technician)
    page = text(as_manager.get(address(visit)))
    assert re.search(r"Open for less than a minute; [3-9] things are missing", page)
    assert page.index("Missing before it can be handed in") < page.index("What it is to do")
    assert "Technician&#x27;s signature: missing" in page


def test_readings_stand_with_limit_last_value_and_verdict(ours, visit, as_manager):
    before = planned(ours, planned_on=date(2025, 11, 25))
    year_ago = datetime(2025, 11, 25, 15, tzinfo=UTC)
    with time_machine.travel(year_ago, tick=False):
        work(ours, before, at=year_ago)
    work(ours, visit)
    page = text(as_manager.get(address(visit)))
    with ours.scope():
        residual = Reading.objects.get(visit=visit, name="residual_pressure")
    assert residual.judgement["last"] == "64 psi"
    row = page[page.index("Residual pressure") :]
    assert "64 psi" in row
    assert "25 November 2025" in row
    assert "Seen in order" not in page
    assert ">Pass" in page


def test_a_trip_test_is_a_timeline_with_expected_beside_seen(ours, visit, as_manager):
    valve = str(ours.devices["preaction_valve"].pk)
    step = entry(
        ours, visit, "step.add", device=valve, step="lose-air", action="bleed_air",
        expected={"supervisory": True, "water": False}, seen={"supervisory": False, "water": False},
        seconds="41.5", deviation=True, reason="The low-air switch stayed silent",
    )  # fmt: skip
    proof = entry(
        ours, visit, "proof.set", device=valve, item="drains_shut", result="not_proven",
        reason="No cap",
    )  # fmt: skip
    work(ours, visit, step, proof)
    page = text(as_manager.get(address(visit)))
    assert "Bleed air" in page
    assert "41.5 s" in page
    assert "supervisory yes; water no" in page
    assert "supervisory no; water no" in page
    assert "The low-air switch stayed silent" in page
    assert "Drains, test connection" in page
    assert "Not proven" in page


def test_the_station_left_on_test_is_said_on_top(ours, visit, as_manager):
    on = entry(
        ours, visit, "visit.station", state="on", reference="T-77",
        until="2026-11-25T17:00:00+00:00",
    )  # fmt: skip
    work(ours, visit, on)
    page = text(as_manager.get(address(visit)))
    assert "has account 4471 on test: no alarm goes out" in page
    assert "25 November, 12:00" in page


def test_two_versions_and_late_entries_ask_for_a_person(ours, visit, as_manager):
    second = entry(ours, visit, "item.set", **about(ours), answer="fail")
    work(ours, visit, second)
    page = text(as_manager.get(address(visit)))
    assert "Needs a person" in page
    assert "Two versions" in page
    assert "fail, pass" in page
    other = planned(ours, planned_on=date(2026, 11, 24))
    hand_in(ours, other)
    with ours.scope():
        late = entry(ours, other, "note.add", text="Cap was loose")
        record.append([late], via="tablet", by=ours.technician)
    assert "Came after the hand-in" in text(as_manager.get(address(other)))


def test_a_review_without_licence_is_refused_and_says_so(ours, visit, as_office, as_manager):
    hand_in(ours, visit)
    path = address(visit, "review/")
    asked = text(as_office.get(path))
    assert "A review needs a person with a licence that holds today." in asked
    assert "Write the review down" not in asked
    assert as_office.post(path, {"verdict": "accept"}).status_code == 403
    silent = as_manager.post(path, {"verdict": "send_back"})
    assert silent.status_code == 422
    assert fresh(ours, visit).state == "handed_in"
    as_manager.post(path, {"verdict": "send_back", "text": "Static twice"})
    assert fresh(ours, visit).state == "open"
    assert "Sent back: Static twice" in text(as_manager.get(address(visit)))


def test_a_sealed_visit_has_its_report_made_while_the_page_asks_again(ours, visit, as_manager):
    hand_in(ours, visit)
    as_manager.post(address(visit, "review/"), {"verdict": "accept"})
    page = text(as_manager.get(address(visit)))
    assert "The PDF is being made." in page
    assert f'hx-get="{address(visit, "reports/")}"' in page
    with ours.scope():
        job = OutboxMessage.objects.get(kind="report.make")
    assert outbox.run(job.pk)
    part = text(as_manager.get(address(visit, "reports/")))
    assert "hx-get" not in part
    with ours.scope():
        report = Report.objects.get()
    pdf = as_manager.get(f"/reports/{report.pk}/pdf/")
    assert pdf.content.startswith(b"%PDF-")
    assert "attachment" in pdf["Content-Disposition"]
    assert as_manager.get(f"/reports/{report.pk}/json/").content.decode() == report.facts


def test_a_report_that_failed_is_said_to_be_safe(ours, visit, as_manager):
    seal(ours, visit)
    with ours.scope():
        OutboxMessage.objects.filter(kind="report.make").update(state="parked")
    assert "The facts are sealed and safe" in text(as_manager.get(address(visit)))


def test_an_entry_is_corrected_and_stays(ours, visit, as_office):
    seal(ours, visit)
    with ours.scope():
        wrong = Event.objects.filter(kind="reading.add").order_by("position").last()
    path = address(visit, f"entries/{wrong.id}/")
    typed = {"new_value": "46 psi", "new_name": "residual_pressure", "reason": "mistyped"}
    assert "Reading, Riser R1: residual pressure; 64 psi" in text(as_office.get(path))
    silent = as_office.post(path, typed)
    assert silent.status_code == 422
    odd = as_office.post(path, typed | {"new_value": "46 gpm", "text": "x"})
    assert odd.status_code == 422
    assert "no such reading" in text(odd)
    same = as_office.post(path, typed | {"new_value": "64 psi", "text": "x"})
    assert "Nothing differs" in text(same)
    assert as_office.post(path, typed | {"text": "Digits turned round"}).status_code == 302
    page = text(as_office.get(address(visit)))
    assert "Digits turned round" in page
    with ours.scope():
        assert Reading.objects.get(name="residual_pressure").typed == "46 psi"
        assert Event.objects.get(id=wrong.id).body == wrong.body
        signed = Event.objects.filter(kind="signature.add").first()
    assert as_office.get(address(visit, f"entries/{signed.id}/")).status_code == 404
    again = as_office.get(path).context["form"]
    assert again["new_value"].initial == "46 psi"


def test_an_answer_is_corrected_by_its_own_words(ours, visit, as_office):
    seal(ours, visit)
    with ours.scope():
        wrong = Event.objects.get(kind="item.set")
    path = address(visit, f"entries/{wrong.id}/")
    typed = {"new_answer": "splendid", "reason": "judged_anew", "text": "Drain half shut"}
    assert as_office.post(path, typed).status_code == 422
    unreasoned = as_office.post(path, typed | {"new_answer": "could_not"})
    assert unreasoned.status_code == 422
    assert as_office.post(path, typed | {"new_answer": "fail"}).status_code == 302
    with ours.scope():
        assert visit.results.get().answer == "fail"


def picture():
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "red").save(out, "PNG")
    return SimpleUploadedFile("drain.png", out.getvalue())


def test_a_photo_is_added_and_shown_safely(ours, visit, as_technician):
    work(ours, visit)
    path = address(visit, "photo/")
    text_file = SimpleUploadedFile("drain.jpg", b"words")
    refused = as_technician.post(path, {"file": text_file})
    assert refused.status_code == 422
    assert "cannot be used" in text(refused)
    assert as_technician.post(path, {"file": picture(), "caption": "Drain"}).status_code == 302
    with ours.scope():
        photo = Photo.objects.get()
    assert f'src="/photos/{photo.pk}/"' in text(as_technician.get(address(visit)))
    served = as_technician.get(f"/photos/{photo.pk}/")
    assert served["X-Content-Type-Options"] == "nosniff"
    assert served["Content-Security-Policy"].startswith("sandbox")
    assert served.content.startswith(b"\xff\xd8")


ACTS = ("edit/", "cancel/", "review/", "photo/")


def test_what_is_anothers_is_answered_like_what_is_not_there(ours, theirs, as_manager):
    visit = planned(theirs)
    seal(theirs, visit)
    with theirs.scope():
        from inspections import report

        made = report.freeze(Visit.objects.get())
        wrong = Event.objects.filter(kind="reading.add").first()
    paths = [
        *((f"/visits/{{}}/{tail}", visit.pk) for tail in ("", "reports/", *ACTS)),
        (f"/visits/{{}}/entries/{wrong.id}/", visit.pk),
        ("/reports/{}/pdf/", made.pk),
        ("/reports/{}/json/", made.pk),
        ("/photos/{}/", new_id()),
    ]
    for path, key in paths:
        pair = [as_manager.get(path.format(one)) for one in (key, new_id())]
        assert [one.status_code for one in pair] == [404, 404], path
        bodies = {re.sub(r'"x-csrftoken": "[^"]*"', "", text(one)) for one in pair}
        assert len(bodies) == 1, path
    assert "0 visits are listed" in text(as_manager.get("/visits/"))


def test_technicians_read_their_own_visits_and_trainers_all(ours, visit, as_member, as_owner):
    other = planned(ours, technician=None)
    technician, trainer = as_member(ours.technician), as_member(ours.trainer)
    assert technician.get(address(visit)).status_code == 200
    assert technician.get(address(other)).status_code == 404
    assert [v.pk for v in technician.get("/visits/").context["page_obj"]] == [visit.pk]
    assert trainer.get(address(other)).status_code == 200
    for member in (technician, trainer):
        for tail in ("edit/", "cancel/", "review/"):
            assert member.get(address(visit, tail)).status_code == 403
        assert member.get("/visits/new/").status_code == 403
    assert trainer.get(address(visit, "photo/")).status_code == 403
    for path in ("/visits/", address(visit), "/visits.csv"):
        assert as_owner.get(path).status_code == 403


@pytest.mark.parametrize("count", [1, 12])
def test_the_list_asks_as_often_for_many_as_for_few(
    ours, as_manager, django_assert_max_num_queries, count
):
    for _ in range(count):
        planned(ours)
    with django_assert_max_num_queries(13):
        as_manager.get("/visits/")


def test_the_page_of_a_visit_asks_a_bounded_number_of_times(
    ours, visit, as_manager, django_assert_max_num_queries
):
    notes = [entry(ours, visit, "note.add", text=f"Note {n}") for n in range(30)]
    work(ours, visit, *notes)
    with ours.scope():
        for n in range(6):
            findings.add(
                ours.building,
                subject=("riser", ours.wet_riser.pk),
                grade="noncritical",
                text=f"Drip {n}",
                by=ours.technician,
                visit=visit,
            )
    with django_assert_max_num_queries(60):
        page = as_manager.get(address(visit))
    assert "Drip 5" in text(page)
