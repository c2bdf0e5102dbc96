"""Supply points, their flow tests, the systems on them and their placards in the API."""

from typing import Any, ClassVar

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from buildings.api.serializers import Here
from buildings.models import Draw, SupplyPoint, System
from contractors.doors import OFFICE, DoorMixin, Role
from inspections import access, flow_readings, supplies, supply_board, supply_views
from inspections.models import FlowTest, SupplyMargin


class SupplyPointOut(serializers.ModelSerializer[SupplyPoint]):
    """A supply point."""

    class Meta:
        model = SupplyPoint
        fields = ("id", "code", "name", "main_size")


class PointIn(serializers.Serializer[Any]):
    """A supply point to be entered."""

    code = serializers.CharField(max_length=30)
    name = serializers.CharField(max_length=120)
    main_size = serializers.CharField(max_length=40, allow_blank=True, default="")


class DrawOut(serializers.ModelSerializer[Draw]):
    """A system on a point, in SI."""

    class Meta:
        model = Draw
        fields = (
            *("id", "supply_point", "building", "system", "height_m", "loss_pa", "hose_m3s"),
            *("ends", "valid_from"),
        )


class DrawIn(serializers.Serializer[Any]):
    """A system that draws on the point from a day on, or no longer; values as typed, with units."""

    system = Here(System)
    from_on = serializers.DateField()
    height = serializers.CharField(max_length=40, allow_blank=True, default="")
    loss = serializers.CharField(max_length=40, allow_blank=True, default="")
    hose = serializers.CharField(max_length=40, allow_blank=True, default="")
    ends = serializers.BooleanField(default=False)


class PlacardIn(serializers.Serializer[Any]):
    """What a system's placard asks from a day on; values as typed, with units."""

    system = Here(System)
    from_on = serializers.DateField()
    base_flow = serializers.CharField(max_length=40, allow_blank=True, default="")
    base_pressure = serializers.CharField(max_length=40, allow_blank=True, default="")
    demand_flow = serializers.CharField(max_length=40, allow_blank=True, default="")
    demand_pressure = serializers.CharField(max_length=40, allow_blank=True, default="")
    source = serializers.CharField(  # type: ignore[assignment]
        max_length=200, allow_blank=True, default=""
    )


class OutletIn(serializers.Serializer[Any]):
    """A flowing outlet: all three are needed."""

    bore = serializers.CharField(max_length=24, allow_blank=True, default="")
    coefficient = serializers.CharField(max_length=8, allow_blank=True, default="")
    pitot = serializers.CharField(max_length=24, allow_blank=True, default="")


class FlowTestIn(serializers.Serializer[Any]):
    """A flow test: the flow in all, or its outlets; at which visit, and what it corrects."""

    tested_on = serializers.DateField()
    hour = serializers.TimeField(allow_null=True, default=None)
    static = serializers.CharField(max_length=40)
    residual = serializers.CharField(max_length=40)
    flow = serializers.CharField(max_length=40, allow_blank=True, default="")
    outlets = OutletIn(many=True, default=list)
    residual_hydrant = serializers.CharField(max_length=80, allow_blank=True, default="")
    flow_hydrants = serializers.CharField(max_length=160, allow_blank=True, default="")
    witnessed_by = serializers.CharField(max_length=120, allow_blank=True, default="")
    note = serializers.CharField(max_length=400, allow_blank=True, default="")
    visit = serializers.UUIDField(allow_null=True, default=None)
    replaces = Here(FlowTest, allow_null=True, default=None)
    reason = serializers.CharField(max_length=200, allow_blank=True, default="")


class FlowTestOut(serializers.ModelSerializer[FlowTest]):
    """A flow test as typed and in SI."""

    class Meta:
        model = FlowTest
        fields = (
            *("id", "supply_point", "tested_on", "hour", "static_typed", "static_pa"),
            *("residual_typed", "residual_pa", "flow_typed", "flow_m3s", "residual_hydrant"),
            *("flow_hydrants", "outlets", "witnessed_by", "note", "warnings", "visit"),
            *("replaces", "reason"),
        )


class MarginOut(serializers.ModelSerializer[SupplyMargin]):
    """What a test leaves a system, with the computation's name, version and inputs."""

    said = serializers.SerializerMethodField()

    class Meta:
        model = SupplyMargin
        fields = (
            *("id", "flow_test", "building", "system", "computation", "version", "inputs"),
            *("outcome", "margin_pa", "verdict", "finding_id", "said"),
        )

    def get_said(self, row: SupplyMargin) -> str:
        """Return the margin in words and units."""
        return supply_board.said(row)


