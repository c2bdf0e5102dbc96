"""What is given out of the service: files asked for as exports, and calendars subscribed to."""

from typing import Any

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from contractors.keys import tenant_keys, unique_here
from contractors.models.base import PublishedModel, TenantModel, new_id
from contractors.models.outbox import FileFacts, StoredFile
from contractors.models.parties import Contractor, Membership, Owner, OwnerAccess
from contractors.scope import current_owner_id


class AskedExport(models.Model):
    """A table that somebody asked for as a file, and how far it is."""

    class Format(models.TextChoices):
        """What the file is."""

        CSV = "csv", "CSV"
        XLSX = "xlsx", "XLSX"
        JSON = "json", "JSON"

    class State(models.TextChoices):
        """Where it is."""

        WAITING = "waiting", _("waits for its turn")
        WRITING = "writing", _("being written")
        READY = "ready", _("ready")
        FAILED = "failed", _("failed")
        CANCELLED = "cancelled", _("called off")
        EXPIRED = "expired", _("expired, the file is deleted")

    kind = models.CharField(_("table"), max_length=40)
    format = models.CharField(_("file"), max_length=4, choices=Format)
    units = models.CharField(_("units"), max_length=10, choices=Contractor.Units)
    filters = models.JSONField(_("narrowed to"), default=dict, blank=True)
    state = models.CharField(_("state"), max_length=10, choices=State, default=State.WAITING)
    attempt = models.PositiveSmallIntegerField(default=1)
    rows = models.PositiveIntegerField(_("rows"), null=True)
    written = models.PositiveIntegerField(_("rows written"), default=0)
    error = models.CharField(_("error"), max_length=300, blank=True)
    made_at = models.DateTimeField()
    done_at = models.DateTimeField(null=True)
    expires_at = models.DateTimeField(null=True)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"{self.kind}.{self.format} ({self.state})"

    @property
    def progress(self) -> int:
        """Return how much is written, percent."""
        if self.state == self.State.READY:
            return 100
        return min(99, 100 * self.written // self.rows) if self.rows else 0

    @property
    def is_under_way(self) -> bool:
        """Say whether it waits or is being written."""
        return self.state in (self.State.WAITING, self.State.WRITING)


class Export(AskedExport, TenantModel):
    """An export of a contractor's rows, asked for by a member."""

    by = models.ForeignKey(Membership, on_delete=models.PROTECT, related_name="+")
    file = models.ForeignKey(
        StoredFile, null=True, on_delete=models.PROTECT, related_name="+", db_constraint=False
    )

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("file")]
        indexes = [models.Index(fields=["contractor", "made_at"], name="contractors_export_made")]
        ordering = ["-made_at"]


class _OfOwner(models.Manager[Any]):
    """Rows of the owner in scope; nothing without one."""

    def get_queryset(self) -> models.QuerySet[Any]:
        return super().get_queryset().filter(owner_id=current_owner_id())


class OwnerExport(AskedExport, FileFacts):
    """An export of what was published to an owner, over all contractors; the row names the file.

    It stands outside the row policies, since it is no contractor's: filters are ids, days and
    words of ours, never a text that somebody typed.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    owner = models.ForeignKey(Owner, on_delete=models.CASCADE, related_name="+")
    by = models.ForeignKey(OwnerAccess, on_delete=models.CASCADE, related_name="+")

    objects = _OfOwner()

    class Meta:
        base_manager_name = "objects"
        indexes = [models.Index(fields=["owner", "made_at"], name="contractors_owner_export")]
        ordering = ["-made_at"]

    @property
    def file(self) -> "OwnerExport | None":
        """Return the facts of the file, once it is written."""
        return self if self.sha256 else None


class CalendarFeed(models.Model):
    """A calendar that a program may fetch without a sign-in: the address holds a secret.

    Only the secret's SHA-256 is kept. The feed shows no more than its holder may see, and ends with
    the holder's membership or access. It holds no text but its name.
    """

    class Kind(models.TextChoices):
        """What the calendar shows."""

        TECHNICIAN = "technician", _("visits of a technician")
        BUILDING = "building", _("visits and due windows of a building")
        OWNER = "owner", _("visits and due days of an owner's buildings")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    token_hash = models.CharField(max_length=64, unique=True)
    membership = models.ForeignKey(
        Membership, null=True, on_delete=models.CASCADE, related_name="feeds"
    )
    owner_access = models.ForeignKey(
        OwnerAccess, null=True, on_delete=models.CASCADE, related_name="feeds"
    )
    kind = models.CharField(_("calendar"), max_length=12, choices=Kind)
    subject_id = models.UUIDField(null=True)
    label = models.CharField(_("name"), max_length=80)
    made_at = models.DateTimeField()
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)
    counted_from = models.DateTimeField(null=True)
    counted = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(membership__isnull=False, owner_access__isnull=True)
                | Q(membership__isnull=True, owner_access__isnull=False),
                name="contractors_feed_names_one_door",
            )
        ]
        ordering = ["-made_at"]

    def __str__(self) -> str:
        return self.label


class CalendarEntry(models.Model):
    """An event as the readers of a calendar were last told it; a change raises its sequence."""

    building_id = models.UUIDField()
    key = models.CharField(max_length=120)
    facts = models.JSONField()
    ends_on = models.DateField()
    sequence = models.PositiveIntegerField(default=0)
    told_at = models.DateTimeField()
    cancelled_at = models.DateTimeField(null=True)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"{self.key} ({self.sequence})"


class DeskEntry(CalendarEntry, TenantModel):
    """An event of a contractor's own calendars: of a technician or of a building."""

    reader_id = models.UUIDField()

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys(),
            unique_here("reader_id", "key", name="contractors_desk_entry_once"),
        ]


class PublishedEntry(CalendarEntry, PublishedModel):
    """An event published to an owner."""

    class Meta(PublishedModel.Meta):
        constraints = [
            *tenant_keys(published=True),
            unique_here("owner", "key", name="contractors_published_entry_once"),
        ]
