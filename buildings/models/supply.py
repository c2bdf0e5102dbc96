"""Which systems draw on a supply point, and what hydraulic placards say; each written once."""

from typing import Any

from django.db import models
from django.utils.translation import gettext_lazy as _

from buildings.models.building import Building, SupplyPoint
from buildings.models.items import System
from contractors.keys import Sealed, tenant_keys
from contractors.models import Membership, TenantModel


class Draw(TenantModel):
    """A system that draws on a supply point from a day on; the newest row of the two holds.

    `height_m` is the base of the riser above the gauge of the flow test, `loss_pa` what lead-in and
    backflow take at the demand, `hose_m3s` hose taken outside that the placard does not hold.
    """

    supply_point = models.ForeignKey(
        SupplyPoint, on_delete=models.CASCADE, related_name="draws", db_constraint=False
    )
    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="draws", db_constraint=False
    )
    system = models.ForeignKey(
        System, on_delete=models.CASCADE, related_name="draws", db_constraint=False
    )
    height_m = models.FloatField(default=0.0)
    loss_pa = models.FloatField(default=0.0)
    hose_m3s = models.FloatField(default=0.0)
    ends = models.BooleanField(_("no longer draws on it"), default=False)
    valid_from = models.DateField(_("from"))
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("supply_point", "building", "system"),
            Sealed(name="buildings_draw_sealed"),
        ]
        indexes = [
            models.Index(fields=["contractor", "supply_point", "system"], name="buildings_draw_of"),
            models.Index(fields=["contractor", "building"], name="buildings_draw_at"),
        ]
        ordering = ["valid_from", "recorded_at", "id"]

    def __str__(self) -> str:
        return f"{self.system} on {self.supply_point} from {self.valid_from}"


class Placard(TenantModel):
    """What the hydraulic placard (or the design sheet) of an item says from a day on.

    `values` holds names of the dictionary's group `design`, each in the unit given there.
    """

    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="placards", db_constraint=False
    )
    subject_kind = models.CharField(max_length=10)
    subject_id = models.UUIDField()
    values: Any = models.JSONField()
    source = models.CharField(_("read from"), max_length=200, blank=True)
    valid_from = models.DateField(_("from"))
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("building"), Sealed(name="buildings_placard_sealed")]
        indexes = [
            models.Index(
                fields=["contractor", "building", "subject_id"], name="buildings_placard_of"
            )
        ]
        ordering = ["valid_from", "recorded_at", "id"]

    def __str__(self) -> str:
        return f"placard of {self.subject_kind} {self.subject_id} from {self.valid_from}"
