"""Why and why not at a building, and the facts that its rules wait for, with forms to answer."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any
from uuid import UUID

from django import forms
from django.db.models import Count, Func, IntegerField, Sum, Window
from django.db.models.functions import RowNumber
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from buildings import inventory as stock
from buildings.forms import attribute_field, stored
from buildings.kinds import Attribute, kinds
from buildings.models import Agreement, Building, subject_model
from contractors.refusal import NotThere
from inspections.applies import How
from inspections.catalogue_files import catalogue
from scheduling import owing
from scheduling.applicable import Applied, applied
from scheduling.models import Question

# How an activity stands on an item, in the order of a page.
VERDICTS = {
    "asks": _("Waits for an answer"),
    "holds": _("Applies"),
    "off": _("Does not apply"),
}


@dataclass(frozen=True, slots=True)
class Asking:
    """A question with what it decides, and a form where it can be answered in place."""

    question: Question
    item_name: str
    weight: int
    owed_by_owner: bool
    form: "AnswerForm | None"


@dataclass(frozen=True, slots=True)
class Missing:
    """A fact that nobody gave, over all buildings.

    Attributes
    ----------
    column
        Its name in the sheets of an import.
    buildings, decides
        How many wait for it, and how many activities on items it decides.
    first
        The question that decides most.
    """

    asked_as: str
    column: str
    buildings: int
    decides: int
    first: Question


class _Length(Func):
    """The number of entries of a JSON list."""

    function = "json_array_length"
    output_field = IntegerField()

    def as_postgresql(self, compiler: Any, connection: Any, **more: Any) -> Any:
        """Write it as PostgreSQL knows it."""
        return self.as_sql(compiler, connection, function="jsonb_array_length", **more)


def asked_most(most: int) -> list[Missing]:
    """Return the facts that decide most activities over all buildings, those first."""
    rows = Question.objects.annotate(weight=_Length("decides"))
    grouped = (
        rows.order_by()
        .values("asked_as")
        .annotate(decided=Sum("weight"), places=Count("building", distinct=True))
    )
    weighed = list(grouped.order_by("-decided", "asked_as")[:most])
    ranked = rows.filter(asked_as__in=[one["asked_as"] for one in weighed]).annotate(
        rank=Window(RowNumber(), partition_by="asked_as", order_by=("-weight", "pk"))
    )
    first = {one.asked_as: one for one in ranked.filter(rank=1).select_related("building")}
    return [
        Missing(
            asked_as=one["asked_as"],
            column=first[one["asked_as"]].attribute.rpartition(".")[2],
            buildings=one["places"],
            decides=one["decided"],
            first=first[one["asked_as"]],
        )
        for one in weighed
    ]


class AnswerForm(forms.Form):
    """The answer to a question: a fact, since when, and why it changes."""

    def __init__(self, subject: Any, attribute: Attribute, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.subject, self.attribute = subject, attribute
        self.fields["value"] = attribute_field(attribute, None)
        self.fields["value"].required = True
        self.fields["valid_from"] = forms.DateField(
            label=_("Has been so since"),
            initial=timezone.localdate,
            widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        )
        self.fields["reason"] = forms.CharField(
            label=_("Why it changes"), max_length=200, initial=_("asked and answered")
        )

    def clean_valid_from(self) -> date:
        """Take a day up to today."""
        day: date = self.cleaned_data["valid_from"]
        if day > timezone.localdate():
            raise forms.ValidationError(_("A day up to today."))
        return day

    def stored(self) -> Any:
        """Return the value as it is kept."""
        return stored(self.cleaned_data["value"])


class Asked:
    """A building on a day, as the pages of its reasons read it."""

    def __init__(self, building: Building, on: date) -> None:
        self.building, self.on = building, on
        is_today = on == timezone.localdate(timezone=building.zone)
        self.inventory = stock.tree(building) if is_today else stock.inventory(building, on)

    @cached_property
    def applied(self) -> list[Applied]:
        """Return what becomes of every activity on every item."""
        return applied(self.inventory) if self.inventory.known else []

    def name(self, item_id: UUID) -> str:
        """Return an item's number and name."""
        item = self.inventory.by_id.get(item_id)
        return f"{item.code} {item.name}" if item else self.building.name

    def items(self) -> list[tuple[UUID, str]]:
        """Return the building and what stands in it, to choose from."""
        return [
            (self.building.pk, self.building.name),
            *((item.id, self.name(item.id)) for item in self.inventory.items if item.in_service),
        ]

    def verdicts(self, item_id: UUID) -> list[tuple[str, Any, list[Applied]]]:
        """Return the activities of an item: what waits, what holds and what does not."""
        found: dict[str, list[Applied]] = defaultdict(list)
        for one in self.applied:
            if one.subject_id == item_id:
                kind = {How.ASK: "asks", How.OFF: "off"}.get(one.owed.how, "holds")
                found[kind].append(one)
        return [(kind, words, found[kind]) for kind, words in VERDICTS.items() if found[kind]]

    def questions(self) -> list[Asking]:
        """Return the building's open questions, the most deciding first."""
        agreed = Agreement.objects.filter(building=self.building, valid_from__lte=self.on)
        agreement = agreed.order_by("-valid_from").first()
        ended = agreement and agreement.valid_until and agreement.valid_until < self.on
        does = set(agreement.owner_does) if agreement and not ended else set()
        activities = catalogue().activities
        found = []
        for row in Question.objects.filter(building=self.building):
            often = {owing.iso(activities[one]) for one in row.decides if one in activities}
            found.append(
                Asking(
                    row,
                    self.name(row.subject_id),
                    len(row.decides),
                    bool(often) and often <= does,
                    self.form(row),
                )
            )
        found.sort(key=lambda one: (-one.weight, one.question.asked_as, one.item_name))
        return found

    def form(self, question: Question, data: Mapping[str, Any] | None = None) -> AnswerForm | None:
        """Return the form of a question; None where it is not one attribute of one item here."""
        scope, _dot, name = question.attribute.partition(".")
        subject_id = self._meant(scope, question.subject_id)
        if subject_id is None:
            return None
        kind = self._kind(subject_id)
        attribute = kinds()[kind].attributes.get(name) if kind in kinds() else None
        if attribute is None:
            return None
        subject = self._row(subject_id)
        prefix = None if data is not None else f"q{question.pk}"
        form = AnswerForm(subject, attribute, data, auto_id=f"{prefix}_%s")
        form.fields["value"].label = question.asked_as
        return form

    def _kind(self, item_id: UUID) -> str:
        item = self.inventory.by_id.get(item_id)
        return item.kind if item else "building"

    def _meant(self, scope: str, item_id: UUID) -> UUID | None:
        """Return the item that a name's scope means, seen from the item that is asked about."""
        if scope == "building":
            return self.building.pk
        at: UUID | None = item_id
        while at is not None and at in self.inventory.by_id:
            if scope in ("item", self._kind(at)):
                return at
            at = self.inventory.by_id[at].parent_id
        if scope == "item":
            return self.building.pk
        alike = [item.id for item in self.inventory.items if item.kind == scope]
        return alike[0] if len(alike) == 1 else None

    @cached_property
    def _rows(self) -> dict[UUID, Any]:
        wanted: dict[str, set[UUID]] = defaultdict(set)
        for question in Question.objects.filter(building=self.building):
            meant = self._meant(question.attribute.partition(".")[0], question.subject_id)
            item = self.inventory.by_id.get(meant) if meant else None
            if item:
                wanted[item.subject_kind].add(item.id)
        found: dict[UUID, Any] = {self.building.pk: self.building}
        for kind, ids in wanted.items():
            found |= subject_model(kind).objects.select_related("building").in_bulk(ids)
        return found

    def _row(self, item_id: UUID) -> Any:
        if item_id not in self._rows:
            raise NotThere
        return self._rows[item_id]
