"""Samples for the laboratory in the API: sent, reported on, replaced."""

from datetime import date
from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils import timezone
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from buildings.access import building_for
from buildings.api.serializers import Here
from buildings.models import Building, Device
from contractors import papers
from contractors.doors import OFFICE, DoorMixin, Role
from contractors.refusal import FieldRefused, NotThere
from inspections import access, sampling
from inspections.api.papers import PaperIn, paper_of
from inspections.models import Event, Sample, Visit
from inspections.sampling import Piece, Replaced, Sending, Tested
from scheduling import samples
from scheduling.sample_views import sample_for

API = Event.Via.API


class SampleOut(serializers.ModelSerializer[Sample]):
    """A sample and how far it is."""

    building_name = serializers.CharField(source="building.name", read_only=True)
    has_certificate = serializers.SerializerMethodField()

    class Meta:
        model = Sample
        fields = (
            *("id", "building", "building_name", "visit", "system", "finding", "state"),
            *("outcome", "activity", "groups", "still_owed", "area", "in_area", "owed", "pieces"),
            *("taken_on", "taken_by", "sent_on", "sent_by", "laboratory", "reference"),
            *("reported_on", "certificate_number", "certificate_sha256", "has_certificate"),
            "replaced_on",
        )

    def get_has_certificate(self, sample: Sample) -> bool:
        """Say whether the laboratory's paper is kept."""
        return sample.certificate_id is not None


class PieceIn(serializers.Serializer[Any]):
    """A sprinkler taken out."""

    tag = serializers.CharField(max_length=80)
    group = serializers.UUIDField()
    where = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class SampleIn(serializers.Serializer[Any]):
    """A sample sent to a laboratory."""

    building = Here(Building)
    visit = Here(Visit, required=False, allow_null=True)
    activity = serializers.CharField(max_length=80)
    groups = serializers.ListField(child=Here(Device), default=list, max_length=200)
    pieces = PieceIn(many=True)
    area = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")
    in_area = serializers.CharField(
        max_length=40,
        required=False,
        allow_blank=True,
        default="",
        help_text="How many there are, or a range; by default as the inventory says.",
    )
    taken_on = serializers.DateField()
    taken_by = serializers.CharField(max_length=200)
    sent_on = serializers.DateField()
    sent_by = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")
    laboratory = serializers.CharField(max_length=200)
    reference = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class ValueIn(serializers.Serializer[Any]):
    """A figure with its unit."""

    value = serializers.CharField(max_length=20)
    unit = serializers.CharField(max_length=20)


class TestedIn(serializers.Serializer[Any]):
    """What the laboratory says of a piece."""

    tag = serializers.CharField(max_length=80)
    outcome = serializers.ChoiceField(choices=Sample.Outcome.choices)
    value = ValueIn(required=False, allow_null=True, default=None)
    text = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")


class SampleResultIn(serializers.Serializer[Any]):
    """The laboratory's result, piece by piece."""

    reported_on = serializers.DateField()
    pieces = TestedIn(many=True)
    number = serializers.CharField(max_length=200, required=False, allow_blank=True, default="")
    text = serializers.CharField(max_length=2000, required=False, allow_blank=True, default="")
    certificate = PaperIn(required=False, allow_null=True)


class ReplacedIn(serializers.Serializer[Any]):
    """Sprinklers put in for those of a group."""

    group = serializers.UUIDField()
    count = serializers.IntegerField(min_value=1, max_value=1_000_000)
    year = serializers.IntegerField(min_value=1874, max_value=2200)


class SampleReplaceIn(serializers.Serializer[Any]):
    """What was replaced after a sample failed."""

    on = serializers.DateField()
    done_by = serializers.CharField(max_length=200)
    groups = ReplacedIn(many=True)
    text = serializers.CharField(max_length=2000, required=False, allow_blank=True, default="")


