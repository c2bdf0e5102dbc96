"""Sketches and photos of buildings in the API."""

from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse
from django_filters import rest_framework as filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.parsers import FormParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from buildings import access, sketches
from buildings.api.serializers import Here
from buildings.models import Building, Riser, Sketch
from contractors.doors import DoorMixin
from contractors.parsers import JSONParser
from contractors.refusal import NotThere


class SketchOut(serializers.ModelSerializer[Sketch]):
    """A sketch or photo; its picture is under `picture/`."""

    sha256 = serializers.CharField(source="file.sha256", help_text="Of the picture as given out.")
    size = serializers.IntegerField(source="file.size", help_text="Bytes as given out.")

    class Meta:
        model = Sketch
        fields = (
            *("id", "building", "riser", "kind", "caption", "position", "sha256", "size"),
            *("width_px", "height_px", "added_at", "withdrawn_at", "withdrawn_why"),
        )


class SketchIn(serializers.Serializer[Any]):
    """A sketch or photo to add: a JPEG, PNG or WebP of at most 20 MiB."""

    building = Here(Building)
    riser = Here(Riser, required=False, allow_null=True)
    kind = serializers.ChoiceField(choices=Sketch.Kind.choices)
    caption = serializers.CharField(max_length=200)
    file = serializers.FileField()


class SketchChange(serializers.Serializer[Any]):
    """What a sketch says, where it belongs, and its place in the order; what is left out stays."""

    riser = Here(Riser, required=False, allow_null=True)
    kind = serializers.ChoiceField(choices=Sketch.Kind.choices, required=False)
    caption = serializers.CharField(max_length=200, required=False)
    position = serializers.IntegerField(min_value=1, required=False)


class SketchWithdraw(serializers.Serializer[Any]):
    """Why a sketch is withdrawn."""

    why = serializers.CharField(max_length=200)


class SketchFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of sketches."""

    withdrawn = filters.BooleanFilter(
        field_name="withdrawn_at", lookup_expr="isnull", exclude=True, label="Withdrawn ones."
    )

    class Meta:
        model = Sketch
        fields = ("building", "riser", "kind")


class Sketches(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Sketches and photos of where things are in a building."""

    serializer_class = SketchOut
    queryset = Sketch.objects.none()
    filterset_class = SketchFilter
    ordering_fields: ClassVar[list[str]] = ["position", "added_at"]
    parser_classes = (JSONParser, MultiPartParser, FormParser)
    http_method_names = ["get", "post", "patch", "head", "options"]
    lookup_value_regex = "[0-9a-f-]{36}"

    def get_queryset(self) -> QuerySet[Sketch]:
        """Return the sketches in scope, in the order of their buildings."""
        if getattr(self, "swagger_fake_view", False):
            return self.queryset
        rows: QuerySet[Sketch] = Sketch.objects.select_related("file")
        return rows.order_by("building", "position", "added_at", "id")

    @extend_schema(request={"multipart/form-data": SketchIn}, responses={201: SketchOut})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Add a sketch or photo, last in its building's order."""
        given = _taken(SketchIn(data=request.data))
        upload = given.pop("file")
        made = sketches.add(
            content=upload.read(), name=upload.name, by=self.request.member, **given
        )
        return Response(SketchOut(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=SketchChange, responses=SketchOut)
    def partial_update(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Change what a sketch says, where it belongs, or its place in the order."""
        found = self._found()
        given = _taken(SketchChange(data=request.data))
        now = {"kind": found.kind, "caption": found.caption, "riser": found.riser}
        changed = sketches.change(found, by=self.request.member, **(now | given))
        return Response(SketchOut(changed).data)

    @extend_schema(request=SketchWithdraw, responses=SketchOut, filters=False)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        """Take a sketch out of use, with the reason; its bytes stay."""
        found = self._found()
        given = _taken(SketchWithdraw(data=request.data))
        return Response(SketchOut(sketches.withdraw(found, by=self.request.member, **given)).data)

    @extend_schema(
        parameters=[OpenApiParameter("small", OpenApiTypes.BOOL, description="480 px at most.")],
        responses={(200, "image/jpeg"): OpenApiTypes.BINARY},
        filters=False,
    )
    @action(detail=True)
    def picture(self, request: Request, pk: str) -> HttpResponse:
        """Return the picture, at most 1600 px on its longer side."""
        return sketches.served(self._found(), small="small" in request.query_params)

    def _found(self) -> Sketch:
        try:
            key = UUID(self.kwargs["pk"])
        except ValueError:
            raise NotThere from None
        return access.sketch_for(self.request, key)


def _taken(serializer: serializers.Serializer[Any]) -> dict[str, Any]:
    serializer.is_valid(raise_exception=True)
    found: dict[str, Any] = dict(serializer.validated_data)
    return found
