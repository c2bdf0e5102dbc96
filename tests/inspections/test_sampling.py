"""Samples sent to a laboratory: how many, what a pass closes and what a failure calls for."""

from datetime import UTC, date, datetime

import pytest
import time_machine

from buildings import inventory
from buildings.models import Device
from contractors.models import Notice
from contractors.refusal import FieldRefused
from inspections import evidence, findings, projections, record, sample_size, sampling
from inspections.catalogue_files import catalogue
from inspections.models import Event, Finding, Impairment, Sample, Visit
from inspections.sampling import Piece, Replaced, Sending, Tested
from scheduling import due, followups
from scheduling.models import FollowUp, Occurrence

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
STANDARD = "sprinkler-test-standard-50y"
FAST = "sprinkler-test-fast-response-20y"


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def old(ours):
    """A group of fast sprinklers, 22 years old: its first sample is two years late."""
    with ours.scope():
        return group(ours, "G-1", 1300, 2004)


def group(scene, code, quantity, year, **more):
    device = Device(
        building=scene.building,
        system=scene.wet,
        riser=scene.wet_riser,
        code=code,
        name=f"Group {code}",
        location="Level 2",
        kind="sprinkler_group",
        attributes={
            "quantity": quantity,
            "manufacture_year": year,
            "response": "fast",
            "type": "spray",
            "dry_type": False,
            "harsh_environment": False,
            **more,
        },
    )
    inventory.add([device], by=None, tell=False)
    return device


def pieces(device, count):
    return [Piece(f"T{n}", device.pk, f"bay {n}") for n in range(1, count + 1)]


def sending(*groups, count=13, **more):
    share = pieces(groups[0], count - len(groups) + 1)
    others = [Piece(f"X{n}", one.pk) for n, one in enumerate(groups[1:])]
    return Sending(
        **{
            "activity": FAST,
            "groups": groups,
            "pieces": [*share, *others],
            "taken_on": date(2026, 11, 2),
            "taken_by": "Sam Technician",
            "sent_on": date(2026, 11, 3),
            "sent_by": "Sam Office",
            "laboratory": "Weir Test House",
            "reference": "W-77",
            **more,
        }
    )


def sent(scene, *groups, visit=None, **more):
    return sampling.send(scene.building, sending(*groups, **more), by=scene.technician, visit=visit)


def reported(scene, sample, *outcomes, **more):
    told = [
        Tested(one["tag"], outcomes[n] if n < len(outcomes) else "pass")
        for n, one in enumerate(sample.pieces)
    ]
    return sampling.report(
        sample, reported_on=date(2026, 11, 20), pieces=told, by=scene.office, **more
    )


def open_at(device):
    return Occurrence.objects.get(subject_id=device.pk, activity=FAST)


def test_a_sample_that_is_only_taken_closes_nothing(ours, old):
    with ours.scope():
        due.derive(ours.building)
        before = open_at(old)
        assert (before.due_on, before.last_done_on) == (date(2024, 1, 1), None)
        sent(ours, old)
        due.derive(ours.building)
        assert open_at(old).due_on == before.due_on


def test_a_passed_result_closes_the_sampling_on_the_day_it_was_taken(ours, old):
    with ours.scope():
        done = reported(ours, sent(ours, old))
        due.derive(ours.building)
        found = open_at(old)
        assert done.state == Sample.State.PASSED
        assert (found.last_done_on, found.due_on) == (date(2026, 11, 2), date(2036, 11, 2))
        assert not Finding.objects.exists()


def test_a_pass_entered_on_the_visit_waits_for_the_laboratory(ours, old):
    with ours.scope():
        visit = Visit.objects.create(building=ours.building, planned_on=date(2026, 11, 2))
        item = {"subject": {"kind": "device", "id": str(old.pk)}, "activity": FAST}
        entries = [record.visit_entry(visit, "item.set", {**item, "answer": "pass"}, by=None)]
        then = datetime(2026, 11, 2, 15, tzinfo=UTC)
        record.append(entries, via="page", by=ours.technician, happened_at=then)
        sample = sent(ours, old, visit=visit)
        due.derive(ours.building)
        assert open_at(old).last_done_on is None
        reported(ours, sample)
        due.derive(ours.building)
        assert open_at(old).last_done_on == date(2026, 11, 2)


def test_fewer_than_the_area_owes_are_refused(ours, old):
    with ours.scope(), pytest.raises(FieldRefused) as refused:
        sent(ours, old, count=12)
    assert "At least 13 of 1300" in str(refused.value)
    with ours.scope():
        assert not Sample.objects.exists()


def test_of_a_range_the_worst_case_counts(ours, old):
    with ours.scope():
        rough = group(ours, "G-2", None, 2004)
        rough.attributes.pop("quantity")
        with pytest.raises(FieldRefused, match="or a range"):
            sent(ours, rough, count=13)
        with pytest.raises(FieldRefused, match="At least 14"):
            sent(ours, rough, count=13, in_area="1,100 - 1,301")
        sample = sent(ours, rough, count=14, in_area="1,100 - 1,301")
        assert (sample.in_area, sample.owed) == (1301, 14)
        told = record.payload_of(Event.objects.get(stream="sample"))
        assert (told["in_area_least"], told["in_area"]) == (1100, 1301)


