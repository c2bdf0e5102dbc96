"""Licences of the contractor's people in the API: added, renewed, ended."""

from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils import timezone
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from buildings.api.serializers import Here
from contractors import licences, papers
from contractors.doors import DoorMixin, Role
from contractors.models import Licence, Person
from contractors.refusal import NotThere
from inspections import licensed
from inspections.api.papers import PaperIn, paper_of


class LicenceOut(serializers.ModelSerializer[Licence]):
    """A licence of a person."""

    person_name = serializers.CharField(source="person.name", read_only=True)
    firm = serializers.CharField(source="person.firm", read_only=True)
    has_scan = serializers.SerializerMethodField(help_text="Whether its certificate is kept.")
    days_left = serializers.SerializerMethodField(help_text="Negative once it has ended.")

    class Meta:
        model = Licence
        fields = (
            *("id", "person", "person_name", "firm", "kind", "number", "jurisdiction"),
            *("valid_from", "valid_until", "days_left", "has_scan"),
        )

    def get_has_scan(self, licence: Licence) -> bool:
        """Say whether there is a scan."""
        return licence.scan_id is not None

    def get_days_left(self, licence: Licence) -> int:
        """Return the days until its last day."""
        return int((licence.valid_until - timezone.localdate()).days)


class LicenceIn(serializers.Serializer[Any]):
    """A licence to write down."""

    person = Here(Person)
    kind = serializers.ChoiceField(choices=Licence.Kind.choices)
    number = serializers.CharField(max_length=40, required=False, allow_blank=True, default="")
    jurisdiction = serializers.CharField(
        max_length=80, required=False, allow_blank=True, default=""
    )
    valid_from = serializers.DateField()
    valid_until = serializers.DateField()
    scan = PaperIn(required=False, allow_null=True)


class RenewIn(serializers.Serializer[Any]):
    """The renewal of a licence."""

    valid_until = serializers.DateField()
    valid_from = serializers.DateField(required=False, allow_null=True, default=None)
    number = serializers.CharField(max_length=40, required=False, allow_blank=True, default="")
    scan = PaperIn(required=False, allow_null=True)


class LicenceEndIn(serializers.Serializer[Any]):
    """The end of a licence before its time."""

    on = serializers.DateField()
    reason = serializers.CharField(max_length=400)


class LackOut(serializers.Serializer[Any]):
    """What nobody sent holds on the day of a visit."""

    qualification = serializers.CharField()
    licence = serializers.UUIDField(source="ended.pk", help_text="The licence that has ended then.")
    said = serializers.CharField(source="sentence")


class BeyondOut(serializers.Serializer[Any]):
    """A visit planned on a day after a licence that it needs ends."""

    visit = serializers.UUIDField(source="visit.pk")
    building = serializers.UUIDField(source="visit.building_id")
    building_name = serializers.CharField(source="visit.building.name")
    planned_on = serializers.DateField(source="visit.planned_on")
    technician = serializers.UUIDField(source="visit.technician_id", allow_null=True)
    second = serializers.UUIDField(source="visit.second_id", allow_null=True)
    lacks = LackOut(many=True)


class LicenceFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of licences."""

    ends_until = filters.DateFilter(field_name="valid_until", lookup_expr="lte")
    holds_on = filters.DateFilter(method="on_day", label="Valid on that day.")

    class Meta:
        model = Licence
        fields = ("person", "kind")

    def on_day(self, rows: Any, name: str, value: Any) -> Any:
        """Narrow to those that hold on a day."""
        return rows.filter(valid_from__lte=value, valid_until__gte=value)


class Licences(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Licences and qualifications of the contractor's people, and of those of other firms."""

    queryset = Licence.objects.none()
    serializer_class = LicenceOut
    filterset_class = LicenceFilter
    ordering_fields: ClassVar[list[str]] = ["valid_until", "kind"]
    http_method_names = ["get", "post", "head", "options"]

    def get_queryset(self) -> QuerySet[Licence]:
        """Return the licences, those that end first first; a technician's own."""
        rows = Licence.objects.select_related("person").order_by("valid_until", "pk")
        member = self.request.member
        return rows.filter(person__membership=member) if member.role == Role.TECHNICIAN else rows

    @extend_schema(request=LicenceIn, responses={201: LicenceOut})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Write a licence of a person down."""
        given = _taken(LicenceIn(data=request.data))
        scan = paper_of(given.pop("scan", None))
        made = licences.add(given.pop("person"), **given, scan=scan, by=self.request.member)
        return self._answer(made, status.HTTP_201_CREATED)

    @extend_schema(request=RenewIn, responses={201: LicenceOut})
    @action(detail=True, methods=["post"])
    def renew(self, request: Request, pk: str) -> Response:
        """Write its renewal down, beside it."""
        licence, given = self._find(pk), _taken(RenewIn(data=request.data))
        scan = paper_of(given.pop("scan", None))
        made = licences.renew(licence, **given, scan=scan, by=self.request.member)
        return self._answer(made, status.HTTP_201_CREATED)

    @extend_schema(request=LicenceEndIn, responses=LicenceOut)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: str) -> Response:
        """End it before its time."""
        licence, given = self._find(pk), _taken(LicenceEndIn(data=request.data))
        return self._answer(licences.end(licence, **given, by=self.request.member))

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY})
    @action(detail=True)
    def scan(self, request: Request, pk: str) -> HttpResponse:
        """Return its scanned certificate."""
        return papers.served(self._find(pk).scan)

    @extend_schema(operation_id="licences_beyond", responses=BeyondOut(many=True), filters=False)
    @action(detail=False, pagination_class=None)
    def beyond(self, request: Request) -> Response:
        """List the visits that are planned on days after a licence that they need ends."""
        found = licensed.beyond(timezone.localdate())
        member = self.request.member
        if member.role == Role.TECHNICIAN:
            own = set(Person.objects.filter(membership=member).values_list("pk", flat=True))
            found = [one for one in found if {one.visit.technician_id, one.visit.second_id} & own]
        return Response(BeyondOut(found, many=True).data)

    def _find(self, pk: str) -> Licence:
        try:
            found: Licence | None = self.get_queryset().filter(pk=UUID(pk)).first()
        except ValueError:
            found = None
        if found is None:
            raise NotThere
        return found

    def _answer(self, licence: Licence, code: int = status.HTTP_200_OK) -> Response:
        return Response(LicenceOut(licence).data, status=code)


def _taken(serializer: Any) -> dict[str, Any]:
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)
