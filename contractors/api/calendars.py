"""Calendars in the API: made, listed, revoked; by the desk, technicians and owners."""

from typing import Any, ClassVar
from uuid import UUID

from django.urls import reverse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status, viewsets
from rest_framework.request import Request
from rest_framework.response import Response

from contractors import calendars
from contractors.calendar_views import address_base
from contractors.doors import FIELD, OFFICE, DoorMixin
from contractors.models import CalendarFeed
from contractors.refusal import NotThere

_ID = OpenApiParameter("id", OpenApiTypes.UUID, OpenApiParameter.PATH)


class CalendarIn(serializers.Serializer[Any]):
    """A calendar to make."""

    kind = serializers.ChoiceField(choices=CalendarFeed.Kind.choices)
    subject = serializers.UUIDField(
        required=False,
        allow_null=True,
        default=None,
        help_text="The technician's or building's id; none for all of an owner's buildings.",
    )
    label = serializers.CharField(  # type: ignore[assignment]
        max_length=80, help_text="A name by which it is found to be revoked."
    )


class CalendarOut(serializers.Serializer[Any]):
    """A calendar that a program may fetch."""

    id = serializers.UUIDField()
    kind = serializers.ChoiceField(choices=CalendarFeed.Kind.choices)
    subject = serializers.UUIDField(source="subject_id", allow_null=True)
    label = serializers.CharField()  # type: ignore[assignment]
    made_at = serializers.DateTimeField()
    last_used_at = serializers.DateTimeField(allow_null=True)


class FeedMadeOut(CalendarOut):
    """A calendar just made, with its address."""

    address = serializers.URLField(
        allow_null=True,
        help_text="The .ics address with its secret, shown this once: null in an answer given again"
        " for its Idempotency-Key.",
    )


class Calendars(DoorMixin, viewsets.GenericViewSet[Any]):
    """Calendars under secret addresses of their own (RFC 5545)."""

    read_roles = write_roles = tuple(dict.fromkeys((*OFFICE, *FIELD)))
    owner_methods: ClassVar[tuple[str, ...]] = ("GET", "HEAD", "OPTIONS", "POST", "DELETE")
    queryset = CalendarFeed.objects.none()
    serializer_class = CalendarOut
    filter_backends = ()

    @extend_schema(operation_id="calendars_list", responses=CalendarOut(many=True))
    def list(self, request: Request) -> Response:
        """List the calendars that live, newest first; a manager sees all of the contractor's."""
        page = self.paginate_queryset(calendars.of(self.request.door))
        return self.get_paginated_response(CalendarOut(page, many=True).data)

    @extend_schema(request=CalendarIn, responses={201: FeedMadeOut})
    def create(self, request: Request) -> Response:
        """Make a calendar; its address is in this answer only."""
        taken = CalendarIn(data=request.data)
        taken.is_valid(raise_exception=True)
        given = taken.validated_data
        feed, token = calendars.make(
            self.request.door,
            kind=given["kind"],
            subject_id=given["subject"],
            label=given["label"],
        )
        address = address_base(request) + reverse("calendar", args=[token])
        made = CalendarOut(feed).data
        answer = Response({**made, "address": address}, status=status.HTTP_201_CREATED)
        answer.to_keep = {**made, "address": None}  # type: ignore[attr-defined]
        return answer

    @extend_schema(parameters=[_ID], responses=CalendarOut)
    def retrieve(self, request: Request, pk: str) -> Response:
        """Return a calendar, without its secret."""
        feed = calendars.of(self.request.door).filter(pk=_id(pk)).first()
        if feed is None:
            raise NotThere
        return Response(CalendarOut(feed).data)

    @extend_schema(parameters=[_ID], responses={204: None})
    def destroy(self, request: Request, pk: str) -> Response:
        """Revoke a calendar: programs that have its address get nothing any more."""
        calendars.revoke(self.request.door, _id(pk))
        return Response(status=status.HTTP_204_NO_CONTENT)


def _id(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        raise NotThere from None
