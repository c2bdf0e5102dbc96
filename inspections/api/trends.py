"""What the readings of an item say over the years, in the API."""

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers, viewsets
from rest_framework.request import Request
from rest_framework.response import Response

from contractors.doors import DoorMixin
from inspections import past, past_views
from inspections.trends.trend import Change


class ValueOut(serializers.Serializer[Any]):
    """A value with its unit, in the units of the building."""

    value = serializers.FloatField()
    unit = serializers.CharField()


class BandOut(serializers.Serializer[Any]):
    """A change with its 95 percent interval."""

    value = ValueOut()
    low = ValueOut()
    high = ValueOut()


class TrendStepOut(serializers.Serializer[Any]):
    """A step between two readings."""

    after = serializers.DateField()
    until = serializers.DateField()
    size = ValueOut()
    low = ValueOut()
    high = ValueOut()


class CrossingOut(serializers.Serializer[Any]):
    """When the limit is crossed if it goes on; latest is null where it may never be."""

    on = serializers.DateField()
    earliest = serializers.DateField()
    latest = serializers.DateField(allow_null=True)


class SinceOut(serializers.Serializer[Any]):
    """From when on readings compare, and why."""

    on = serializers.DateField()
    why = serializers.CharField()


class TrendPointOut(serializers.Serializer[Any]):
    """A reading."""

    on = serializers.DateField()
    value = ValueOut()


class LeftOutOut(TrendPointOut):
    """A reading that is not used, and why."""

    why = serializers.CharField()


class TrendOut(serializers.Serializer[Any]):
    """One kind of reading over the years."""

    name = serializers.CharField()
    point = serializers.CharField()
    activity = serializers.CharField()
    change = serializers.ChoiceField(choices=[one.value for one in Change])
    verdict = serializers.CharField(help_text="pass, look into it, fail; empty: no verdict.")
    reason = serializers.CharField()
    missing = serializers.IntegerField(help_text="Readings that a verdict still needs.")
    question = serializers.CharField()
    value = ValueOut(allow_null=True)
    limit = ValueOut(allow_null=True)
    side = serializers.CharField(help_text="least, greatest, or empty without a limit.")
    per_year = BandOut(allow_null=True)
    step = TrendStepOut(allow_null=True)
    crossing = CrossingOut(allow_null=True)
    since = SinceOut(allow_null=True)
    readings = TrendPointOut(many=True)
    left_out = LeftOutOut(many=True)


class HintOut(serializers.Serializer[Any]):
    """What may be the cause, why, and what would confirm it."""

    cause = serializers.CharField()
    reason = serializers.CharField()
    confirm = serializers.CharField()
    weight = serializers.IntegerField()
    source = serializers.CharField()  # type: ignore[assignment]


class HintsOut(serializers.Serializer[Any]):
    """What can explain the newest test against the first one."""

    test = serializers.CharField()
    on = serializers.DateField()
    against = serializers.DateField()
    seen = serializers.ListField(child=serializers.CharField(), source="found.seen")
    hints = HintOut(many=True, source="found.hints")
    remaining = serializers.ListField(child=serializers.CharField(), source="found.remaining")
    not_known = serializers.ListField(child=serializers.CharField(), source="found.not_known")


class TrendsOut(serializers.Serializer[Any]):
    """The trends of an item's readings, and hints from its tests."""

    trends = TrendOut(many=True)
    hints = HintsOut(many=True)


class Trends(DoorMixin, viewsets.ViewSet):
    """What the readings of a system, riser or device say over the years."""

    kind = ""

    @extend_schema(responses=TrendsOut)
    def retrieve(self, request: Request, pk: Any) -> Response:
        """Give trends with their limits and forecasts, and hints with what else is possible."""
        found = past.of_item(past_views.FIND[self.kind](request, pk))
        body = {"trends": [past.as_data(line) for line in found.lines], "hints": found.hints}
        return Response(TrendsOut(body).data)

    @extend_schema(
        parameters=[OpenApiParameter("point", OpenApiTypes.STR)],
        responses={(200, "image/svg+xml"): OpenApiResponse(OpenApiTypes.BYTE)},
    )
    def picture(self, request: Request, pk: Any, name: str) -> Any:
        """Give the picture of one reading as SVG."""
        item = past_views.FIND[self.kind](request, pk)
        return past_views.svg(request, item, name, request.query_params.get("point", ""))
