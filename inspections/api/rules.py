"""Rules of the contractor's own, and authorities' amendments, in the API."""

from typing import Any, ClassVar

from django.db.models import Q, QuerySet
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from buildings.api.serializers import Here
from buildings.models import Adoption, Building, Jurisdiction
from contractors.doors import OFFICE, DoorMixin, Role
from inspections import rules
from inspections.models import Rule


class RuleOut(serializers.ModelSerializer[Rule]):
    """A rule laid over the catalogue."""

    class Meta:
        model = Rule
        fields = (
            *("id", "act", "activity", "adoption", "jurisdiction", "building", "frequency"),
            *("criterion", "definition", "source", "reason", "from_on", "until_on"),
            *("recorded_at", "ended_at", "ended_why"),
        )
        read_only_fields = fields


class RuleIn(serializers.Serializer[Any]):
    """A rule to be set: `act` says which of the fields it needs.

    `stricter` needs activity, and frequency or criterion. `own` needs activity (its new id), task,
    kind, subjects and frequency, and may have readings and a criterion on them. `takes_in` needs
    neither activity nor frequency: with an adoption it is law, without one agreed. `off`,
    `frequency` and `criterion` need the adoption that they amend.
    """

    act = serializers.ChoiceField(choices=Rule.Act.choices)
    activity = serializers.CharField(max_length=80, default=rules.EVERY)
    source = serializers.CharField(max_length=300)  # type: ignore[assignment]
    reason = serializers.CharField(max_length=400, allow_blank=True, default="")
    from_on = serializers.DateField()
    frequency = serializers.CharField(max_length=10, allow_blank=True, default="")
    criterion = serializers.CharField(max_length=600, allow_blank=True, default="")
    adoption = Here(Adoption, allow_null=True, default=None)
    jurisdiction = Here(Jurisdiction, allow_null=True, default=None)
    building = Here(Building, allow_null=True, default=None)
    task = serializers.CharField(max_length=200, allow_blank=True, default="")
    kind = serializers.CharField(max_length=20, allow_blank=True, default="")
    subjects = serializers.ListField(child=serializers.CharField(), max_length=20, default=list)
    applies = serializers.CharField(
        max_length=600, allow_blank=True, default="", help_text="Empty: every such item."
    )
    readings = serializers.DictField(
        child=serializers.CharField(max_length=40),
        default=dict,
        help_text="Of an activity of your own: name, and what it measures.",
    )
    caution = serializers.CharField(max_length=300, allow_blank=True, default="")
    instruments = serializers.ListField(
        child=serializers.CharField(max_length=80), max_length=10, default=list
    )
    minutes = serializers.FloatField(default=10)
    qualification = serializers.CharField(max_length=40, default="inspector")


class RuleEndIn(serializers.Serializer[Any]):
    """The last day in force, and why it ends."""

    until_on = serializers.DateField()
    why = serializers.CharField(max_length=300)


class RuleFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of rules."""

    in_force_on = filters.DateFilter(method="of_day")

    class Meta:
        model = Rule
        fields = ("act", "activity", "adoption", "jurisdiction", "building", "frequency")

    def of_day(self, rows: QuerySet[Rule], _name: str, value: Any) -> Any:
        """Return those in force on a day."""
        return rows.filter(Q(until_on=None) | Q(until_on__gte=value), from_on__lte=value)


@extend_schema(methods=["POST"], responses={201: RuleOut})
class Rules(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Rules of the contractor's own, and amendments to adopted editions."""

    read_roles = OFFICE
    write_roles = (Role.MANAGER,)
    key_required = True
    queryset = Rule.objects.none()
    filterset_class = RuleFilter
    ordering_fields: ClassVar[list[str]] = ["from_on", "recorded_at", "activity"]

    def get_queryset(self) -> QuerySet[Rule]:
        """Return the rules in scope."""
        found: QuerySet[Rule] = Rule.objects.order_by("-from_on", "-recorded_at", "pk")
        return found

    def get_serializer_class(self) -> Any:
        """Return the form that fits what is done."""
        return {"create": RuleIn, "end": RuleEndIn}.get(self.action, RuleOut)

    def create(self, request: Request) -> Response:
        """Set a rule; it is refused whole, or in force from its day on."""
        taken = RuleIn(data=request.data)
        taken.is_valid(raise_exception=True)
        made = rules.set_rule(taken.validated_data, by=self.request.member)
        return Response(RuleOut(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=RuleEndIn, responses=RuleOut)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: str) -> Response:
        """End a rule after a last day; days up to it keep it."""
        row = self.get_object()
        taken = RuleEndIn(data=request.data)
        taken.is_valid(raise_exception=True)
        return Response(
            RuleOut(rules.end(row, **taken.validated_data, by=self.request.member)).data
        )
