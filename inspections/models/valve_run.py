"""Runs of the valve model: what was done and seen at a riser, kept to be taken up again."""

from typing import Any

from django.db import models
from django.utils.translation import gettext_lazy as _

from contractors.keys import tenant_keys
from contractors.models import Membership, TenantModel


class ValveRun(TenantModel):
    """A riser of one type and what was done and seen at it; the state is worked out of the log."""

    title = models.CharField(_("title"), max_length=120, blank=True)
    system_type = models.CharField(_("type"), max_length=60)
    overrides: Any = models.JSONField(default=dict, blank=True)
    hidden: Any = models.JSONField(
        default=list, blank=True, help_text="Faults laid in that the run does not tell."
    )
    log: Any = models.JSONField(
        default=list, blank=True, help_text="Entries with `act` or with `seen`, in order."
    )
    started_at = models.DateTimeField()
    started_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )
    expires_at = models.DateTimeField(db_index=True)

    class Meta(TenantModel.Meta):
        constraints = tenant_keys()
        ordering = ["-started_at", "id"]

    def __str__(self) -> str:
        return f"{self.title or self.system_type}, {self.started_at:%Y-%m-%d}"
