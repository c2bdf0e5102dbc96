"""Exports in the API: asked for, watched, called off, fetched; by the desk and by owners."""

from typing import Any, ClassVar
from uuid import UUID

from django.http import FileResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from contractors import exports
from contractors.doors import OFFICE, DoorMixin
from contractors.export_views import file_of
from contractors.models import AskedExport, Contractor
from contractors.refusal import NotThere

_ID = OpenApiParameter("id", OpenApiTypes.UUID, OpenApiParameter.PATH)


class ExportIn(serializers.Serializer[Any]):
    """A table asked for as a file."""

    kind = serializers.CharField(help_text="A table's name; GET /exports/tables/ lists them.")
    format = serializers.ChoiceField(choices=AskedExport.Format.choices, default="csv")
    units = serializers.ChoiceField(choices=Contractor.Units.choices, required=False)
    filters = serializers.DictField(
        child=serializers.JSONField(), default=dict, help_text="As on the page that lists the rows."
    )


class ExportOut(serializers.Serializer[Any]):
    """An export and how far it is."""

    id = serializers.UUIDField()
    kind = serializers.CharField()
    format = serializers.ChoiceField(choices=AskedExport.Format.choices)
    units = serializers.ChoiceField(choices=Contractor.Units.choices)
    filters = serializers.DictField()
    state = serializers.ChoiceField(choices=AskedExport.State.choices)
    progress = serializers.IntegerField(help_text="Percent.")
    rows = serializers.IntegerField(allow_null=True)
    error = serializers.CharField()
    made_at = serializers.DateTimeField()
    done_at = serializers.DateTimeField(allow_null=True)
    expires_at = serializers.DateTimeField(allow_null=True)
    link = serializers.SerializerMethodField(help_text="Of the file, while it is there.")

    def get_link(self, export: Any) -> str | None:
        """Return the address of the file once it is ready."""
        if export.state != AskedExport.State.READY:
            return None
        return str(reverse("api-export-file", [export.pk], request=self.context["request"]))


class TableOut(serializers.Serializer[Any]):
    """A table that may be asked for."""

    name = serializers.CharField()
    title = serializers.CharField()
    says = serializers.CharField()
    filters = serializers.ListField(child=serializers.CharField())
    columns = serializers.ListField(child=serializers.CharField())


class AsIs(BaseRenderer):
    """Lets any kind of file be asked for; the view answers with the file itself."""

    media_type = "*/*"
    format = "file"

    def render(self, data: Any, media_type: Any = None, context: Any = None) -> bytes:
        """Write a problem as JSON."""
        return JSONRenderer().render(data)


class Exports(DoorMixin, viewsets.GenericViewSet[Any]):
    """Tables as files, written in the background."""

    read_roles = OFFICE
    owner_methods: ClassVar[tuple[str, ...]] = ("GET", "HEAD", "OPTIONS", "POST")
    queryset = AskedExport.Format.choices  # type: ignore[assignment]
    serializer_class = ExportOut
    filter_backends = ()

    def _export(self) -> Any:
        try:
            export_id = UUID(str(self.kwargs["pk"]))
        except ValueError:
            raise NotThere from None
        return exports.export_for(self.request.door, export_id)

    def _told(self, export: Any, code: int = status.HTTP_200_OK) -> Response:
        body = ExportOut(export, context={"request": self.request}).data
        if code != status.HTTP_202_ACCEPTED:
            return Response(body, status=code)
        address = reverse("api-export-detail", [export.pk], request=self.request)
        return Response(body, status=code, headers={"Location": address})

    @extend_schema(operation_id="exports_list", responses=ExportOut(many=True))
    def list(self, request: Request) -> Response:
        """List the exports, newest first."""
        page = self.paginate_queryset(exports.of(self.request.door))
        body = ExportOut(page, many=True, context={"request": request}).data
        return self.get_paginated_response(body)

    @extend_schema(request=ExportIn, responses={202: ExportOut})
    def create(self, request: Request) -> Response:
        """Ask for a table as a file; it is written in the background."""
        taken = ExportIn(data=request.data)
        taken.is_valid(raise_exception=True)
        given = taken.validated_data
        door = self.request.door
        export = exports.ask(
            door,
            kind=given["kind"],
            format=given["format"],
            units=given.get("units") or (door.contractor.units if door.member else "us"),
            narrowed=given["filters"],
        )
        return self._told(export, status.HTTP_202_ACCEPTED)

    @extend_schema(parameters=[_ID], responses=ExportOut)
    def retrieve(self, request: Request, pk: str) -> Response:
        """Say how far an export is, and where its file is."""
        return self._told(self._export())

    @extend_schema(parameters=[_ID], request=None, responses=ExportOut)
    @action(detail=True, methods=["post"])
    def cancel(self, request: Request, pk: str) -> Response:
        """Call an export off."""
        exports.cancel(self.request.door, self._export())
        return self._told(self._export())

    @extend_schema(parameters=[_ID], request=None, responses={202: ExportOut})
    @action(detail=True, methods=["post"])
    def retry(self, request: Request, pk: str) -> Response:
        """Have an export written anew that failed, was called off or expired."""
        exports.retry(self.request.door, self._export())
        return self._told(self._export(), status.HTTP_202_ACCEPTED)

    @extend_schema(parameters=[_ID], responses={(200, "*/*"): OpenApiTypes.BINARY})
    @action(detail=True, renderer_classes=[JSONRenderer, AsIs])
    def file(self, request: Request, pk: str) -> FileResponse:
        """Return the file."""
        return file_of(self.request.door, self._export())

    @extend_schema(responses=TableOut(many=True), operation_id="exports_tables")
    @action(detail=False, pagination_class=None)
    def tables(self, request: Request) -> Response:
        """List the tables that may be asked for, with their filters and columns."""
        door = self.request.door
        units = door.contractor.units if door.member else "us"
        found = []
        for table in exports.offered(door):
            form, _rows = table.chosen({}, door)
            found.append(
                {
                    "name": table.name,
                    "title": str(table.title),
                    "says": str(table.says),
                    "filters": list(form.fields) if form else [],
                    "columns": list(table.columns(units)),
                }
            )
        return Response(TableOut(found, many=True).data)
