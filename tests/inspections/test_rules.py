"""Rules of the contractor's own and amendments to an edition, laid over the catalogue."""

import json
import shutil
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from buildings.models import Adoption
from contractors.models import OutboxMessage
from contractors.refusal import FieldRefused
from inspections import catalogue_files, rules
from inspections.applies import Because
from inspections.catalogue_files import catalogue, load_versions
from inspections.events.fields import EventRefused
from inspections.events.kinds import KINDS
from inspections.intervals import Span
from inspections.models import Rule
from scheduling import due, standing
from scheduling.applicable import Judges, site_of
from scheduling.models import Occurrence
from tests.inspections.test_catalogue import TABLES
from tests.scheduling.recording import done

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
FITTINGS = "pipe-fittings-visual"
LOOK = "sprinkler-visual"


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def scene(ours):
    with ours.scope():
        yield ours


def stricter(scene, activity=FITTINGS, frequency="P6M", from_on=TODAY, **more):
    told = {"source": "policy of the insurer, s.4", "by": scene.manager, "from_on": from_on}
    return rules.tighten(activity=activity, frequency=frequency, **told, **more)


def own(scene, **more):
    work = {
        "code": "own-riser-room-look",
        "task": "Look whether the riser room is clear",
        "kind": "inspection",
        "subjects": ["riser"],
        "frequency": "P1M",
        "applies": 'system.kind == "wet"',
        "minutes": 5,
    }
    place = {name: more.pop(name) for name in ("jurisdiction", "building") if name in more}
    told = {"source": "agreement with the owner", "by": scene.manager, "from_on": TODAY}
    return rules.add_own(rules.OwnWork(**{**work, **more}), **told, **place)


def adoption(scene):
    return Adoption.objects.filter(jurisdiction=scene.jurisdiction).latest("valid_from")


def amend(scene, act, activity, **more):
    told = {"source": "fire code of the county, ch.9", "by": scene.manager, "from_on": TODAY}
    return rules.amend(adoption(scene), act=act, activity=activity, **{**told, **more})


def at(scene, day=TODAY, known_at=None):
    return rules.catalogue_on(day, scene.building, known_at)


# --- ours -----------------------------------------------------------------------------------


def test_a_rule_of_ours_has_an_activity_done_more_often_and_says_why(scene):
    assert at(scene) is rules.version_on(TODAY)
    stricter(scene, reason="Insured as high risk")
    found = at(scene).activity(FITTINGS)
    assert found.frequency == Span(months=6)
    assert "policy of the insurer, s.4; Insured as high risk" in str(found.changes[0])
    assert catalogue().activity(FITTINGS).frequency == Span(months=12)
    due.derive(scene.building, NOW)
    row = Occurrence.objects.filter(activity=FITTINGS).first()
    assert row.frequency == "P6M"
    assert row.catalogue_version == at(scene).version != catalogue().version
    assert "policy of the insurer" in row.reason["rules"][0]


def test_of_several_rules_the_shortest_holds(scene):
    stricter(scene, frequency="P3M")
    stricter(scene, frequency="P6M")
    assert at(scene).activity(FITTINGS).frequency == Span(months=3)


@pytest.mark.parametrize(
    ("given", "field", "accepted"),
    [
        ({"frequency": "P1Y"}, "frequency", "Shorter than 1 year"),
        ({"frequency": "P2Y"}, "frequency", "Shorter than 1 year"),
        ({"frequency": "often"}, "frequency", "P3M"),
        ({"frequency": "-P1M"}, "frequency", "no interval"),
        ({"frequency": "P0D"}, "frequency", "no interval"),
        ({"activity": "main-drains"}, "activity", "id of an activity"),
        ({"activity": "main-drain-after-valve"}, "activity", "own instead"),
        ({"from_on": date(1875, 1, 1)}, "from_on", "1990"),
        ({"source": " "}, "source", "1 to 300"),
    ],
)
def test_a_rule_that_cannot_be_used_is_refused_by_field(scene, given, field, accepted):
    events = [one.id for one in catalogue().activities.values() if one.frequency is None]
    if given.get("activity") == "main-drain-after-valve":
        given = {"activity": events[0]}
    before = at(scene)
    told = {"activity": FITTINGS, "frequency": "P6M", "from_on": TODAY, "source": "insurer"}
    with pytest.raises(FieldRefused) as refused:
        rules.tighten(**{**told, **given}, by=scene.manager)
    assert refused.value.facts["field"] == field
    assert accepted in str(refused.value)
    assert at(scene) is before