@pytest.mark.parametrize("told", ["about 1200", "", "0", "1300-1100", "many"])
def test_a_count_that_is_none_is_refused_with_what_is_accepted(told):
    with pytest.raises(FieldRefused) as refused:
        sample_size.counted(told)
    assert refused.value.facts["field"] == "in_area"
    assert "1100-1300" in str(refused.value)


def test_every_group_of_an_area_is_in_its_sample(ours, old):
    with ours.scope():
        beside = group(ours, "G-3", 200, 2005)
        with pytest.raises(FieldRefused, match="every group"):
            sampling.send(
                ours.building,
                sending(old, beside, pieces=pieces(old, 15)),
                by=ours.technician,
            )
        sample = sent(ours, old, beside, count=15)
        reported(ours, sample)
        due.derive(ours.building)
        assert open_at(old).last_done_on == open_at(beside).last_done_on == date(2026, 11, 2)


def test_a_second_sample_waits_for_the_first(ours, old):
    with ours.scope():
        sent(ours, old)
        with pytest.raises(sampling.SampleWaiting, match="Group G-1"):
            sent(ours, old)


def test_another_contractors_group_is_unknown(ours, theirs):
    with theirs.scope():
        strange = group(theirs, "G-9", 100, 2000)
    with ours.scope(), pytest.raises(FieldRefused, match="at this building"):
        sent(ours, strange, count=4)


@pytest.mark.parametrize(
    ("outcome", "grade", "code"),
    [
        ("slow", "critical", "d-spr-test-slow"),
        ("no_operation", "impairment", "d-spr-test-no-operate"),
    ],
)
def test_one_failed_piece_opens_the_finding_that_the_catalogue_names(
    ours, old, outcome, grade, code
):
    with ours.scope():
        done = reported(ours, sent(ours, old), outcome)
        due.derive(ours.building)
        finding = Finding.objects.get()
        assert (finding.grade, finding.deficiency, finding.count) == (grade, code, 1300)
        assert catalogue().deficiencies[code].finding_class == grade
        assert "1 of 13" in finding.text
        assert (done.state, done.finding_id) == (Sample.State.FAILED, finding.pk)
        owed = FollowUp.objects.get(kind=FollowUp.Kind.RESPOND, finding=finding)
        assert (owed.due_on - TODAY).days == catalogue().deficiencies[code].response_days
        assert Impairment.objects.count() == (grade == "impairment")
        assert open_at(old).last_done_on is None


def test_the_owner_is_told_of_a_failed_sample(ours, old):
    with ours.scope():
        reported(ours, sent(ours, old), "slow")
        due.derive(ours.building)
        followups.tick(NOW)
        assert Notice.objects.filter(kind="finding.opened", body__contains="Replace").exists() or (
            Notice.objects.filter(kind="finding.opened", body__contains="replaced").exists()
        )


def test_a_failed_sample_is_answered_by_replacing_the_whole_area_alone(ours, old):
    with ours.scope():
        sample = reported(ours, sent(ours, old), "slow")
        finding = Finding.objects.get()
        item = {"subject": {"kind": "device", "id": str(old.pk)}, "activity": "sprinkler-visual"}
        visit = Visit.objects.create(building=ours.building, planned_on=TODAY)
        with time_machine.travel(datetime(2026, 11, 25, 16, tzinfo=UTC), tick=False):
            entry = record.visit_entry(visit, "item.set", {**item, "answer": "pass"}, by=None)
            record.append([entry], via="page", by=ours.technician)
        with pytest.raises(findings.NeedsReplacement):
            findings.close_by_result(finding, visit.results.get(), by=ours.manager)
        assert evidence.closing_results(finding) == []
        whole = [Replaced(old.pk, 1300, 2026)]
        done = sampling.replace(
            sample, on=TODAY, done_by="Crew 2", groups=whole, by=ours.technician
        )
        finding.refresh_from_db()
        assert (done.state, finding.state) == (Sample.State.REPLACED, Finding.State.CLOSED)
        closing = record.payload_of(Event.objects.get(kind="finding.close"))
        assert closing["evidence"]["kind"] == "replacement"
        due.derive(ours.building)
        assert not Occurrence.objects.filter(subject_id=old.pk).exists()
        fresh = Device.objects.get(code="G-1-2026")
        assert open_at(fresh).due_on == date(2046, 1, 1)


