"""What the API says, and takes, of what is due, how buildings stand, and plans."""

from datetime import date, timedelta
from typing import Any, ClassVar
from uuid import UUID

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from buildings.api.serializers import Here
from contractors.models import OutboxMessage, Person
from inspections.catalogue_files import catalogue
from inspections.models import Visit
from scheduling import plans
from scheduling.forms import LONGEST_PLAN_DAYS, MOST_SECONDS
from scheduling.models import Occurrence, Plan, Question, Standing, Stop


class OccurrenceOut(serializers.ModelSerializer[Occurrence]):
    """An activity that falls due on an item; minutes are an own estimate."""

    task = serializers.SerializerMethodField()
    visit = serializers.SerializerMethodField()

    class Meta:
        model = Occurrence
        fields: ClassVar[tuple[str, ...]] = (
            *("id", "building", "system", "subject_kind", "subject_id", "activity", "task"),
            *("frequency", "qualification", "by_owner", "earliest_on", "due_on", "latest_on"),
            *("last_done_on", "last_evidence", "known", "minutes", "visit", "derived_on"),
        )

    def get_task(self, row: Occurrence) -> str:
        """Return what is to be done, in words."""
        activity = catalogue().activities.get(row.activity)
        return activity.task if activity else ""

    def get_visit(self, row: Occurrence) -> str | None:
        """Return the planned or open visit that does it."""
        visit = row.visit
        return str(visit.pk) if visit and visit.state in Visit.UNDER_WAY else None


class OccurrenceDetail(OccurrenceOut):
    """An occurrence with its reason: window, why it applies, source and confidence."""

    reason = serializers.JSONField(read_only=True)

    class Meta(OccurrenceOut.Meta):
        fields = (*OccurrenceOut.Meta.fields, "reason", "catalogue_version")


class PicksIn(serializers.Serializer[Any]):
    """Occurrences to make visits of, or to put into visits that are planned.

    `into` says where: `new` visits, which a technician and a day may be given at once; the next
    `planned` visit of each building; or that one visit, by its id.
    """

    occurrences = serializers.ListField(
        child=serializers.UUIDField(), allow_empty=False, max_length=2000
    )
    technician = Here(Person, required=False, allow_null=True)
    planned_on = serializers.DateField(required=False, allow_null=True)
    into = serializers.CharField(default="new", help_text="new, planned, or a visit's id")

    def validate_into(self, text: str) -> Any:
        """Take a word or an id."""
        if text in ("new", "planned"):
            return text
        try:
            return UUID(text)
        except ValueError:
            accepted = "new, planned, or the id of a planned visit."
            raise serializers.ValidationError(f"{text!r} is not accepted: {accepted}") from None


class VisitsMadeOut(serializers.Serializer[Any]):
    """The visits that were made."""

    visits = serializers.ListField(child=serializers.UUIDField())


class StandingOut(serializers.Serializer[Any]):
    """How a building stands on a day."""

    building = serializers.UUIDField()
    name = serializers.CharField()
    on = serializers.DateField(allow_null=True)
    word = serializers.ChoiceField(choices=Standing.choices)
    due_by = serializers.DateField(allow_null=True)
    since = serializers.DateTimeField(
        allow_null=True, help_text="Since when it has stood so without a break."
    )
    reasons = serializers.ListField(child=serializers.DictField())
    scope = serializers.DictField()


class QuestionOut(serializers.ModelSerializer[Question]):
    """A fact that rules wait for, and the activities that hang on it."""

    class Meta:
        model = Question
        fields = (
            *("id", "building", "subject_kind", "subject_id", "attribute", "asked_as", "decides"),
        )


class StopOut(serializers.ModelSerializer[Stop]):
    """One visit on one technician's day in a plan."""

    building = serializers.UUIDField(source="visit.building_id", read_only=True)

    class Meta:
        model = Stop
        fields = (
            *("id", "plan", "visit", "building", "technician", "on", "position", "arrival_at"),
            *("start_at", "end_at", "travel_seconds", "moved_by_hand"),
        )


