"""What the API says, and takes, of findings and impairments."""

from collections.abc import Mapping
from typing import Any, ClassVar

from rest_framework import serializers

from buildings.api.serializers import Here
from buildings.models import Building
from inspections.api.visit_serializers import SUBJECT_KINDS
from inspections.models import Finding, Impairment, ImpairmentStep, Visit

TOLD = (
    *("owner", "authority", "fire_department", "insurer", "monitoring_station"),
    *("occupants", "other"),
)
HOW = ("in_person", "phone", "email", "post", "portal")


class _Renamed:
    """Calls fields by words that Python's own grammar keeps for itself: class, from."""

    renamed: ClassVar[Mapping[str, str]] = {"grade": "class", "begun": "from"}

    def get_fields(self) -> dict[str, Any]:
        """Return the fields by their names in the API."""
        fields: dict[str, Any] = super().get_fields()  # type: ignore[misc]
        return {self.renamed.get(name, name): field for name, field in fields.items()}


class FindingOut(_Renamed, serializers.ModelSerializer[Finding]):
    """A finding."""

    building_name = serializers.CharField(source="building.name", read_only=True)
    grade = serializers.ChoiceField(choices=Finding.Class.choices, source="grade", read_only=True)
    measure = serializers.CharField(source="temporary_measure", read_only=True)

    class Meta:
        model = Finding
        fields = (
            *("id", "building", "building_name", "visit", "system", "subject_kind"),
            *("subject_id", "grade", "state", "deficiency", "activity", "text", "location"),
            *("count", "measure", "found_on", "found_at", "seen_again", "respond_by"),
            *("owner_told_at", "decision", "decision_until", "decision_text"),
            *("closed_on", "closed_by_visit"),
        )


class _SubjectIn(serializers.Serializer[Any]):
    """What it is about: an item of the building, or the building."""

    kind = serializers.ChoiceField(choices=SUBJECT_KINDS)
    id = serializers.UUIDField()


class FindingIn(_Renamed, serializers.Serializer[Any]):
    """A finding to record."""

    building = Here(Building)
    visit = Here(Visit, required=False, allow_null=True)
    subject = _SubjectIn()
    grade = serializers.ChoiceField(choices=Finding.Class.choices, source="grade")
    text = serializers.CharField(max_length=600)
    deficiency = serializers.CharField(required=False, allow_blank=True, max_length=80)
    location = serializers.CharField(required=False, allow_blank=True, max_length=160)
    count = serializers.IntegerField(required=False, min_value=1, max_value=1_000_000)
    measure = serializers.CharField(required=False, allow_blank=True, max_length=300)
    activity = serializers.CharField(
        required=False, allow_blank=True, max_length=80, help_text="The re-test owed."
    )


class ReclassIn(_Renamed, serializers.Serializer[Any]):
    """Another class, with the reason."""

    grade = serializers.ChoiceField(choices=Finding.Class.choices, source="grade")
    reason = serializers.CharField(max_length=1000)


class DecideIn(serializers.Serializer[Any]):
    """The owner's decision, recorded on their behalf."""

    decision = serializers.ChoiceField(choices=("approve", "defer", "decline"))
    on = serializers.DateField()
    until = serializers.DateField(required=False, allow_null=True)
    reason = serializers.CharField(required=False, allow_blank=True, max_length=400)
    name = serializers.CharField(max_length=200, help_text="Who decided, for the owner.")

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        """Ask for what a deferral and a refusal need."""
        wanted = {"defer": ("until", "reason"), "decline": ("reason",)}
        for name in wanted.get(given["decision"], ()):
            if not given.get(name):
                raise serializers.ValidationError(
                    {name: [f"Needed where the decision is to {given['decision']}."]}
                )
        if given.get("until") and given["until"] <= given["on"]:
            raise serializers.ValidationError({"until": ["A day after the decision."]})
        return given


