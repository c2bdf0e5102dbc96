"""The practice bench: exercises that are set, and the runs of those who did them."""

from typing import Any

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from contractors.keys import Sealed, tenant_keys
from contractors.models import Membership, Person, TenantModel


class PracticeExercise(TenantModel):
    """A riser of one type, what is to be done on it, and for whom."""

    class Task(models.TextChoices):
        """What is practised."""

        RESTORATION = "restoration", _("restoration after a trip")
        TRIP_TEST = "trip_test", _("trip test")
        FIND_FAULT = "find_fault", _("find a hidden fault")

    system_type = models.CharField(_("type"), max_length=60)
    task = models.CharField(_("task"), max_length=20, choices=Task)
    fault = models.CharField(
        max_length=60, blank=True, help_text="Laid in and not told; empty: a sound riser."
    )
    person = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_constraint=False,
        help_text="Whom it is for; empty: everybody.",
    )
    note = models.CharField(_("note"), max_length=200, blank=True)
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(Membership, null=True, on_delete=models.PROTECT, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("person")]
        ordering = ["-set_at", "id"]

    def __str__(self) -> str:
        return f"{self.system_type}, {self.get_task_display()}"

    def get_absolute_url(self) -> str:
        """Return the address of the bench."""
        return reverse("practice_bench", args=[self.pk])


class PracticeRun(TenantModel):
    """One run at the bench: what was done, and what it came to. Never changed.

    It is a training record and no licence: `granted_on` is the day from which its person counts as
    having practised this task on this type, None where the run was not passed.
    """

    exercise = models.ForeignKey(
        PracticeExercise, on_delete=models.PROTECT, related_name="runs", db_constraint=False
    )
    person = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="practice_runs",
        db_constraint=False,
    )
    member = models.ForeignKey(Membership, on_delete=models.PROTECT, related_name="+")
    system_type = models.CharField(_("type"), max_length=60)
    task = models.CharField(_("task"), max_length=20, choices=PracticeExercise.Task)
    fault = models.CharField(max_length=60, blank=True)
    acts: Any = models.JSONField(default=list, help_text="Codes of what was done, in order.")
    noted: Any = models.JSONField(
        default=dict, help_text="Number of an act to the codes of what was marked as seen after it."
    )
    claim = models.CharField(max_length=60, blank=True)
    score: Any = models.JSONField(default=dict)
    passed = models.BooleanField()
    done_at = models.DateTimeField()
    granted_on = models.DateField(null=True, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("exercise", "person"),
            Sealed(name="inspections_practicerun_sealed"),
        ]
        ordering = ["-done_at", "id"]

    def __str__(self) -> str:
        return f"{self.system_type}, {self.get_task_display()}, {self.done_at:%Y-%m-%d}"

    def get_absolute_url(self) -> str:
        """Return the address of the record."""
        return reverse("practice_run", args=[self.pk])
