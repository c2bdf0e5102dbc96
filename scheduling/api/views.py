"""What is due, how buildings stand, questions and plans in the API."""

from dataclasses import asdict
from datetime import date
from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django_filters import rest_framework as filters
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import mixins, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildings.models import Building, System
from contractors.doors import OFFICE, DoorMixin, Pages
from contractors.models import Person
from contractors.refusal import FieldRefused, NotThere
from contractors.stretches import Stretches
from scheduling import bundle, load, moves, plans, replans, stands, telling
from scheduling.api import serializers
from scheduling.models import Occurrence, Plan, Question, Stop
from scheduling.plan_views import plan_for
from scheduling.week_loads import KINDS, monday_of


class _Reads(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Lists and details of one table."""


class OccurrenceFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of occurrences."""

    due_before = filters.DateFilter(field_name="due_on", lookup_expr="lte")
    due_after = filters.DateFilter(field_name="due_on", lookup_expr="gte")
    overdue = filters.BooleanFilter(method="of_overdue", help_text="Past the latest day.")
    owed = filters.BooleanFilter(method="of_owed", help_text="To be done within two weeks.")
    in_visit = filters.BooleanFilter(method="of_visit", help_text="In a planned or open visit.")
    week = filters.DateFilter(method="of_week", help_text="Any day of the week of the due day.")
    district = filters.CharFilter(field_name="building__area")
    system_kind = filters.ChoiceFilter(field_name="system__kind", choices=System.Kind.choices)
    kind = filters.ChoiceFilter(
        method="of_kind", choices=[(one, one) for one in KINDS], help_text="Of the activity."
    )

    class Meta:
        model = Occurrence
        fields = (
            *("building", "system", "subject_id", "activity", "frequency", "qualification"),
            *("by_owner", "known"),
        )

    def filter_queryset(self, queryset: QuerySet[Occurrence]) -> Any:
        """Return the rows asked for; reading only the buildings of work that is hardly anywhere."""
        rows = super().filter_queryset(queryset)
        named = ("system_kind", "kind", "qualification", "frequency")
        work = {name: self.form.cleaned_data[name] or "" for name in named}
        if not any(work.values()):
            return rows
        at = load.few(load.Asked(**work, who=""))
        return rows if at is None else rows.filter(building__among=at)

    def of_overdue(self, rows: QuerySet[Occurrence], _name: str, value: bool) -> Any:
        """Return those past their latest day, or the others."""
        today = plans.today_at(timezone.now())
        return rows.filter(latest_on__lt=today) if value else rows.filter(latest_on__gte=today)

    def of_owed(self, rows: QuerySet[Occurrence], _name: str, value: bool) -> Any:
        """Return what is to be done within two weeks, or the others."""
        owed = bundle.owed(plans.today_at(timezone.now()))
        return rows.filter(owed) if value else rows.exclude(owed)

    def of_visit(self, rows: QuerySet[Occurrence], _name: str, value: bool) -> Any:
        """Return those that a visit does, or the others."""
        return rows.filter(bundle.IN_VISIT) if value else rows.filter(bundle.FREE)

    def of_kind(self, rows: QuerySet[Occurrence], _name: str, value: str) -> Any:
        """Return inspections, tests or maintenance."""
        return rows.filter(activity__in=load.of_kind(value))

    def of_week(self, rows: QuerySet[Occurrence], _name: str, value: date) -> Any:
        """Return those whose due day lies in a week."""
        monday = monday_of(value)
        sunday = date.fromordinal(min(monday.toordinal() + 6, date.max.toordinal()))
        return rows.filter(due_on__range=(monday, sunday))


class Occurrences(_Reads):
    """What falls due; the detail has the reason."""

    queryset = Occurrence.objects.none()
    filterset_class = OccurrenceFilter
    pagination_class = Stretches
    ordering_fields: ClassVar[list[str]] = ["due_on", "latest_on", "activity", "minutes"]

    def get_queryset(self) -> QuerySet[Occurrence]:
        """Return the occurrences in scope."""
        rows: QuerySet[Occurrence] = Occurrence.objects.select_related("visit")
        return rows.order_by("latest_on", "due_on", "pk")

    def get_serializer_class(self) -> Any:
        """Return the short form for lists, the long one for a detail."""
        detail = self.action == "retrieve"
        return serializers.OccurrenceDetail if detail else serializers.OccurrenceOut


class MakeVisits(DoorMixin, APIView):
    """Visits made of occurrences, one a building or more where one would not do; or added to."""

    key_required = True

    @extend_schema(request=serializers.PicksIn, responses={201: serializers.VisitsMadeOut})
    def post(self, request: Request) -> Response:
        """Make the visits, or add to those that are planned."""
        taken = serializers.PicksIn(data=request.data)
        taken.is_valid(raise_exception=True)
        given = taken.validated_data
        ids = given["occurrences"]
        known = Occurrence.objects.filter(pk__in=ids).count()
        if known < len(set(ids)):
            raise NotThere
        sent = {name: given.get(name) for name in ("technician", "planned_on")}
        today = plans.today_at(timezone.now())
        visits = bundle.place(ids, into=given["into"], today=today, by=self.request.member, **sent)
        return Response({"visits": [str(v.pk) for v in visits]}, status=status.HTTP_201_CREATED)


class Standings(DoorMixin, APIView):
    """How buildings stand on a day, as known now or at an earlier moment."""

    @extend_schema(
        parameters=[
            OpenApiParameter("building", {"type": "string", "format": "uuid"}),
            OpenApiParameter("on", {"type": "string", "format": "date"}),
            OpenApiParameter("known_at", {"type": "string", "format": "date-time"}),
            OpenApiParameter("page", int),
            OpenApiParameter("page_size", int),
        ],
        responses=serializers.StandingOut(many=True),
    )
    def get(self, request: Request) -> Response:
        """Return a page of buildings with their standing."""
        on = _day(request.query_params.get("on"), "on")
        known_at = _moment(request.query_params.get("known_at"))
        rows = Building.objects.order_by("name", "pk")
        wanted = request.query_params.get("building")
        if wanted:
            rows = rows.filter(pk=_uuid(wanted, "building"))
            if not rows.exists():
                raise NotThere
        pages = Pages()
        page = pages.paginate_queryset(rows, request, view=self) or []
        found = stands.on_day(page, on, known_at)
        since = stands.since(found, known_at)
        body = [
            {
                "building": row.pk,
                "name": row.name,
                "on": on or timezone.localdate(timezone=row.zone),
                "word": found[row.pk].word,
                "due_by": found[row.pk].due_by,
                "since": since.get(row.pk),
                "reasons": found[row.pk].reasons,
                "scope": found[row.pk].scope,
            }
            for row in page
        ]
        return pages.get_paginated_response(serializers.StandingOut(body, many=True).data)


def _day(text: str | None, field: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise FieldRefused(field, text, "A day such as 2026-11-25.") from None


def _moment(text: str | None) -> Any:
    if not text:
        return None
    accepted = "An instant such as 2026-11-25T08:00:00Z."
    try:
        found = parse_datetime(text.replace(" ", "+"))
    except ValueError:
        raise FieldRefused("known_at", text, accepted) from None
    if found is None or timezone.is_naive(found):
        raise FieldRefused("known_at", text, accepted)
    return found


def _uuid(text: str, field: str) -> Any:
    try:
        return UUID(text)
    except ValueError:
        raise FieldRefused(field, text, "A UUID.") from None


class Questions(_Reads):
    """Facts that rules wait for."""

    queryset = Question.objects.none()
    serializer_class = serializers.QuestionOut
    filterset_fields: ClassVar[list[str]] = ["building", "subject_kind", "subject_id", "attribute"]
    ordering_fields: ClassVar[list[str]] = ["attribute", "building"]

    def get_queryset(self) -> QuerySet[Question]:
        """Return the questions in scope."""
        rows: QuerySet[Question] = Question.objects.order_by("building", "attribute", "pk")
        return rows


class Stops(_Reads):
    """Stops of all plans."""

    queryset = Stop.objects.none()
    serializer_class = serializers.StopOut
    filterset_fields: ClassVar[list[str]] = ["plan", "technician", "visit", "on"]
    ordering_fields: ClassVar[list[str]] = ["on", "start_at", "position"]

    def get_queryset(self) -> QuerySet[Stop]:
        """Return the stops in scope."""
        rows: QuerySet[Stop] = Stop.objects.select_related("visit")
        return rows.order_by("on", "technician", "position", "pk")


class Plans(_Reads, mixins.CreateModelMixin):
    """Plans: made by a search, moved, called off, planned again."""

    queryset = Plan.objects.none()
    read_roles = OFFICE
    filterset_fields: ClassVar[list[str]] = ["state", "from_on", "to_on"]
    ordering_fields: ClassVar[list[str]] = ["made_at", "from_on"]

    def get_queryset(self) -> QuerySet[Plan]:
        """Return the plans in scope."""
        rows: QuerySet[Plan] = Plan.objects.order_by("-made_at", "pk")
        return rows.prefetch_related("stops__visit") if self.action == "retrieve" else rows

    def get_serializer_class(self) -> Any:
        """Return the form that fits what is done."""
        named = {"create": serializers.PlanIn, "list": serializers.PlanOut}
        return named.get(self.action, serializers.PlanDetail)

    @extend_schema(request=serializers.PlanIn, responses={201: serializers.PlanDetail})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Have routes searched; the answer names the plan and its job."""
        taken = serializers.PlanIn(data=request.data)
        taken.is_valid(raise_exception=True)
        given = taken.validated_data
        first, last = given["from_on"], given["to_on"]
        today = plans.today_at(timezone.now())
        member = self.request.member
        if given["make_visits"]:
            bundle.make_all(today, by=member, days=(last - today).days)
        made = plans.make(first, last, seconds=given["seconds"], by=member, today=today)
        return Response(serializers.PlanDetail(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=None, responses=serializers.PlanDetail)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, pk: str) -> Response:
        """Call the search off."""
        found = self.get_object()
        plans.cancel(found)
        return Response(serializers.PlanDetail(plan_for(found.pk)).data)

    @extend_schema(request=serializers.MoveIn, responses=serializers.MoveOut)
    @action(detail=True, methods=["post"])
    def move(self, request: Request, pk: str) -> Response:
        """Move a visit by hand, or with `dry_run` tell what that does."""
        found = self.get_object()
        taken = serializers.MoveIn(data=request.data)
        taken.is_valid(raise_exception=True)
        given = taken.validated_data
        tried = moves.try_move(
            found,
            given["visit"],
            _person(given["technician"]),
            given["on"],
            now=timezone.now(),
            position=given.get("position"),
            start_at=given.get("start_at"),
        )
        if not given["dry_run"]:
            found = moves.move(found, tried, revision=given["revision"], by=self.request.member)
        body = {
            "moved": not given["dry_run"],
            "revision": found.revision,
            "drive_before": tried.drive_before,
            "drive_after": tried.drive_after,
            "before": {**asdict(tried.before), "total": tried.before.total},
            "after": {**asdict(tried.after), "total": tried.after.total},
            "breaks": list(tried.broken),
        }
        return Response(body)

    @extend_schema(responses=serializers.ToldOut(many=True), filters=False)
    @action(detail=True, methods=["get"], pagination_class=None)
    def told(self, request: Request, pk: str) -> Response:
        """Say who will be told what when the plan is published."""
        rows = telling.who_is_told(self.get_object(), timezone.now())
        return Response(serializers.ToldOut(rows, many=True).data)

    @extend_schema(request=serializers.AgainIn, responses={201: serializers.PlanDetail})
    @action(detail=True, methods=["post"])
    def again(self, request: Request, pk: str) -> Response:
        """Plan the rest of a published plan again from now on; days off may be told along."""
        found = self.get_object()
        taken = serializers.AgainIn(data=request.data)
        taken.is_valid(raise_exception=True)
        given = taken.validated_data
        if "technician" in given:
            replans.away(_person(given["technician"]), given["away"], by=self.request.member)
        made = replans.again(found, by=self.request.member, seconds=given["seconds"])
        return Response(serializers.PlanDetail(made).data, status=status.HTTP_201_CREATED)


def _person(person_id: Any) -> Person:
    found: Person | None = Person.objects.filter(pk=person_id, is_technician=True).first()
    if found is None:
        raise FieldRefused("technician", person_id, "One of your technicians.")
    return found


class PublishPlan(DoorMixin, APIView):
    """A plan made the one that is driven."""

    read_roles = OFFICE
    key_required = True

    @extend_schema(request=serializers.PublishIn, responses=serializers.PlanDetail)
    def post(self, request: Request, pk: Any) -> Response:
        """Publish: visits get technician, day and start, people are told; once however often."""
        found = plan_for(pk)
        taken = serializers.PublishIn(data=request.data)
        taken.is_valid(raise_exception=True)
        done = plans.publish(
            found,
            by=self.request.member,
            now=timezone.now(),
            revision=taken.validated_data.get("revision"),
        )
        return Response(serializers.PlanDetail(done).data)
