"""What the API says to a building's owner, and takes of their decisions."""

import json
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from scheduling import rooms
from scheduling.models import OwnerAct, PublishedItem, PublishedReport, Standing

# Where a day begins first: no building's today lies after the one there.
EARLIEST_ZONE = ZoneInfo("Pacific/Kiritimati")


class DayQuery(serializers.Serializer[Any]):
    """The day on which buildings are looked at."""

    on = serializers.DateField(required=False, help_text="Today, where it is left out.")

    def validate_on(self, day: date) -> date:
        """Refuse a day that has not come: how a building will stand is not known."""
        if day > timezone.localdate(timezone=EARLIEST_ZONE):
            raise serializers.ValidationError("A day up to today, such as 2026-11-25.")
        return day


class StandsQuery(DayQuery):
    """What the list of buildings may be narrowed by."""

    word = serializers.ChoiceField(choices=Standing.choices, required=False)


class StandsOut(serializers.Serializer[Any]):
    """A building with its standing on a day."""

    id = serializers.UUIDField(source="building.building_id")
    name = serializers.CharField(source="building.name")
    code = serializers.CharField(source="building.code")
    address = serializers.CharField(source="building.address")
    time_zone = serializers.CharField(source="building.time_zone")
    looked_after_by = serializers.CharField(source="building.contractor_name")
    engaged_from = serializers.DateField(source="building.engaged_from")
    engaged_until = serializers.DateField(source="building.engaged_until", allow_null=True)
    on = serializers.DateField()
    word = serializers.ChoiceField(choices=Standing.choices)
    due_by = serializers.DateField(allow_null=True)
    since = serializers.DateTimeField(
        allow_null=True, help_text="Since when it has stood so without a break."
    )
    reasons = serializers.ListField(child=serializers.DictField())
    scope = serializers.DictField()
    worst = serializers.CharField(help_text="The worst class among what is open, or empty.")
    open_count = serializers.SerializerMethodField()

    def get_open_count(self, stands: rooms.Stands) -> int:
        """Return how many findings and impairments are open."""
        return len(stands.items)


class ItemOut(serializers.ModelSerializer[PublishedItem]):
    """A finding or an impairment."""

    id = serializers.UUIDField(source="source_id", read_only=True)
    building = serializers.UUIDField(source="building_id", read_only=True)
    grade = serializers.ChoiceField(choices=rooms.GRADES, source="grade", read_only=True)
    facts = serializers.DictField(read_only=True)

    class Meta:
        model = PublishedItem
        fields: tuple[str, ...] = (
            *("id", "building", "kind", "grade", "text", "since", "ended_at", "facts"),
        )

    def get_fields(self) -> dict[str, Any]:
        """Return the fields by their names in the API: the word class is kept by Python."""
        fields = super().get_fields()
        return {"class" if name == "grade" else name: field for name, field in fields.items()}


class DecisionOut(serializers.ModelSerializer[OwnerAct]):
    """A decision as it was written down, and whether the contractor's record took it in."""

    item = serializers.UUIDField(source="source_id", read_only=True)
    decision = serializers.CharField(source="facts.decision", read_only=True)
    until = serializers.DateField(source="facts.until", allow_null=True, read_only=True)
    reason = serializers.CharField(source="facts.reason", read_only=True)
    decided_by = serializers.CharField(source="access.user.name", read_only=True)

    class Meta:
        model = OwnerAct
        fields = (
            *("id", "item", "decision", "until", "reason", "decided_by", "at"),
            *("taken_at", "refused"),
        )


class ItemDetail(ItemOut):
    """A finding or an impairment with what this owner decided on it."""

    decisions = serializers.SerializerMethodField()

    class Meta(ItemOut.Meta):
        fields = (*ItemOut.Meta.fields, "decisions")

    @extend_schema_field(DecisionOut(many=True))
    def get_decisions(self, item: PublishedItem) -> Any:
        """Return the decisions, newest first."""
        acts = OwnerAct.objects.filter(source_id=item.source_id, kind=OwnerAct.Kind.DECIDE)
        rows = acts.select_related("access__user").order_by("-at")
        return DecisionOut(rows, many=True).data


class StretchOut(serializers.Serializer[Any]):
    """Time during which a building stood under one word without a break."""

    word = serializers.ChoiceField(choices=Standing.choices)
    begun = serializers.DateTimeField()
    ended = serializers.DateTimeField()
    due_by = serializers.DateField(allow_null=True)


class StandsDetail(StandsOut):
    """A building with its standing on a day, what is open, and what is next as of today."""

    before = StretchOut(many=True, help_text="How it stood before, newest first.")

    systems = serializers.ListField(source="building.facts.systems", child=serializers.DictField())
    next = serializers.ListField(source="building.facts.next", child=serializers.DictField())
    water = serializers.SerializerMethodField(
        help_text="What the newest flow test leaves each demand on the water supply, as of today."
    )
    items = ItemOut(many=True)

    @extend_schema_field(serializers.ListField(child=serializers.DictField()))
    def get_water(self, row: rooms.Stands) -> list[dict[str, Any]]:
        """Return the margins; what was published before there were any has none."""
        return list(row.building.facts.get("water", []))


class DecisionIn(serializers.Serializer[Any]):
    """A decision on an open finding."""

    decision = serializers.ChoiceField(choices=rooms.DECISIONS)
    until = serializers.DateField(
        required=False, allow_null=True, help_text="Needed for a deferral: a day after today."
    )
    reason = serializers.CharField(
        required=False, allow_blank=True, max_length=400, help_text="Needed unless approved."
    )


class OwnerReportOut(serializers.ModelSerializer[PublishedReport]):
    """A version of a report."""

    id = serializers.UUIDField(source="report_id", read_only=True)
    building = serializers.UUIDField(source="building_id", read_only=True)
    visit = serializers.UUIDField(source="visit_id", read_only=True)

    class Meta:
        model = PublishedReport
        fields: tuple[str, ...] = (
            *("id", "building", "visit", "version", "title", "performed_on", "code"),
            *("sha256", "sealed_at"),
        )


class OwnerReportDetail(OwnerReportOut):
    """A version of a report with its facts, as frozen."""

    facts = serializers.SerializerMethodField()

    class Meta(OwnerReportOut.Meta):
        fields = (*OwnerReportOut.Meta.fields, "facts")

    @extend_schema_field(serializers.DictField())
    def get_facts(self, report: PublishedReport) -> Any:
        """Return the frozen facts."""
        return json.loads(report.facts)
