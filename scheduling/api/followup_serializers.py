"""What the API says, and takes, of response times, ladders, quiet hours and messages."""

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from buildings.api.serializers import Here
from buildings.models import Jurisdiction
from contractors.models import Contractor, MailChoice, Notice
from inspections.models import Finding
from scheduling import legal, responses, waiting
from scheduling.models import Basis, FollowUp, Holiday, Ladder, OverdueClass, ResponseTime

_RULED = ("basis", "source", "valid_from", "recorded_at")


class FollowUpOut(serializers.ModelSerializer[FollowUp]):
    """What is owed because of a finding or an impairment."""

    waits_for = serializers.SerializerMethodField(help_text="owner or us")

    class Meta:
        model = FollowUp
        fields = (
            *("id", "building", "finding", "impairment", "kind", "grade", "state", "due_on"),
            *("basis", "waits_for", "reminders", "reminded_on", "escalated", "next_at"),
            *("opened_on", "done_on", "done_how"),
        )

    @extend_schema_field(serializers.ChoiceField(choices=waiting.WHO))
    def get_waits_for(self, row: FollowUp) -> str:
        """Return whom it waits for."""
        return waiting.waits_for(row)


class RedateIn(serializers.Serializer[Any]):
    """Another day for follow-ups, all or none."""

    follow_ups = serializers.ListField(
        child=serializers.UUIDField(), allow_empty=False, max_length=waiting.MOST
    )
    on = serializers.DateField()
    reason = serializers.CharField(max_length=400)


class HowIn(serializers.Serializer[Any]):
    """Who was told, and how."""

    how = serializers.CharField(max_length=200)


class RuledIn(serializers.Serializer[Any]):
    """What every rule states: what it rests on and from when it holds."""

    basis = serializers.ChoiceField(choices=Basis.choices, default=Basis.PRACTICE)
    source = serializers.CharField(  # type: ignore[assignment]
        max_length=200, allow_blank=True, default=""
    )
    valid_from = serializers.DateField()


class ResponseTimeIn(RuledIn):
    """How soon findings of a class are answered; null days take the rule away."""

    jurisdiction = Here(Jurisdiction, allow_null=True, default=None)
    grade = serializers.ChoiceField(choices=[one.value for one in responses.ANSWERED])
    days = serializers.IntegerField(min_value=0, max_value=responses.MOST_DAYS, allow_null=True)
    counts = serializers.ChoiceField(
        choices=ResponseTime.Counts.choices, default=ResponseTime.Counts.CALENDAR
    )


class ResponseTimeOut(serializers.ModelSerializer[ResponseTime]):
    """A response time that was set."""

    class Meta:
        model = ResponseTime
        fields = ("id", "jurisdiction", "grade", "days", "counts", *_RULED)


class StepSerializer(serializers.Serializer[Any]):
    """A step: hours out of service for an impairment, days past the day owed otherwise."""

    after = serializers.IntegerField()
    every = serializers.IntegerField(default=0, help_text="0 for once")
    tell = serializers.ListField(child=serializers.ChoiceField(choices=Ladder.Rung.choices))


class LadderIn(RuledIn):
    """Who is told after how long."""

    grade = serializers.ChoiceField(choices=[one.value for one in responses.ANSWERED])
    steps = StepSerializer(many=True, allow_empty=False)


class LadderOut(serializers.ModelSerializer[Ladder]):
    """A ladder that was set."""

    steps = StepSerializer(many=True)

    class Meta:
        model = Ladder
        fields = ("id", "grade", "steps", *_RULED)


class InForceOut(serializers.Serializer[Any]):
    """What holds for a class on a day."""

    grade = serializers.ChoiceField(choices=Finding.Class.choices)
    days = serializers.IntegerField(allow_null=True)
    custom = serializers.BooleanField(help_text="No rule was set: the customary time counts.")
    why = serializers.CharField()
    steps = StepSerializer(many=True)
    steps_custom = serializers.BooleanField(help_text="Common practice, no source.")


class OverdueClassIn(RuledIn):
    """What an overdue test counts as; an empty class takes a rule away."""

    jurisdiction = Here(Jurisdiction)
    what = serializers.ChoiceField(choices=[legal.SAMPLING, *legal.REPEATS])
    grade = serializers.ChoiceField(choices=["", "critical", "noncritical"], allow_blank=True)


class OverdueClassOut(serializers.ModelSerializer[OverdueClass]):
    """What an overdue test counts as."""

    class Meta:
        model = OverdueClass
        fields = ("id", "jurisdiction", "what", "grade", *_RULED)


class HolidayIn(serializers.Serializer[Any]):
    """A day on which an authority does not work."""

    jurisdiction = Here(Jurisdiction)
    on = serializers.DateField()
    name = serializers.CharField(max_length=80)


class HolidayOut(serializers.ModelSerializer[Holiday]):
    """A day on which an authority does not work."""

    class Meta:
        model = Holiday
        fields = ("id", "jurisdiction", "on", "name")


class HoursSerializer(serializers.ModelSerializer[Contractor]):
    """Quiet hours, the hour of gathered mail, and how owners get mail."""

    owner_mail = serializers.ChoiceField(
        choices=[one for one in MailChoice.choices if one[0] != MailChoice.NONE]
    )

    class Meta:
        model = Contractor
        fields = ("quiet_from", "quiet_until", "digest_at", "owner_mail")
        extra_kwargs: ClassVar[dict[str, Any]] = {
            name: {"required": True} for name in ("quiet_from", "quiet_until", "digest_at")
        }


class MailSerializer(serializers.Serializer[Any]):
    """How the caller wants ordinary mail; empty (owners): as the contractor has set it."""

    mail = serializers.ChoiceField(choices=["", *MailChoice.values], allow_blank=True)


class NoticeOut(serializers.ModelSerializer[Notice]):
    """A message to somebody, with how far it got."""

    class Meta:
        model = Notice
        fields = (
            *("id", "kind", "recipient", "subject", "body", "state", "urgent", "made_at"),
            *("not_before", "sent_at", "error", "message_id", "told_in", "settled_at"),
            "settled_how",
        )


class WhyIn(serializers.Serializer[Any]):
    """What the returned message said."""

    why = serializers.CharField(max_length=200)
