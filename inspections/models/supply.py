"""Flow tests of supply points, and what each left the systems that draw on it."""

from typing import Any

from django.db import models
from django.utils.translation import gettext_lazy as _

from buildings.models import Building, SupplyPoint, System
from contractors.keys import Sealed, tenant_keys, unique_here
from contractors.models import Membership, TenantModel
from inspections.models.visit import Visit


class FlowTest(TenantModel):
    """A flow test of a supply point, as read and in SI; corrected by a newer row, never changed."""

    supply_point = models.ForeignKey(
        SupplyPoint, on_delete=models.CASCADE, related_name="tests", db_constraint=False
    )
    tested_on = models.DateField(_("day"))
    hour = models.TimeField(_("hour"), null=True, blank=True)
    static_typed = models.CharField(max_length=40)
    static_pa = models.FloatField()
    residual_typed = models.CharField(max_length=40)
    residual_pa = models.FloatField()
    flow_typed = models.CharField(max_length=40)
    flow_m3s = models.FloatField()
    residual_hydrant = models.CharField(_("residual hydrant"), max_length=80, blank=True)
    flow_hydrants = models.CharField(_("flow hydrants"), max_length=160, blank=True)
    outlets = models.CharField(_("outlets, coefficients and pitot"), max_length=300, blank=True)
    witnessed_by = models.CharField(_("witnessed by"), max_length=120, blank=True)
    note = models.CharField(_("note"), max_length=400, blank=True)
    warnings: Any = models.JSONField(default=list)
    replaces = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="replaced_by",
        db_constraint=False,
    )
    reason = models.CharField(_("why it corrects another"), max_length=200, blank=True)
    visit = models.ForeignKey(
        Visit,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="flow_tests",
        db_constraint=False,
    )
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("supply_point", "replaces", "visit"),
            Sealed(name="inspections_flowtest_sealed"),
            models.CheckConstraint(
                condition=models.Q(residual_pa__lt=models.F("static_pa"), flow_m3s__gt=0),
                name="inspections_flowtest_drop",
            ),
        ]
        ordering = ["tested_on", "recorded_at", "id"]

    def __str__(self) -> str:
        return f"{self.supply_point}, {self.tested_on}"


class SupplyMargin(TenantModel):
    """What a flow test left a system: inputs and outcome of the computation, by name and version.

    Reckoned again when the placard or the way to the system changes; the newest row counts.
    """

    flow_test = models.ForeignKey(
        FlowTest, on_delete=models.CASCADE, related_name="margins", db_constraint=False
    )
    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="margins", db_constraint=False
    )
    system = models.ForeignKey(
        System, on_delete=models.CASCADE, related_name="margins", db_constraint=False
    )
    computation = models.CharField(max_length=60)
    version = models.PositiveIntegerField()
    inputs: Any = models.JSONField()
    outcome: Any = models.JSONField()
    margin_pa = models.FloatField()
    verdict = models.CharField(max_length=20)
    finding_id = models.UUIDField(null=True, blank=True)
    number = models.PositiveIntegerField(help_text="Counts the reckonings of one test and system.")
    reckoned_at = models.DateTimeField()

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("flow_test", "building", "system"),
            Sealed(name="inspections_margin_sealed"),
            unique_here("flow_test", "system", "number", name="inspections_margin_once"),
        ]
        indexes = [
            models.Index(fields=["contractor", "building"], name="inspections_margin_at"),
        ]
        ordering = ["reckoned_at", "id"]

    def __str__(self) -> str:
        return f"{self.system}: {self.margin_pa:.0f} Pa"