class JobOut(serializers.ModelSerializer[OutboxMessage]):
    """The job that searches a plan."""

    class Meta:
        model = OutboxMessage
        fields = ("id", "state", "progress", "cancel_asked", "attempts", "error_code")


class PlanOut(serializers.ModelSerializer[Plan]):
    """A plan without its stops."""

    class Meta:
        model = Plan
        fields: ClassVar[tuple[str, ...]] = (
            *("id", "from_on", "to_on", "state", "seconds", "progress", "message", "made_at"),
            *("published_at", "unplanned", "summary", "revision"),
        )


class PlanDetail(PlanOut):
    """A plan with its stops and the job that searches it."""

    stops = StopOut(many=True, read_only=True)
    job = serializers.SerializerMethodField()

    class Meta(PlanOut.Meta):
        fields = (*PlanOut.Meta.fields, "stops", "job")

    @extend_schema_field(JobOut(allow_null=True))
    def get_job(self, row: Plan) -> Any:
        """Return the job."""
        job = plans.job_of(row)
        return JobOut(job).data if job else None


class PlanIn(serializers.Serializer[Any]):
    """The days to plan, and how long to search."""

    from_on = serializers.DateField()
    to_on = serializers.DateField()
    seconds = serializers.IntegerField(
        min_value=1, max_value=MOST_SECONDS, default=plans.USUAL_SECONDS
    )
    make_visits = serializers.BooleanField(
        default=False, help_text="First make visits of what is owed until then."
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse an end before the beginning and a plan that is too long."""
        first: date = attrs["from_on"]
        last: date = first + timedelta(days=LONGEST_PLAN_DAYS - 1)
        if not first <= attrs["to_on"] <= last:
            raise serializers.ValidationError({"to_on": [f"A day from {first} to {last}."]})
        return attrs


class MoveIn(serializers.Serializer[Any]):
    """Where a visit is moved to; with `dry_run` only what it does is told."""

    visit = serializers.UUIDField()
    technician = serializers.UUIDField()
    on = serializers.DateField()
    position = serializers.IntegerField(required=False, allow_null=True, min_value=1)
    start_at = serializers.DateTimeField(required=False, allow_null=True)
    revision = serializers.IntegerField(min_value=0)
    dry_run = serializers.BooleanField(default=False)


class MoveOut(serializers.Serializer[Any]):
    """What a move does: seconds of driving and cost before and after, what it breaks."""

    moved = serializers.BooleanField()
    revision = serializers.IntegerField()
    drive_before = serializers.IntegerField()
    drive_after = serializers.IntegerField()
    before = serializers.DictField(child=serializers.IntegerField())
    after = serializers.DictField(child=serializers.IntegerField())
    breaks = serializers.ListField(child=serializers.CharField())


class PublishIn(serializers.Serializer[Any]):
    """The revision that was looked at; another one is refused."""

    revision = serializers.IntegerField(required=False, min_value=0)


class AgainIn(serializers.Serializer[Any]):
    """How long to search, and who is away when."""

    seconds = serializers.IntegerField(min_value=1, max_value=MOST_SECONDS, default=5)
    technician = serializers.UUIDField(required=False)
    away = serializers.ListField(child=serializers.DateField(), required=False, max_length=366)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Want both or none of technician and days."""
        if ("technician" in attrs) != ("away" in attrs):
            said = "Send technician and away together, or neither."
            raise serializers.ValidationError({"away": [said]})
        return attrs


class ToldOut(serializers.Serializer[Any]):
    """A message that publishing sends; without an e-mail somebody has to ring."""

    role = serializers.ChoiceField(choices=["technician", "owner"])
    name = serializers.CharField()
    email = serializers.CharField(allow_blank=True)
    lines = serializers.ListField(child=serializers.CharField())
