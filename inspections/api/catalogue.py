"""The catalogue's activities and the computations in the API: the same for every contractor."""

from collections.abc import Callable, Collection, Mapping
from datetime import date
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers, viewsets
from rest_framework.request import Request
from rest_framework.response import Response

from contractors.doors import EVERYBODY, DoorMixin
from contractors.refusal import FieldRefused, NotThere
from inspections import calculations, rules
from inspections.catalogue_files import catalogue, refused, versions
from inspections.catalogue_rows import EVENT, Activity, Alternation
from inspections.hydraulics import index
from inspections.intervals import Span

KINDS = ("inspection", "test", "maintenance")
# Editions of the base standard that buildings may stand under.
EDITIONS = (2008, 2011, 2014, 2017, 2020, 2023, 2026)
_GAPS = ("nominal", "least", "greatest", "before", "after")
_TOLD = ("word", "slot", "per_year", "provisional", "source")
SORTED_BY: Mapping[str, Callable[[Activity], Any]] = {
    "id": lambda activity: activity.id,
    "component": lambda activity: (activity.component, activity.id),
    "kind": lambda activity: (activity.kind, activity.id),
    "frequency": lambda activity: (_days(activity.frequency), activity.id),
}
ORDERS = (*SORTED_BY, *(f"-{name}" for name in SORTED_BY))


class WindowOut(serializers.Serializer[Any]):
    """How far the repeats may stray, from an edition on."""

    edition_from = serializers.IntegerField(allow_null=True, help_text="Null: in every edition.")
    word = serializers.CharField()
    nominal = serializers.CharField()
    least = serializers.CharField(allow_null=True, help_text="Least gap since the last one.")
    greatest = serializers.CharField(allow_null=True, help_text="Greatest gap since the last one.")
    before = serializers.CharField(allow_null=True, help_text="Tolerance before a scheduled date.")
    after = serializers.CharField(allow_null=True, help_text="Tolerance after a scheduled date.")
    slot = serializers.CharField(allow_null=True, help_text="Calendar slot that needs one each.")
    per_year = serializers.IntegerField(allow_null=True)
    provisional = serializers.BooleanField(help_text="Borrowed, or not defined by the regime.")
    source = serializers.CharField()  # type: ignore[assignment]


class FamilyOut(serializers.Serializer[Any]):
    """A family of the same physical work, and the place in it."""

    family = serializers.CharField()
    role = serializers.CharField()
    rides_on = serializers.ListField(child=serializers.CharField())
    reach = serializers.CharField()
    note = serializers.CharField()


class ClosesOut(serializers.Serializer[Any]):
    """Work that closes other open work by its content."""

    performed = serializers.CharField()
    closes = serializers.CharField()
    also_needs = serializers.ListField(child=serializers.CharField())
    note = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]


class AlternationOut(serializers.Serializer[Any]):
    """Work that every other item of a building has in each cycle."""

    among = serializers.CharField(
        source="among.text", help_text="Condition on the items that take turns, as evaluated."
    )
    opened_by = serializers.ListField(
        child=serializers.CharField(), help_text="Answers that make it owed at all of them."
    )
    opened_within = serializers.SerializerMethodField(help_text="How long they then have.")
    note = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]

    def get_opened_within(self, row: Alternation) -> str:
        """Return an ISO 8601 duration."""
        return _iso(row.opened_within) or ""


class DeficiencyOut(serializers.Serializer[Any]):
    """What a finding at it is classed as."""

    id = serializers.CharField()
    finding = serializers.CharField()
    finding_class = serializers.CharField()
    response_days = serializers.IntegerField()
    source = serializers.CharField()  # type: ignore[assignment]


