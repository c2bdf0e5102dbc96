"""Samples sent to a laboratory: projections of their own streams."""

from typing import Any
from uuid import UUID

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from buildings.models import Building, System
from contractors.keys import tenant_keys
from contractors.models import StoredFile, TenantModel
from inspections.models.finding import Finding
from inspections.models.visit import Visit


class Sample(TenantModel):
    """Pieces taken from an area and sent to a laboratory, and what it said of each."""

    class State(models.TextChoices):
        """How far it has come."""

        AT_LABORATORY = "at_laboratory", _("at the laboratory")
        PASSED = "passed", _("passed")
        FAILED = "failed", _("failed, replacement owed")
        REPLACED = "replaced", _("failed, replaced")

    class Outcome(models.TextChoices):
        """What the laboratory said, worst first."""

        NO_OPERATION = "no_operation", _("did not operate")
        SLOW = "slow", _("too slow")
        PASS = "pass", _("pass")

    building = models.ForeignKey(
        Building, on_delete=models.PROTECT, related_name="samples", db_constraint=False
    )
    visit = models.ForeignKey(
        Visit,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="samples",
        db_constraint=False,
    )
    system = models.ForeignKey(
        System, null=True, blank=True, on_delete=models.PROTECT, db_constraint=False
    )
    finding = models.ForeignKey(
        Finding,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="samples",
        db_constraint=False,
    )
    certificate = models.ForeignKey(
        StoredFile,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_constraint=False,
    )
    state = models.CharField(_("state"), max_length=14, choices=State)
    outcome = models.CharField(_("worst outcome"), max_length=14, choices=Outcome, blank=True)
    subject_kind = models.CharField(max_length=12)
    subject_id = models.UUIDField()
    activity = models.CharField(_("activity"), max_length=80)
    groups = models.JSONField(_("groups of the area"), default=list)
    still_owed = models.JSONField(_("groups still to be replaced"), default=list)
    area = models.CharField(_("area"), max_length=200)
    in_area = models.PositiveIntegerField(_("in the area, at most"))
    owed = models.PositiveIntegerField(_("how many were owed"), null=True)
    pieces = models.JSONField(_("pieces"), default=list)
    taken_on = models.DateField(_("taken on"))
    taken_by = models.CharField(_("taken by"), max_length=200)
    sent_on = models.DateField(_("sent on"))
    sent_by = models.CharField(_("sent by"), max_length=200, blank=True)
    laboratory = models.CharField(_("laboratory"), max_length=200)
    reference = models.CharField(_("reference"), max_length=200, blank=True)
    reported_on = models.DateField(_("reported on"), null=True)
    certificate_number = models.CharField(_("certificate"), max_length=200, blank=True)
    certificate_sha256 = models.CharField(max_length=64, blank=True)
    replaced_on = models.DateField(_("replaced on"), null=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("building", "visit", "system", "finding", "certificate")]
        indexes = [
            models.Index(fields=["contractor", "building"], name="inspections_sample_bldg"),
            models.Index(fields=["contractor", "state", "sent_on"], name="inspections_sample_open"),
        ]
        ordering = ["-taken_on"]

    def __str__(self) -> str:
        return f"{self.area}, {self.taken_on}"

    def get_absolute_url(self) -> str:
        return reverse("sample", args=[self.pk])

    @property
    def subjects(self) -> set[UUID]:
        """Return the items whose sampling this sample is: its groups, else its subject."""
        return {UUID(one) for one in self.groups} or {self.subject_id}

    @property
    def failed(self) -> list[dict[str, Any]]:
        """Return the pieces that did not pass."""
        return [one for one in self.pieces if one.get("outcome") not in (None, "", "pass")]
