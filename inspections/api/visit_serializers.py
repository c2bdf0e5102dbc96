"""What the API says, and takes, of visits, their entries, results, readings and reports."""

import json
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from buildings.api.serializers import Here
from buildings.models import Building
from contractors.models import Person
from inspections import licensed
from inspections.catalogue_files import catalogue
from inspections.events.kind import STREAMS
from inspections.events.kinds import KINDS
from inspections.events.missing import Lack, Missing
from inspections.models import Event, Photo, Reading, Report, Result, Visit, VisitLine
from inspections.record import payload_of

SUBJECT_KINDS = ("building", "system", "riser", "device")
# What is recorded through `entries`: work at the building, and what has no address of its own.
ENTRY_KINDS = tuple(
    sorted(
        {kind.name for kind in KINDS.values() if kind.work}
        | {"finding.link", "outage.start", "outage.end"}
        | {"impairment.start", "impairment.notice", "impairment.watch", "impairment.tag"}
        | {"impairment.end"}
    )
)
AMEND_REASONS = (
    *("mistyped", "wrong_unit", "wrong_subject", "instrument_fault", "left_out"),
    *("judged_anew", "other"),
)
CANCEL_REASONS = (
    *("no_access", "weather", "unsafe", "owner_asked", "moved", "entered_twice", "other"),
)


class BlanksIn(serializers.Serializer[Any]):
    """Which day's visits are wanted on paper."""

    day = serializers.DateField()
    technician = serializers.UUIDField(required=False)


class VisitLineOut(serializers.ModelSerializer[VisitLine]):
    """An activity that a visit is to do on one item."""

    task = serializers.SerializerMethodField()

    class Meta:
        model = VisitLine
        fields = (
            *("id", "system", "subject_kind", "subject_id", "activity", "task"),
            *("due_on", "latest_on", "minutes"),
        )

    def get_task(self, line: VisitLine) -> str:
        """Return what is done, in words."""
        known = catalogue().activities.get(line.activity)
        return known.task if known else line.activity


class VisitOut(serializers.ModelSerializer[Visit]):
    """A visit."""

    building_name = serializers.CharField(source="building.name", read_only=True)
    technician_name = serializers.CharField(source="technician.name", default=None, read_only=True)

    class Meta:
        model = Visit
        fields: tuple[str, ...] = (
            *("id", "building", "building_name", "kind", "state", "title", "technician"),
            *("technician_name", "second", "planned_on", "planned_start", "planned_minutes"),
            *("locked", "evidence", "number", "performed_on", "opened_at", "handed_in_at"),
            *("reviewed_at", "sealed_at", "catalogue_version"),
        )


class VisitDetail(VisitOut):
    """A visit with what it is to do."""

    lines = VisitLineOut(many=True, read_only=True)
    not_licensed = serializers.SerializerMethodField(
        help_text="What its people did not hold on the day it was done, in words."
    )

    class Meta(VisitOut.Meta):
        fields = (*VisitOut.Meta.fields, "lines", "not_licensed")

    def get_not_licensed(self, visit: Visit) -> list[str]:
        """Return the flags of a visit that was handed in."""
        return [one.sentence for one in licensed.flags(visit)] if visit.is_closed else []


class LineIn(serializers.Serializer[Any]):
    """An activity to do on one item of the building."""

    subject_kind = serializers.ChoiceField(choices=SUBJECT_KINDS)
    subject_id = serializers.UUIDField()
    activity = serializers.CharField(max_length=80)


class VisitPatch(serializers.ModelSerializer[Visit]):
    """What of a visit may be planned anew."""

    technician = Here(Person, required=False, allow_null=True)
    second = Here(Person, required=False, allow_null=True)
    planned_minutes = serializers.IntegerField(min_value=0, max_value=10_000, required=False)

    class Meta:
        model = Visit
        fields: tuple[str, ...] = (
            *("kind", "title", "technician", "second", "planned_on", "planned_start"),
            *("planned_minutes", "locked"),
        )
        validators: list[Any] = []


