"""The tablet's side of the API: register, pull, push, receipts."""

import json
import zlib
from typing import Any, ClassVar, NoReturn
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.decorators import method_decorator
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers, status
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from contractors.doors import FIELD, DoorMixin
from contractors.models import Membership
from contractors.refusal import FieldRefused, Refusal
from inspections import sync, taking
from inspections.models import Tablet

MOST_BYTES = 2**20
MOST_CURSOR = 8000
_TABLET = OpenApiParameter("tablet", OpenApiTypes.UUID, required=True)


class TooLarge(Refusal):
    """A batch is larger than one push may be."""

    code = "batch_too_large"
    status = 413
    sentence = "A push holds at most 1 MiB. Send half of the entries at a time."


class BatchParser(BaseParser):
    """JSON of at most 1 MiB, plain or compressed with gzip; no more than that is unpacked."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        """Return the value sent."""
        text = stream.read(MOST_BYTES + 1)
        request = (parser_context or {}).get("request")
        if request is not None and request.META.get("HTTP_CONTENT_ENCODING") == "gzip":
            text = _unpacked(text)
        if len(text) > MOST_BYTES:
            raise TooLarge
        try:
            return json.loads(text, parse_constant=_no_constant)
        except (ValueError, RecursionError) as error:
            raise ParseError("The push cannot be read as JSON.") from error


def _unpacked(content: bytes) -> bytes:
    try:
        return zlib.decompressobj(wbits=31).decompress(content, MOST_BYTES + 1)
    except zlib.error as error:
        raise ParseError("The push cannot be unpacked as gzip.") from error


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no JSON")


class RegisterIn(serializers.Serializer[Any]):
    """A tablet to register."""

    tablet = serializers.UUIDField(
        required=False, allow_null=True, help_text="The id it had before, if any."
    )
    label = serializers.CharField(max_length=80, required=False, allow_blank=True)  # type: ignore[assignment]


class Contact(serializers.Serializer[Any]):
    """What every answer tells a tablet."""

    server_time = serializers.DateTimeField()
    ticket = serializers.CharField(help_text="Goes into every entry made from now on.")
    next = serializers.IntegerField(help_text="The number of the entry that is expected next.")


class RegisteredOut(Contact):
    """A registered tablet."""

    tablet = serializers.UUIDField()
    member = serializers.DictField()


class WithdrawnOut(serializers.Serializer[Any]):
    """A visit that the tablet had and takes along no more."""

    visit = serializers.UUIDField()
    reason = serializers.ChoiceField(
        choices=["unknown", "given_away", "cancelled", "closed", "moved"]
    )
    planned_on = serializers.DateField(
        allow_null=True, help_text="The day it was moved to, where that is why and there is one."
    )


class PullOut(Contact):
    """Work packs: all that a technician takes along."""

    cursor = serializers.CharField()
    member = serializers.DictField()
    catalogue = serializers.CharField()
    visits = serializers.ListField(child=serializers.DictField())
    withdrawn = WithdrawnOut(many=True)


class PushIn(serializers.Serializer[Any]):
    """Entries of a tablet, in order of their number; at most 200 and 1 MiB."""

    tablet = serializers.UUIDField()
    boot = serializers.CharField()
    mono = serializers.IntegerField()
    wall = serializers.DateTimeField()
    events = serializers.ListField(child=serializers.DictField(), max_length=taking.MOST_EVENTS)


class PushOut(Contact):
    """What became of each entry."""

    results = serializers.ListField(child=serializers.DictField())


class ReceiptsOut(Contact):
    """What the record holds of a tablet."""

    visits = serializers.ListField(child=serializers.DictField())


class Field(DoorMixin, APIView):
    """A view for those who work at the buildings."""

    read_roles = FIELD
    write_roles = FIELD


class Tablets(Field):
    """Tablets."""

    @extend_schema(request=RegisterIn, responses={201: RegisteredOut})
    def post(self, request: Request) -> Response:
        """Register a tablet; after a reinstall it is registered anew."""
        given = RegisterIn(data=request.data)
        given.is_valid(raise_exception=True)
        member = request.member  # type: ignore[attr-defined]
        taken = given.validated_data
        made = sync.register(member, label=taken.get("label", ""), known=taken.get("tablet"))
        now = timezone.now()
        who = {"tablet": str(made.pk), "member": sync.person(member, now)}
        return Response(who | sync.contact(made, now), status=status.HTTP_201_CREATED)


class Pull(Field):
    """Work packs."""

    @extend_schema(
        parameters=[_TABLET, OpenApiParameter("cursor", OpenApiTypes.STR)], responses=PullOut
    )
    def get(self, request: Request) -> Response:
        """Return the packs that the tablet lacks."""
        cursor = request.query_params.get("cursor", "")[:MOST_CURSOR]
        return Response(sync.pull(_tablet(request), cursor=cursor))


class Receipts(Field):
    """What the record holds of a tablet."""

    @extend_schema(parameters=[_TABLET], responses=ReceiptsOut)
    def get(self, request: Request) -> Response:
        """Return, visit by visit, how many entries are here and how many photos are not."""
        return Response(sync.receipts(_tablet(request)))


@method_decorator(transaction.non_atomic_requests, name="dispatch")
class Push(Field):
    """Entries of a tablet. Each is taken in a transaction of its own."""

    parser_classes = (BatchParser,)
    kept: ClassVar[None] = None

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Leave the scope to the entries: one that a request holds would tie them together."""
        APIView.initial(self, request, *args, **kwargs)

    def handle_exception(self, exc: Exception) -> Any:
        """Give a problem a transaction of its own to undo: no other one is open here."""
        with transaction.atomic():
            return super().handle_exception(exc)

    @extend_schema(request=PushIn, responses=PushOut)
    def post(self, request: Request) -> Response:
        """Take entries into the record; the answer says what became of each."""
        batch = taking.batch_of(request.data)
        member: Membership = request.member  # type: ignore[attr-defined]
        return Response(sync.push(member, batch))


def _tablet(request: Request) -> Tablet:
    text = request.query_params.get("tablet", "")
    try:
        tablet_id = UUID(text)
    except ValueError:
        raise FieldRefused("tablet", text, "The id that registering gave.") from None
    return sync.tablet_for(request.member, tablet_id)  # type: ignore[attr-defined]