class SampleDueOut(serializers.Serializer[Any]):
    """A sample that falls due."""

    activity = serializers.CharField(source="activity.id")
    task = serializers.CharField(source="activity.task")
    basis = serializers.CharField(help_text="The source of the rule.")
    group = serializers.UUIDField(source="group.pk", default=None)
    area = serializers.CharField()
    year = serializers.IntegerField(allow_null=True)
    in_area = serializers.IntegerField(allow_null=True)
    owed = serializers.IntegerField(allow_null=True)
    due_on = serializers.DateField(source="occurrence.due_on")
    latest_on = serializers.DateField(source="occurrence.latest_on")
    last_done_on = serializers.DateField(source="occurrence.last_done_on")
    is_waiting = serializers.BooleanField()


class SampleFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of samples."""

    taken_from = filters.DateFilter(field_name="taken_on", lookup_expr="gte")
    taken_until = filters.DateFilter(field_name="taken_on", lookup_expr="lte")

    class Meta:
        model = Sample
        fields = ("building", "visit", "system", "state", "outcome", "activity")


class Samples(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Samples of sprinklers: sent to a laboratory, reported on, replaced where one failed."""

    queryset = Sample.objects.none()
    serializer_class = SampleOut
    filterset_class = SampleFilter
    ordering_fields: ClassVar[list[str]] = ["taken_on", "sent_on", "state"]
    http_method_names = ["get", "post", "head", "options"]
    write_roles = (*OFFICE, Role.TECHNICIAN)

    def get_queryset(self) -> QuerySet[Sample]:
        """Return the samples, newest first."""
        return Sample.objects.select_related("building").order_by("-taken_on", "pk")

    @extend_schema(request=SampleIn, responses={201: SampleOut})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Record a sample sent. It closes nothing before the laboratory says that it passed."""
        given = _taken(SampleIn(data=request.data))
        building, visit = given.pop("building"), given.pop("visit", None)
        if visit is not None:
            access.visit_for(self.request.member, visit.pk)
        pieces = [Piece(**one) for one in given.pop("pieces")]
        sending = Sending(pieces=pieces, **given)
        made = sampling.send(building, sending, by=self.request.member, via=API, visit=visit)
        return self._answer(made, status.HTTP_201_CREATED)

    @extend_schema(request=SampleResultIn, responses=SampleOut)
    @action(detail=True, methods=["post"])
    def result(self, request: Request, pk: str) -> Response:
        """Record the laboratory's result; a failure opens the finding of its class."""
        sample, given = self._find(pk), _taken(SampleResultIn(data=request.data))
        paper = paper_of(given.pop("certificate", None))
        pieces = [Tested(**one) for one in given.pop("pieces")]
        done = sampling.report(
            sample, pieces=pieces, certificate=paper, by=self.request.member, via=API, **given
        )
        return self._answer(done)

    @extend_schema(request=SampleReplaceIn, responses=SampleOut)
    @action(detail=True, methods=["post"])
    def replace(self, request: Request, pk: str) -> Response:
        """Record what was replaced, in the record and in the inventory."""
        sample, given = self._find(pk), _taken(SampleReplaceIn(data=request.data))
        groups = [Replaced(**one) for one in given.pop("groups")]
        done = sampling.replace(sample, groups=groups, by=self.request.member, via=API, **given)
        return self._answer(done)

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    @action(detail=True)
    def certificate(self, request: Request, pk: str) -> HttpResponse:
        """Return the laboratory's certificate."""
        return papers.served(self._find(pk).certificate)

    @extend_schema(
        parameters=[OpenApiParameter("building", OpenApiTypes.UUID, required=True)],
        responses=SampleDueOut(many=True),
        filters=False,
    )
    @action(detail=False, pagination_class=None)
    def due(self, request: Request) -> Response:
        """List the samples that fall due at a building: when, of which group, how many."""
        told = request.query_params.get("building", "")
        try:
            building = building_for(request, UUID(told))
        except ValueError:
            raise FieldRefused("building", told, "The id of a building.") from None
        today: date = timezone.localdate(timezone=building.zone)
        return Response(SampleDueOut(samples.due_at(building, today), many=True).data)

    def _find(self, pk: str) -> Sample:
        try:
            return sample_for(UUID(pk))
        except ValueError:
            raise NotThere from None

    def _answer(self, sample: Sample, code: int = status.HTTP_200_OK) -> Response:
        return Response(SampleOut(sample).data, status=code)


def _taken(serializer: Any) -> dict[str, Any]:
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)
