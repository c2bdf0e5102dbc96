"""Visits and what was done on them: projections of the record, written by `projections` alone."""

from datetime import date, timedelta
from typing import Any

from django.db import models
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from buildings.models import Building, System
from contractors.keys import Sealed, tenant_keys, unique_here
from contractors.models import Person, StoredFile, TenantModel, new_id


class Visit(TenantModel):
    """A visit to a building: planned, open, handed in, reviewed, sealed; or cancelled."""

    class Kind(models.TextChoices):
        """What the visit is for."""

        PROGRAMME = "programme", _("programme")
        REPAIR = "repair", _("repair")
        EMERGENCY = "emergency", _("emergency")
        SURVEY = "survey", _("survey")
        FOLLOW_UP = "impairment_follow_up", _("impairment follow-up")

    class State(models.TextChoices):
        """Where the visit is."""

        PLANNED = "planned", _("planned")
        OPEN = "open", _("open")
        HANDED_IN = "handed_in", _("handed in")
        REVIEWED = "reviewed", _("reviewed")
        SEALED = "sealed", _("sealed")
        CANCELLED = "cancelled", _("cancelled")

    UNDER_WAY = (State.PLANNED, State.OPEN)

    class Evidence(models.TextChoices):
        """How good the evidence of a visit is that was not recorded here."""

        OWN = "own_record", _("recorded here")
        REPORT = "other_report", _("another firm's report")
        WORD = "owners_word", _("the owner's word")

    building = models.ForeignKey(
        Building, on_delete=models.PROTECT, related_name="visits", db_constraint=False
    )
    kind = models.CharField(_("kind"), max_length=24, choices=Kind, default=Kind.PROGRAMME)
    state = models.CharField(_("state"), max_length=10, choices=State, default=State.PLANNED)
    evidence = models.CharField(
        _("evidence"), max_length=14, choices=Evidence, default=Evidence.OWN
    )
    technician = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="visits",
        db_constraint=False,
    )
    second = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="second_visits",
        db_constraint=False,
    )
    planned_on = models.DateField(_("planned on"), null=True, blank=True)
    planned_start = models.DateTimeField(_("planned start"), null=True, blank=True)
    planned_minutes = models.PositiveIntegerField(_("minutes, own estimate"), default=0)
    locked = models.BooleanField(_("appointment kept"), default=False)
    title = models.CharField(_("what it is for"), max_length=200, blank=True)
    catalogue_version = models.CharField(max_length=64, blank=True)
    number = models.PositiveIntegerField(_("report number"), null=True, blank=True)
    opened_at = models.DateTimeField(null=True, blank=True)
    handed_in_at = models.DateTimeField(null=True, blank=True)
    reviewed_at = models.DateTimeField(null=True, blank=True)
    sealed_at = models.DateTimeField(null=True, blank=True)
    performed_on = models.DateField(_("done on"), null=True, blank=True)
    import_key = models.CharField(max_length=120, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("building", "technician", "second"),
        ]
        indexes = [
            models.Index(
                fields=["contractor", "state", "planned_on"], name="inspections_visit_day"
            ),
            models.Index(
                fields=["contractor", "technician", "planned_on"], name="inspections_visit_tech"
            ),
            models.Index(
                fields=["contractor", "building", "performed_on"], name="inspections_visit_done"
            ),
        ]
        ordering = ["planned_on", "planned_start"]

    def __str__(self) -> str:
        day = self.planned_on or self.performed_on
        return f"{self.building}, {date_format(day, 'j F Y')}" if day else str(self.building)

    def get_absolute_url(self) -> str:
        return reverse("visit", args=[self.pk])

    @property
    def is_closed(self) -> bool:
        """Say whether the technician has handed it in."""
        return self.state in (self.State.HANDED_IN, self.State.REVIEWED, self.State.SEALED)

    def late_by(self, today: date) -> timedelta | None:
        """Return how long a visit that should be over has not been handed in."""
        if self.planned_on is None or self.is_closed or self.planned_on >= today:
            return None
        return today - self.planned_on


class VisitLine(TenantModel):
    """An activity that a visit is to do on one item."""

    visit = models.ForeignKey(
        Visit, on_delete=models.CASCADE, related_name="lines", db_constraint=False
    )
    system = models.ForeignKey(
        System, null=True, blank=True, on_delete=models.CASCADE, db_constraint=False
    )
    subject_kind = models.CharField(max_length=10)
    subject_id = models.UUIDField()
    activity = models.CharField(_("activity"), max_length=80)
    due_on = models.DateField(null=True, blank=True)
    latest_on = models.DateField(null=True, blank=True)
    minutes = models.FloatField(default=0)

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("visit", "system"),
            unique_here("visit", "subject_id", "activity", name="inspections_line_once"),
        ]

    def __str__(self) -> str:
        return f"{self.activity} {self.subject_kind}"


