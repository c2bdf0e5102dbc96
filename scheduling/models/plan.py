"""Plans: who goes where on which day, from draft to published."""

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from contractors.keys import tenant_keys, unique_here
from contractors.models import Membership, Person, TenantModel
from inspections.models import Visit


class Plan(TenantModel):
    """Routes for a span of days."""

    class State(models.TextChoices):
        """Where the plan is."""

        DRAFT = "draft", _("draft")
        SEARCHING = "searching", _("routes are being searched")
        READY = "ready", _("ready to publish")
        FAILED = "failed", _("no result, the old plan is kept")
        PUBLISHED = "published", _("published")
        REPLACED = "replaced", _("replaced by a newer plan")

    from_on = models.DateField(_("from"))
    to_on = models.DateField(_("to"))
    state = models.CharField(_("state"), max_length=10, choices=State, default=State.DRAFT)
    made_by = models.ForeignKey(Membership, null=True, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    published_at = models.DateTimeField(null=True, blank=True)
    seconds = models.PositiveSmallIntegerField(_("seconds of search"), default=20)
    progress = models.PositiveSmallIntegerField(default=0)
    message = models.CharField(max_length=300, blank=True)
    unplanned = models.JSONField(default=list)
    summary = models.JSONField(default=dict)
    revision = models.PositiveIntegerField(default=0)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys()]
        ordering = ["-made_at"]

    def __str__(self) -> str:
        return f"{self.from_on} to {self.to_on}"

    def get_absolute_url(self) -> str:
        return reverse("plan", args=[self.pk])


class Stop(TenantModel):
    """One visit on one technician's day in a plan."""

    plan = models.ForeignKey(
        Plan, on_delete=models.CASCADE, related_name="stops", db_constraint=False
    )
    visit = models.ForeignKey(
        Visit, on_delete=models.CASCADE, related_name="stops", db_constraint=False
    )
    technician = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="stops", db_constraint=False
    )
    on = models.DateField(_("day"))
    position = models.PositiveSmallIntegerField()
    arrival_at = models.DateTimeField()
    start_at = models.DateTimeField()
    end_at = models.DateTimeField()
    travel_seconds = models.PositiveIntegerField(default=0)
    moved_by_hand = models.BooleanField(default=False)

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("plan", "visit", "technician"),
            unique_here("plan", "visit", "technician", name="scheduling_stop_once"),
        ]
        ordering = ["on", "technician", "position"]

    def __str__(self) -> str:
        return f"{self.visit} {self.start_at:%d %b %H:%M}"
