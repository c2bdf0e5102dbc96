"""What decides due days, in the API: regimes, settings of due days, leave to rest, turns."""

from typing import Any, ClassVar

from django.db.models import Q, QuerySet
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from buildings.api.serializers import Here
from buildings.models import (
    Agreement,
    Building,
    Jurisdiction,
    OffLimits,
    Regime,
    Suspension,
    Timing,
    TurnOrder,
)
from contractors.doors import OFFICE, DoorMixin, Role
from contractors.refusal import FieldRefused
from scheduling import off_limits, term_views, terms, turn_orders


class RegimeOut(serializers.ModelSerializer[Regime]):
    """A regime whose windows hold beside those of the adopted standard."""

    class Meta:
        model = Regime
        fields = (
            *("id", "building", "regime", "edition", "authority", "valid_from", "valid_until"),
            "recorded_at",
        )
        read_only_fields = fields


class RegimeIn(serializers.Serializer[Any]):
    """A regime to be laid beside the standard."""

    building = Here(Building)
    regime = serializers.CharField(max_length=40)
    edition = serializers.IntegerField(
        min_value=1900, max_value=2200, required=False, allow_null=True, default=None
    )
    authority = serializers.CharField(max_length=120, help_text="Who asks for it, and where.")
    valid_from = serializers.DateField()
    valid_until = serializers.DateField(required=False, allow_null=True, default=None)


class RegimeEndIn(serializers.Serializer[Any]):
    """The last day of a regime."""

    valid_until = serializers.DateField()


class DueSettingOut(serializers.ModelSerializer[Timing]):
    """How due days are reckoned from a day on."""

    building = serializers.UUIDField(source="agreement.building_id", default=None, read_only=True)

    class Meta:
        model = Timing
        fields = (
            *("id", "agreement", "building", "valid_from", "anchoring", "rolling_year"),
            *("week_starts", "frost_from", "frost_until", "recorded_at"),
        )
        read_only_fields = fields


class DueSettingIn(serializers.Serializer[Any]):
    """A setting of due days; without an agreement it holds for all of the contractor's."""

    agreement = Here(Agreement, required=False, allow_null=True, default=None)
    valid_from = serializers.DateField()
    anchoring = serializers.ChoiceField(
        choices=Timing.Anchoring.choices, default=Timing.Anchoring.MIXED
    )
    rolling_year = serializers.BooleanField(default=False)
    week_starts = serializers.IntegerField(
        min_value=0, max_value=terms.LAST_WEEKDAY, default=0, help_text="0 is Monday."
    )
    frost_from = serializers.CharField(
        max_length=5, allow_blank=True, default="", help_text="Month and day, such as 11-15."
    )
    frost_until = serializers.CharField(max_length=5, allow_blank=True, default="")


class SuspensionOut(serializers.ModelSerializer[Suspension]):
    """Leave to rest, as it is known now."""

    id = serializers.UUIDField(source="matter", read_only=True)

    class Meta:
        model = Suspension
        fields = (
            *("id", "building", "subject_kind", "subject_id", "from_on", "back_on", "withdrawn"),
            *("authority", "reason", "recorded_at"),
        )
        read_only_fields = fields


class SuspensionIn(serializers.Serializer[Any]):
    """Leave to rest for a building, or a system, riser or device of it."""

    building = Here(Building)
    subject_kind = serializers.ChoiceField(
        choices=["building", "system", "riser", "device"], default="building"
    )
    subject = serializers.UUIDField(
        required=False, allow_null=True, default=None, help_text="By default the building."
    )
    authority = serializers.CharField(max_length=120)
    reason = serializers.CharField(max_length=200)
    from_on = serializers.DateField()
    back_on = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="First day back, as expected."
    )


class BackIn(serializers.Serializer[Any]):
    """The first day back."""

    back_on = serializers.DateField()


class OffLimitsOut(serializers.ModelSerializer[OffLimits]):
    """Days on which work is not wanted."""

    class Meta:
        model = OffLimits
        fields = (
            *("id", "building", "jurisdiction", "work", "from_on", "until_on", "yearly"),
            *("authority", "reason", "recorded_at", "withdrawn_at"),
        )
        read_only_fields = fields


class OffLimitsIn(serializers.Serializer[Any]):
    """Days to be kept free: at a building, under an authority, or at all buildings."""

    building = Here(Building, required=False, allow_null=True, default=None)
    jurisdiction = Here(Jurisdiction, required=False, allow_null=True, default=None)
    work = serializers.ChoiceField(choices=OffLimits.Work.choices)
    from_on = serializers.DateField()
    until_on = serializers.DateField(help_text="The last day.")
    yearly = serializers.BooleanField(default=False, help_text="On the same days each year.")
    authority = serializers.CharField(max_length=120, help_text="By whose word.")
    reason = serializers.CharField(max_length=200)


