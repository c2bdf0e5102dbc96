"""Samples for the laboratory: sent, reported on, and what a failure calls for.

One failed piece fails its whole area.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from buildings import editing, inventory
from buildings.models import Building, Device
from contractors import papers
from contractors.models import Membership, new_id
from contractors.refusal import FieldRefused, Refusal
from inspections import findings, record
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import Activity
from inspections.events.kind import OUTCOMES
from inspections.models import Event, Sample, Visit
from inspections.sample_size import Count, counted, size_for

GROUP = "sprinkler_sample"
# What each outcome is, as the catalogue classes it; a pass is no finding.
DEFICIENCY = {"no_operation": "d-spr-test-no-operate", "slow": "d-spr-test-slow"}
FINDING_OF = UUID("3d5b7a52-61a0-5c7e-9c4d-2f0a8c1de6b4")


class SampleWaiting(Refusal):
    """The laboratory has a sample of this already."""

    code = "sample_waiting"
    status = 409
    sentence = "A sample of %(group)s is at the laboratory since %(day)s; record its result first."


class ReportedAlready(Refusal):
    """The laboratory's result is in the record, and stays as it was reported."""

    code = "reported_already"
    status = 409
    sentence = "The result of this sample is recorded already. Another sample is sent anew."


class NothingOwed(Refusal):
    """Nothing of the sample's area is to be replaced."""

    code = "nothing_owed"
    status = 409
    sentence = "The sample is %(state)s: nothing of its area is to be replaced."


@dataclass(frozen=True, slots=True)
class Piece:
    """A sprinkler taken out: the tag it carries, the group it is of, where it hung."""

    tag: str
    group: UUID
    where: str = ""


@dataclass(frozen=True, slots=True)
class Tested:
    """What the laboratory says of a piece: pass, slow or no_operation, with its figure."""

    tag: str
    outcome: str
    value: Mapping[str, str] | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Replaced:
    """Sprinklers put in for those of a group: how many, and the year that is stamped on them."""

    group: UUID
    count: int
    year: int


def activities() -> dict[str, Activity]:
    """Return the activities of the catalogue that a laboratory sample performs, by id."""
    return {one.id: one for one in catalogue().activities.values() if one.group == GROUP}


# --- recorded --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Sending:
    """A sample on its way to a laboratory, and through whose hands.

    Attributes
    ----------
    groups
        The sprinkler groups of the area; none where the rule counts the whole building.
    pieces
        Each sprinkler taken, by its tag.
    in_area
        How many there are, where the inventory does not say or only a range is known.
    """

    activity: str
    groups: Sequence[Device]
    pieces: Sequence[Piece]
    taken_on: date
    taken_by: str
    sent_on: date
    laboratory: str
    area: str = ""
    in_area: str = ""
    sent_by: str = ""
    reference: str = ""


def send(
    building: Building,
    sending: Sending,
    *,
    by: Membership,
    via: str = Event.Via.PAGE,
    visit: Visit | None = None,
) -> Sample:
    """Record a sample sent to a laboratory. It closes nothing yet.

    Raises
    ------
    FieldRefused
        Naming the field; among others where fewer are sent than the area owes.
    SampleWaiting
        When the laboratory has one of the same group already.
    """
    groups, pieces = sending.groups, sending.pieces
    rule = _activity(sending.activity)
    _check_groups(building, rule, groups)
    _check_days(building, sending.taken_on, sending.sent_on)
    _check_none_waits(sending.activity, groups, building)
    how_many = _in_area(building, groups, sending.in_area)
    owed = size_for(building, rule, how_many.most, sending.taken_on)
    _check_pieces(pieces, groups, building, owed, how_many.most)
    if visit is not None and visit.building_id != building.pk:
        raise FieldRefused("visit", visit.pk, _("A visit at this building."))
    sample_id = new_id()
    subject = ("device", groups[0].pk) if groups else ("building", building.pk)
    payload = {
        "sample": str(sample_id),
        "subject": {"kind": subject[0], "id": str(subject[1])},
        "activity": sending.activity,
        "groups": [str(one.pk) for one in groups],
        "area": sending.area or _area_of(groups, building),
        "in_area": how_many.most,
        "in_area_least": how_many.least if how_many.least != how_many.most else None,
        "owed": owed,
        "pieces": [
            {"tag": p.tag, "group": str(p.group), **({"where": p.where} if p.where else {})}
            for p in pieces
        ],
        "taken_on": sending.taken_on.isoformat(),
        "taken_by": sending.taken_by,
        "sent_on": sending.sent_on.isoformat(),
        "sent_by": sending.sent_by,
        "laboratory": sending.laboratory,
        "reference": sending.reference,
    }
    entry = _entry(sample_id, "sample.send", payload, by=by, visit=visit.pk if visit else None)
    record.append([entry], via=via, by=by, building=building)
    return _fresh(sample_id)


