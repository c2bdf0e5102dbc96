"""The valve model in the API: its types, scenarios worked through, and runs that are kept."""

import time
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from contractors.doors import EVERYBODY, DoorMixin
from contractors.refusal import FieldRefused, NotThere
from inspections import valve_runs
from inspections.models import ValveRun
from inspections.sequence.alphabet import described
from inspections.sequence.run import ScenarioError, evaluate
from inspections.sequence.types import TYPES

_ANYTHING = {"application/json": {"type": "object", "additionalProperties": True}}
LONGEST_SEARCH_S = 5.0


class TypeOut(serializers.Serializer[Any]):
    """A system type of the model."""

    type = serializers.CharField()
    composition = serializers.DictField()
    actions = serializers.ListField(child=serializers.CharField())
    hand_valves = serializers.ListField(child=serializers.CharField())
    observables = serializers.ListField(child=serializers.CharField())
    faults = serializers.ListField(child=serializers.CharField())
    tasks = serializers.ListField(child=serializers.CharField())
    cautions = serializers.DictField(child=serializers.CharField())


class EvaluationOut(serializers.Serializer[Any]):
    """A scenario worked through."""

    id = serializers.CharField()
    steps = serializers.ListField(child=serializers.DictField())
    expectations = serializers.ListField(child=serializers.DictField())
    met = serializers.BooleanField()


class RunIn(serializers.Serializer[Any]):
    """A run to be begun; `config` and `faults` as in a scenario. Its faults are not told again."""

    system_type = serializers.ChoiceField(choices=list(TYPES))
    config = serializers.DictField(default=dict)
    faults = serializers.ListField(child=serializers.CharField(max_length=80), default=list)
    title = serializers.CharField(max_length=120, allow_blank=True, default="")


class ValveRunOut(serializers.ModelSerializer[ValveRun]):
    """A run, and what is seen at its riser now."""

    config = serializers.JSONField(source="overrides")
    observation = serializers.SerializerMethodField()

    class Meta:
        model = ValveRun
        fields = (
            *("id", "title", "system_type", "config", "log", "started_at", "expires_at"),
            "observation",
        )
        read_only_fields = fields

    def get_observation(self, run: ValveRun) -> dict[str, Any]:
        """Return what can be seen."""
        return valve_runs.shown(*valve_runs.replay(run))


class ListedValveRunOut(serializers.ModelSerializer[ValveRun]):
    """A run in the list."""

    class Meta:
        model = ValveRun
        fields = ("id", "title", "system_type", "started_at", "expires_at")
        read_only_fields = fields


class ActedOut(serializers.Serializer[Any]):
    """What is seen after an act, and what stood against it."""

    observation = serializers.DictField()
    warnings = serializers.ListField(child=serializers.DictField())


class DiagnosisOut(serializers.Serializer[Any]):
    """Explanations, likeliest first; `groups` are places of those that no check tells apart."""

    explanations = serializers.ListField(child=serializers.DictField())
    groups = serializers.ListField(child=serializers.ListField())
    cause = serializers.ListField(child=serializers.CharField())
    checks = serializers.ListField(child=serializers.DictField())
    questions = serializers.ListField(child=serializers.CharField())
    odds_source = serializers.CharField()
    tried = serializers.IntegerField()
    complete = serializers.BooleanField()


class LookedOut(serializers.Serializer[Any]):
    """What was seen otherwise than a sound riser shows, and what may be the matter."""

    mismatches = serializers.ListField(child=serializers.DictField())
    diagnosis = DiagnosisOut()


class DiagnoseIn(serializers.Serializer[Any]):
    """Answers to questions (true: as it must be), and whether two causes are looked for."""

    answers = serializers.DictField(child=serializers.BooleanField(), default=dict)
    pairs = serializers.BooleanField(default=True)


class ValveTypes(DoorMixin, viewsets.GenericViewSet[Any]):
    """The types of risers that the valve model knows, and scenarios worked through on them."""

    serializer_class = TypeOut
    filter_backends = ()
    pagination_class = None
    write_roles = EVERYBODY

    @extend_schema(responses=TypeOut(many=True), operation_id="valve_types_list")
    def list(self, request: Request) -> Response:
        """List the types."""
        return Response([described(name, {}) for name in TYPES])

    @extend_schema(responses=TypeOut, operation_id="valve_types_retrieve")
    def retrieve(self, request: Request, pk: str) -> Response:
        """Return one type."""
        if pk not in TYPES:
            raise NotThere
        return Response(described(pk, {}))

    @extend_schema(
        request=_ANYTHING, responses=EvaluationOut, operation_id="valve_scenarios_evaluate"
    )
    def evaluate(self, request: Request) -> Response:
        """Work through one scenario of the schema `valve-scenarios/1`."""
        try:
            return Response(evaluate(_object(request)))
        except ScenarioError as error:
            raise valve_runs.NotOfTheModel(error) from error


class ValveRuns(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Runs of the valve model, kept a month after the last entry."""

    write_roles = EVERYBODY
    key_required = True
    queryset = ValveRun.objects.none()
    ordering_fields: ClassVar[list[str]] = ["started_at"]

    def get_queryset(self) -> Any:
        """Return the runs in scope."""
        return valve_runs.listed()

    def get_serializer_class(self) -> Any:
        """Return the form that fits what is done."""
        return {"create": RunIn, "list": ListedValveRunOut}.get(self.action, ValveRunOut)

    @extend_schema(request=RunIn, responses={201: ValveRunOut})
    def create(self, request: Request) -> Response:
        """Begin a run."""
        taken = RunIn(data=request.data)
        taken.is_valid(raise_exception=True)
        given = taken.validated_data
        run = valve_runs.create(
            {**given, "overrides": given["config"], "hidden": given["faults"]},
            by=request.member,  # type: ignore[attr-defined]
        )
        return Response(ValveRunOut(run).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=_ANYTHING, responses=ActedOut)
    @action(detail=True, methods=["post"])
    def act(self, request: Request, pk: str) -> Response:
        """Do one act, written as a step of a scenario: `{"do": "open", "what": "inlet_drain"}`."""
        return Response(valve_runs.act(self.get_object(), _object(request)))

    @extend_schema(request=_ANYTHING, responses=LookedOut)
    @action(detail=True, methods=["post"])
    def observe(self, request: Request, pk: str) -> Response:
        """Keep what was seen: observation keys with their value or a matcher."""
        return Response(valve_runs.look(self.get_object(), _object(request)))

    @extend_schema(request=DiagnoseIn, responses=DiagnosisOut)
    @action(detail=True, methods=["post"], key_required=False)
    def diagnose(self, request: Request, pk: str) -> Response:
        """Return what explains the record so far, and the check that tells it apart best."""
        run = self.get_object()
        taken = DiagnoseIn(data=request.data)
        taken.is_valid(raise_exception=True)
        until = time.monotonic() + LONGEST_SEARCH_S
        found = valve_runs.diagnose(
            run, **taken.validated_data, go_on=lambda: time.monotonic() < until
        )
        return Response(found)


def _object(request: Request) -> dict[str, Any]:
    if not isinstance(request.data, dict):
        raise FieldRefused("body", type(request.data).__name__, "An object.")
    return request.data