def test_an_activity_of_our_own_is_scheduled_from_the_day_it_is_asked(scene):
    own(scene)
    due.derive(scene.building, NOW)
    rows = Occurrence.objects.filter(activity="own-riser-room-look")
    assert {row.subject_id for row in rows} == {scene.wet_riser.pk}
    row = rows.get()
    assert (row.frequency, row.minutes, row.qualification) == ("P1M", 5, "inspector")
    assert row.due_on >= TODAY
    assert row.latest_on >= TODAY


def test_a_condition_of_ours_reads_the_same_attributes_and_asks_what_is_not_known(scene):
    for applies, said in [
        ("item.colour", "item.colour"),
        ("system.kind ==", "ends too early"),
        ('system.kind == "steam"', "none of"),
        ("__import__", "__import__"),
    ]:
        with pytest.raises(FieldRefused) as refused:
            own(scene, applies=applies)
        assert refused.value.facts["field"] == "applies"
        assert said in str(refused.value)
    assert not Rule.objects.exists()


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"code": "riser-room-look"}, "activity"),
        ({"code": "own-Riser"}, "activity"),
        ({"code": "own-" + "x" * 60}, "activity"),
        ({"task": ""}, "task"),
        ({"kind": "polish"}, "kind"),
        ({"subjects": ["rocket"]}, "subjects"),
        ({"subjects": []}, "subjects"),
        ({"frequency": "EVENT"}, "frequency"),
        ({"minutes": -1}, "minutes"),
        ({"minutes": float("nan")}, "minutes"),
        ({"qualification": "wizard"}, "qualification"),
    ],
)
def test_an_activity_of_our_own_names_the_field_that_is_refused(scene, given, field):
    with pytest.raises(FieldRefused) as refused:
        own(scene, **given)
    assert refused.value.facts["field"] == field


def test_an_id_of_ours_is_used_once_and_found_for_good(scene, theirs):
    row = own(scene)
    with pytest.raises(FieldRefused, match="never used"):
        own(scene)
    rules.end(row, until_on=TODAY, why="No longer in the agreement", by=scene.manager)
    found = catalogue().activities["own-riser-room-look"]
    assert found.task == "Look whether the riser room is clear"
    assert "own-riser-room-look" in catalogue().activities
    with theirs.scope():
        assert "own-riser-room-look" not in catalogue().activities
        assert catalogue().activities.get("own-riser-room-look") is None
        with pytest.raises(KeyError):
            catalogue().activities["own-riser-room-look"]


def test_a_rule_holds_where_it_is_limited_to(scene, theirs):
    stricter(scene, frequency="P6M", jurisdiction=scene.jurisdiction)
    stricter(scene, activity=LOOK, frequency="P6M", building=scene.building)
    assert at(scene).activity(FITTINGS).frequency == Span(months=6)
    assert at(scene).activity(LOOK).frequency == Span(months=6)
    elsewhere = rules.catalogue_on(TODAY)
    assert elsewhere.activity(FITTINGS).frequency == Span(months=12)
    assert elsewhere.activity(LOOK).frequency == Span(months=12)
    with theirs.scope():
        assert rules.catalogue_on(TODAY, theirs.building) is rules.version_on(TODAY)
    with pytest.raises(FieldRefused, match="not both"):
        stricter(scene, jurisdiction=scene.jurisdiction, building=scene.building)


# --- amendments -------------------------------------------------------------------------------


def test_an_authority_may_do_without_an_activity_and_the_reason_says_so(scene):
    amend(scene, "off", FITTINGS)
    judge = Judges().at(due.stock.tree(scene.building))
    site = site_of(due.stock.tree(scene.building))
    found = [one.ruling for one in judge.verdicts(site) if one.ruling.activity.id == FITTINGS]
    assert found
    assert {one.because for one in found} == {Because.AMENDED}
    assert scene.jurisdiction.name in found[0].reason
    assert "fire code of the county" in found[0].reason
    due.derive(scene.building, NOW)
    assert not Occurrence.objects.filter(activity=FITTINGS).exists()


def test_an_amendment_may_loosen_and_a_rule_of_ours_still_tightens(scene):
    amend(scene, "frequency", FITTINGS, frequency="P2Y")
    assert at(scene).activity(FITTINGS).frequency == Span(months=24)
    stricter(scene, frequency="P6M")
    assert at(scene).activity(FITTINGS).frequency == Span(months=6)


def test_what_an_authority_does_without_is_still_done_where_we_are_bound_to_it(scene):
    stricter(scene)
    amend(scene, "off", FITTINGS)
    found = at(scene).activity(FITTINGS)
    assert found.switched_off is None
    assert found.frequency == Span(months=6)