class VisitIn(VisitPatch):
    """A visit to plan."""

    building = Here(Building)
    lines = LineIn(many=True, required=False)

    class Meta(VisitPatch.Meta):
        fields = ("building", *VisitPatch.Meta.fields, "lines")


class EntryIn(serializers.Serializer[Any]):
    """One entry of the record."""

    id = serializers.UUIDField(
        required=False, help_text="Made by the sender, so that a repeat is recorded once."
    )
    kind = serializers.ChoiceField(choices=ENTRY_KINDS)
    payload = serializers.DictField(help_text="The fields of this kind.")
    stream = serializers.ChoiceField(
        choices=STREAMS, required=False, help_text="By default the one its kind belongs to."
    )
    stream_id = serializers.UUIDField(
        required=False, help_text="By default the visit, or the id that the payload names."
    )
    seen = serializers.ListField(
        child=serializers.UUIDField(),
        required=False,
        help_text="Entries that this one takes the place of.",
    )


class TakenDown(serializers.Serializer[Any]):
    """When something was written down on paper, and by whom."""

    at = serializers.DateTimeField()
    by = serializers.CharField(max_length=200, required=False)


class HandInIn(serializers.Serializer[Any]):
    """The hand-in of a visit; with `paper` it counts from the time written there."""

    paper = TakenDown(required=False)


class AppendedOut(serializers.Serializer[Any]):
    """What became of an entry."""

    id = serializers.UUIDField()
    status = serializers.ChoiceField(choices=("applied", "duplicate", "conflict", "late", "held"))
    position = serializers.IntegerField()


class EventOut(serializers.ModelSerializer[Event]):
    """An entry of the record as it was recorded."""

    id = serializers.UUIDField(read_only=True)
    payload = serializers.SerializerMethodField()
    recorded_by = serializers.CharField(source="by.user.name", default=None, read_only=True)

    class Meta:
        model = Event
        fields = (
            *("id", "stream", "stream_id", "position", "kind", "version", "via", "status"),
            *("recorded_by", "happened_at", "time_uncertain", "received_at", "payload"),
            *("content_hash", "chain_hash"),
        )

    @extend_schema_field(serializers.DictField())
    def get_payload(self, event: Event) -> dict[str, Any]:
        """Return what was recorded."""
        return payload_of(event)


class MissingOut(serializers.Serializer[Any]):
    """One thing that a visit lacks before it can be handed in."""

    lack = serializers.ChoiceField(choices=[one.value for one in Lack])
    sentence = serializers.CharField()
    riser = serializers.CharField()
    what = serializers.CharField(allow_null=True)
    subject_kind = serializers.CharField(allow_null=True)
    subject_id = serializers.UUIDField(allow_null=True)
    code = serializers.CharField(allow_null=True)
    name = serializers.CharField(allow_null=True)
    answers = serializers.ListField(child=serializers.CharField())

    def to_representation(self, lack: Missing) -> dict[str, Any]:
        """Say it in data beside the sentence."""
        need = lack.required
        return {
            "lack": lack.lack.value,
            "sentence": lack.sentence,
            "riser": lack.riser,
            "what": need.what if need else None,
            "subject_kind": need.subject.kind if need else None,
            "subject_id": str(need.subject.id) if need else None,
            "code": need.code if need else None,
            "name": need.name if need else None,
            "answers": list(lack.answers),
        }


class MissingListOut(serializers.Serializer[Any]):
    """What a visit lacks, end-state items before all others; and the hash to sign."""

    missing = MissingOut(many=True)
    shown = serializers.CharField(
        help_text="SHA-256 of what the visit's summary shows: what a signature is put under."
    )


class ReviewIn(serializers.Serializer[Any]):
    """What a licensed person says of a visit that was handed in."""

    verdict = serializers.ChoiceField(choices=("accept", "send_back"))
    text = serializers.CharField(required=False, allow_blank=True, max_length=4000)

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        """Ask for a text with a send-back."""
        if given["verdict"] == "send_back" and not given.get("text", "").strip():
            raise serializers.ValidationError({"text": ["Say what is to be put right."]})
        return given