def test_the_inventory_keeps_both_years_with_their_days(ours, old):
    with ours.scope():
        sample = reported(ours, sent(ours, old), "slow")
        some = [Replaced(old.pk, 1000, 2026)]
        part = sampling.replace(
            sample, on=date(2026, 11, 22), done_by="Crew 2", groups=some, by=ours.technician
        )
        assert (part.state, part.still_owed) == (Sample.State.FAILED, [str(old.pk)])
        assert Finding.objects.get().state == Finding.State.OPEN
        fresh = Device.objects.get(code="G-1-2026")
        due.derive(ours.building)
        assert open_at(old).due_on == date(2024, 1, 1)
        assert open_at(fresh).due_on == date(2046, 1, 1)
        rest = [Replaced(old.pk, 300, 2025)]
        done = sampling.replace(part, on=TODAY, done_by="Crew 2", groups=rest, by=ours.technician)
        assert done.state == Sample.State.REPLACED

        def quantities(day):
            there = inventory.inventory(ours.building, day).items
            groups = [one for one in there if one.in_service and one.code.startswith("G-1")]
            return {
                one.attributes["manufacture_year"]: one.attributes["quantity"] for one in groups
            }

        assert quantities(date(2026, 11, 21)) == {2004: 1300}
        assert quantities(date(2026, 11, 23)) == {2004: 300, 2026: 1000}
        assert quantities(TODAY) == {2026: 1000, 2025: 300}


def test_what_is_not_owed_is_not_replaced(ours, old):
    with ours.scope():
        passed = reported(ours, sent(ours, old))
        with pytest.raises(sampling.NothingOwed):
            sampling.replace(
                passed,
                on=TODAY,
                done_by="Crew",
                groups=[Replaced(old.pk, 1, 2026)],
                by=ours.technician,
            )
        with pytest.raises(sampling.ReportedAlready):
            reported(ours, passed, "slow")


def test_a_result_names_each_piece_once(ours, old):
    with ours.scope():
        sample = sent(ours, old)
        with pytest.raises(FieldRefused, match="A result of each piece"):
            sampling.report(
                sample, reported_on=TODAY, pieces=[Tested("T1", "pass")], by=ours.office
            )


def test_the_certificate_is_kept_and_named_by_its_hash(ours, old):
    with ours.scope():
        done = reported(
            ours, sent(ours, old), certificate=("C 12.pdf", b"%PDF-1.7 made up"), number="C-12"
        )
        assert (done.certificate.media_type, done.certificate.name) == (
            "application/pdf",
            "C-12.pdf",
        )
        assert done.certificate_sha256 == done.certificate.sha256
        assert done.certificate_number == "C-12"


def test_a_replacement_proves_the_restoration_of_what_did_not_operate(ours, old):
    with ours.scope():
        sample = reported(ours, sent(ours, old), "no_operation")
        impairment = Impairment.objects.get()
        sampling.replace(
            sample,
            on=TODAY,
            done_by="Crew 2",
            groups=[Replaced(old.pk, 1300, 2026)],
            by=ours.technician,
        )
        proofs = [one.id for one in evidence.restoration_proofs(impairment)]
        assert len(proofs) == 1
        ended = evidence.end_proven(impairment, proofs, by=ours.manager, via="page")
        assert ended.ended_how == "restored_proven"


def test_samples_are_derived_again_from_their_chain_alone(ours, old):
    with ours.scope():
        sample = reported(ours, sent(ours, old), "slow", certificate=("c.pdf", b"%PDF-1"))
        sampling.replace(
            sample,
            on=TODAY,
            done_by="Crew",
            groups=[Replaced(old.pk, 1300, 2026)],
            by=ours.technician,
        )
        before = list(Sample.objects.values())
        Sample.objects.all().delete()
        assert projections.rebuild()["sample"] == 1
        assert list(Sample.objects.values()) == before
        assert record.verify("sample", sample.pk).holds


def test_a_sample_taken_on_the_visit_answers_its_line(ours, old):
    from inspections import closing

    with ours.scope():
        visit = Visit.objects.create(building=ours.building, planned_on=TODAY)
        visit.lines.create(subject_kind="device", subject_id=old.pk, activity=FAST)
        assert closing.missing(visit, projections.picture(visit.pk))
        sent(ours, old, visit=visit)
        words = {one.sentence for one in closing.missing(visit, projections.picture(visit.pk))}
        assert not {one for one in words if "Group G-1" in one}


@pytest.mark.parametrize(
    ("edition", "in_area", "owed"),
    [
        (2020, 100, 4),
        (2020, 400, 4),
        (2020, 401, 5),
        (2023, 1200, 12),
        (2014, 1201, 13),
        (None, 400, None),
    ],
)
def test_four_or_one_percent_whichever_is_more(edition, in_area, owed):
    """NFPA 25 (2014) 5.3.1.2, public code advisory; association articles of 2019 and 2023."""
    assert sample_size.least(sampling.activities()[STANDARD], in_area, edition) == owed


@pytest.mark.parametrize(
    ("installed", "owed"),
    [(1, 20), (5000, 20), (5001, 40), (10000, 40), (20000, 60), (30000, 80), (30001, 100)],
)
def test_the_british_rule_takes_its_sample_by_the_total(installed, owed):
    """BS EN 12845 cl. 21, public maintenance guidance of the UK Fire Protection Association."""
    assert sample_size.least(sampling.activities()["uk-25y-sprinklers"], installed, None) == owed
