"""The search in the API."""

from typing import Any, ClassVar

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from contractors import search
from contractors.doors import DoorMixin
from contractors.refusal import FieldRefused


class HitOut(serializers.Serializer[Any]):
    """Something that was found."""

    kind = serializers.CharField()
    id = serializers.UUIDField()
    title = serializers.CharField()
    detail = serializers.CharField()
    url = serializers.CharField(help_text="Its page.")


class GroupOut(serializers.Serializer[Any]):
    """What was found of one kind, the best first."""

    kind = serializers.CharField()
    words = serializers.CharField(source="label", help_text="The kind in words.")
    hits = HitOut(many=True)
    count = serializers.IntegerField(help_text="How many there are, listed or not.")
    is_more = serializers.BooleanField(help_text="Too little was typed to count them all.")


class Search(DoorMixin, APIView):
    """Find rows by the beginnings of their words."""

    owner_methods: ClassVar[tuple[str, ...]] = ("GET",)

    @extend_schema(
        parameters=[
            OpenApiParameter("q", str, required=True, description="Beginnings of words."),
            OpenApiParameter("kind", str, description="Only this kind, with up to 200 hits."),
        ],
        responses=GroupOut(many=True),
    )
    def get(self, request: Request) -> Response:
        """Find what has, for every word typed, a word that begins with it, grouped by kind."""
        text, kind = request.GET.get("q", ""), request.GET.get("kind", "")
        if not text.strip():
            raise FieldRefused("q", text, "The beginning of a word.")
        most = search.MOST if kind else search.FIRST
        found = search.search(text[:200], request.door, most=most, kind=kind)  # type: ignore[attr-defined]
        return Response(GroupOut(found, many=True).data)