def report(
    sample: Sample,
    *,
    reported_on: date,
    pieces: Sequence[Tested],
    by: Membership,
    via: str = Event.Via.PAGE,
    number: str = "",
    text: str = "",
    certificate: tuple[str, bytes] | None = None,
) -> Sample:
    """Record what the laboratory says of each piece; a failure opens the finding of its class.

    Parameters
    ----------
    certificate
        The laboratory's paper: its name and its bytes, a PDF or a picture.

    Raises
    ------
    ReportedAlready
        When there is a result.
    FieldRefused
        Where pieces are missing or unknown, or the day is before they were sent.
    """
    with transaction.atomic():
        row = Sample.objects.select_for_update().get(pk=sample.pk)
        if row.state != Sample.State.AT_LABORATORY:
            raise ReportedAlready
        _check_tested(row, pieces, reported_on)
        worst = next(w for w in OUTCOMES if w in {p.outcome for p in pieces})
        finding_id = uuid5(FINDING_OF, str(row.pk)) if worst in DEFICIENCY else None
        payload = {
            "sample": str(row.pk),
            "reported_on": reported_on.isoformat(),
            "pieces": [_tested(piece) for piece in pieces],
            "certificate": _certificate(certificate, number),
            "finding": str(finding_id) if finding_id else None,
            "text": text,
        }
        entries = [_entry(row.pk, "sample.result", payload, by=by)]
        if finding_id is not None:
            owed = _owed(row, pieces, worst)
            entries.append(findings.finding_entry(finding_id, "finding.add", owed, by=by))
        record.append(entries, via=via, by=by, building=row.building)
    return _fresh(row.pk)


def replace(
    sample: Sample,
    *,
    on: date,
    done_by: str,
    groups: Sequence[Replaced],
    by: Membership,
    via: str = Event.Via.PAGE,
    text: str = "",
) -> Sample:
    """Record that groups of a failed sample were replaced, in record and inventory.

    Each becomes a new group with its own year and clock. Of a group of which some are left, those
    keep the old year and stay owed. The finding is closed once the whole area is replaced.

    Raises
    ------
    NothingOwed
        When no replacement is owed.
    FieldRefused
        Naming the field that cannot be.
    """
    with transaction.atomic():
        row = Sample.objects.select_for_update().get(pk=sample.pk)
        if row.state != Sample.State.FAILED:
            raise NothingOwed(state=str(row.get_state_display()))
        _check_replaced(row, on, groups)
        made = [_new_group(row, one, on, by) for one in groups]
        payload = {
            "sample": str(row.pk),
            "on": on.isoformat(),
            "by": done_by,
            "groups": made,
            "text": text,
        }
        entry = _entry(row.pk, "sample.replace", payload, by=by)
        record.append([entry], via=via, by=by)
        done = _fresh(row.pk)
        if done.state == Sample.State.REPLACED and done.finding_id:
            evidence = {"kind": "replacement", "id": entry["id"]}
            closing = {"evidence": evidence, "on": on.isoformat()}
            record.append(
                [findings.finding_entry(done.finding_id, "finding.close", closing, by=by)],
                via=via,
                by=by,
            )
    return done


# --- what it counts for ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Spoken:
    """What laboratories said of a building's samples: item, activity and day of the taking.

    `waiting` holds those without a pass: taking a sample alone performs nothing.
    """

    passed: frozenset[tuple[UUID, str, date]]
    waiting: frozenset[tuple[UUID, str, date]]


def spoken(rows: Iterable[Sample], on: date) -> Spoken:
    """Return what was sampled up to a day, of a building's samples, and whether it passed."""
    passed: set[tuple[UUID, str, date]] = set()
    waiting: set[tuple[UUID, str, date]] = set()
    for row in rows:
        if row.taken_on > on:
            continue
        keys = {(item, row.activity, row.taken_on) for item in row.subjects}
        (passed if row.state == Sample.State.PASSED else waiting).update(keys)
    return Spoken(frozenset(passed), frozenset(waiting))