class ActivityOut(serializers.Serializer[Any]):
    """An activity of the catalogue."""

    id = serializers.CharField()
    component = serializers.CharField()
    kind = serializers.CharField()
    task = serializers.CharField()
    system_types = serializers.ListField(child=serializers.CharField())
    frequency = serializers.CharField(
        help_text="ISO 8601 duration; EVENT for work that an event triggers, never the calendar."
    )
    frequency_note = serializers.CharField()
    occurrence = serializers.CharField(
        help_text="calendar, event, part, restated, or none for an exemption without a task."
    )
    duplicate_of = serializers.CharField(help_text="The activity that it restates.")
    part_of = serializers.CharField(help_text="The activity within which it is done.")
    first_after = serializers.CharField(allow_null=True)
    regime = serializers.CharField()
    edition_from = serializers.IntegerField(allow_null=True)
    edition_to = serializers.IntegerField(allow_null=True)
    season = serializers.CharField()
    qualification = serializers.CharField()
    subjects = serializers.ListField(child=serializers.CharField())
    readings = serializers.DictField(
        child=serializers.CharField(), help_text="Name of a reading, and what it measures."
    )
    condition = serializers.CharField(help_text="Where it applies, in words; empty: everywhere.")
    gate = serializers.CharField(
        source="gate.text", help_text="Condition on the regime, as it is evaluated."
    )
    applies = serializers.CharField(
        source="applies.text", help_text="Condition on the item, as it is evaluated."
    )
    criterion_expression = serializers.CharField(
        source="criterion.text", default=None, allow_null=True
    )
    criterion = serializers.CharField(source="criterion_text")
    cautions = serializers.SerializerMethodField()
    instruments = serializers.ListField(child=serializers.CharField())
    source = serializers.CharField()  # type: ignore[assignment]
    confidence = serializers.ChoiceField(choices=("read", "memory"))
    windows = serializers.SerializerMethodField()
    families = serializers.SerializerMethodField()
    closes = serializers.SerializerMethodField(help_text="What it closes besides itself.")
    closed_by = serializers.SerializerMethodField(help_text="What else closes it.")
    alternates = serializers.SerializerMethodField(
        help_text="Which items take turns, where every other one has it in a cycle; else null."
    )
    deficiencies = serializers.SerializerMethodField()
    own = serializers.BooleanField(
        source="asked_since", help_text="One of the contractor's own rules."
    )
    minutes = serializers.FloatField(
        source="minutes_per_item", help_text="For each item; an estimate."
    )
    catalogue = serializers.SerializerMethodField(help_text="The version it is given from.")

    def to_representation(self, activity: Activity) -> dict[str, Any]:
        """Write spans as durations."""
        found: dict[str, Any] = super().to_representation(activity)
        found["frequency"] = _frequency(activity)
        found["first_after"] = _iso(activity.first_after)
        found["own"] = activity.asked_since is not None
        return found

    def get_cautions(self, activity: Activity) -> list[str]:
        """Return what can hurt somebody at it, and what is done about it."""
        return catalogue().cautions_told(activity)

    @extend_schema_field(WindowOut(many=True))
    def get_windows(self, activity: Activity) -> list[dict[str, Any]]:
        """Return the definitions of its frequency, from edition to edition."""
        return windows_of(activity)

    @extend_schema_field(FamilyOut(many=True))
    def get_families(self, activity: Activity) -> list[dict[str, Any]]:
        """Return its places in families."""
        return list(FamilyOut(catalogue().roles(activity.id), many=True).data)

    @extend_schema_field(ClosesOut(many=True))
    def get_closes(self, activity: Activity) -> list[dict[str, Any]]:
        """Return what it closes by its content."""
        rows = [one for one in catalogue().substitutions if one.performed == activity.id]
        return list(ClosesOut(rows, many=True).data)

    @extend_schema_field(ClosesOut(many=True))
    def get_closed_by(self, activity: Activity) -> list[dict[str, Any]]:
        """Return what closes it by its content."""
        rows = [one for one in catalogue().substitutions if one.closes == activity.id]
        return list(ClosesOut(rows, many=True).data)

    @extend_schema_field(AlternationOut(allow_null=True))
    def get_alternates(self, activity: Activity) -> dict[str, Any] | None:
        """Return which of its items take turns."""
        row = catalogue().alternating.get(activity.id)
        return None if row is None else dict(AlternationOut(row).data)

    @extend_schema_field(DeficiencyOut(many=True))
    def get_deficiencies(self, activity: Activity) -> list[dict[str, Any]]:
        """Return the classes of findings at it."""
        return list(
            DeficiencyOut(catalogue().deficiencies_for(activity_id=activity.id), many=True).data
        )

    def get_catalogue(self, _activity: Activity) -> str:
        """Return the name of the version in force today."""
        return catalogue().version


class ActivityQuery(serializers.Serializer[Any]):
    """What the list of activities may be narrowed by."""

    component = serializers.CharField(required=False)
    kind = serializers.ChoiceField(choices=KINDS, required=False)
    regime = serializers.CharField(required=False)
    frequency = serializers.CharField(required=False, help_text="Such as P3M, P1Y or EVENT.")
    subject = serializers.CharField(required=False, help_text="A kind of item that carries it.")
    edition = serializers.IntegerField(required=False, min_value=1900, max_value=2200)
    confidence = serializers.ChoiceField(choices=("read", "memory"), required=False)
    qualification = serializers.CharField(required=False)
    own = serializers.BooleanField(required=False, allow_null=True, default=None)
    q = serializers.CharField(required=False, help_text="Part of the id, component or task.")
    ordering = serializers.ChoiceField(choices=ORDERS, required=False)