class TurnOrderOut(serializers.ModelSerializer[TurnOrder]):
    """Which items go first where every other one has its turn in a cycle."""

    first = serializers.ListField(child=serializers.UUIDField(), read_only=True)
    then = serializers.ListField(child=serializers.UUIDField(), read_only=True)

    class Meta:
        model = TurnOrder
        fields = ("id", "building", "activity", "first", "then", "valid_from", "recorded_at")
        read_only_fields = fields


class TurnOrderIn(serializers.Serializer[Any]):
    """Half of the items that take turns at a building, to go first."""

    building = Here(Building)
    activity = serializers.CharField(max_length=80)
    first = serializers.ListField(
        child=serializers.UUIDField(), max_length=500, help_text="Half of them, by their ids."
    )
    valid_from = serializers.DateField()


class NothingIn(serializers.Serializer[Any]):
    """Nothing: what is done is all that is said."""


class RegimeFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of regimes."""

    in_force_on = filters.DateFilter(method="of_day")

    class Meta:
        model = Regime
        fields = ("building", "regime")

    def of_day(self, rows: QuerySet[Regime], _name: str, value: Any) -> Any:
        """Return those in force on a day."""
        return rows.filter(Q(valid_until=None) | Q(valid_until__gte=value), valid_from__lte=value)


class DueSettingFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of settings of due days."""

    building = filters.UUIDFilter(field_name="agreement__building")

    class Meta:
        model = Timing
        fields = ("agreement", "anchoring")


class SuspensionFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of leave to rest."""

    on = filters.DateFilter(method="of_day")

    class Meta:
        model = Suspension
        fields = ("building", "subject_kind", "subject_id", "withdrawn")

    def of_day(self, rows: QuerySet[Suspension], _name: str, value: Any) -> Any:
        """Return those that hold on a day."""
        still = Q(back_on=None) | Q(back_on__gt=value)
        return rows.filter(still, from_on__lte=value, withdrawn=False)


class OffLimitsFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of days off limits."""

    class Meta:
        model = OffLimits
        fields = ("building", "jurisdiction", "work", "yearly")