def test_a_later_amendment_takes_the_place_of_an_earlier_one(scene):
    amend(scene, "off", FITTINGS, from_on=TODAY - timedelta(days=30))
    amend(scene, "frequency", FITTINGS, frequency="P3M")
    assert at(scene, TODAY - timedelta(days=1)).activity(FITTINGS).switched_off
    found = at(scene).activity(FITTINGS)
    assert (found.switched_off, found.frequency) == (None, Span(months=3))


def test_an_amended_criterion_judges_by_its_own_figure(scene):
    amend(scene, "criterion", LOOK, criterion="count_defective <= 2")
    found = at(scene).activity(LOOK)
    assert found.criterion.text == "count_defective <= 2"
    assert found.criterion_text == "count_defective <= 2"
    for criterion in ("leaks == 0", "count_defective <", ""):
        with pytest.raises(FieldRefused) as refused:
            amend(scene, "criterion", LOOK, criterion=criterion)
        assert refused.value.facts["field"] == "criterion"


def test_an_amendment_ends_with_the_edition_that_it_amends(scene):
    amend(scene, "off", FITTINGS)
    newer = TODAY + timedelta(days=100)
    Adoption.objects.create(
        jurisdiction=scene.jurisdiction, edition=2023, valid_from=newer, recorded_at=NOW
    )
    assert at(scene, newer - timedelta(days=1)).activity(FITTINGS).switched_off
    assert at(scene, newer).activity(FITTINGS).switched_off is None


def test_an_amendment_cannot_begin_before_the_edition_was_adopted(scene):
    with pytest.raises(FieldRefused, match="when the edition was adopted"):
        amend(scene, "off", FITTINGS, from_on=adoption(scene).valid_from - timedelta(days=1))
    with pytest.raises(FieldRefused, match="sets none"):
        amend(scene, "off", FITTINGS, frequency="P1Y")


# --- two dates --------------------------------------------------------------------------------


def test_a_rule_holds_from_its_first_day_to_its_last(scene):
    row = stricter(scene, from_on=TODAY + timedelta(days=7))
    rules.end(row, until_on=TODAY + timedelta(days=9), why="Policy ended", by=scene.manager)
    months = [
        at(scene, TODAY + timedelta(days=day)).activity(FITTINGS).frequency.months
        for day in range(6, 12)
    ]
    assert months == [12, 6, 6, 6, 12, 12]


def test_what_was_recorded_later_was_not_known_before(scene, now):
    row = stricter(scene, from_on=TODAY - timedelta(days=90))
    now.shift(timedelta(days=1))
    rules.end(row, until_on=TODAY - timedelta(days=30), why="Written late", by=scene.manager)
    day = TODAY - timedelta(days=10)
    assert at(scene, day).activity(FITTINGS).frequency == Span(months=12)
    assert at(scene, day, NOW + timedelta(hours=1)).activity(FITTINGS).frequency == Span(months=6)
    assert at(scene, day, NOW - timedelta(hours=1)).activity(FITTINGS).frequency == Span(months=12)


def test_a_rule_is_ended_once_and_not_before_it_began(scene):
    row = stricter(scene)
    with pytest.raises(FieldRefused, match="until_on"):
        rules.end(row, until_on=TODAY - timedelta(days=1), why="x", by=scene.manager)
    with pytest.raises(FieldRefused, match="why"):
        rules.end(row, until_on=TODAY, why=" ", by=scene.manager)
    rules.end(row, until_on=TODAY, why="Policy ended", by=scene.manager)
    with pytest.raises(FieldRefused, match="already"):
        rules.end(row, until_on=TODAY, why="again", by=scene.manager)


def test_a_change_of_rules_derives_the_buildings_again_that_it_concerns(scene):
    stricter(scene, building=scene.building)
    message = OutboxMessage.objects.get(kind="rules.changed")
    assert rules.buildings_under(message.payload) == [scene.building.pk]
    due.derive_under(message)
    assert Occurrence.objects.filter(activity=FITTINGS, frequency="P6M").exists()


def test_like_buildings_share_a_judge_and_the_rules_are_read_once(
    scene, django_assert_max_num_queries
):
    stricter(scene)
    amend(scene, "off", LOOK)
    inventory = due.stock.tree(scene.building)
    with django_assert_max_num_queries(2):
        judges = Judges()
        first = judges.at(inventory)
        assert all(judges.at(inventory) is first for _ in range(50))
        assert judges.at(inventory, TODAY + timedelta(days=1)) is not first


# --- versions ---------------------------------------------------------------------------------