def latest(building: Building) -> dict[tuple[UUID, str], Sample]:
    """Return the newest sample of each item and activity of a building."""
    rows = Sample.objects.filter(building=building).order_by("taken_on", "pk")
    return {(item, row.activity): row for row in rows for item in row.subjects}


# --- checked ---------------------------------------------------------------------------------


def _activity(activity_id: str) -> Activity:
    found = activities().get(activity_id)
    if found is None:
        accepted = _("One of: %(ids)s.") % {"ids": ", ".join(sorted(activities()))}
        raise FieldRefused("activity", activity_id, accepted)
    return found


def _check_groups(building: Building, rule: Activity, groups: Sequence[Device]) -> None:
    if not groups and "building" not in rule.subjects:
        raise FieldRefused("groups", "", _("At least one group of sprinklers."))
    for one in groups:
        fits = "building" in rule.subjects or one.kind in rule.subjects
        if one.building_id != building.pk or not fits:
            raise FieldRefused("groups", one.name, _("Groups of sprinklers at this building."))


def _check_days(building: Building, taken_on: date, sent_on: date) -> None:
    today = timezone.localdate(timezone=building.zone)
    if taken_on > today:
        raise FieldRefused("taken_on", taken_on, _("A day up to today."))
    if not taken_on <= sent_on <= today:
        raise FieldRefused("sent_on", sent_on, _("A day from the taking to today."))


def _check_none_waits(activity: str, groups: Sequence[Device], building: Building) -> None:
    wanted = {one.pk: one.name for one in groups} or {building.pk: building.name}
    rows = Sample.objects.filter(
        building=building, activity=activity, state=Sample.State.AT_LABORATORY
    )
    for row in rows:
        for item in row.subjects & set(wanted):
            raise SampleWaiting(group=wanted[item], day=row.sent_on.isoformat())


def _in_area(building: Building, groups: Sequence[Device], told: str) -> Count:
    if told:
        return counted(told)
    known = [one.attributes.get("quantity") for one in groups]
    if not groups:
        known = [inventory.tree(building).attributes.get("sprinklers_total")]
    if None in known or not sum(known):
        raise FieldRefused("in_area", "", _("How many there are, or a range such as 1100-1300."))
    return Count(sum(known), sum(known))


def _check_pieces(
    pieces: Sequence[Piece],
    groups: Sequence[Device],
    building: Building,
    owed: int | None,
    in_area: int,
) -> None:
    tags = [piece.tag for piece in pieces]
    if len(set(tags)) < len(tags):
        raise FieldRefused("pieces", ", ".join(tags), _("A tag of its own for each piece."))
    known = {one.pk for one in groups} or {
        *Device.objects.filter(building=building).values_list("pk", flat=True)
    }
    strange = [piece.tag for piece in pieces if piece.group not in known]
    if strange:
        raise FieldRefused("pieces", ", ".join(strange), _("Pieces of the groups named."))
    without = [one.name for one in groups if one.pk not in {piece.group for piece in pieces}]
    if without:
        accepted = _("At least one piece of every group of the area, so that it stands for all.")
        raise FieldRefused("pieces", ", ".join(without), accepted)
    if not pieces or (owed is not None and len(pieces) < min(owed, in_area)):
        accepted = _("At least %(owed)s of %(count)s in the area.")
        raise FieldRefused("pieces", len(pieces), accepted % {"owed": owed or 1, "count": in_area})


def _check_tested(row: Sample, pieces: Sequence[Tested], reported_on: date) -> None:
    today = timezone.localdate(timezone=row.building.zone)
    if not row.sent_on <= reported_on <= today:
        raise FieldRefused("reported_on", reported_on, _("A day from the sending to today."))
    sent = [one["tag"] for one in row.pieces]
    if sorted(one.tag for one in pieces) != sorted(sent):
        accepted = _("A result of each piece sent: %(tags)s.") % {"tags": ", ".join(sent)}
        raise FieldRefused("pieces", ", ".join(one.tag for one in pieces), accepted)