class _Terms(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    read_roles = OFFICE
    write_roles = (Role.MANAGER,)
    key_required = True
    http_method_names = ["get", "post", "head", "options"]


@extend_schema(methods=["POST"], responses={201: RegimeOut})
class Regimes(_Terms):
    """Regimes beside the adopted standard."""

    queryset = Regime.objects.none()
    filterset_class = RegimeFilter
    ordering_fields: ClassVar[list[str]] = ["valid_from", "recorded_at"]

    def get_queryset(self) -> QuerySet[Regime]:
        """Return the regimes in scope."""
        found: QuerySet[Regime] = Regime.objects.order_by("-valid_from", "pk")
        return found

    def get_serializer_class(self) -> Any:
        """Return the form that fits what is done."""
        return {"create": RegimeIn, "end": RegimeEndIn}.get(self.action, RegimeOut)

    def create(self, request: Request) -> Response:
        """Have a regime's windows hold at a building; its programme is derived anew."""
        given = _taken(RegimeIn(data=request.data))
        building, regime = given.pop("building"), given.pop("regime")
        made = terms.ask_for(building, regime, **given, by=self.request.member)
        return Response(RegimeOut(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=RegimeEndIn, responses=RegimeOut)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: str) -> Response:
        """End a regime after a last day; days up to it keep it."""
        row, given = self.get_object(), _taken(RegimeEndIn(data=request.data))
        return Response(RegimeOut(terms.end_regime(row, **given, by=self.request.member)).data)


@extend_schema(methods=["POST"], responses={201: DueSettingOut})
class DueSettings(_Terms):
    """How due days are reckoned: written once, the newest that has begun holds."""

    queryset = Timing.objects.none()
    filterset_class = DueSettingFilter
    ordering_fields: ClassVar[list[str]] = ["valid_from", "recorded_at"]

    def get_queryset(self) -> QuerySet[Timing]:
        """Return the settings in scope."""
        rows: QuerySet[Timing] = Timing.objects.select_related("agreement")
        return rows.order_by("-valid_from", "-recorded_at", "pk")

    def get_serializer_class(self) -> Any:
        """Return the form that fits what is done."""
        return {"create": DueSettingIn}.get(self.action, DueSettingOut)

    def create(self, request: Request) -> Response:
        """Set how due days are reckoned from a day on; the programme is derived anew."""
        made = terms.time_by(**_taken(DueSettingIn(data=request.data)), by=self.request.member)
        return Response(DueSettingOut(made).data, status=status.HTTP_201_CREATED)


@extend_schema(methods=["POST"], responses={201: SuspensionOut})
class Suspensions(_Terms):
    """Leave to rest: who gave it, why, from and until when."""

    queryset = Suspension.objects.none()
    filterset_class = SuspensionFilter
    ordering_fields: ClassVar[list[str]] = ["from_on", "recorded_at"]
    lookup_field = "matter"

    def get_queryset(self) -> QuerySet[Suspension]:
        """Return the newest word on each leave in scope."""
        return terms.suspensions()

    def get_serializer_class(self) -> Any:
        """Return the form that fits what is done."""
        forms = {"create": SuspensionIn, "resume": BackIn, "withdraw": NothingIn}
        return forms.get(self.action, SuspensionOut)

    def create(self, request: Request) -> Response:
        """Let a building or an item rest by an authority's leave."""
        given = _taken(SuspensionIn(data=request.data))
        building, kind = given.pop("building"), given.pop("subject_kind")
        pk = given.pop("subject")
        if pk is None and kind != "building":
            raise FieldRefused("subject", "", "The id of the item that rests.")
        subject = term_views.subject_for(building, kind, pk or building.pk)
        made = terms.suspend(subject, **given, by=self.request.member)
        return Response(SuspensionOut(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=BackIn, responses=SuspensionOut)
    @action(detail=True, methods=["post"])
    def resume(self, request: Request, matter: str) -> Response:
        """Say on which day what rested is back."""
        row, given = self.get_object(), _taken(BackIn(data=request.data))
        return Response(SuspensionOut(terms.resume(row, **given, by=self.request.member)).data)

    @extend_schema(request=NothingIn, responses=SuspensionOut)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, matter: str) -> Response:
        """Take back leave that was written in error: it never held."""
        return Response(
            SuspensionOut(terms.withdraw(self.get_object(), by=self.request.member)).data
        )


@extend_schema(methods=["POST"], responses={201: OffLimitsOut})
class OffLimitDays(_Terms):
    """Days on which work is not wanted: by whose word, where, and why."""

    queryset = OffLimits.objects.none()
    filterset_class = OffLimitsFilter
    ordering_fields: ClassVar[list[str]] = ["from_on", "recorded_at"]

    def get_queryset(self) -> QuerySet[OffLimits]:
        """Return the days off limits in scope, those given free again too."""
        found: QuerySet[OffLimits] = OffLimits.objects.order_by("-from_on", "-recorded_at", "pk")
        return found

    def get_serializer_class(self) -> Any:
        """Return the form that fits what is done."""
        return {"create": OffLimitsIn, "withdraw": NothingIn}.get(self.action, OffLimitsOut)

    def create(self, request: Request) -> Response:
        """Keep days free of work; the programme is derived anew."""
        given = _taken(OffLimitsIn(data=request.data))
        made = off_limits.keep(**given, by=self.request.member)
        return Response(OffLimitsOut(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=NothingIn, responses=OffLimitsOut)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, pk: str) -> Response:
        """Give days free again."""
        row = off_limits.withdraw(self.get_object(), by=self.request.member)
        return Response(OffLimitsOut(row).data)


class TurnOrders(_Terms):
    """Which items go first by turns: written once, the newest that has begun holds."""

    queryset = TurnOrder.objects.none()
    filterset_fields: ClassVar[list[str]] = ["building", "activity"]
    ordering_fields: ClassVar[list[str]] = ["valid_from", "recorded_at"]

    def get_queryset(self) -> QuerySet[TurnOrder]:
        """Return the orders of turns in scope."""
        found: QuerySet[TurnOrder] = TurnOrder.objects.order_by("-valid_from", "-recorded_at", "pk")
        return found

    def get_serializer_class(self) -> Any:
        """Return the form that fits what is done."""
        return {"create": TurnOrderIn}.get(self.action, TurnOrderOut)

    @extend_schema(responses={201: TurnOrderOut})
    def create(self, request: Request) -> Response:
        """Choose which go first from a day on; the building is derived anew."""
        given = _taken(TurnOrderIn(data=request.data))
        made = turn_orders.choose(**given, by=self.request.member)
        return Response(TurnOrderOut(made).data, status=status.HTTP_201_CREATED)


def _taken(serializer: Any) -> dict[str, Any]:
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)