class SupplyPoints(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Supply points: entered, drawn on, tested, and the margin that each test leaves."""

    write_roles = OFFICE
    key_required = True
    queryset = SupplyPoint.objects.none()
    serializer_class = SupplyPointOut
    filterset_fields: ClassVar[list[str]] = ["code", "draws__building"]
    ordering_fields: ClassVar[list[str]] = ["code", "name"]

    def roles_for(self, method: str | None) -> tuple[str, ...]:
        """Let technicians record tests too."""
        roles = super().roles_for(method)
        return (*OFFICE, Role.TECHNICIAN) if self.action == "tests" else roles

    def get_queryset(self) -> QuerySet[SupplyPoint]:
        """Return the points in scope."""
        found: QuerySet[SupplyPoint] = SupplyPoint.objects.order_by("code", "pk").distinct()
        return found

    @extend_schema(request=PointIn, responses={201: SupplyPointOut})
    def create(self, request: Request) -> Response:
        """Enter a supply point."""
        given = _taken(PointIn, request)
        made = supplies.add_point(**given, by=self.request.member)
        return Response(SupplyPointOut(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(methods=["GET"], responses=DrawOut(many=True))
    @extend_schema(methods=["POST"], request=DrawIn, responses={201: DrawOut})
    @action(detail=True, methods=["get", "post"], pagination_class=None, filterset_fields=[])
    def draws(self, request: Request, pk: str) -> Response:
        """List the systems on the point today; connect one, or end that."""
        point = self.get_object()
        if request.method == "GET":
            rows = [line.draw for line in supply_board.of_point(point).lines]
            return Response(DrawOut(rows, many=True).data)
        given = _taken(DrawIn, request)
        made = supplies.connect(point, given.pop("system"), **given, by=self.request.member)
        return Response(DrawOut(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(
        methods=["GET"],
        responses=FlowTestOut(many=True),
        parameters=[OpenApiParameter("corrected", str, enum=["yes"])],
    )
    @extend_schema(methods=["POST"], request=FlowTestIn, responses={201: FlowTestOut})
    @action(detail=True, methods=["get", "post"], pagination_class=None, filterset_fields=[])
    def tests(self, request: Request, pk: str) -> Response:
        """List the tests that nothing corrected, or all (`corrected=yes`); record one."""
        point = self.get_object()
        if request.method == "GET":
            every = request.query_params.get("corrected") == "yes"
            rows = point.tests.all() if every else supplies.standing_tests(point)
            return Response(FlowTestOut(rows, many=True).data)
        given = _taken(FlowTestIn, request)
        replaces, reason, visit = (given.pop(name) for name in ("replaces", "reason", "visit"))
        outlets = [flow_readings.Outlet(**one) for one in given.pop("outlets")]
        made = supplies.record_test(
            point,
            flow_readings.Read(**given, outlets=outlets),
            by=self.request.member,
            system=supply_board.units_of(point),
            visit=access.visit_for(self.request.member, visit) if visit else None,
            replaces=replaces,
            reason=reason,
        )
        return Response(FlowTestOut(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(responses=MarginOut(many=True))
    @action(detail=True, methods=["get"], pagination_class=None, filterset_fields=[])
    def margins(self, request: Request, pk: str) -> Response:
        """List what the newest test leaves each system on the point."""
        lines = supply_board.of_point(self.get_object()).lines
        rows = [line.margin for line in lines if line.margin is not None]
        return Response(MarginOut(rows, many=True).data)

    @extend_schema(request=PlacardIn, responses={204: None})
    @action(detail=False, methods=["post"])
    def placards(self, request: Request) -> Response:
        """Write a system's hydraulic placard down, and reckon its margin again."""
        given = _taken(PlacardIn, request)
        system, from_on, source = given.pop("system"), given.pop("from_on"), given.pop("source")
        typed = {name: value for name, value in given.items() if value}
        supplies.write_placard(
            system,
            supplies.placard_of(typed, system.building.units),
            from_on=from_on,
            source=source,
            by=self.request.member,
        )
        return Response(status=status.HTTP_204_NO_CONTENT)


class MarginPictures(DoorMixin, viewsets.ViewSet):
    """The picture of a system's demand against a flow test."""

    @extend_schema(responses={(200, "image/svg+xml"): OpenApiTypes.STR})
    def picture(self, request: Request, pk: Any) -> HttpResponse:
        """Return the picture as SVG."""
        margin = access.supply_margin_for(self.request.member, pk)
        return supply_views.margin_svg(request, margin)


def _taken(form: Any, request: Request) -> dict[str, Any]:
    taken = form(data=request.data)
    taken.is_valid(raise_exception=True)
    return dict(taken.validated_data)