class Activities(DoorMixin, viewsets.GenericViewSet[Any]):
    """Activities of the catalogue in force, and of the contractor's own rules."""

    serializer_class = ActivityOut
    filter_backends = ()
    lookup_value_regex = "[A-Za-z0-9._:-]+"

    @extend_schema(
        parameters=[ActivityQuery], responses=ActivityOut(many=True), operation_id="activities_list"
    )
    def list(self, request: Request) -> Response:
        """List activities."""
        asked = ActivityQuery(data=request.query_params.dict())
        asked.is_valid(raise_exception=True)
        rows = _narrowed(dict(asked.validated_data))
        page = self.paginate_queryset(rows)
        return self.get_paginated_response(ActivityOut(page, many=True).data)

    @extend_schema(
        parameters=[OpenApiParameter("id", OpenApiTypes.STR, OpenApiParameter.PATH)],
        operation_id="activities_retrieve",
    )
    def retrieve(self, request: Request, pk: str) -> Response:
        """Return one activity."""
        found = catalogue().activities.get(pk)
        if found is None:
            raise NotThere
        return Response(ActivityOut(found).data)


def windows_of(activity: Activity) -> list[dict[str, Any]]:
    """Return the definitions of an activity's frequency, each from its first edition on."""
    if activity.frequency is None:
        return []
    found: list[dict[str, Any]] = []
    for edition in EDITIONS:
        if activity.in_edition(edition) is not True:
            continue
        rule = catalogue().window_rule(activity.regime, edition, activity.frequency)
        told = {name: _iso(getattr(rule, name)) for name in _GAPS}
        told |= {name: getattr(rule, name) for name in _TOLD}
        if not found or told != {name: found[-1][name] for name in told}:
            found.append({"edition_from": edition, **told})
    if len(found) == 1 and activity.edition_from is None:
        found[0]["edition_from"] = None
    return found


def every_activity() -> list[Activity]:
    """Return the activities of the version in force, and those of the contractor's own."""
    return [*catalogue().activities.values(), *rules.own_activities()]


def _narrowed(asked: dict[str, Any]) -> list[Activity]:
    order = asked.pop("ordering", "id")
    if asked["own"] is None:
        del asked["own"]
    tests: dict[str, Callable[[Activity, Any], bool]] = {
        "component": lambda row, value: row.component == value,
        "kind": lambda row, value: row.kind == value,
        "regime": lambda row, value: row.regime == value,
        "frequency": lambda row, value: _frequency(row) == value,
        "subject": lambda row, value: value in row.subjects,
        "edition": lambda row, value: row.in_edition(value) is True,
        "confidence": lambda row, value: row.confidence == value,
        "qualification": lambda row, value: row.qualification == value,
        "own": lambda row, value: (row.asked_since is not None) is value,
        "q": lambda row, value: value.lower() in f"{row.id} {row.component} {row.task}".lower(),
    }
    rows = every_activity()
    _check_words(asked, rows)
    chosen = [row for row in rows if all(tests[name](row, asked[name]) for name in asked)]
    return sorted(chosen, key=SORTED_BY[order.lstrip("-")], reverse=order.startswith("-"))


def _check_words(asked: Mapping[str, Any], rows: Collection[Activity]) -> None:
    """Refuse a word that no activity has, rather than answer with an empty list."""
    known: dict[str, set[str]] = {
        "component": {row.component for row in rows},
        "regime": {row.regime for row in rows},
        "frequency": {_frequency(row) for row in rows},
        "subject": {kind for row in rows for kind in row.subjects},
        "qualification": {row.qualification for row in rows},
    }
    for name, words in known.items():
        if name in asked and asked[name] not in words:
            raise FieldRefused(name, asked[name], f"Accepted: {', '.join(sorted(words))}.")


def _frequency(activity: Activity) -> str:
    return _iso(activity.frequency) or EVENT


def _iso(span: Span | None) -> str | None:
    if span is None:
        return None
    if span.working_days:
        return f"{span.working_days} working days"
    if span.months < 0:
        return f"-{_iso(Span(-span.months, -span.days))}"
    years, months = divmod(span.months, 12)
    parts = ((years, "Y"), (months, "M"), (span.days, "D"))
    return "P" + "".join(f"{count}{letter}" for count, letter in parts if count)


