"""Contractors, people, buildings, systems, risers, devices and imports in the API."""

from typing import Any, ClassVar

from django.db.models import QuerySet
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, status, viewsets
from rest_framework.exceptions import ValidationError
from rest_framework.filters import OrderingFilter, SearchFilter
from rest_framework.parsers import FormParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from buildings import access, authorities, editing, importing, portfolio
from buildings.api import serializers
from buildings.models import Building, Device, Jurisdiction, Riser, System
from contractors.doors import DoorMixin, Role
from contractors.models import Contractor, Person
from contractors.parsers import JSONParser

_FILTERS = (filters.DjangoFilterBackend, OrderingFilter, SearchFilter)
MOST_CHANGES_SHOWN = 200


class Contractors(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """The contractor that the caller works for; no other one is there."""

    serializer_class = serializers.ContractorOut
    queryset = Contractor.objects.none()

    def get_queryset(self) -> QuerySet[Contractor]:
        """Return the caller's own contractor."""
        if getattr(self, "swagger_fake_view", False):
            return Contractor.objects.none()
        return Contractor.objects.filter(pk=self.request.member.contractor_id).order_by("code")


class People(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """The contractor's people with their licences."""

    serializer_class = serializers.PersonOut
    queryset = Person.objects.none()
    filterset_fields: ClassVar[list[str]] = ["is_technician", "code"]
    ordering_fields: ClassVar[list[str]] = ["code", "name"]

    def get_queryset(self) -> QuerySet[Person]:
        """Return the people in scope."""
        rows = Person.objects.select_related("office").prefetch_related("licences")
        return rows.order_by("code")


class Jurisdictions(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Authorities having jurisdiction, and when outages at their buildings call for more."""

    write_roles = (Role.MANAGER,)
    http_method_names = ["get", "patch", "head", "options"]
    serializer_class = serializers.JurisdictionOut
    queryset = Jurisdiction.objects.none()
    filterset_fields: ClassVar[list[str]] = ["country", "region"]
    ordering_fields: ClassVar[list[str]] = ["name"]

    def get_queryset(self) -> QuerySet[Jurisdiction]:
        """Return the authorities in scope."""
        rows: QuerySet[Jurisdiction] = Jurisdiction.objects.order_by("name")
        return rows

    @extend_schema(
        request=serializers.OutageTimesIn(partial=True), responses=serializers.JurisdictionOut
    )
    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Set the hours and minutes of outages."""
        row = access.jurisdiction_for(request, self.kwargs["pk"])
        taken = serializers.OutageTimesIn(data=request.data, partial=True)
        taken.is_valid(raise_exception=True)
        given = taken.validated_data
        authorities.set_outage_times(
            row,
            impairment_hours=given.get("impairment_hours", row.impairment_hours),
            attended_minutes=given.get("attended_minutes", row.attended_minutes),
            by=self.request.member,
        )
        return Response(serializers.JurisdictionOut(row).data)


class _Inventory(
    DoorMixin,
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[Any],
):
    """Lists, detail, entry and change of one table of the inventory."""

    model: ClassVar[Any]
    serializer_class_in: ClassVar[Any]
    http_method_names = ["get", "post", "patch", "head", "options"]
    filter_backends = _FILTERS
    search_fields: ClassVar[list[str]] = ["code", "name"]
    request: Any

    def get_serializer_class(self) -> Any:
        """Return the class of what comes in, or of what goes out."""
        writing = self.action in ("create", "partial_update")
        return self.serializer_class_in if writing else self.serializer_class

    def find(self) -> Any:
        """Return the row that the address names."""
        raise NotImplementedError

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Return one row."""
        return Response(self._out(self.find()))

    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Enter a row."""
        taken = self.get_serializer(data=request.data)
        taken.is_valid(raise_exception=True)
        values = dict(taken.validated_data)
        values.pop("valid_from", None)
        reason = values.pop("reason", "")
        made = editing.enter(self.model(**values), by=self.request.member, reason=reason)
        return Response(self._out(made), status=status.HTTP_201_CREATED)

    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Change a row from a day on, with a reason."""
        row = self.find()
        taken = self.get_serializer(row, data=request.data, partial=True)
        taken.is_valid(raise_exception=True)
        values = dict(taken.validated_data)
        valid_from = values.pop("valid_from", None)
        reason = values.pop("reason", "")
        if not reason:
            raise ValidationError({"reason": ["Say in a few words why it changes."]})
        values.pop("building", None)
        editing.change(row, values, valid_from=valid_from, by=self.request.member, reason=reason)
        return Response(self._out(self.find()))

    def _out(self, row: Any) -> Any:
        context = self.get_serializer_context()
        return self.serializer_class(row, context=context).data  # type: ignore[misc]


class BuildingFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of buildings."""

    system_kind = filters.ChoiceFilter(
        field_name="systems__kind", choices=System.Kind.choices, distinct=True
    )
    owner = filters.CharFilter(field_name="engagements__owner__code", distinct=True)

    class Meta:
        model = Building
        fields = ("code", "area", "city", "jurisdiction", "history_complete")


class Buildings(_Inventory):
    """Buildings."""

    model = Building
    queryset = Building.objects.none()
    serializer_class = serializers.BuildingOut
    serializer_class_in = serializers.BuildingIn
    filterset_class = BuildingFilter
    search_fields: ClassVar[list[str]] = ["code", "name", "address"]
    ordering_fields: ClassVar[list[str]] = ["code", "name", "area", "taken_over_on"]

    def get_queryset(self) -> QuerySet[Building]:
        """Return the buildings in scope."""
        rows: QuerySet[Building] = Building.objects.select_related("jurisdiction")
        return rows.prefetch_related("engagements__owner").order_by("code")

    def find(self) -> Building:
        """Return the building that the address names."""
        return access.building_for(self.request, self.kwargs["pk"])


class Systems(_Inventory):
    """Systems and parts of the supply."""

    model = System
    queryset = System.objects.none()
    serializer_class = serializers.SystemOut
    serializer_class_in = serializers.SystemIn
    filterset_fields: ClassVar[list[str]] = ["building", "kind", "code"]
    ordering_fields: ClassVar[list[str]] = ["code", "position", "kind"]

    def get_queryset(self) -> QuerySet[System]:
        """Return the systems in scope."""
        return System.objects.order_by("building", "position", "code")

    def find(self) -> System:
        """Return the system that the address names."""
        return access.system_for(self.request, self.kwargs["pk"])


class Risers(_Inventory):
    """Risers."""

    model = Riser
    queryset = Riser.objects.none()
    serializer_class = serializers.RiserOut
    serializer_class_in = serializers.RiserIn
    filterset_fields: ClassVar[list[str]] = ["building", "system", "code"]
    ordering_fields: ClassVar[list[str]] = ["code", "position"]

    def get_queryset(self) -> QuerySet[Riser]:
        """Return the risers in scope."""
        return Riser.objects.order_by("building", "position", "code")

    def find(self) -> Riser:
        """Return the riser that the address names."""
        return access.riser_for(self.request, self.kwargs["pk"])


class Devices(_Inventory):
    """Devices. A technician may enter one that nobody listed."""

    model = Device
    queryset = Device.objects.none()
    serializer_class = serializers.DeviceOut
    serializer_class_in = serializers.DeviceIn
    write_roles = (Role.MANAGER, Role.OFFICE, Role.TECHNICIAN)
    filterset_fields: ClassVar[list[str]] = [
        "building",
        "system",
        "riser",
        "kind",
        "code",
        "serial",
    ]
    search_fields: ClassVar[list[str]] = ["code", "name", "serial", "location"]
    ordering_fields: ClassVar[list[str]] = ["code", "position", "kind"]

    def get_queryset(self) -> QuerySet[Device]:
        """Return the devices in scope."""
        return Device.objects.order_by("building", "position", "code")

    def find(self) -> Device:
        """Return the device that the address names."""
        return access.device_for(self.request, self.kwargs["pk"])


class Imports(DoorMixin, APIView):
    """Import of a portfolio: all of it, or nothing and what is wrong."""

    parser_classes = (JSONParser, MultiPartParser, FormParser)

    @extend_schema(
        request={
            "application/json": serializers.ImportIn,
            "multipart/form-data": {
                "type": "object",
                "properties": {
                    "files": {"type": "array", "items": {"type": "string", "format": "binary"}},
                    "dry_run": {"type": "boolean"},
                },
            },
        },
        responses=serializers.ImportOut,
    )
    def post(self, request: Request) -> Response:
        """Check every row, and write them unless this is a dry run."""
        if request.FILES:
            given = [(f.name, f.read()) for f in request.FILES.getlist("files")]
            tables = portfolio.read(given)
            dry = str(request.POST.get("dry_run", "")).lower() in ("true", "1", "yes", "on")
            name = ", ".join(file_name for file_name, _content in given)
        else:
            taken = serializers.ImportIn(data=request.data)
            taken.is_valid(raise_exception=True)
            tables = portfolio.from_rows(taken.validated_data["sheets"])
            dry, name = taken.validated_data["dry_run"], "rows sent to the API"
        plan = portfolio.check(tables)
        if plan.problems:
            return importing.problem(plan)
        job = None
        if not dry:
            job = importing.apply(plan, by=self.request.member, name=name)
        shown = [importing.described(d) for d in plan.drafts[:MOST_CHANGES_SHOWN]]
        body = {
            "dry_run": dry,
            "counts": portfolio.summary(plan),
            "changes": shown,
            "history": job.pk if job else None,
        }
        return Response(body, status=200 if dry else 201)
