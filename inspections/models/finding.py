"""Findings, impairments and outages: projections of their own streams."""

from datetime import datetime

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from buildings.models import Building, System
from contractors.keys import tenant_keys, unique_here
from contractors.models import TenantModel
from inspections.models.visit import Visit


class Finding(TenantModel):
    """Something found wrong, or worth saying."""

    class Class(models.TextChoices):
        """How grave it is; worst first."""

        IMPAIRMENT = "impairment", _("impairment")
        CRITICAL = "critical", _("critical deficiency")
        NONCRITICAL = "noncritical", _("noncritical deficiency")
        OBSERVATION = "observation", _("observation")

    class State(models.TextChoices):
        """Where it is."""

        PROPOSED = "proposed", _("proposed")
        OPEN = "open", _("open")
        CLOSED = "closed", _("closed")
        DROPPED = "dropped", _("dropped")

    building = models.ForeignKey(
        Building, on_delete=models.PROTECT, related_name="findings", db_constraint=False
    )
    visit = models.ForeignKey(
        Visit,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="findings",
        db_constraint=False,
    )
    system = models.ForeignKey(
        System, null=True, blank=True, on_delete=models.PROTECT, db_constraint=False
    )
    subject_kind = models.CharField(max_length=10)
    subject_id = models.UUIDField()
    grade = models.CharField(_("class"), max_length=12, choices=Class)
    state = models.CharField(_("state"), max_length=10, choices=State, default=State.OPEN)
    deficiency = models.CharField(_("catalogue row"), max_length=80, blank=True)
    activity = models.CharField(_("re-test owed"), max_length=80, blank=True)
    text = models.CharField(_("what is wrong"), max_length=600)
    location = models.CharField(_("where"), max_length=160, blank=True)
    count = models.PositiveIntegerField(_("how many"), default=1)
    temporary_measure = models.CharField(_("temporary measure"), max_length=300, blank=True)
    found_on = models.DateField(_("found on"))
    found_at = models.DateTimeField()
    seen_again = models.PositiveIntegerField(_("found again"), default=0)
    respond_by = models.DateField(_("customary response by"), null=True, blank=True)
    owner_told_at = models.DateTimeField(null=True, blank=True)
    decision = models.CharField(_("owner's decision"), max_length=10, blank=True)
    decision_until = models.DateField(null=True, blank=True)
    decision_text = models.CharField(max_length=400, blank=True)
    closed_on = models.DateField(null=True, blank=True)
    closed_by_visit = models.ForeignKey(
        Visit,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_constraint=False,
    )

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("building", "visit", "system", "closed_by_visit")]
        indexes = [
            models.Index(fields=["contractor", "state", "grade"], name="inspections_finding_open"),
            models.Index(fields=["contractor", "building"], name="inspections_finding_bldg"),
        ]
        ordering = ["-found_on"]

    def __str__(self) -> str:
        return self.text

    def get_absolute_url(self) -> str:
        return reverse("finding", args=[self.pk])


class Impairment(TenantModel):
    """A system or part of it out of service, with its clock, until restoration is proven."""

    class Kind(models.TextChoices):
        """How it came about."""

        PLANNED = "planned", _("planned")
        EMERGENCY = "emergency", _("emergency")

    building = models.ForeignKey(
        Building, on_delete=models.PROTECT, related_name="impairments", db_constraint=False
    )
    finding = models.ForeignKey(
        Finding,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="impairments",
        db_constraint=False,
    )
    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, db_constraint=False
    )
    system = models.ForeignKey(
        System, null=True, blank=True, on_delete=models.PROTECT, db_constraint=False
    )
    subject_kind = models.CharField(max_length=10)
    subject_id = models.UUIDField()
    kind = models.CharField(_("kind"), max_length=10, choices=Kind)
    extent = models.CharField(_("what is out of service"), max_length=300)
    started_at = models.DateTimeField(_("since"))
    unknown_start = models.BooleanField(_("start unknown, found so"), default=False)
    expected_end = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_how = models.CharField(max_length=24, blank=True)
    end_reason = models.CharField(max_length=400, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("building", "finding", "visit", "system")]
        indexes = [models.Index(fields=["contractor", "ended_at"], name="inspections_impair_open")]
        ordering = ["-started_at"]

    def __str__(self) -> str:
        return self.extent

    def get_absolute_url(self) -> str:
        return reverse("impairment", args=[self.pk])

    def hours(self, now: datetime) -> float:
        """Return the hours out of service so far."""
        seconds: float = ((self.ended_at or now) - self.started_at).total_seconds()
        return seconds / 3600


class ImpairmentStep(TenantModel):
    """A notice given, a tag hung, a watch kept: what was done about an impairment."""

    impairment = models.ForeignKey(
        Impairment, on_delete=models.CASCADE, related_name="steps", db_constraint=False
    )
    what = models.CharField(max_length=40)
    who = models.CharField(max_length=160, blank=True)
    how = models.CharField(max_length=160, blank=True)
    at = models.DateTimeField()

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("impairment")]
        ordering = ["at"]

    def __str__(self) -> str:
        return f"{self.what} {self.who}"


class Outage(TenantModel):
    """A valve shut with a person at it; an impairment when it lasts, or the person leaves."""

    building = models.ForeignKey(
        Building, on_delete=models.PROTECT, related_name="outages", db_constraint=False
    )
    visit = models.ForeignKey(
        Visit, on_delete=models.PROTECT, related_name="outages", db_constraint=False
    )
    system = models.ForeignKey(
        System, null=True, blank=True, on_delete=models.PROTECT, db_constraint=False
    )
    subject_id = models.UUIDField()
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    proof_missing = models.BooleanField(default=False)
    became = models.ForeignKey(
        Impairment, null=True, blank=True, on_delete=models.PROTECT, db_constraint=False
    )

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("building", "visit", "system", "became"),
            unique_here("visit", "subject_id", "started_at", name="inspections_outage_once"),
        ]

    def __str__(self) -> str:
        return f"outage since {self.started_at}"
