"""The owner's rooms in the API: what was published to them, and what they decide."""

from typing import Any, ClassVar
from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import HttpResponse
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import mixins, status, viewsets
from rest_framework.decorators import action
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from contractors.doors import DoorMixin
from contractors.refusal import NotThere
from inspections.api.visits import PdfRenderer
from scheduling import owner_views, rooms
from scheduling.api import owner_serializers as serializers
from scheduling.models import PublishedItem, PublishedReport

_ID = OpenApiParameter("id", OpenApiTypes.UUID, OpenApiParameter.PATH)


class _Owners(DoorMixin, viewsets.GenericViewSet[Any]):
    """A view for owners alone: no role of a contractor may call it."""

    read_roles = ()
    write_roles = ()
    owner_methods: ClassVar[tuple[str, ...]] = ("GET", "HEAD", "OPTIONS")

    @property
    def asked_id(self) -> UUID:
        """Return the id of the address; one that is none leads nowhere."""
        try:
            return UUID(str(self.kwargs["pk"]))
        except ValueError:
            raise NotThere from None


class OwnerBuildings(_Owners):
    """The owner's buildings with their standing today or on a past day."""

    serializer_class = serializers.StandsOut
    filter_backends = ()

    @extend_schema(
        parameters=[serializers.StandsQuery],
        responses=serializers.StandsOut(many=True),
        operation_id="owner_buildings_list",
    )
    def list(self, request: Request) -> Response:
        """List the buildings, worst first."""
        asked = _taken(serializers.StandsQuery(data=request.query_params.dict()))
        rows = rooms.portfolio(asked.get("on"))
        if "word" in asked:
            rows = [row for row in rows if row.word == asked["word"]]
        page = self.paginate_queryset(rows)
        return self.get_paginated_response(serializers.StandsOut(page, many=True).data)

    @extend_schema(
        parameters=[_ID, serializers.DayQuery],
        responses=serializers.StandsDetail,
        operation_id="owner_buildings_retrieve",
    )
    def retrieve(self, request: Request, pk: str) -> Response:
        """Return one building: why it stands so, what is open, and what is next."""
        asked = _taken(serializers.DayQuery(data=request.query_params.dict()))
        found = rooms.building(self.asked_id, asked.get("on"))
        return Response(serializers.StandsDetail(found).data)


class ItemFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of findings and impairments."""

    building = filters.UUIDFilter(field_name="building_id")
    kind = filters.ChoiceFilter(choices=[(kind, kind) for kind in ("finding", "impairment")])
    open = filters.BooleanFilter(field_name="ended_at", lookup_expr="isnull")
    to_decide = filters.BooleanFilter(
        method="of_waiting", label="Waiting for the owner's decision."
    )

    class Meta:
        model = PublishedItem
        fields: tuple[str, ...] = ()

    def of_waiting(self, rows: Any, name: str, value: bool) -> Any:
        """Narrow to what waits for a decision, or to the rest."""
        waiting = Q(pk__in=[item.pk for item in rooms.to_decide()])
        return rows.filter(waiting) if value else rows.exclude(waiting)


ItemFilter.base_filters["class"] = filters.ChoiceFilter(
    field_name="grade", choices=[(grade, grade) for grade in rooms.GRADES]
)


class OwnerItems(_Owners, mixins.ListModelMixin):
    """The findings and impairments of the owner's buildings."""

    owner_methods = (*_Owners.owner_methods, "POST")
    queryset = PublishedItem.objects.none()
    serializer_class = serializers.ItemOut
    filterset_class = ItemFilter
    ordering_fields: ClassVar[list[str]] = ["since", "ended_at"]

    def get_queryset(self) -> QuerySet[PublishedItem]:
        """Return what was published to this owner, newest first."""
        return PublishedItem.objects.order_by("-since", "pk")

    @extend_schema(parameters=[_ID], responses=serializers.ItemDetail)
    def retrieve(self, request: Request, pk: str) -> Response:
        """Return a finding or an impairment."""
        return Response(serializers.ItemDetail(rooms.item_for(self.asked_id)).data)

    @extend_schema(
        parameters=[_ID],
        request=serializers.DecisionIn,
        responses={201: serializers.DecisionOut},
    )
    @action(detail=True, methods=["post"])
    def decide(self, request: Request, pk: str) -> Response:
        """Decide on an open finding; the contractor's record takes it in at once."""
        item = rooms.item_for(self.asked_id)
        given = _taken(serializers.DecisionIn(data=request.data))
        act = rooms.decide(
            item,
            decision=given["decision"],
            until=given.get("until"),
            reason=given.get("reason", ""),
            by=request.door.access,  # type: ignore[attr-defined]
        )
        return Response(serializers.DecisionOut(act).data, status=status.HTTP_201_CREATED)


class OwnerReportFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of an owner's reports."""

    building = filters.UUIDFilter(field_name="building_id")
    visit = filters.UUIDFilter(field_name="visit_id")
    performed_from = filters.DateFilter(field_name="performed_on", lookup_expr="gte")
    performed_until = filters.DateFilter(field_name="performed_on", lookup_expr="lte")

    class Meta:
        model = PublishedReport
        fields = ("code", "version")


class OwnerReports(_Owners, mixins.ListModelMixin):
    """Reports on the owner's buildings: the frozen facts, and the PDF made of them."""

    queryset = PublishedReport.objects.none()
    serializer_class = serializers.OwnerReportOut
    filterset_class = OwnerReportFilter
    ordering_fields: ClassVar[list[str]] = ["performed_on", "sealed_at", "version"]

    def get_queryset(self) -> Any:
        """Return the reports published to this owner, newest first."""
        return rooms.reports().order_by("-performed_on", "-version", "pk").defer("facts")

    @extend_schema(parameters=[_ID], responses=serializers.OwnerReportDetail)
    def retrieve(self, request: Request, pk: str) -> Response:
        """Return a report with its facts, as frozen."""
        return Response(serializers.OwnerReportDetail(rooms.report_for(self.asked_id)).data)

    @extend_schema(
        parameters=[_ID],
        responses={
            (200, "application/json"): OpenApiResponse(
                OpenApiTypes.OBJECT, "The very text whose SHA-256 is printed on each page."
            )
        },
        filters=False,
    )
    @action(detail=True)
    def facts(self, request: Request, pk: str) -> HttpResponse:
        """Return the canonical text that was frozen, byte by byte."""
        report = rooms.report_for(self.asked_id)
        return HttpResponse(report.facts, content_type="application/json")

    @extend_schema(
        parameters=[_ID], responses={(200, "application/pdf"): OpenApiTypes.BINARY}, filters=False
    )
    @action(detail=True, renderer_classes=[JSONRenderer, PdfRenderer])
    def pdf(self, request: Request, pk: str) -> HttpResponse:
        """Return the PDF."""
        return owner_views.pdf_of(rooms.report_for(self.asked_id))


def _taken(serializer: Any) -> dict[str, Any]:
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)
