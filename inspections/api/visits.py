"""Visits in the API: planned, worked on entry by entry, handed in, reviewed; and their reports."""

from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils.translation import gettext as _
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import mixins, status, viewsets
from rest_framework.decorators import action
from rest_framework.parsers import FormParser, MultiPartParser
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from contractors.doors import OFFICE, DoorMixin, Role
from contractors.refusal import FieldRefused, NotThere
from inspections import (
    access,
    blank,
    closing,
    drawn_views,
    entries,
    paper_views,
    photos,
    planned,
    projections,
    visit_picture,
    visits,
)
from inspections.api import visit_serializers as serializers
from inspections.models import Event, Photo, Reading, Report, Result, Visit

FIELD = (*OFFICE, Role.TECHNICIAN)
MOST_ENTRIES = 500
DAY = OpenApiParameter("day", OpenApiTypes.DATE, required=True, description="As planned.")
TECHNICIAN = OpenApiParameter("technician", OpenApiTypes.UUID, description="Theirs alone.")
PAPER = OpenApiParameter(
    "paper", enum=blank.PAPERS, description="What is usual at the building where left out."
)


class VisitFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of visits."""

    planned_from = filters.DateFilter(field_name="planned_on", lookup_expr="gte")
    planned_until = filters.DateFilter(field_name="planned_on", lookup_expr="lte")
    performed_from = filters.DateFilter(field_name="performed_on", lookup_expr="gte")
    performed_until = filters.DateFilter(field_name="performed_on", lookup_expr="lte")

    class Meta:
        model = Visit
        fields = ("building", "technician", "state", "kind", "planned_on", "number")


class PdfRenderer(JSONRenderer):
    """Lets a client ask for application/pdf; a problem is still JSON."""

    media_type = "application/pdf"
    format = "pdf"


class TestPictures(DoorMixin, viewsets.ViewSet):
    """The picture of a pump or trip test of a visit."""

    @extend_schema(responses={(200, "image/svg+xml"): OpenApiTypes.STR})
    def picture(self, request: Request, pk: Any, item: UUID) -> HttpResponse:
        """Return the picture as SVG."""
        return drawn_views.svg_of_visit(request, access.visit_for(self.request.member, pk), item)


class Visits(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Visits. Technicians see their own, add entries to them and hand them in."""

    queryset = Visit.objects.none()
    serializer_class = serializers.VisitOut
    filterset_class = VisitFilter
    http_method_names = ["get", "post", "patch", "head", "options"]
    ordering_fields: ClassVar[list[str]] = [
        *("planned_on", "performed_on", "state", "number", "planned_start"),
    ]

    def roles_for(self, method: str | None) -> tuple[str, ...]:
        """Let technicians write where their own work is recorded."""
        if self.action in ("entries", "hand_in"):
            return FIELD
        return super().roles_for(method)

    def get_queryset(self) -> QuerySet[Visit]:
        """Return the visits that the caller may see."""
        rows: QuerySet[Visit] = access.visits_of(self.request.member)
        return rows.order_by("-planned_on", "-performed_on", "pk")

    def find(self) -> Visit:
        """Return the visit that the address names."""
        return access.visit_for(self.request.member, _uuid(self.kwargs["pk"]))

    def answer(self, visit: Visit, code: int = status.HTTP_200_OK) -> Response:
        """Return a visit with its lines."""
        return Response(serializers.VisitDetail(visit).data, status=code)

    @extend_schema(responses=serializers.VisitDetail)
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Return a visit with what it is to do."""
        return self.answer(self.find())

    @extend_schema(request=serializers.VisitIn, responses={201: serializers.VisitDetail})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Plan a visit."""
        given = _taken(serializers.VisitIn(data=request.data))
        building = given.pop("building")
        lines = [planned.Line(**line) for line in given.pop("lines", ())]
        made = planned.make(building, by=self.request.member, lines=lines, **given)
        return self.answer(made, status.HTTP_201_CREATED)

    @extend_schema(request=serializers.VisitPatch, responses=serializers.VisitDetail)
    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Move a visit, or give it to somebody else."""
        visit = self.find()
        given = _taken(serializers.VisitPatch(visit, data=request.data, partial=True))
        return self.answer(planned.change(visit, given, by=self.request.member))

    @extend_schema(
        request=serializers.EntryIn(many=True),
        responses={201: serializers.AppendedOut(many=True)},
        filters=False,
    )
    @action(detail=True, methods=["post"], pagination_class=None)
    def entries(self, request: Request, pk: str) -> Response:
        """Append entries to the record of a visit, all or none."""
        visit = self.find()
        if isinstance(request.data, list) and len(request.data) > MOST_ENTRIES:
            accepted = _("At most %(most)s entries at a time.") % {"most": MOST_ENTRIES}
            raise FieldRefused("entries", len(request.data), accepted)
        taken = serializers.EntryIn(data=request.data, many=True, allow_empty=False)
        taken.is_valid(raise_exception=True)
        done = entries.append(visit, taken.validated_data, by=self.request.member)
        body = serializers.AppendedOut(done, many=True).data
        return Response(body, status=status.HTTP_201_CREATED)

    @extend_schema(request=serializers.HandInIn, responses=serializers.VisitDetail)
    @action(detail=True, methods=["post"], url_path="hand-in")
    def hand_in(self, request: Request, pk: str) -> Response:
        """Hand a visit in; what is missing refuses it."""
        visit = self.find()
        paper = _taken(serializers.HandInIn(data=request.data)).get("paper")
        if paper:
            paper = {**paper, "at": paper["at"].isoformat()}
        done = visits.hand_in(visit, by=self.request.member, via=Event.Via.API, paper=paper)
        return self.answer(done)

    @extend_schema(request=serializers.ReviewIn, responses=serializers.VisitDetail)
    @action(detail=True, methods=["post"])
    def review(self, request: Request, pk: str) -> Response:
        """Accept a visit, which seals it, or send it back; for a licensed person."""
        visit = self.find()
        given = _taken(serializers.ReviewIn(data=request.data))
        done = visits.review(
            visit,
            accept=given["verdict"] == "accept",
            text=given.get("text", ""),
            by=self.request.member,
            via=Event.Via.API,
        )
        return self.answer(done)

    @extend_schema(request=serializers.AmendIn, responses=serializers.VisitDetail)
    @action(detail=True, methods=["post"])
    def amend(self, request: Request, pk: str) -> Response:
        """Correct an entry of a visit that was handed in; the entry itself stays."""
        visit = self.find()
        given = _taken(serializers.AmendIn(data=request.data))
        done = visits.amend(visit, **given, by=self.request.member, via=Event.Via.API)
        return self.answer(done)

    @extend_schema(request=serializers.CancelIn, responses=serializers.VisitDetail)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, pk: str) -> Response:
        """Cancel a visit; what it was to do stays due."""
        visit = self.find()
        given = _taken(serializers.CancelIn(data=request.data))
        given.setdefault("text", "")
        return self.answer(visits.cancel(visit, **given, by=self.request.member, via=Event.Via.API))

    @extend_schema(responses=serializers.MissingListOut, filters=False)
    @action(detail=True)
    def missing(self, request: Request, pk: str) -> Response:
        """Say what a visit lacks before it can be handed in."""
        visit = self.find()
        seen = projections.picture(visit.pk)
        body = {"missing": closing.missing(visit, seen), "shown": seen.shown}
        return Response(serializers.MissingListOut(body).data)

    @extend_schema(
        parameters=[PAPER],
        responses={(200, "application/pdf"): OpenApiTypes.BINARY},
        filters=False,
    )
    @action(detail=True, renderer_classes=[JSONRenderer, PdfRenderer])
    def blank(self, request: Request, pk: str) -> HttpResponse:
        """Return the visit on paper as a PDF: every line with its code, and room to write."""
        visit = self.find()
        return paper_views.as_pdf(
            [visit], f"visit-{visit.building.code}", request.query_params.get("paper", "")
        )

    @extend_schema(
        parameters=[DAY, TECHNICIAN, PAPER],
        responses={(200, "application/pdf"): OpenApiTypes.BINARY},
        filters=False,
    )
    @action(
        detail=False,
        renderer_classes=[JSONRenderer, PdfRenderer],
        filter_backends=[],
        pagination_class=None,
    )
    def blanks(self, request: Request) -> HttpResponse:
        """Return a day's visits that are still to be done on paper, in one PDF."""
        day = _taken(serializers.BlanksIn(data=request.query_params))
        found = blank.of_day(self.request.member, day["day"], day.get("technician"))
        return paper_views.as_pdf(
            found, f"visits-{day['day']}", request.query_params.get("paper", "")
        )

    @extend_schema(responses=serializers.EventOut(many=True), filters=False)
    @action(detail=True, filter_backends=[])
    def events(self, request: Request, pk: str) -> Response:
        """List the entries of a visit in the order of the record."""
        rows = Event.objects.filter(visit_id=self.find().pk).select_related("by__user")
        page = self.paginate_queryset(rows.order_by("number"))
        return self.get_paginated_response(serializers.EventOut(page, many=True).data)


class ResultFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of results."""

    performed_from = filters.DateFilter(field_name="performed_on", lookup_expr="gte")
    performed_until = filters.DateFilter(field_name="performed_on", lookup_expr="lte")

    class Meta:
        model = Result
        fields = ("visit", "building", "subject_id", "activity", "answer", "disputed")


class _OfVisits(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Rows of visits: a technician sees those of their own."""

    queryset: Any

    def rows(self) -> Any:
        """Return all rows of the contractor."""
        raise NotImplementedError

    def get_queryset(self) -> Any:
        """Return the rows that the caller may see."""
        if getattr(self, "swagger_fake_view", False):
            return self.queryset
        member = self.request.member
        rows = self.rows()
        if member.role != Role.TECHNICIAN:
            return rows
        return rows.filter(visit__in=access.visits_of(member).order_by().values("pk"))


class Results(_OfVisits):
    """Results: one answer an activity, item and visit."""

    queryset = Result.objects.none()
    serializer_class = serializers.ResultOut
    filterset_class = ResultFilter
    ordering_fields: ClassVar[list[str]] = ["performed_on", "recorded_at", "activity", "answer"]

    def rows(self) -> QuerySet[Result]:
        """Return the results, newest first."""
        return Result.objects.order_by("-performed_on", "-recorded_at", "pk")


class ReadingFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of readings."""

    read_from = filters.DateFilter(field_name="read_on", lookup_expr="gte")
    read_until = filters.DateFilter(field_name="read_on", lookup_expr="lte")

    class Meta:
        model = Reading
        fields = ("visit", "building", "subject_id", "activity", "name", "point", "verdict")


class Readings(_OfVisits):
    """Readings in SI, as typed, and judged."""

    queryset = Reading.objects.none()
    serializer_class = serializers.ReadingOut
    filterset_class = ReadingFilter
    lookup_field = "id"
    lookup_value_regex = "[0-9a-f-]{36}"
    ordering_fields: ClassVar[list[str]] = ["read_on", "read_at", "name", "value_si"]

    def rows(self) -> QuerySet[Reading]:
        """Return the readings, newest first."""
        return Reading.objects.order_by("-read_at", "id")


class PhotoFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of photos."""

    class Meta:
        model = Photo
        fields = ("visit", "finding_id", "subject_id")


class Photos(_OfVisits):
    """Photos: uploaded here or by a tablet, shown as they were written anew."""

    queryset = Photo.objects.none()
    serializer_class = serializers.PhotoOut
    filterset_class = PhotoFilter
    write_roles = FIELD
    parser_classes = (MultiPartParser, FormParser)
    ordering_fields: ClassVar[list[str]] = ["taken_at"]

    def get_queryset(self) -> QuerySet[Photo]:
        """Return the photos that the caller may see, newest first."""
        if getattr(self, "swagger_fake_view", False):
            return self.queryset
        rows: QuerySet[Photo] = access.photos_of(self.request.member)
        return rows.order_by("-taken_at", "pk")

    @extend_schema(
        request={"multipart/form-data": serializers.PhotoIn},
        responses={201: serializers.PhotoOut},
    )
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Record a photo on a visit."""
        given = _taken(serializers.PhotoIn(data=request.data))
        member = self.request.member
        try:
            visit = access.visit_for(member, given["visit"])
        except NotThere:
            raise FieldRefused("visit", given["visit"], _("The id of a visit of yours.")) from None
        about: dict[str, Any] = {"caption": given.get("caption", "")}
        if "subject_id" in given:
            about["subject"] = {"kind": given["subject_kind"], "id": str(given["subject_id"])}
        if "finding" in given:
            about["finding"] = str(_finding_here(visit, member, given["finding"]))
        upload = given["file"]
        made = photos.attach(
            visit, upload.read(), name=upload.name, by=member, via=Event.Via.API, about=about
        )
        return Response(serializers.PhotoOut(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(responses={(200, "image/jpeg"): OpenApiTypes.BINARY}, filters=False)
    @action(detail=True)
    def file(self, request: Request, pk: str) -> HttpResponse:
        """Return the picture."""
        return photos.served(access.photo_for(self.request.member, _uuid(pk)))


class Reports(_OfVisits):
    """Versions of reports: the frozen facts, and the PDF made of them."""

    queryset = Report.objects.none()
    serializer_class = serializers.ReportOut
    filterset_fields: ClassVar[list[str]] = ["visit", "visit__building", "version", "code"]
    ordering_fields: ClassVar[list[str]] = ["sealed_at", "version"]

    def rows(self) -> QuerySet[Report]:
        """Return the reports, newest first."""
        return Report.objects.select_related("visit").order_by("-sealed_at", "pk")

    @extend_schema(responses=serializers.ReportDetail)
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Return a report with its facts, as frozen."""
        return Response(serializers.ReportDetail(self._find()).data)

    @extend_schema(
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
        return HttpResponse(self._find().facts, content_type="application/json")

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY}, filters=False)
    @action(detail=True, renderer_classes=[JSONRenderer, PdfRenderer])
    def pdf(self, request: Request, pk: str) -> HttpResponse:
        """Return the PDF."""
        return visit_picture.pdf_of(self._find())

    def _find(self) -> Report:
        return access.report_for(self.request.member, _uuid(self.kwargs["pk"]))


def _finding_here(visit: Visit, member: Any, finding_id: UUID) -> UUID:
    try:
        found = access.finding_for(member, finding_id)
    except NotThere:
        found = None
    if found is None or found.building_id != visit.building_id:
        raise FieldRefused("finding", finding_id, _("A finding of the visit's building."))
    return found.pk


def _taken(serializer: Any) -> dict[str, Any]:
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)


def _uuid(text: str) -> UUID:
    """Return the id of an address; one that is none leads nowhere."""
    try:
        return UUID(str(text))
    except ValueError:
        raise NotThere from None