class Result(TenantModel):
    """The answer to one activity on one item at one visit."""

    class Answer(models.TextChoices):
        """What was answered."""

        IN_ORDER = "seen_in_order", _("seen in order")
        FINDING = "finding", _("finding")
        COULD_NOT = "could_not", _("could not")
        NOT_FITTED = "not_fitted", _("not fitted")
        PASS = "pass", _("pass")
        FAIL = "fail", _("fail")

    visit = models.ForeignKey(
        Visit, on_delete=models.CASCADE, related_name="results", db_constraint=False
    )
    building = models.ForeignKey(
        Building, on_delete=models.PROTECT, related_name="+", db_constraint=False
    )
    subject_kind = models.CharField(max_length=10)
    subject_id = models.UUIDField()
    activity = models.CharField(max_length=80)
    answer = models.CharField(max_length=14, choices=Answer)
    reason = models.CharField(max_length=400, blank=True)
    in_bulk = models.BooleanField(default=False)
    disputed = models.BooleanField(default=False)
    read: Any = models.JSONField(
        default=list, help_text="Names of the readings recorded with it, in order."
    )
    also: Any = models.JSONField(
        default=list, help_text="What else was done with it: `what`, and the items `on` which."
    )
    performed_on = models.DateField()
    recorded_at = models.DateTimeField()
    catalogue_version = models.CharField(max_length=64, blank=True)
    event_id = models.UUIDField()

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("visit", "building"),
            unique_here("visit", "subject_id", "activity", name="inspections_result_once"),
        ]
        indexes = [
            models.Index(
                fields=["contractor", "subject_id", "activity", "performed_on"],
                name="inspections_result_last",
            ),
            models.Index(
                fields=["contractor", "building", "performed_on"], name="inspections_result_bldg"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.activity}: {self.answer}"

    @property
    def counts(self) -> bool:
        """Say whether the activity was performed, whatever came out."""
        return self.answer not in (self.Answer.COULD_NOT,)


class Reading(TenantModel):
    """One value read on an item, in SI beside what was typed."""

    pk = models.CompositePrimaryKey("contractor_id", "id")
    id = models.UUIDField(default=new_id, editable=False)
    visit = models.ForeignKey(
        Visit, on_delete=models.CASCADE, related_name="readings", db_constraint=False
    )
    building = models.ForeignKey(
        Building, on_delete=models.PROTECT, related_name="+", db_constraint=False
    )
    subject_kind = models.CharField(max_length=10)
    subject_id = models.UUIDField()
    activity = models.CharField(max_length=80, blank=True)
    name = models.CharField(max_length=60)
    point = models.CharField(max_length=20, blank=True)
    value_si = models.FloatField()
    typed = models.CharField(max_length=60)
    unit = models.CharField(max_length=20)
    verdict = models.CharField(max_length=20, blank=True)
    judgement = models.JSONField(default=dict)
    read_on = models.DateField()
    read_at = models.DateTimeField()
    event_id = models.UUIDField()

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("visit", "building")]
        indexes = [
            models.Index(
                fields=["contractor", "subject_id", "name", "read_on"],
                name="inspections_reading_hist",
            ),
            models.Index(fields=["contractor", "visit"], name="inspections_reading_visit"),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.typed}"


class Photo(TenantModel):
    """A picture taken on a visit, re-encoded; its bytes may arrive after its mention."""

    visit = models.ForeignKey(
        Visit, on_delete=models.CASCADE, related_name="photos", db_constraint=False
    )
    subject_kind = models.CharField(max_length=10, blank=True)
    subject_id = models.UUIDField(null=True)
    finding_id = models.UUIDField(null=True)
    blob_sha256 = models.CharField(max_length=64)
    file = models.ForeignKey(
        StoredFile, null=True, on_delete=models.PROTECT, related_name="+", db_constraint=False
    )
    taken_at = models.DateTimeField()

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("visit", "file")]

    def __str__(self) -> str:
        return self.blob_sha256[:12]


class Report(TenantModel):
    """A version of a visit's report: the facts as sealed, and the PDF made of them. Written once.

    Only the PDF's file may be added after the facts, once.
    """

    visit = models.ForeignKey(
        Visit, on_delete=models.PROTECT, related_name="reports", db_constraint=False
    )
    version = models.PositiveSmallIntegerField()
    facts = models.TextField()
    sha256 = models.CharField(max_length=64)
    code = models.CharField(_("verification code"), max_length=40)
    sealed_at = models.DateTimeField()
    pdf = models.ForeignKey(
        StoredFile, null=True, on_delete=models.PROTECT, related_name="+", db_constraint=False
    )

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("visit", "pdf"),
            unique_here("visit", "version", name="inspections_report_version"),
            Sealed(name="inspections_report_sealed", unless="old.pdf_id IS NULL"),
        ]

    def __str__(self) -> str:
        return f"{self.code} version {self.version}"
