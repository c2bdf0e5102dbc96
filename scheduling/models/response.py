"""By when and to whom: response times, ladders, and what an overdue test counts as, as data."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from buildings.models import Jurisdiction
from contractors.keys import Sealed, tenant_keys, unique_here
from contractors.models import Membership, TenantModel
from inspections.models import Finding


class Basis(models.TextChoices):
    """What a rule rests on."""

    LAW = "law", _("law or rule of the authority")
    CONTRACT = "contract", _("contract")
    PRACTICE = "practice", _("custom, no source")


class Ruled(TenantModel):
    """A rule in force from a day on; written once, a newer one takes its place."""

    basis = models.CharField(_("rests on"), max_length=10, choices=Basis, default=Basis.PRACTICE)
    source = models.CharField(_("where it stands"), max_length=200, blank=True)
    valid_from = models.DateField(_("in force from"))
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(TenantModel.Meta):
        abstract = True
        ordering = ["-valid_from", "-recorded_at"]


class ResponseTime(Ruled):
    """Days until a finding of a class is answered by a repair or a decision.

    Without a jurisdiction it is the contractor's own; an empty `days` takes a former rule away.
    """

    class Counts(models.TextChoices):
        """Which days count."""

        CALENDAR = "calendar", _("every day")
        WORKING = "working", _("working days")

    jurisdiction = models.ForeignKey(
        Jurisdiction,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="+",
        db_constraint=False,
        verbose_name=_("authority"),
    )
    grade = models.CharField(_("class"), max_length=12, choices=Finding.Class)
    days = models.PositiveSmallIntegerField(_("days"), null=True, blank=True)
    counts = models.CharField(_("counted"), max_length=8, choices=Counts, default=Counts.CALENDAR)

    class Meta(Ruled.Meta):
        constraints = [
            *tenant_keys("jurisdiction"),
            Sealed(name="scheduling_response_time_sealed"),
            models.CheckConstraint(
                condition=Q(days=None) | Q(days__lte=730), name="scheduling_response_days"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.grade} {self.days} from {self.valid_from}"


class Ladder(Ruled):
    """Who is told after how long about a finding of a class, as steps.

    Each step: `after` (hours out of service for an impairment, days past the day owed otherwise),
    `every` (repeated so often in the same unit; 0 for once) and `tell`.
    """

    class Rung(models.TextChoices):
        """Who is told; the authority by a person's act alone."""

        TECHNICIAN = "technician", _("technician")
        OWNER = "owner", _("owner's contact")
        MANAGER = "manager", _("service manager")
        PRINCIPAL = "principal", _("contractor's principal")
        AUTHORITY = "authority", _("authority, by a person")

    grade = models.CharField(_("class"), max_length=12, choices=Finding.Class)
    steps = models.JSONField(_("steps"), default=list)

    class Meta(Ruled.Meta):
        constraints = [*tenant_keys(), Sealed(name="scheduling_ladder_sealed")]

    def __str__(self) -> str:
        return f"{self.grade} from {self.valid_from}"


class OverdueClass(Ruled):
    """What an overdue activity counts as under a jurisdiction; without a row it is no finding.

    `what` is `sampling` (tests by a laboratory) or a repeat such as P5Y; an empty `grade` takes a
    former rule away.
    """

    jurisdiction = models.ForeignKey(
        Jurisdiction,
        on_delete=models.CASCADE,
        related_name="+",
        db_constraint=False,
        verbose_name=_("authority"),
    )
    what = models.CharField(_("overdue"), max_length=20)
    grade = models.CharField(_("counts as"), max_length=12, choices=Finding.Class, blank=True)

    class Meta(Ruled.Meta):
        constraints = [
            *tenant_keys("jurisdiction"),
            Sealed(name="scheduling_overdue_class_sealed"),
        ]

    def __str__(self) -> str:
        return f"{self.what} overdue: {self.grade}"


class Holiday(TenantModel):
    """A day on which a jurisdiction does not work."""

    jurisdiction = models.ForeignKey(
        Jurisdiction,
        on_delete=models.CASCADE,
        related_name="holidays",
        db_constraint=False,
        verbose_name=_("authority"),
    )
    on = models.DateField(_("day"))
    name = models.CharField(_("name"), max_length=80)

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("jurisdiction"),
            unique_here("jurisdiction", "on", name="scheduling_holiday_once"),
        ]
        ordering = ["on"]

    def __str__(self) -> str:
        return f"{self.on} {self.name}"