@pytest.fixture
def two_versions(tmp_path, monkeypatch):
    """The version of the installation, and one of 2027 in which the main drain is half-yearly."""
    for name in ("itm", "newer"):
        shutil.copytree(TABLES, tmp_path / name)
    table = tmp_path / "newer" / "activities.csv"
    lines = table.read_text(encoding="utf-8").splitlines(keepends=True)
    place = next(n for n, line in enumerate(lines) if line.startswith(f"{FITTINGS},"))
    assert ",P1Y," in lines[place]
    lines[place] = lines[place].replace(",P1Y,", ",P6M,", 1)
    table.write_text("".join(lines), encoding="utf-8")
    (tmp_path / "newer" / "version.json").write_text('{"version": "2027.1"}', encoding="utf-8")
    register(tmp_path, ("itm", None), ("newer", "2027-01-01"))
    found, _refused = load_versions(tmp_path)
    monkeypatch.setattr(catalogue_files, "versions", lambda: found)
    monkeypatch.setattr(rules, "versions", lambda: found)
    return tmp_path


def register(folder, *versions):
    rows = [{"folder": name, "in_force_from": begins} for name, begins in versions]
    (folder / "versions.json").write_text(json.dumps({"versions": rows}), encoding="utf-8")


def test_each_day_has_the_version_then_in_force(scene, two_versions, now):
    old, new = (one.catalogue for one in catalogue_files.versions())
    assert old.version.startswith("2026.")
    assert new.version.startswith("2027.1+")
    assert at(scene, date(2026, 12, 31)) is old
    assert at(scene, date(2027, 1, 1)) is new
    assert at(scene, date(1999, 1, 1)) is old
    stricter(scene, frequency="P3M")
    for day, base in ((date(2026, 12, 31), old), (date(2027, 1, 1), new)):
        found = at(scene, day)
        assert found.version.startswith(base.version + ".")
        assert found.activity(FITTINGS).frequency == Span(months=3)
    now.move_to(datetime(2027, 1, 2, 15, tzinfo=UTC))
    assert catalogue().version == new.version


def test_a_version_that_cannot_be_used_leaves_the_one_before_in_force(two_versions, caplog):
    (two_versions / "newer" / "families.csv").unlink()
    found, wrong = load_versions(two_versions)
    assert [one.catalogue.version[:5] for one in found] == ["2026."]
    assert [(one.folder, one.faults[0].file) for one in wrong] == [("newer", "families.csv")]
    assert "newer is refused" in caplog.text
    assert "families.csv, row 0: there is no such file" in caplog.text


@pytest.mark.parametrize(
    ("versions", "reason"),
    [
        ([], "names no version"),
        ([("itm", None), ("newer", "soon")], "cannot be read"),
        ([("itm", "2027-01-01"), ("newer", "2026-01-01")], "is not after"),
    ],
)
def test_a_register_that_cannot_be_read_is_refused(two_versions, versions, reason):
    register(two_versions, *versions)
    with pytest.raises(catalogue_files.CatalogueError, match=reason):
        load_versions(two_versions)


def test_the_rules_of_a_past_day_do_not_change_with_a_new_rule(scene):
    done(scene, scene.wet_riser, FITTINGS, date(2026, 3, 1))
    before = at(scene, date(2026, 10, 1))
    stricter(scene, frequency="P3M", from_on=TODAY)
    assert at(scene, date(2026, 10, 1)) is before


def test_a_visit_may_name_the_version_that_it_is_made_under(scene):
    stricter(scene)
    version = at(scene).version
    payload = {"at": NOW.isoformat(), "catalogue": version}
    assert KINDS["visit.open", 1].payload.check("payload", payload)["catalogue"] == version
    with pytest.raises(EventRefused, match="name of a version"):
        KINDS["visit.open", 1].payload.check("payload", {**payload, "catalogue": "two words"})


def test_a_day_gone_by_keeps_the_standing_of_the_rules_then_in_force(scene):
    """Never done late by the year's rule; by ours of today it would have been late in summer."""
    for item in (scene.wet, scene.preaction, scene.wet_riser, scene.riser):
        done(scene, item, FITTINGS, date(2026, 1, 10))
    due.derive(scene.building, NOW)
    summer = date(2026, 8, 1)
    before = standing.standing(scene.building, summer)
    stricter(scene, frequency="P3M")
    due.derive(scene.building, NOW + timedelta(minutes=1))

    def late(day):
        told = standing.standing(scene.building, day).reasons
        return FITTINGS in {one.get("activity") for one in told if "more" not in one}

    assert standing.standing(scene.building, summer).word == before.word
    assert standing.standing(scene.building, summer).reasons == before.reasons
    assert not late(summer)
    row = Occurrence.objects.filter(activity=FITTINGS).first()
    assert row.latest_on < TODAY
