"""Findings and impairments in the API."""

from typing import Any, ClassVar
from uuid import UUID

from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import mixins, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from contractors.doors import DoorMixin
from contractors.refusal import FieldRefused, NotThere
from inspections import access, evidence, findings
from inspections.api import finding_serializers as serializers
from inspections.api.visit_serializers import ResultOut
from inspections.catalogue_files import catalogue
from inspections.models import Event, Finding, Impairment, Result

API = Event.Via.API


class FindingFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of findings."""

    overdue = filters.BooleanFilter(
        method="respond_overdue", label="Open, and the day of the customary response is past."
    )
    found_from = filters.DateFilter(field_name="found_on", lookup_expr="gte")
    found_until = filters.DateFilter(field_name="found_on", lookup_expr="lte")

    class Meta:
        model = Finding
        fields = ("building", "visit", "system", "subject_id", "state", "decision", "activity")

    def respond_overdue(self, rows: Any, name: str, value: bool) -> Any:
        """Narrow to findings whose response is late, or to those whose is not."""
        late = Q(state=Finding.State.OPEN, respond_by__lt=timezone.localdate())
        return rows.filter(late) if value else rows.exclude(late)


FindingFilter.base_filters["class"] = filters.ChoiceFilter(
    field_name="grade", choices=Finding.Class.choices
)


class _Rows(
    DoorMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, viewsets.GenericViewSet[Any]
):
    """What findings and impairments have in common."""

    http_method_names = ["get", "post", "head", "options"]

    def find(self) -> Any:
        """Return the row that the address names."""
        raise NotImplementedError

    def answer(self, row: Any, code: int = status.HTTP_200_OK) -> Response:
        """Return one row."""
        found = self.serializer_class(row, context=self.get_serializer_context())  # type: ignore[misc]
        return Response(found.data, status=code)

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Return one row."""
        return self.answer(self.find())


class Findings(_Rows):
    """Findings: recorded, classed, decided by the owner, closed by evidence."""

    queryset = Finding.objects.none()
    serializer_class = serializers.FindingOut
    filterset_class = FindingFilter
    ordering_fields: ClassVar[list[str]] = ["found_on", "respond_by", "state"]

    def get_queryset(self) -> QuerySet[Finding]:
        """Return the findings, newest first."""
        return Finding.objects.select_related("building").order_by("-found_on", "pk")

    def find(self) -> Finding:
        """Return the finding that the address names."""
        return access.finding_for(self.request.member, _uuid(self.kwargs["pk"]))

    @extend_schema(request=serializers.FindingIn, responses={201: serializers.FindingOut})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Record a finding; one of class impairment opens its impairment."""
        given = _taken(serializers.FindingIn(data=request.data))
        visit, building = given.pop("visit", None), given.pop("building")
        if visit is not None and visit.building_id != building.pk:
            raise FieldRefused("visit", visit.pk, _("A visit of the same building."))
        for name, known in (
            ("activity", catalogue().activities),
            ("deficiency", catalogue().deficiencies),
        ):
            if given.get(name) and given[name] not in known:
                raise FieldRefused(name, given[name], _("An id of the catalogue."))
        subject = given.pop("subject")
        made = findings.add(
            building,
            subject=(subject["kind"], subject["id"]),
            grade=given.pop("grade"),
            text=given.pop("text"),
            visit=visit,
            by=self.request.member,
            via=API,
            code=given.pop("deficiency", ""),
            **given,
        )
        return self.answer(made, status.HTTP_201_CREATED)

    @extend_schema(request=serializers.ReclassIn, responses=serializers.FindingOut)
    @action(detail=True, methods=["post"])
    def reclass(self, request: Request, pk: str) -> Response:
        """Change the class, with the reason."""
        finding, given = self.find(), _taken(serializers.ReclassIn(data=request.data))
        return self.answer(findings.reclass(finding, **given, by=self.request.member, via=API))

    @extend_schema(request=serializers.DecideIn, responses=serializers.FindingOut)
    @action(detail=True, methods=["post"])
    def decide(self, request: Request, pk: str) -> Response:
        """Record the owner's decision on their behalf; it moves the follow-up alone."""
        finding, given = self.find(), _taken(serializers.DecideIn(data=request.data))
        return self.answer(findings.decide(finding, **given, by=self.request.member, via=API))

    @extend_schema(request=serializers.AcceptIn, responses=serializers.FindingOut)
    @action(detail=True, methods=["post"])
    def accept(self, request: Request, pk: str) -> Response:
        """Accept a proposed finding."""
        finding, given = self.find(), _taken(serializers.AcceptIn(data=request.data))
        return self._settle(finding, accept=True, reason=given.get("text", ""))

    @extend_schema(request=serializers.DropIn, responses=serializers.FindingOut)
    @action(detail=True, methods=["post"])
    def drop(self, request: Request, pk: str) -> Response:
        """Drop a proposed finding, with the reason."""
        finding, given = self.find(), _taken(serializers.DropIn(data=request.data))
        return self._settle(finding, accept=False, reason=given["reason"])

    def _settle(self, finding: Finding, *, accept: bool, reason: str) -> Response:
        done = findings.settle_proposed(
            finding, accept=accept, reason=reason, by=self.request.member, via=API
        )
        return self.answer(done)

    @extend_schema(request=serializers.CloseIn, responses=serializers.FindingOut)
    @action(detail=True, methods=["post"])
    def close(self, request: Request, pk: str) -> Response:
        """Close a finding on the re-test owed; an observation also on the owner's decision."""
        finding, given = self.find(), _taken(serializers.CloseIn(data=request.data))
        member = self.request.member
        if "result" not in given:
            text = given.get("text", "")
            return self.answer(findings.close_observation(finding, text=text, by=member, via=API))
        result = Result.objects.filter(pk=given["result"], building=finding.building).first()
        if result is None:
            raise FieldRefused("result", given["result"], _("A result of this building."))
        return self.answer(findings.close_by_result(finding, result, by=member, via=API))

    @extend_schema(responses=ResultOut(many=True), filters=False)
    @action(detail=True, pagination_class=None)
    def evidence(self, request: Request, pk: str) -> Response:
        """List the results on which this finding may be closed, newest first."""
        return Response(ResultOut(evidence.closing_results(self.find()), many=True).data)