class AmendIn(serializers.Serializer[Any]):
    """A correction of an entry of a visit that was handed in."""

    target = serializers.UUIDField(help_text="The entry that is wrong.")
    value = serializers.DictField(help_text="Its payload as it should have been.")
    reason = serializers.ChoiceField(choices=AMEND_REASONS)
    text = serializers.CharField(max_length=1000)


class CancelIn(serializers.Serializer[Any]):
    """Why a visit will not take place."""

    reason = serializers.ChoiceField(choices=CANCEL_REASONS)
    text = serializers.CharField(required=False, allow_blank=True, max_length=1000)

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        """Ask for a text where no reason of the list fits."""
        if given["reason"] == "other" and not given.get("text", "").strip():
            raise serializers.ValidationError({"text": ["Say why, in a few words."]})
        return given


class ResultOut(serializers.ModelSerializer[Result]):
    """The answer to one activity on one item at one visit."""

    class Meta:
        model = Result
        fields = (
            *("id", "visit", "building", "subject_kind", "subject_id", "activity", "answer"),
            *("reason", "in_bulk", "disputed", "read", "also", "performed_on", "recorded_at"),
            *("catalogue_version", "event_id"),
        )


class ReadingOut(serializers.ModelSerializer[Reading]):
    """A value read on an item: in SI, as typed, and judged."""

    id = serializers.UUIDField(read_only=True)

    class Meta:
        model = Reading
        fields = (
            *("id", "visit", "building", "subject_kind", "subject_id", "activity", "name"),
            *("point", "value_si", "typed", "unit", "verdict", "judgement", "read_on", "read_at"),
        )


class PhotoOut(serializers.ModelSerializer[Photo]):
    """A photo; its picture is under `file/`."""

    arrived = serializers.SerializerMethodField()

    class Meta:
        model = Photo
        fields = (
            *("id", "visit", "subject_kind", "subject_id", "finding_id", "blob_sha256"),
            *("taken_at", "arrived"),
        )

    def get_arrived(self, photo: Photo) -> bool:
        """Say whether its bytes are here."""
        return photo.file_id is not None


class PhotoIn(serializers.Serializer[Any]):
    """A photo to record on a visit."""

    visit = serializers.UUIDField()
    file = serializers.FileField()
    subject_kind = serializers.ChoiceField(choices=SUBJECT_KINDS, required=False)
    subject_id = serializers.UUIDField(required=False)
    finding = serializers.UUIDField(required=False)
    caption = serializers.CharField(max_length=200, required=False, allow_blank=True)

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        """Take kind and id of what it shows together."""
        if ("subject_kind" in given) != ("subject_id" in given):
            missing = "subject_id" if "subject_kind" in given else "subject_kind"
            raise serializers.ValidationError({missing: ["Kind and id are given together."]})
        return given


class ReportOut(serializers.ModelSerializer[Report]):
    """A version of a visit's report."""

    building = serializers.UUIDField(source="visit.building_id", read_only=True)
    number = serializers.IntegerField(source="visit.number", read_only=True)
    has_pdf = serializers.SerializerMethodField()

    class Meta:
        model = Report
        fields: tuple[str, ...] = (
            *("id", "visit", "building", "number", "version", "code", "sha256"),
            *("sealed_at", "has_pdf"),
        )

    def get_has_pdf(self, report: Report) -> bool:
        """Say whether the PDF is made."""
        return report.pdf_id is not None


class ReportDetail(ReportOut):
    """A version of a report with its facts, as frozen."""

    facts = serializers.SerializerMethodField()

    class Meta(ReportOut.Meta):
        fields = (*ReportOut.Meta.fields, "facts")

    @extend_schema_field(serializers.DictField())
    def get_facts(self, report: Report) -> Any:
        """Return the frozen facts."""
        return json.loads(report.facts)
