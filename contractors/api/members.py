"""Members of the contractor in the API, and who of them answers for it."""

from typing import Any, ClassVar
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.request import Request
from rest_framework.response import Response

from contractors import principals
from contractors.doors import OFFICE, DoorMixin, Role
from contractors.models import Membership
from contractors.refusal import NotThere


class MemberOut(serializers.ModelSerializer[Membership]):
    """A member of the contractor."""

    name = serializers.CharField(source="user.name", read_only=True)
    email = serializers.CharField(source="user.email", read_only=True)

    class Meta:
        model = Membership
        fields = ("id", "name", "email", "role", "is_principal")


class MemberIn(serializers.Serializer[Any]):
    """What is told of a member."""

    is_principal = serializers.BooleanField(help_text="Answers for the contractor; is told last.")


class Members(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """The contractor's members; a service manager says who answers for the contractor."""

    read_roles = OFFICE
    write_roles = (Role.MANAGER,)
    queryset = Membership.objects.none()
    serializer_class = MemberOut
    filterset_fields: ClassVar[list[str]] = ["role", "is_principal"]
    http_method_names = ["get", "patch", "head", "options"]

    def get_queryset(self) -> QuerySet[Membership]:
        """Return the members that are there."""
        return principals.members()

    @extend_schema(request=MemberIn, responses=MemberOut)
    def partial_update(self, request: Request, pk: str) -> Response:
        """Say whether a member answers for the contractor."""
        taken = MemberIn(data=request.data)
        taken.is_valid(raise_exception=True)
        answers = taken.validated_data["is_principal"]
        row = principals.answer(_id(pk), answers=answers, by=self.request.member)
        return Response(MemberOut(row).data)


def _id(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        raise NotThere from None
