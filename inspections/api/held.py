"""Tablets and what of theirs waits for a person, in the API."""

from typing import Any, ClassVar
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.parsers import FormParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from contractors.doors import OFFICE, DoorMixin
from contractors.parsers import JSONParser
from contractors.refusal import NotThere
from inspections import held
from inspections.models import Quarantined, Tablet


class HeldOut(serializers.ModelSerializer[Quarantined]):
    """An entry that waits, or waited."""

    entry = serializers.SerializerMethodField(help_text="As the tablet made it.")
    by = serializers.CharField(source="by.user.name", default="")

    class Meta:
        model = Quarantined
        fields = (
            *("id", "event_id", "tablet", "seq", "visit_id", "reason", "received_at", "by"),
            *("entry", "decision", "decided_at", "why"),
        )
        read_only_fields = fields

    def get_entry(self, row: Quarantined) -> dict[str, Any]:
        """Return the entry."""
        return held.entry_of(row)


class LeaveOutIn(serializers.Serializer[Any]):
    """Why an entry stays out of the record."""

    why = serializers.CharField(max_length=300)


class BundleIn(serializers.Serializer[Any]):
    """The file that a tablet saved."""

    file = serializers.FileField()


class BundleOut(serializers.Serializer[Any]):
    """What a file brought."""

    kept = serializers.IntegerField()
    known = serializers.IntegerField()
    photos = serializers.IntegerField()
    unreadable = serializers.IntegerField()


class TabletOut(serializers.ModelSerializer[Tablet]):
    """A tablet."""

    person = serializers.CharField(source="member.user.name")

    class Meta:
        model = Tablet
        fields = (
            *("id", "label", "person", "registered_at", "last_seen_at", "last_seq", "revoked_at"),
        )
        read_only_fields = fields


class Held(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Entries that wait for a person."""

    read_roles = write_roles = OFFICE
    queryset = Quarantined.objects.none()
    serializer_class = HeldOut
    ordering_fields: ClassVar[list[str]] = ["received_at"]

    def get_queryset(self) -> Any:
        """Return what waits; one that was decided is found by its id."""
        if self.action == "list":
            return held.waiting()
        return Quarantined.objects.select_related("by__user")

    @extend_schema(request=None, responses=HeldOut)
    @action(detail=True, methods=["post"])
    def take(self, request: Request, pk: str) -> Response:
        """Take it into the record, under the name of whoever made it."""
        row = self.get_object()
        held.take(row, by=request.member)  # type: ignore[attr-defined]
        return Response(HeldOut(row).data)

    @extend_schema(request=LeaveOutIn, responses=HeldOut)
    @action(detail=True, methods=["post"], url_path="leave-out")
    def leave_out(self, request: Request, pk: str) -> Response:
        """Leave it out of the record, with the reason."""
        row = self.get_object()
        given = LeaveOutIn(data=request.data)
        given.is_valid(raise_exception=True)
        held.leave_out(row, by=request.member, reason=given.validated_data["why"])  # type: ignore[attr-defined]
        return Response(HeldOut(row).data)

    @extend_schema(request={"multipart/form-data": BundleIn}, responses={201: BundleOut})
    @action(detail=False, methods=["post"], parser_classes=[MultiPartParser, FormParser])
    def bundle(self, request: Request) -> Response:
        """Take over the file of a tablet that cannot sign in any more."""
        given = BundleIn(data=request.data)
        given.is_valid(raise_exception=True)
        content = given.validated_data["file"].read(held.LARGEST_BYTES + 1)
        received = held.receive(content, by=request.member)  # type: ignore[attr-defined]
        return Response(BundleOut(received).data, status=status.HTTP_201_CREATED)


class Tablets(DoorMixin, mixins.ListModelMixin, viewsets.GenericViewSet[Any]):
    """Tablets that were registered."""

    read_roles = write_roles = OFFICE
    queryset = Tablet.objects.none()
    serializer_class = TabletOut
    parser_classes = (JSONParser,)
    ordering_fields: ClassVar[list[str]] = ["last_seen_at", "registered_at"]

    def get_queryset(self) -> Any:
        """Return all of the contractor's."""
        return Tablet.objects.select_related("member__user").order_by("-registered_at", "pk")

    @extend_schema(request=None, responses=TabletOut)
    @action(detail=True, methods=["post"])
    def revoke(self, request: Request, pk: str) -> Response:
        """Take a tablet out of use; what it holds leaves it as a file."""
        try:
            row = held.tablet(UUID(pk))
        except ValueError:
            raise NotThere from None
        held.revoke(row, by=request.member, now=timezone.now())  # type: ignore[attr-defined]
        return Response(TabletOut(row).data)