def _days(span: Span | None) -> float:
    return float("inf") if span is None else span.nominal_days


class FaultOut(serializers.Serializer[Any]):
    """What cannot be used about a table."""

    file = serializers.CharField()
    row = serializers.CharField(help_text="Line in the file, or the row's own id.")
    reason = serializers.CharField()


class VersionOut(serializers.Serializer[Any]):
    """A version of the catalogue: in force from a day on, or refused with its faults."""

    name = serializers.CharField()
    in_force_from = serializers.DateField(allow_null=True, help_text="Null: from the beginning.")
    activities = serializers.IntegerField()
    refused = serializers.BooleanField()
    faults = FaultOut(many=True)


class Versions(DoorMixin, viewsets.GenericViewSet[Any]):
    """Versions of the catalogue that the installation came with, the oldest first."""

    serializer_class = VersionOut
    filter_backends = ()
    pagination_class = None

    @extend_schema(responses=VersionOut(many=True), operation_id="catalogue_versions_list")
    def list(self, request: Request) -> Response:
        """List the versions, and those that were refused: the one before them stays in force."""
        good: list[dict[str, Any]] = [
            {
                "name": one.catalogue.version,
                "in_force_from": None if one.in_force_from == date.min else one.in_force_from,
                "activities": len(one.catalogue.activities),
                "refused": False,
                "faults": [],
            }
            for one in versions()
        ]
        wrong = [
            {
                "name": one.folder,
                "in_force_from": one.in_force_from,
                "activities": 0,
                "refused": True,
                "faults": one.faults,
            }
            for one in refused()
        ]
        return Response(VersionOut([*good, *wrong], many=True).data)


class CalculationOut(serializers.Serializer[Any]):
    """A computation with the JSON Schemas of what it takes and gives."""

    name = serializers.CharField()
    title = serializers.CharField()
    version = serializers.IntegerField()
    source = serializers.CharField()  # type: ignore[assignment]
    input = serializers.DictField()
    output = serializers.DictField()


class QuantityOut(serializers.Serializer[Any]):
    """A value with its unit."""

    value = serializers.JSONField()
    unit = serializers.CharField()


class OutcomeOut(serializers.Serializer[Any]):
    """What a computation gives."""

    name = serializers.CharField()
    version = serializers.IntegerField()
    values = serializers.DictField(child=QuantityOut())
    verdict = serializers.CharField(allow_null=True)
    limit = QuantityOut(allow_null=True)
    margin = QuantityOut(allow_null=True)
    reason = serializers.CharField()
    warnings = serializers.ListField(child=serializers.CharField())


class Calculations(DoorMixin, viewsets.GenericViewSet[Any]):
    """Computations on values as they are entered, with their units."""

    serializer_class = CalculationOut
    filter_backends = ()
    pagination_class = None
    write_roles = EVERYBODY
    lookup_value_regex = "[a-z0-9_]+"

    @extend_schema(responses=CalculationOut(many=True), operation_id="calculations_list")
    def list(self, request: Request) -> Response:
        """List the computations with their schemas."""
        return Response([index.schema(name) for name in index.COMPUTATIONS])

    @extend_schema(
        parameters=[OpenApiParameter("id", OpenApiTypes.STR, OpenApiParameter.PATH)],
        operation_id="calculations_retrieve",
    )
    def retrieve(self, request: Request, pk: str) -> Response:
        """Return the schemas of one computation."""
        return Response(index.schema(_known(pk)))

    @extend_schema(
        parameters=[OpenApiParameter("id", OpenApiTypes.STR, OpenApiParameter.PATH)],
        request={"application/json": {"type": "object", "additionalProperties": True}},
        responses=OutcomeOut,
        operation_id="calculations_evaluate",
    )
    def evaluate(self, request: Request, pk: str) -> Response:
        """Evaluate a computation on its inputs, each with its unit."""
        name = _known(pk)
        if not isinstance(request.data, dict):
            raise FieldRefused("body", str(request.data)[:80], "An object of inputs.")
        system = request.member.contractor.units  # type: ignore[attr-defined]
        outcome = calculations.evaluate_entered(name, request.data, system)
        return Response(calculations.as_entered(outcome, system))


def _known(name: str) -> str:
    if name not in index.COMPUTATIONS:
        raise NotThere
    return name
