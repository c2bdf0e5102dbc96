"""The report of a sealed visit: its facts, its PDF, its versions."""

import hashlib
import io
import json
from datetime import UTC, datetime

import pikepdf
import pypdf
import pytest
import time_machine

from contractors import files, outbox
from contractors.models import OutboxMessage
from inspections import findings, pdf, typeset, visits
from inspections.models import Event, Report
from inspections.templatetags.report import hours
from tests.inspections.test_record import close, subject, visit  # noqa: F401, a fixture

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)


@pytest.mark.parametrize(
    ("ended", "told"),
    [
        ("2026-11-25T18:40:00+00:00", "08:00 to 13:40"),
        ("2026-11-26T08:58:00+00:00", "08:00 to 26 November 2026, 03:58"),
        (None, "08:00"),
    ],
)
def test_the_end_of_a_visit_names_its_day_where_it_is_another(ended, told):
    assert hours("2026-11-25T13:00:00+00:00", ended, "America/New_York") == told


@pytest.fixture
def sealed(ours, visit):  # noqa: F811
    with time_machine.travel(NOW, tick=False), ours.scope():
        findings.add(
            ours.building,
            subject=("device", ours.devices["valve"].pk),
            grade="critical",
            text="Packing leaks",
            location="Riser room",
            by=ours.technician,
            visit=visit,
        )
        close(ours, visit)
        run_jobs("report.make")
        yield visit


def run_jobs(kind):
    for message in OutboxMessage.objects.filter(kind=kind, state="waiting"):
        assert outbox.run(message.pk)


def test_sealing_makes_one_report_whose_pdf_carries_its_facts(ours, sealed):
    made = Report.objects.get()
    facts = json.loads(made.facts)
    assert made.sha256 == hashlib.sha256(made.facts.encode()).hexdigest()
    assert facts["building"]["name"] == ours.building.name
    assert facts["building"]["edition"] == 2020
    assert facts["result"].startswith("All systems were left in service. Open findings: 1 critical")
    wet = next(s for s in facts["systems"] if s["name"] == ours.wet.name)
    assert [r["typed"] for r in wet["readings"]] == ["82 psi", "64 psi"]
    assert wet["results"][0]["answer"] == "pass"
    with pikepdf.open(io.BytesIO(files.read(made.pdf))) as document:
        inside = document.attachments["report.json"].get_file().read_bytes()
    assert inside.decode() == made.facts


def test_the_pdf_says_what_the_facts_say_on_every_page_with_its_code(ours, sealed):
    made = Report.objects.get()
    pages = [p.extract_text() for p in pypdf.PdfReader(io.BytesIO(files.read(made.pdf))).pages]
    text = "\n".join(pages)
    for words in (ours.building.name, "Packing leaks", "64 psi", "critical deficiency"):
        assert words in text
    assert all(made.code in page for page in pages)


def test_the_pdf_is_tagged_and_archival(sealed):
    with pikepdf.open(io.BytesIO(files.read(Report.objects.get().pdf))) as document:
        assert document.Root.MarkInfo.Marked
        assert "/StructTreeRoot" in document.Root
        assert str(document.Root.Lang) == "en"
        with document.open_metadata() as told:
            assert (told["pdfaid:part"], told["pdfaid:conformance"]) == ("3", "A")


def test_the_same_facts_give_the_same_bytes(sealed):
    made = Report.objects.get()
    assert pdf.render(json.loads(made.facts), made.facts, {}) == files.read(made.pdf)


def test_making_it_again_makes_nothing_new(sealed):
    OutboxMessage.objects.filter(kind="report.make").update(state="waiting")
    run_jobs("report.make")
    assert Report.objects.count() == 1


def test_an_amendment_makes_a_version_that_names_it_and_leaves_the_first(ours, sealed):
    first = Report.objects.get()
    before = files.read(first.pdf)
    target = Event.objects.filter(kind="item.set").first()
    visits.amend(
        sealed,
        target=target.id,
        value={"subject": subject(ours), "activity": "main-drain-annual", "answer": "fail"},
        reason="judged_anew",
        text="Drain was not fully open",
        by=ours.manager,
    )
    sealed.refresh_from_db()
    run_jobs("report.make")
    second = Report.objects.get(version=2)
    assert second.code == first.code
    facts = json.loads(second.facts)
    assert facts["amendments"][0]["text"] == "Drain was not fully open"
    assert facts["amendments"][0]["before"]["answer"] == "pass"
    first.refresh_from_db()
    assert files.read(first.pdf) == before


def test_the_code_at_the_foot_is_copied_whole_out_of_the_pdf(sealed):
    made = Report.objects.get()
    # The kerning of "qj" would read as a space.
    code = "northbank-t08wEHv33KYtpqjRhRBDZg"
    content = pdf.render(json.loads(made.facts) | {"code": code}, made.facts, {})
    assert all(code in page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages)


def test_a_picture_from_elsewhere_is_not_fetched(sealed):
    made = Report.objects.get()
    facts = json.loads(made.facts)
    facts["notes"] = ['<img src="file:///etc/passwd"><img src="http://127.0.0.1:9/x.png">']
    content = pdf.render(facts, made.facts, {})
    text = pypdf.PdfReader(io.BytesIO(content)).pages[-1].extract_text()
    assert "file:///etc/passwd" in text
    fetcher = typeset._OwnFilesOnly({})
    for url in ("file:///etc/passwd", "http://127.0.0.1:9/x", "maindrain:font/../x"):
        with pytest.raises(ValueError, match="own files"):
            fetcher.fetch(url)


def test_a_report_of_another_contractor_is_not_there(ours, theirs, sealed):
    made = Report.objects.get()
    with theirs.scope():
        assert not Report.objects.filter(pk=made.pk).exists()
