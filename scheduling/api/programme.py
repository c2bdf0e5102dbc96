"""A building's programme on any day, and why something is on it or not, in the API."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildings import access
from contractors.doors import DoorMixin
from scheduling import programme

_STATUSES = ("in_order", "due_by", "overdue", "not_known_yet", "suspended", programme.LATER)


class AsOfQuery(serializers.Serializer[Any]):
    """The day of the question, and the moment whose knowledge answers it."""

    on = serializers.DateField(required=False, help_text="Today, where it is left out.")
    known_at = serializers.DateTimeField(
        required=False, help_text="What was recorded later is left out."
    )

    def to_internal_value(self, data: Any) -> Any:
        """Read the parameters; a plus in an address arrives as a space."""
        given = {name: value for name, value in data.items() if value != ""}
        if "known_at" in given:
            given["known_at"] = given["known_at"].replace(" ", "+")
        return super().to_internal_value(given)

    def validate_known_at(self, moment: datetime) -> datetime:
        """Refuse a moment to come: what will be recorded is not known."""
        if moment > timezone.now():
            raise serializers.ValidationError("A moment up to now, such as 2026-11-25T08:00:00Z.")
        return moment


class ProgrammeQuery(AsOfQuery):
    """The span of foreseen occurrences, beside the day of the question."""

    # `from` is a word that Python keeps.
    locals()["from"] = serializers.DateField(
        required=False, help_text="First due day foreseen; `on`, where it is left out."
    )
    until = serializers.DateField(
        required=False, help_text="Last due day foreseen; a year after `from`, where left out."
    )


class WhyQuery(AsOfQuery):
    """The item and the activity that are asked about."""

    item = serializers.UUIDField(help_text="A system, riser or device, or the building itself.")
    activity = serializers.CharField(max_length=80, help_text="Id of the catalogue's activity.")


class DoneOut(serializers.Serializer[Any]):
    """A performance in the record."""

    on = serializers.DateField()
    grade = serializers.CharField()
    activity = serializers.CharField()
    result = serializers.UUIDField(allow_null=True)
    visit = serializers.UUIDField(allow_null=True)


class BoundOut(serializers.Serializer[Any]):
    """One rule that bounds the occurrence."""

    name = serializers.CharField()
    edition = serializers.CharField()
    word = serializers.CharField()
    activity = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    confidence = serializers.CharField()
    provisional = serializers.BooleanField()


class DecidedOut(serializers.Serializer[Any]):
    """An attribute that decided."""

    name = serializers.CharField()
    label = serializers.CharField(help_text="The same in words.")  # type: ignore[assignment]
    said = serializers.CharField(help_text="Its value in words.")
    value = serializers.JSONField(allow_null=True)
    origin = serializers.CharField()


class WhyOut(serializers.Serializer[Any]):
    """The reason of an occurrence, in words and as data."""

    words = serializers.ListField(child=serializers.CharField())
    edition = serializers.IntegerField(allow_null=True)
    source = serializers.CharField()  # type: ignore[assignment]
    confidence = serializers.CharField()
    catalogue = serializers.CharField()
    regimes = BoundOut(many=True)
    decided = DecidedOut(many=True)
    last = DoneOut(allow_null=True)
    clash = serializers.CharField()
    season = serializers.CharField()
    impaired = serializers.CharField()
    suspended = serializers.CharField()


class SubjectOut(serializers.Serializer[Any]):
    """What an activity is done on."""

    id = serializers.UUIDField()
    subject_kind = serializers.CharField()
    kind = serializers.CharField()
    name = serializers.CharField()
    system = serializers.UUIDField(allow_null=True)


class ProgrammeLineOut(serializers.Serializer[Any]):
    """One occurrence, open or foreseen."""

    key = serializers.CharField()
    subject = SubjectOut()
    activity = serializers.CharField()
    task = serializers.CharField()
    kind = serializers.CharField()
    frequency = serializers.CharField()
    earliest = serializers.DateField(allow_null=True)
    due = serializers.DateField()
    latest = serializers.DateField()
    status = serializers.ChoiceField(choices=[(one, one) for one in _STATUSES])
    by_owner = serializers.BooleanField()
    owner_gap = serializers.BooleanField()
    plannable = serializers.BooleanField()
    minutes = serializers.FloatField(help_text="An own estimate.")
    qualification = serializers.CharField()
    season = serializers.CharField()
    why = WhyOut()


class PerformedOut(serializers.Serializer[Any]):
    """A performance within the span asked for."""

    subject = SubjectOut()
    activity = serializers.CharField()
    task = serializers.CharField()
    on = serializers.DateField()
    answer = serializers.CharField()
    grade = serializers.CharField()
    result = serializers.UUIDField()
    visit = serializers.UUIDField()


class ProgrammeOut(serializers.Serializer[Any]):
    """A building's programme as seen on a day and known at a moment."""

    building = serializers.UUIDField()
    name = serializers.CharField()
    on = serializers.DateField()
    known_at = serializers.DateTimeField(allow_null=True)
    first = serializers.DateField()
    last = serializers.DateField()
    edition = serializers.IntegerField(allow_null=True)
    catalogue = serializers.CharField()
    with_us = serializers.BooleanField()
    suspended = serializers.CharField()
    provisional = serializers.BooleanField()
    lines = ProgrammeLineOut(many=True)
    performed = PerformedOut(many=True)


class WhyNotOut(serializers.Serializer[Any]):
    """Why an activity is on the programme of an item or not."""

    building = serializers.UUIDField()
    item = serializers.UUIDField()
    activity = serializers.CharField()
    on = serializers.DateField()
    owed = serializers.BooleanField()
    how = serializers.CharField()
    words = serializers.ListField(child=serializers.CharField())
    source = serializers.CharField()  # type: ignore[assignment]
    confidence = serializers.CharField()
    edition = serializers.IntegerField(allow_null=True)
    decided = DecidedOut(many=True)
    asks = serializers.ListField(child=serializers.CharField())
    within = serializers.ListField(child=serializers.ListField(child=serializers.CharField()))
    lines = ProgrammeLineOut(many=True)


class BuildingProgramme(DoorMixin, APIView):
    """What a building owes, as seen on any day and known at any moment."""

    @extend_schema(parameters=[ProgrammeQuery], responses=ProgrammeOut)
    def get(self, request: Request, pk: UUID) -> Response:
        """Return the open occurrences, those foreseen, and what was performed."""
        building = access.building_for(request, pk)
        asked = ProgrammeQuery(data=request.query_params.dict())
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        found = programme.programme(
            building,
            given.get("on"),
            given.get("known_at"),
            given.get("from"),
            given.get("until"),
        )
        return Response(found.data())


class BuildingWhy(DoorMixin, APIView):
    """Why an activity is on the programme of an item of the building, or why not."""

    @extend_schema(parameters=[WhyQuery], responses=WhyNotOut)
    def get(self, request: Request, pk: UUID) -> Response:
        """Return the reason, in words and as data."""
        building = access.building_for(request, pk)
        asked = WhyQuery(data=request.query_params.dict())
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        found = programme.why_not(
            building,
            given["item"],
            given["activity"],
            given.get("on"),
            given.get("known_at"),
        )
        return Response(found.data())