class AcceptIn(serializers.Serializer[Any]):
    """A proposed finding is accepted."""

    text = serializers.CharField(required=False, allow_blank=True, max_length=1000)


class DropIn(serializers.Serializer[Any]):
    """A proposed finding is dropped, with the reason."""

    reason = serializers.CharField(max_length=1000)


class CloseIn(serializers.Serializer[Any]):
    """The evidence that closes a finding."""

    result = serializers.UUIDField(
        required=False, help_text="The passed result of the re-test owed; see `evidence/`."
    )
    text = serializers.CharField(
        required=False, allow_blank=True, max_length=1000, help_text="For observations alone."
    )


class ImpairmentStepOut(serializers.ModelSerializer[ImpairmentStep]):
    """A notice given or a watch kept."""

    class Meta:
        model = ImpairmentStep
        fields = ("id", "what", "who", "how", "at")


class ImpairmentOut(serializers.ModelSerializer[Impairment]):
    """An impairment with what was done about it."""

    building_name = serializers.CharField(source="building.name", read_only=True)
    hours_out = serializers.SerializerMethodField()
    steps = ImpairmentStepOut(many=True, read_only=True)

    class Meta:
        model = Impairment
        fields = (
            *("id", "building", "building_name", "finding", "visit", "system", "subject_kind"),
            *("subject_id", "kind", "extent", "started_at", "unknown_start", "expected_end"),
            *("ended_at", "ended_how", "end_reason", "hours_out", "steps"),
        )

    def get_hours_out(self, impairment: Impairment) -> float:
        """Return the hours out of service so far."""
        return round(impairment.hours(self.context["now"]), 2)


class ImpairmentIn(serializers.Serializer[Any]):
    """An impairment to start."""

    building = Here(Building)
    finding = Here(Finding, required=False, allow_null=True)
    subject = _SubjectIn()
    extent = serializers.CharField(max_length=300)
    nature = serializers.ChoiceField(choices=Impairment.Kind.choices)
    unknown_start = serializers.BooleanField(default=False)
    started_at = serializers.DateTimeField(
        required=False, allow_null=True, help_text="Now, where it is left out."
    )

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        """Take a start only where it is known."""
        if given["unknown_start"] and given.get("started_at"):
            message = "Leave it out where the start is unknown."
            raise serializers.ValidationError({"started_at": [message]})
        return given


class NoticeIn(serializers.Serializer[Any]):
    """Somebody was told."""

    told = serializers.ChoiceField(choices=TOLD)
    name = serializers.CharField(max_length=160)
    how = serializers.ChoiceField(choices=HOW)
    at = serializers.DateTimeField(required=False, help_text="Now, where it is left out.")


class WatchIn(_Renamed, serializers.Serializer[Any]):
    """A leg of the fire watch."""

    who = serializers.CharField(max_length=160)
    begun = serializers.DateTimeField(
        required=False, source="begun", help_text="Now, where it is left out."
    )
    until = serializers.DateTimeField(required=False, allow_null=True)
    area = serializers.CharField(required=False, allow_blank=True, max_length=160)

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        """Keep the end behind the start."""
        if given.get("begun") and given.get("until") and given["until"] <= given["begun"]:
            raise serializers.ValidationError({"until": ["A moment after the start."]})
        return given


class ImpairmentEndIn(serializers.Serializer[Any]):
    """How an impairment ends."""

    result = serializers.ChoiceField(choices=("restored_proven", "restored_proof_missing"))
    proofs = serializers.ListField(
        child=serializers.UUIDField(), required=False, help_text="Entries; see `proofs/`."
    )
    reason = serializers.CharField(required=False, allow_blank=True, max_length=400)


class ProofOut(serializers.Serializer[Any]):
    """An entry of the record that speaks for a restoration, or against it."""

    id = serializers.UUIDField()
    words = serializers.CharField()
    at = serializers.DateTimeField()
    proven = serializers.BooleanField()
