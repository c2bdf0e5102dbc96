"""Floor sketches and photos that show where things are in a building."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from buildings.models.building import Building
from buildings.models.items import Riser
from contractors.keys import tenant_keys
from contractors.models import Membership, StoredFile, TenantModel


class Sketch(TenantModel):
    """A sketch or photo of a building or of one of its risers, written anew when it came.

    `file` is what is looked at, `small` what stands in lists. One that is withdrawn is shown and
    taken along no more; its bytes and who withdrew it why stay.
    """

    class Kind(models.TextChoices):
        """What the picture is."""

        SKETCH = "sketch", _("floor sketch")
        PHOTO = "photo", _("photo")

    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="sketches", db_constraint=False
    )
    riser = models.ForeignKey(
        Riser, null=True, on_delete=models.CASCADE, related_name="sketches", db_constraint=False
    )
    kind = models.CharField(_("kind"), max_length=10, choices=Kind.choices)
    caption = models.CharField(_("what it shows"), max_length=200)
    position = models.PositiveSmallIntegerField(_("place in the order"))
    came_sha256 = models.CharField(max_length=64)
    file = models.ForeignKey(
        StoredFile, on_delete=models.PROTECT, related_name="+", db_constraint=False
    )
    small = models.ForeignKey(
        StoredFile, on_delete=models.PROTECT, related_name="+", db_constraint=False
    )
    width_px = models.PositiveSmallIntegerField()
    height_px = models.PositiveSmallIntegerField()
    added_at = models.DateTimeField()
    added_by = models.ForeignKey(Membership, null=True, on_delete=models.PROTECT, related_name="+")
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )
    withdrawn_why = models.CharField(max_length=200, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("building", "riser", "file", "small")]
        indexes = [
            models.Index(fields=["contractor", "building"], name="buildings_sketch_of"),
        ]
        ordering = ["position", "added_at", "id"]

    def __str__(self) -> str:
        return self.caption
