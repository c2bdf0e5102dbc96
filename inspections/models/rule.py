"""Rules laid over the catalogue: a contractor's own, and amendments to an adopted edition."""

from typing import Any

from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from buildings.models import Adoption, Building, Jurisdiction
from contractors.keys import tenant_keys
from contractors.models import Membership, TenantModel


class Rule(TenantModel):
    """A rule in force from a day on, until it is ended; what it says is never changed.

    It has two dates: the days on which it holds, and when that was recorded.
    """

    class Act(models.TextChoices):
        """What it does to the catalogue."""

        STRICTER = "stricter", _("ours, more often")
        OWN = "own", _("ours, an activity of our own")
        OFF = "off", _("amendment: does without it")
        FREQUENCY = "frequency", _("amendment: another frequency")
        CRITERION = "criterion", _("amendment: another criterion")
        TAKES_IN = "takes_in", _("longer work takes in the shorter")

    act = models.CharField(_("what"), max_length=10, choices=Act)
    activity = models.CharField(_("activity"), max_length=80)
    adoption = models.ForeignKey(
        Adoption,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="amendments",
        db_constraint=False,
        verbose_name=_("adopted edition"),
        help_text="Only of an amendment, which holds while this is the edition in force.",
    )
    jurisdiction = models.ForeignKey(
        Jurisdiction,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_constraint=False,
        verbose_name=_("authority"),
    )
    building = models.ForeignKey(
        Building,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="rules",
        db_constraint=False,
        verbose_name=_("building"),
    )
    frequency = models.CharField(_("frequency"), max_length=10, blank=True)
    criterion = models.CharField(_("criterion"), max_length=600, blank=True)
    definition: Any = models.JSONField(
        default=dict, blank=True, help_text="The columns of an activity of the contractor's own."
    )
    source = models.CharField(_("where it stands"), max_length=300)
    reason = models.CharField(_("reason"), max_length=400, blank=True)
    from_on = models.DateField(_("in force from"))
    until_on = models.DateField(_("last day in force"), null=True, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(Membership, null=True, on_delete=models.PROTECT, related_name="+")
    ended_why = models.CharField(_("why ended"), max_length=300, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("adoption", "jurisdiction", "building"),
            models.UniqueConstraint(
                fields=["contractor", "activity"],
                condition=Q(act="own"),
                name="inspections_rule_own_once",
            ),
            models.CheckConstraint(
                condition=Q(until_on=None) | Q(until_on__gte=models.F("from_on")),
                name="inspections_rule_days",
            ),
        ]
        ordering = ["from_on", "recorded_at", "id"]

    def __str__(self) -> str:
        return f"{self.act} {self.activity} from {self.from_on}"

    def get_absolute_url(self) -> str:
        return reverse("rule", args=[self.pk])
