"""The practice bench in the API: exercises, and runs that are scored as they come in."""

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from buildings.api.serializers import Here
from contractors.doors import EVERYBODY, DoorMixin
from contractors.models import Person
from inspections import practice_words as words
from inspections import practising
from inspections.api.licences import LicenceOut
from inspections.models import PracticeExercise, PracticeRun
from inspections.practice import bench
from inspections.practice.score import MOST_ACTS
from inspections.sequence.types import TYPES


class ExerciseOut(serializers.ModelSerializer[PracticeExercise]):
    """An exercise; its fault is told to those who may set one."""

    fault = serializers.SerializerMethodField(help_text="Only for a manager or trainer.")

    class Meta:
        model = PracticeExercise
        fields = ("id", "system_type", "task", "fault", "person", "note", "set_at")
        read_only_fields = fields

    def get_fault(self, exercise: PracticeExercise) -> str | None:
        """Return the hidden fault, null for somebody who practises."""
        may_know = self.context["request"].member.role in practising.SETTERS
        return exercise.fault if may_know else None


class ExerciseWholeOut(ExerciseOut):
    """An exercise with what can be done, marked and named on its riser, by code."""

    acts = serializers.SerializerMethodField()
    sights = serializers.SerializerMethodField()
    claims = serializers.SerializerMethodField()

    class Meta:
        model = PracticeExercise
        fields = (*ExerciseOut.Meta.fields, "acts", "sights", "claims")
        read_only_fields = fields

    def get_acts(self, exercise: PracticeExercise) -> dict[str, str]:
        """Return the acts with their words."""
        deeds = bench.deeds_of(practising.config_of(exercise.system_type))
        return {code: words.whole_name(deed) for code, deed in deeds.items()}

    def get_sights(self, exercise: PracticeExercise) -> dict[str, str]:
        """Return what can be marked as seen."""
        codes = bench.sights_of(practising.config_of(exercise.system_type))
        return {code: words.sight_name(code) for code in codes}

    def get_claims(self, exercise: PracticeExercise) -> dict[str, str]:
        """Return the faults that can be named; none where none is looked for."""
        return {claim[0]: claim[1] for claim in practising.claims_of(exercise)}


class ExerciseIn(serializers.Serializer[Any]):
    """An exercise to be set; without a person it is for everybody."""

    system_type = serializers.ChoiceField(choices=list(TYPES))
    task = serializers.ChoiceField(choices=PracticeExercise.Task.choices)
    fault = serializers.CharField(max_length=60, allow_blank=True, default="")
    person = Here(Person, allow_null=True, default=None)
    note = serializers.CharField(max_length=200, allow_blank=True, default="")


class DoneIn(serializers.Serializer[Any]):
    """A run: acts in order; marks by number of the act (1 is the first); the fault named."""

    acts = serializers.ListField(
        child=serializers.CharField(max_length=60), min_length=1, max_length=MOST_ACTS
    )
    noted = serializers.DictField(
        child=serializers.ListField(child=serializers.CharField(max_length=60)), default=dict
    )
    claim = serializers.CharField(max_length=60, allow_blank=True, default="")


class PracticeRunOut(serializers.ModelSerializer[PracticeRun]):
    """A run that was handed in: a training record, no licence."""

    score = serializers.SerializerMethodField()
    sentences = serializers.SerializerMethodField()
    url = serializers.CharField(source="get_absolute_url", read_only=True)

    class Meta:
        model = PracticeRun
        fields = (
            *("id", "exercise", "person", "system_type", "task", "acts", "noted", "claim"),
            *("passed", "done_at", "granted_on", "sentences", "score", "url"),
        )
        read_only_fields = fields

    def get_score(self, run: PracticeRun) -> dict[str, Any]:
        """Return the score, without what is still hidden."""
        return practising.told(run, self.context["request"].member)

    def get_sentences(self, run: PracticeRun) -> list[dict[str, Any]]:
        """Return the parts of the score in words."""
        return [one._asdict() for one in practising.said_of(run)]


class ReleaseIn(serializers.Serializer[Any]):
    """How long the person of a run is released to work alone on preaction, from today on."""

    valid_until = serializers.DateField()


class ListedPracticeRunOut(serializers.ModelSerializer[PracticeRun]):
    """A run in the list."""

    class Meta:
        model = PracticeRun
        fields = (
            *("id", "exercise", "person", "system_type", "task", "passed", "done_at"),
            "granted_on",
        )
        read_only_fields = fields


class Exercises(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Exercises at the practice bench, as far as the caller is to do them."""

    write_roles = EVERYBODY
    key_required = True
    queryset = PracticeExercise.objects.none()
    ordering_fields: ClassVar[list[str]] = ["set_at"]

    def roles_for(self, method: str | None) -> tuple[str, ...]:
        """Let a manager or trainer set exercises, and everybody do them."""
        return practising.SETTERS if self.action == "create" else super().roles_for(method)

    def get_queryset(self) -> Any:
        """Return the exercises for the caller."""
        return practising.exercises_of(self.request.member)

    def get_serializer_class(self) -> Any:
        """Return the form that fits what is done."""
        forms = {"create": ExerciseIn, "runs": DoneIn, "retrieve": ExerciseWholeOut}
        return forms.get(self.action, ExerciseOut)

    @extend_schema(request=ExerciseIn, responses={201: ExerciseOut})
    def create(self, request: Request) -> Response:
        """Set an exercise."""
        taken = ExerciseIn(data=request.data)
        taken.is_valid(raise_exception=True)
        row = practising.set_exercise(**taken.validated_data, by=self.request.member)
        shown = ExerciseOut(row, context=self.get_serializer_context())
        return Response(shown.data, status=status.HTTP_201_CREATED)

    @extend_schema(request=DoneIn, responses={201: PracticeRunOut})
    @action(detail=True, methods=["post"])
    def runs(self, request: Request, pk: str) -> Response:
        """Hand a run in: its acts are done again on the model, and scored."""
        exercise = self.get_object()
        taken = DoneIn(data=request.data)
        taken.is_valid(raise_exception=True)
        row = practising.hand_in(exercise, **taken.validated_data, by=self.request.member)
        shown = PracticeRunOut(row, context=self.get_serializer_context())
        return Response(shown.data, status=status.HTTP_201_CREATED)


class Runs(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """Runs that were handed in: a technician's own, everybody else's all."""

    write_roles = practising.SETTERS
    key_required = True
    queryset = PracticeRun.objects.none()
    ordering_fields: ClassVar[list[str]] = ["done_at"]

    def get_queryset(self) -> Any:
        """Return the runs that the caller may see."""
        return practising.runs_of(self.request.member)

    def get_serializer_class(self) -> Any:
        """Return the form that fits what is done."""
        forms = {"list": ListedPracticeRunOut, "release": ReleaseIn}
        return forms.get(self.action, PracticeRunOut)

    @extend_schema(request=ReleaseIn, responses={201: LicenceOut})
    @action(detail=True, methods=["post"])
    def release(self, request: Request, pk: str) -> Response:
        """Release the person of a passed run to work alone on preaction."""
        run = self.get_object()
        taken = ReleaseIn(data=request.data)
        taken.is_valid(raise_exception=True)
        made = practising.release(run, **taken.validated_data, by=self.request.member)
        shown = LicenceOut(made, context=self.get_serializer_context())
        return Response(shown.data, status=status.HTTP_201_CREATED)
