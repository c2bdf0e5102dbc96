"""What stands in a building, in the order that water flows: systems, risers, devices."""

from datetime import date
from typing import Any

from django.db import models
from django.utils.translation import gettext_lazy as _

from buildings.models.building import Building
from contractors.keys import tenant_keys, unique_here
from contractors.models import TenantModel

SPRINKLER_KINDS = ("wet", "dry", "preaction", "deluge", "water_spray", "foam_water", "water_mist")


class Item(TenantModel):
    """Something at a building that activities are done on."""

    subject_kind = ""

    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="%(class)ss", db_constraint=False
    )
    code = models.CharField(_("number"), max_length=40)
    name = models.CharField(_("name"), max_length=120)
    location = models.CharField(_("where"), max_length=160, blank=True)
    position = models.PositiveIntegerField(_("order of water flow"), default=0)
    attributes = models.JSONField(_("facts that the rules read"), default=dict, blank=True)
    in_service_from = models.DateField(_("in service from"), null=True, blank=True)
    in_service_to = models.DateField(_("in service until"), null=True, blank=True)

    class Meta:
        abstract = True
        base_manager_name = "objects"
        ordering = ["position", "code"]

    def __str__(self) -> str:
        return self.name

    @property
    def item_kind(self) -> str:
        """Return the kind by which rules know the item."""
        raise NotImplementedError

    def in_service_on(self, day: date) -> bool:
        """Say whether the item is in service on that day."""
        return (self.in_service_from is None or self.in_service_from <= day) and (
            self.in_service_to is None or day <= self.in_service_to
        )


class System(Item):
    """A system or another part of the water's way that is looked after as one."""

    class Kind(models.TextChoices):
        """Kinds of systems, and the parts of the supply that stand beside them."""

        WET = "wet", _("wet")
        DRY = "dry", _("dry")
        PREACTION = "preaction", _("preaction")
        DELUGE = "deluge", _("deluge")
        WATER_SPRAY = "water_spray", _("water spray")
        FOAM_WATER = "foam_water", _("foam-water")
        WATER_MIST = "water_mist", _("water mist")
        STANDPIPE = "standpipe", _("standpipe")
        FIRE_PUMP = "fire_pump", _("fire pump")
        TANK = "tank", _("tank")
        PRIVATE_MAIN = "private_main", _("private main and hydrants")
        LEAD_IN = "lead_in", _("lead-in and backflow")

    subject_kind = "system"

    kind = models.CharField(_("kind"), max_length=20, choices=Kind)
    parent = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.CASCADE, db_constraint=False
    )

    class Meta(Item.Meta):
        constraints = [
            *tenant_keys("building", "parent"),
            unique_here("building", "code", name="buildings_system_code"),
        ]

    @property
    def item_kind(self) -> str:
        """Return `system` for sprinkler systems, else the kind itself."""
        return "system" if self.kind in SPRINKLER_KINDS else self.kind


class Riser(Item):
    """The vertical supply of a system with its valve and trim: one tag, one place to stand."""

    subject_kind = "riser"

    system = models.ForeignKey(
        System, on_delete=models.CASCADE, related_name="risers", db_constraint=False
    )

    class Meta(Item.Meta):
        constraints = [
            *tenant_keys("building", "system"),
            unique_here("building", "code", name="buildings_riser_code"),
        ]

    @property
    def item_kind(self) -> str:
        """Return `riser`."""
        return "riser"


class Device(Item):
    """A piece of equipment. It hangs on another device, a riser, a system or the building."""

    subject_kind = "device"

    kind = models.CharField(_("kind"), max_length=40)
    system = models.ForeignKey(
        System,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="devices",
        db_constraint=False,
    )
    riser = models.ForeignKey(
        Riser,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="devices",
        db_constraint=False,
    )
    parent = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="parts",
        db_constraint=False,
    )
    serial = models.CharField(_("serial number"), max_length=60, blank=True)

    class Meta(Item.Meta):
        constraints = [
            *tenant_keys("building", "system", "riser", "parent"),
            unique_here("building", "code", name="buildings_device_code"),
        ]
        indexes = [
            models.Index(fields=["contractor", "building", "kind"], name="buildings_device_kind")
        ]

    @property
    def item_kind(self) -> str:
        """Return the device's kind."""
        kind: str = self.kind
        return kind


def subject_model(subject_kind: str) -> Any:
    """Return the model of a subject kind.

    Raises
    ------
    ValueError
        When it is none of building, system, riser, device.
    """
    models_by_kind = {"building": Building, "system": System, "riser": Riser, "device": Device}
    if subject_kind not in models_by_kind:
        raise ValueError(f"{subject_kind!r} is none of {', '.join(models_by_kind)}")
    return models_by_kind[subject_kind]
