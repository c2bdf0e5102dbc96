"""Follow-ups, response times, ladders, quiet hours and messages in the API."""

from typing import Any, ClassVar

from django.db.models import Q, QuerySet
from django.utils import timezone
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from contractors import notices
from contractors.doors import OFFICE, DoorMixin, Role
from contractors.models import Contractor, Notice
from scheduling import escalation, ladders, legal, plans, responses, waiting
from scheduling.api import followup_serializers as serializers
from scheduling.models import FollowUp, Holiday, Ladder, OverdueClass, ResponseTime


class _Reads(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Lists and details of one table."""


class FollowUpFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of follow-ups."""

    due_before = filters.DateFilter(field_name="due_on", lookup_expr="lte")
    opened_before = filters.DateFilter(field_name="opened_on", lookup_expr="lte")
    is_open = filters.BooleanFilter(method="of_open", help_text="Not done yet.")
    late = filters.BooleanFilter(method="of_late", help_text="Not done, and past its day.")
    waits_for = filters.ChoiceFilter(method="of_who", choices=[(one, one) for one in waiting.WHO])

    class Meta:
        model = FollowUp
        fields = ("building", "finding", "impairment", "kind", "state", "grade")

    def of_open(self, rows: QuerySet[FollowUp], _name: str, value: bool) -> Any:
        """Return those not done yet, or the others."""
        done = Q(state=FollowUp.State.DONE)
        return rows.exclude(done) if value else rows.filter(done)

    def of_late(self, rows: QuerySet[FollowUp], _name: str, value: bool) -> Any:
        """Return those past their day, or the others."""
        today = plans.today_at(timezone.now())
        late = Q(due_on__lt=today) & ~Q(state=FollowUp.State.DONE)
        return rows.filter(late if value else ~late)

    def of_who(self, rows: QuerySet[FollowUp], _name: str, value: str) -> Any:
        """Return those that wait for the owner, or for the contractor."""
        return rows.filter(waiting.FOR_OWNER if value == "owner" else ~waiting.FOR_OWNER)


class FollowUps(_Reads):
    """What open findings and impairments call for."""

    queryset = FollowUp.objects.none()
    serializer_class = serializers.FollowUpOut
    filterset_class = FollowUpFilter
    ordering_fields: ClassVar[list[str]] = ["due_on", "opened_on", "kind"]

    def get_queryset(self) -> QuerySet[FollowUp]:
        """Return the follow-ups in scope."""
        rows: QuerySet[FollowUp] = FollowUp.objects.select_related("finding", "building")
        return rows.order_by("due_on", "pk")

    @extend_schema(request=serializers.HowIn, responses=serializers.FollowUpOut)
    @action(detail=True, methods=["post"])
    def settle(self, request: Request, pk: str) -> Response:
        """End one by a person's word: the authority was told, or access is given again."""
        found = self.get_object()
        taken = serializers.HowIn(data=request.data)
        taken.is_valid(raise_exception=True)
        row = escalation.settle(found, how=taken.validated_data["how"], by=self.request.member)
        return Response(serializers.FollowUpOut(row).data)


class Redate(DoorMixin, APIView):
    """Another day for many follow-ups, with the reason."""

    read_roles = OFFICE
    key_required = True

    @extend_schema(request=serializers.RedateIn, responses=serializers.FollowUpOut(many=True))
    def post(self, request: Request) -> Response:
        """Move them, all or none."""
        taken = serializers.RedateIn(data=request.data)
        taken.is_valid(raise_exception=True)
        given = taken.validated_data
        rows = waiting.redate(
            given["follow_ups"], on=given["on"], reason=given["reason"], by=self.request.member
        )
        return Response(serializers.FollowUpOut(rows, many=True).data)


class _Rules(_Reads):
    """Rules in force from a day on: read, and set anew; none is ever changed."""

    read_roles = OFFICE
    write_roles = (Role.MANAGER,)
    taken: ClassVar[Any]
    given: ClassVar[Any]
    ordering_fields: ClassVar[list[str]] = ["valid_from", "recorded_at"]

    def get_serializer_class(self) -> Any:
        """Return the form that fits what is done."""
        return self.taken if self.action == "create" else self.given

    def do(self, **values: Any) -> Any:
        """Set the rule."""
        raise NotImplementedError

    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Set a rule."""
        taken = self.taken(data=request.data)
        taken.is_valid(raise_exception=True)
        made = self.do(**taken.validated_data, by=self.request.member)
        return Response(self.given(made).data, status=status.HTTP_201_CREATED)


@extend_schema(methods=["POST"], responses={201: serializers.ResponseTimeOut})
class ResponseTimes(_Rules):
    """How soon findings of a class are answered."""

    queryset = ResponseTime.objects.none()
    taken, given = serializers.ResponseTimeIn, serializers.ResponseTimeOut
    filterset_fields: ClassVar[list[str]] = ["jurisdiction", "grade"]

    def get_queryset(self) -> QuerySet[ResponseTime]:
        """Return the rules in scope."""
        rows: QuerySet[ResponseTime] = ResponseTime.objects.order_by("-valid_from", "-recorded_at")
        return rows

    def do(self, **values: Any) -> ResponseTime:
        """Set a response time."""
        return responses.set_time(**values)

    @extend_schema(responses=serializers.InForceOut(many=True), filters=False)
    @action(detail=False, methods=["get"], pagination_class=None, url_path="in-force")
    def in_force(self, request: Request) -> Response:
        """Say what holds today where no authority says otherwise, and who is told when."""
        today = timezone.localdate()
        times, climbing = responses.Times(None), ladders.Ladders(today)
        body = []
        for grade in responses.ANSWERED:
            owed = times.owed(grade, "", today)
            body.append(
                {
                    "grade": grade,
                    "days": (owed.by - today).days if owed else None,
                    "custom": owed is None or owed.custom,
                    "why": owed.why if owed else "",
                    "steps": [step.as_data() for step in climbing.steps(grade)],
                    "steps_custom": grade not in climbing.set,
                }
            )
        return Response(serializers.InForceOut(body, many=True).data)


@extend_schema(methods=["POST"], responses={201: serializers.LadderOut})
class Ladders(_Rules):
    """Who is told after how long about findings of a class."""

    queryset = Ladder.objects.none()
    taken, given = serializers.LadderIn, serializers.LadderOut
    filterset_fields: ClassVar[list[str]] = ["grade"]

    def get_queryset(self) -> QuerySet[Ladder]:
        """Return the ladders in scope."""
        rows: QuerySet[Ladder] = Ladder.objects.order_by("-valid_from", "-recorded_at")
        return rows

    def do(self, **values: Any) -> Ladder:
        """Set a ladder, and have open follow-ups climb it."""
        values["steps"] = [dict(step) for step in values["steps"]]
        made = ladders.set_ladder(**values)
        escalation.look_again(made.grade)
        return made


@extend_schema(methods=["POST"], responses={201: serializers.OverdueClassOut})
class OverdueClasses(_Rules):
    """What an overdue test counts as under an authority."""

    queryset = OverdueClass.objects.none()
    taken, given = serializers.OverdueClassIn, serializers.OverdueClassOut
    filterset_fields: ClassVar[list[str]] = ["jurisdiction", "what"]

    def get_queryset(self) -> QuerySet[OverdueClass]:
        """Return the rules in scope."""
        rows: QuerySet[OverdueClass] = OverdueClass.objects.order_by("-valid_from", "-recorded_at")
        return rows

    def do(self, **values: Any) -> OverdueClass:
        """Set what an overdue test counts as."""
        return legal.set_overdue_class(**values)


@extend_schema(methods=["POST"], responses={201: serializers.HolidayOut})
class Holidays(_Rules):
    """Days on which authorities do not work."""

    queryset = Holiday.objects.none()
    taken, given = serializers.HolidayIn, serializers.HolidayOut
    filterset_fields: ClassVar[list[str]] = ["jurisdiction", "on"]
    ordering_fields: ClassVar[list[str]] = ["on"]

    def get_queryset(self) -> QuerySet[Holiday]:
        """Return the holidays in scope."""
        rows: QuerySet[Holiday] = Holiday.objects.order_by("on", "pk")
        return rows

    def do(self, **values: Any) -> Holiday:
        """Write down a holiday."""
        return responses.add_holiday(**values)


class NoticeHours(DoorMixin, APIView):
    """Quiet hours, the hour of gathered mail, and how owners get mail."""

    read_roles = OFFICE
    write_roles = (Role.MANAGER,)

    @extend_schema(responses=serializers.HoursSerializer)
    def get(self, request: Request) -> Response:
        """Return what is set."""
        ours = Contractor.objects.get(pk=self.request.member.contractor_id)
        return Response(serializers.HoursSerializer(ours).data)

    @extend_schema(request=serializers.HoursSerializer, responses=serializers.HoursSerializer)
    def put(self, request: Request) -> Response:
        """Set them."""
        taken = serializers.HoursSerializer(data=request.data)
        taken.is_valid(raise_exception=True)
        ours = notices.set_hours(**taken.validated_data, by=self.request.member)
        return Response(serializers.HoursSerializer(ours).data)


class MyMail(DoorMixin, APIView):
    """How the caller, a member or an owner's person, wants ordinary mail."""

    write_roles = tuple(Role)
    owner_methods = ("GET", "PUT", "OPTIONS")

    @extend_schema(responses=serializers.MailSerializer)
    def get(self, request: Request) -> Response:
        """Return the caller's choice."""
        return Response(serializers.MailSerializer(self._door()).data)

    @extend_schema(request=serializers.MailSerializer, responses=serializers.MailSerializer)
    def put(self, request: Request) -> Response:
        """Set it; messages about impairments come at once whatever is chosen."""
        taken = serializers.MailSerializer(data=request.data)
        taken.is_valid(raise_exception=True)
        door = self._door()
        notices.choose(door, taken.validated_data["mail"])
        return Response(serializers.MailSerializer(door).data)

    def _door(self) -> Any:
        return self.request.door.member or self.request.door.access


class NoticeFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of messages."""

    undelivered = filters.BooleanFilter(
        method="of_undelivered", help_text="About an impairment, and nobody was reached yet."
    )

    class Meta:
        model = Notice
        fields = ("kind", "state", "urgent", "recipient", "message_id")

    def of_undelivered(self, rows: QuerySet[Notice], _name: str, value: bool) -> Any:
        """Return those that reached nobody, or the others."""
        wanted = notices.undelivered(timezone.now()).values("pk")
        return rows.filter(pk__in=wanted) if value else rows.exclude(pk__in=wanted)


class Notices(_Reads):
    """Messages to people, with how far each got."""

    queryset = Notice.objects.none()
    read_roles = OFFICE
    serializer_class = serializers.NoticeOut
    filterset_class = NoticeFilter
    ordering_fields: ClassVar[list[str]] = ["made_at", "sent_at"]

    def get_queryset(self) -> QuerySet[Notice]:
        """Return the messages in scope."""
        rows: QuerySet[Notice] = Notice.objects.order_by("-made_at", "pk")
        return rows

    @extend_schema(request=serializers.WhyIn, responses=serializers.NoticeOut)
    @action(detail=True, methods=["post"], url_path="came-back")
    def came_back(self, request: Request, pk: str) -> Response:
        """Mark a message as come back; a mail server's returns are told here."""
        found = self.get_object()
        taken = serializers.WhyIn(data=request.data)
        taken.is_valid(raise_exception=True)
        row = notices.came_back(found, why=taken.validated_data["why"], by=self.request.member)
        return Response(serializers.NoticeOut(row).data)

    @extend_schema(request=serializers.HowIn, responses=serializers.NoticeOut)
    @action(detail=True, methods=["post"], url_path="passed-on")
    def passed_on(self, request: Request, pk: str) -> Response:
        """Write down that a person passed it on."""
        found = self.get_object()
        taken = serializers.HowIn(data=request.data)
        taken.is_valid(raise_exception=True)
        row = notices.passed_on(found, how=taken.validated_data["how"], by=self.request.member)
        return Response(serializers.NoticeOut(row).data)
