"""Readings are judged by the rules in force at the building when the visit was opened."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from buildings.models import Adoption
from contractors.refusal import FieldRefused
from inspections import pinned, projections, record, report, rules
from inspections.models import Reading, Report, Visit
from tests.inspections import tablets
from tests.inspections.test_pack import pulled
from tests.inspections.test_record import close, visit  # noqa: F401, a fixture

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
DRAIN = "main-drain-annual"


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def amend(scene, criterion, **more):
    adoption = Adoption.objects.filter(jurisdiction=scene.jurisdiction).latest("valid_from")
    told = {"source": "fire code of the county, ch.9", "by": scene.manager, "from_on": TODAY}
    return rules.amend(
        adoption, act="criterion", activity=DRAIN, criterion=criterion, **{**told, **more}
    )


def stricter(scene, criterion, **more):
    told = {"source": "policy of the insurer, s.4", "by": scene.manager, "from_on": TODAY}
    return rules.tighten(activity=DRAIN, criterion=criterion, **{**told, **more})


def visited(scene, residual="64 psi"):
    """A visit opened now, with a main drain of that residual pressure, after 70 psi a year ago."""
    read(scene, "70 psi", NOW - timedelta(days=365))
    return read(scene, residual, NOW)


def read(scene, typed, at):
    made = Visit.objects.create(building=scene.building)
    value = {"value": typed.split()[0], "unit": "psi"}
    about = {"subject": tablets.subject(scene), "activity": DRAIN}
    entries = [
        record.visit_entry(made, kind, payload, by=scene.technician)
        for kind, payload in (
            ("visit.open", {"at": at.isoformat()}),
            (
                "reading.add",
                {**about, "name": "residual_pressure", "typed": typed, "value": value},
            ),
            ("item.set", {**about, "answer": "pass"}),
        )
    ]
    record.append(entries, via="page", by=scene.technician, happened_at=at)
    return made


def verdict_row(of):
    return Reading.objects.get(visit=of, name="residual_pressure")


def verdict(of):
    row = verdict_row(of)
    return row.verdict, row.judgement.get("rule", {}).get("origin")


def test_without_a_change_the_edition_judges_and_is_named(ours):
    with ours.scope():
        today = visited(ours)
        assert verdict(today) == ("pass", "edition")
        row = verdict_row(today)
        assert row.judgement["rule"]["words"] == "NFPA 25, edition 2020"


def test_an_authoritys_criterion_judges_readings_and_may_loosen(ours):
    with ours.scope():
        amend(ours, 'residual_pressure >= q(50,"psi")')
        assert verdict(visited(ours, "52 psi")) == ("pass", "amendment")
        row = Reading.objects.latest("read_at")
        assert "Amended by" in row.judgement["rule"]["words"]
        assert row.judgement["source"] == "fire code of the county, ch.9"


def test_our_stricter_criterion_judges_besides_the_one_that_is_there(ours):
    with ours.scope():
        stricter(ours, 'residual_pressure >= q(66,"psi")')
        assert verdict(visited(ours, "64 psi")) == ("fail", "own")
        assert verdict(read(ours, "67 psi", NOW + timedelta(hours=1))) == ("pass", "own")
        rule = stricter(ours, 'residual_pressure >= q(1,"psi")', from_on=TODAY + timedelta(days=1))
        assert rule.frequency == ""
        # A criterion of ours that asks less lets nothing pass that the edition fails.
        assert verdict(read(ours, "40 psi", NOW + timedelta(days=2))) == ("fail", "own")


@pytest.mark.parametrize("criterion", ["static_psi >= 3", "residual_pressure >=", "3"])
def test_a_criterion_of_ours_that_cannot_be_used_is_refused_with_its_field(ours, criterion):
    with ours.scope(), pytest.raises(FieldRefused) as refused:
        stricter(ours, criterion)
    assert refused.value.facts["field"] == "criterion"


def test_a_rule_asks_for_something(ours):
    with ours.scope(), pytest.raises(FieldRefused) as refused:
        rules.tighten(activity=DRAIN, source="policy", from_on=TODAY, by=ours.manager, frequency="")
    assert refused.value.facts["field"] == "frequency"


def test_a_later_change_never_rewrites_a_past_judgement(ours, visit, now):  # noqa: F811
    """Sealed before and after: what came later judges the visit after it and none before."""
    with ours.scope():
        read(ours, "70 psi", NOW - timedelta(days=365))
        close(ours, before := visit)
        told = report.freeze(before).facts
        now.shift(timedelta(hours=2))
        rule = stricter(
            ours, 'residual_pressure >= q(69,"psi")', from_on=TODAY - timedelta(days=30)
        )
        after = read(ours, "64 psi", NOW + timedelta(hours=3))
        now.shift(timedelta(hours=3))
        assert verdict(after) == ("fail", "own")
        rules.end(rule, until_on=TODAY - timedelta(days=20), why="Withdrawn", by=ours.manager)
        Adoption.objects.create(
            jurisdiction=ours.jurisdiction,
            edition=2023,
            valid_from=TODAY - timedelta(days=9),
            recorded_at=NOW + timedelta(hours=5),
        )
        projections.rebuild()
        assert verdict(before) == ("pass", "edition")
        assert verdict(after) == ("fail", "own")
        assert verdict_row(before).judgement["rule"]["words"].endswith("2020")
        assert Report.objects.get().facts == told
        drain = next(
            one
            for system in json.loads(told)["systems"]
            for one in system["readings"]
            if one["name"] == "residual_pressure"
        )
        assert drain["rule"] == {"origin": "edition", "words": "NFPA 25, edition 2020"}


def test_work_of_earlier_years_is_judged_by_what_was_known_when_it_was_written_down(ours):
    with ours.scope():
        first = TODAY - timedelta(days=300)
        amend(ours, 'residual_pressure >= q(80,"psi")', from_on=first)
        old = Visit.objects.create(building=ours.building)
        done_on = {"grade": "own_record", "done_on": (first + timedelta(days=9)).isoformat()}
        about = {"subject": tablets.subject(ours), "activity": DRAIN}
        value = {"typed": "64 psi", "value": {"value": "64", "unit": "psi"}}
        reading = {**about, "name": "residual_pressure", **value}
        entries = [("visit.import", done_on), ("reading.add", reading)]
        record.append(
            [record.visit_entry(old, kind, one, by=None) for kind, one in entries],
            via="import",
            by=ours.office,
            happened_at=NOW - timedelta(days=291),
        )
        assert verdict(old) == ("fail", "amendment")
        projections.rebuild()
        assert verdict(old) == ("fail", "amendment")


def test_a_visit_before_anybody_told_the_edition_is_judged_by_the_one_told_since(ours):
    with ours.scope():
        Adoption.objects.update(recorded_at=NOW)
        read(ours, "70 psi", NOW - timedelta(days=365))
        entered = read(ours, "64 psi", NOW - timedelta(days=2))
        assert verdict(entered) == ("pass", "edition")
        assert verdict_row(entered).judgement["rule"]["words"].endswith("edition 2020")


def test_a_visit_to_come_is_judged_by_the_rules_of_the_day_it_is_planned_for(ours):
    with ours.scope():
        day = TODAY + timedelta(days=5)
        stricter(ours, 'residual_pressure >= q(69,"psi")', from_on=day)
        planned = Visit(building=ours.building, planned_on=day)
        assert pinned.of_visit(planned).activity(DRAIN).changes
        assert not pinned.of_visit(Visit(building=ours.building)).activity(DRAIN).changes


def test_the_tablet_takes_the_criterion_along_and_says_whose_it_is(ours, api):
    planned = tablets.planned(ours)
    with ours.scope():
        stricter(ours, 'residual_pressure >= q(66,"psi")')
    tablet = tablets.Tablet(api(ours.technician), ours.technician)
    (packed,) = pulled(tablet)["visits"]
    groups = [group for system in packed["systems"] for group in system["groups"]]
    drain = next(one for group in groups for one in group["lines"] if one["activity"] == DRAIN)
    assert "A rule of the contractor's own" in drain["rule"]
    assert drain["source"] == "policy of the insurer, s.4"
    limit = next(one["limit"] for one in drain["readings"] if one["name"] == "residual_pressure")
    assert limit["least_si"] == pytest.approx(66 * 6894.757, rel=1e-5)
    with ours.scope():
        assert packed["catalogue_version"] == pinned.of_visit(planned).rules.version