def _check_replaced(row: Sample, on: date, groups: Sequence[Replaced]) -> None:
    today = timezone.localdate(timezone=row.building.zone)
    if not row.taken_on <= on <= today:
        raise FieldRefused("on", on, _("A day from the taking of the sample to today."))
    named = [str(one.group) for one in groups]
    if not named or len(set(named)) < len(named) or not set(named) <= set(row.still_owed):
        owed = Device.objects.filter(pk__in=row.still_owed).values_list("name", flat=True)
        accepted = _("Each once: %(owed)s.") % {"owed": ", ".join(owed)}
        raise FieldRefused("groups", ", ".join(named), accepted)
    for one in groups:
        if one.year > on.year:
            raise FieldRefused("year", one.year, _("A year up to that of the replacement."))
        if one.count < 1:
            raise FieldRefused("count", one.count, _("At least 1."))


# --- written ---------------------------------------------------------------------------------


def _new_group(row: Sample, one: Replaced, on: date, by: Membership) -> dict[str, Any]:
    """Put a new group of its own year beside or in place of the old one; return both ids."""
    old = Device.objects.select_for_update().get(pk=one.group)
    had = old.attributes.get("quantity") or one.count
    left = max(0, had - one.count)
    fresh = Device(
        building_id=old.building_id,
        code=_free_code(old, one.year),
        name=f"{old.name}, {one.year}"[:120],
        kind=old.kind,
        system_id=old.system_id,
        riser_id=old.riser_id,
        parent_id=old.parent_id,
        location=old.location,
        position=old.position,
        in_service_from=on,
        attributes={**old.attributes, "quantity": one.count, "manufacture_year": one.year},
    )
    reason = _("replaced after the sample of %(day)s failed") % {"day": row.taken_on}
    editing.enter(fresh, by=by, reason=reason)
    facts: dict[str, Any] = (
        {"attributes": {"quantity": left}}
        if left
        else {"in_service_to": date.fromordinal(on.toordinal() - 1)}
    )
    inventory.revise(old, facts, valid_from=on, by=by, reason=reason)
    told = {"old": str(old.pk), "new": str(fresh.pk), "count": one.count, "year": one.year}
    return {**told, "left": left} if left else told


def _free_code(old: Device, year: int) -> str:
    stem = f"{old.code[:32]}-{year}"
    used = set(
        Device.objects.filter(building_id=old.building_id, code__startswith=stem).values_list(
            "code", flat=True
        )
    )
    places = (stem, *(f"{stem}.{n}" for n in range(2, len(used) + 3)))
    return next(code for code in places if code not in used)


def _owed(row: Sample, pieces: Iterable[Tested], worst: str) -> dict[str, Any]:
    deficiency = catalogue().deficiencies[DEFICIENCY[worst]]
    tested = list(pieces)
    bad = [one.tag for one in tested if one.outcome != "pass"]
    words = _(
        "%(finding)s: %(bad)s of %(all)s pieces of the sample taken on %(day)s (%(tags)s);"
        " the whole area is to be replaced"
    )
    told = {
        "finding": deficiency.finding,
        "bad": len(bad),
        "all": len(tested),
        "day": date_format(row.taken_on, "j F Y"),
        "tags": ", ".join(bad)[:200],
    }
    return {
        "subject": {"kind": row.subject_kind, "id": str(row.subject_id)},
        "class": deficiency.finding_class,
        "code": deficiency.id,
        "text": words % told,
        "location": row.area,
        "count": row.in_area,
    }


def _tested(piece: Tested) -> dict[str, Any]:
    told: dict[str, Any] = {"tag": piece.tag, "outcome": piece.outcome}
    if piece.value:
        told["value"] = dict(piece.value)
    return {**told, "text": piece.text} if piece.text else told


def _certificate(given: tuple[str, bytes] | None, number: str) -> dict[str, str] | None:
    if given is None:
        return None
    name, content = given
    kept = papers.keep(content, name=name)
    told = {"file": str(kept.pk), "sha256": kept.sha256}
    return {**told, "number": number} if number else told


def _area_of(groups: Sequence[Device], building: Building) -> str:
    places = dict.fromkeys(one.location or one.name for one in groups)
    return (", ".join(places) or building.name)[:200]


def _entry(sample_id: UUID, kind: str, payload: Mapping[str, Any], **more: Any) -> dict[str, Any]:
    return record.entry(kind, payload, stream="sample", stream_id=sample_id, **more)


def _fresh(sample_id: UUID) -> Sample:
    rows = Sample.objects.select_related("building", "system", "visit", "certificate", "finding")
    found: Sample = rows.get(pk=sample_id)
    return found
