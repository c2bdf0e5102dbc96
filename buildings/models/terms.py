"""What a contract or an authority says of time at a building: regimes, settings, leave to rest."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from buildings.models.building import Agreement, Building, Jurisdiction
from contractors.keys import Sealed, tenant_keys, unique_here
from contractors.models import Membership, TenantModel
from contractors.models.base import new_id


class Regime(TenantModel):
    """A regime whose windows hold at a building beside those of the adopted standard.

    Such as an accreditor of hospitals, a federal agency, or an insurer. It narrows, never widens.
    """

    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="regimes", db_constraint=False
    )
    regime = models.CharField(_("regime"), max_length=40)
    edition = models.PositiveSmallIntegerField(_("edition"), null=True, blank=True)
    valid_from = models.DateField(_("from"))
    valid_until = models.DateField(_("until"), null=True, blank=True)
    authority = models.CharField(_("who asks for it"), max_length=120, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("building"),
            unique_here("building", "regime", "valid_from", name="buildings_regime_once"),
        ]
        ordering = ["valid_from"]

    def __str__(self) -> str:
        return f"{self.regime} from {self.valid_from}"


class Timing(TenantModel):
    """How due days are reckoned from a day on: for the contractor, or for one agreement."""

    class Anchoring(models.TextChoices):
        """How the due day inside a window is chosen."""

        FIXED = "fixed", _("fixed: counted from the contract month, without drift")
        LAST = "last performed", _("from the last performance")
        MIXED = "mixed", _("mixed: near the contract month, inside the window")

    agreement = models.ForeignKey(
        Agreement,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="timings",
        db_constraint=False,
    )
    valid_from = models.DateField(_("from"))
    anchoring = models.CharField(
        _("due days"), max_length=14, choices=Anchoring, default=Anchoring.MIXED
    )
    rolling_year = models.BooleanField(
        _("count performances in any twelve months, not in the calendar year"), default=False
    )
    week_starts = models.PositiveSmallIntegerField(
        _("first day of the week"), default=0, help_text=_("0 is Monday, 6 is Sunday.")
    )
    frost_from = models.CharField(
        _("frost from"), max_length=5, blank=True, help_text=_("Month and day, such as 11-15.")
    )
    frost_until = models.CharField(_("frost until"), max_length=5, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("agreement"), Sealed(name="buildings_timing_sealed")]
        indexes = [models.Index(fields=["contractor", "valid_from"], name="buildings_timing_from")]
        ordering = ["valid_from", "recorded_at"]

    def __str__(self) -> str:
        return f"{self.anchoring} from {self.valid_from}"


class OffLimits(TenantModel):
    """Days on which work is not wanted: a ban on using water, a school's term, a hotel's season.

    It moves the wanted day of work inside its window, never a latest day.
    """

    class Work(models.TextChoices):
        """What is not wanted on these days."""

        WATER = "water", _("work that flows water")
        ANY = "any", _("any work of ours")

    building = models.ForeignKey(
        Building,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="off_limits",
        db_constraint=False,
    )
    jurisdiction = models.ForeignKey(
        Jurisdiction,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="off_limits",
        db_constraint=False,
    )
    work = models.CharField(_("what is not wanted"), max_length=5, choices=Work)
    from_on = models.DateField(_("first day"))
    until_on = models.DateField(_("last day"))
    yearly = models.BooleanField(_("on the same days each year"), default=False)
    authority = models.CharField(_("by whose word"), max_length=120)
    reason = models.CharField(_("why"), max_length=200)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("building", "jurisdiction")]
        ordering = ["-from_on", "-recorded_at"]

    def __str__(self) -> str:
        return f"{self.work} from {self.from_on} to {self.until_on}"


class Suspension(TenantModel):
    """Leave for a building or an item to rest: who gave it, why, from and until when.

    Written once. A later row of the same `matter` takes its place, so that what was known at any
    moment can still be asked.
    """

    matter = models.UUIDField(default=new_id)
    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="suspensions", db_constraint=False
    )
    subject_kind = models.CharField(max_length=10)
    subject_id = models.UUIDField()
    from_on = models.DateField(_("first day out"))
    back_on = models.DateField(_("first day back"), null=True, blank=True)
    withdrawn = models.BooleanField(_("was written in error"), default=False)
    authority = models.CharField(_("by leave of"), max_length=120)
    reason = models.CharField(_("why"), max_length=200)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("building"), Sealed(name="buildings_suspension_sealed")]
        indexes = [
            models.Index(
                fields=["contractor", "building", "matter"], name="buildings_suspension_of"
            )
        ]
        ordering = ["recorded_at", "id"]

    def __str__(self) -> str:
        return f"{self.subject_kind} {self.subject_id} out from {self.from_on}"


class TurnOrder(TenantModel):
    """Which items go first at a building where every other one has its turn in a cycle.

    Written once. The newest that has begun holds.

    Attributes
    ----------
    first, then
        Ids of the items of the one half and of the other.
    """

    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="turn_orders", db_constraint=False
    )
    activity = models.CharField(_("activity"), max_length=80)
    first = models.JSONField(_("go first"), default=list)
    then = models.JSONField(_("have their turn in the next cycle"), default=list)
    valid_from = models.DateField(_("from"))
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("building"), Sealed(name="buildings_turnorder_sealed")]
        ordering = ["valid_from", "recorded_at"]

    def __str__(self) -> str:
        return f"{self.activity} by turns from {self.valid_from}"