class ImpairmentFilter(filters.FilterSet):  # type: ignore[misc]
    """Filters of impairments."""

    running = filters.BooleanFilter(field_name="ended_at", lookup_expr="isnull")
    started_from = filters.IsoDateTimeFilter(field_name="started_at", lookup_expr="gte")
    started_until = filters.IsoDateTimeFilter(field_name="started_at", lookup_expr="lte")

    class Meta:
        model = Impairment
        fields = ("building", "system", "finding", "kind", "ended_how")


class Impairments(_Rows):
    """Impairments with their clock, until restoration is proven."""

    queryset = Impairment.objects.none()
    serializer_class = serializers.ImpairmentOut
    filterset_class = ImpairmentFilter
    ordering_fields: ClassVar[list[str]] = ["started_at", "ended_at"]

    def get_serializer_context(self) -> dict[str, Any]:
        """Add the moment at which clocks are read."""
        return {**super().get_serializer_context(), "now": timezone.now()}

    def get_queryset(self) -> QuerySet[Impairment]:
        """Return the impairments, newest first."""
        rows = Impairment.objects.select_related("building").prefetch_related("steps")
        return rows.order_by("-started_at", "pk")

    def find(self) -> Impairment:
        """Return the impairment that the address names."""
        return access.impairment_for(self.request.member, _uuid(self.kwargs["pk"]))

    @extend_schema(request=serializers.ImpairmentIn, responses={201: serializers.ImpairmentOut})
    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Start an impairment."""
        given = _taken(serializers.ImpairmentIn(data=request.data))
        subject, building = given.pop("subject"), given.pop("building")
        finding = given.get("finding")
        if finding is not None and finding.building_id != building.pk:
            raise FieldRefused("finding", finding.pk, _("A finding of the same building."))
        started = given.get("started_at")
        if started and started > timezone.now():
            raise FieldRefused("started_at", started, _("A moment up to now."))
        made = findings.start_impairment(
            building,
            subject=(subject["kind"], subject["id"]),
            by=self.request.member,
            via=API,
            **given,
        )
        return self.answer(made, status.HTTP_201_CREATED)

    @extend_schema(request=serializers.NoticeIn, responses={201: serializers.ImpairmentOut})
    @action(detail=True, methods=["post"])
    def notices(self, request: Request, pk: str) -> Response:
        """Record that somebody was told."""
        impairment, given = self.find(), _taken(serializers.NoticeIn(data=request.data))
        given.setdefault("at", timezone.now())
        findings.notice(impairment, **given, by=self.request.member, via=API)
        return self.answer(self.find(), status.HTTP_201_CREATED)

    @extend_schema(request=serializers.WatchIn, responses={201: serializers.ImpairmentOut})
    @action(detail=True, methods=["post"])
    def watches(self, request: Request, pk: str) -> Response:
        """Record a leg of the fire watch."""
        impairment, given = self.find(), _taken(serializers.WatchIn(data=request.data))
        findings.watch(
            impairment,
            who=given["who"],
            begun=given.get("begun") or timezone.now(),
            ended=given.get("until"),
            area=given.get("area", ""),
            by=self.request.member,
            via=API,
        )
        return self.answer(self.find(), status.HTTP_201_CREATED)

    @extend_schema(request=serializers.ImpairmentEndIn, responses=serializers.ImpairmentOut)
    @action(detail=True, methods=["post"])
    def end(self, request: Request, pk: str) -> Response:
        """End an impairment: on full proof, or as restored with proof missing."""
        impairment, given = self.find(), _taken(serializers.ImpairmentEndIn(data=request.data))
        member = self.request.member
        if given["result"] == "restored_proven":
            done = evidence.end_proven(impairment, given.get("proofs", []), by=member, via=API)
        else:
            reason = given.get("reason", "")
            done = findings.end_impairment(
                impairment, proven=False, reason=reason, by=member, via=API
            )
        return self.answer(done)

    @extend_schema(responses=serializers.ProofOut(many=True), filters=False)
    @action(detail=True, pagination_class=None)
    def proofs(self, request: Request, pk: str) -> Response:
        """List what was proven or left unproven at the system since the impairment began."""
        found = evidence.restoration_proofs(self.find())
        return Response(serializers.ProofOut(found, many=True).data)


def _taken(serializer: Any) -> dict[str, Any]:
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)


def _uuid(text: str) -> UUID:
    try:
        return UUID(str(text))
    except ValueError:
        raise NotThere from None
