"""The record: events appended once, chained by stream, with a daily checkpoint over all chains."""

from typing import Any

from django.db import models
from django.utils.translation import gettext_lazy as _

from buildings.models import Building
from contractors.keys import Sealed, tenant_keys, unique_here
from contractors.models import Membership, TenantModel, new_id
from contractors.scope import current_contractor_id


class Stream(models.TextChoices):
    """What an event is about."""

    VISIT = "visit", _("visit")
    IMPAIRMENT = "impairment", _("impairment")
    FINDING = "finding", _("finding")
    BUILDING = "building", _("building")
    SAMPLE = "sample", _("sample")


class NextNumber(models.Expression):
    """The number of a new event, higher than any before it: drawn as the row is written.

    By then the streams and the visit of the event are locked, so that their numbers rise as their
    positions do, whatever the clock says.

    Parameters
    ----------
    place
        Which of the events written together it is, from 1.
    """

    def __init__(self, place: int) -> None:
        self.place = place
        super().__init__(output_field=models.BigIntegerField())

    def as_postgresql(self, *_args: Any, **_more: Any) -> tuple[str, list[Any]]:
        """Draw from the sequence; several may write at once."""
        return "nextval('inspections_event_numbers')", []

    def as_sqlite(self, *_args: Any, **_more: Any) -> tuple[str, list[Any]]:
        """Count on from the last one; only one writes at a time."""
        last = "SELECT COALESCE(MAX(number), 0) FROM inspections_event WHERE contractor_id = %s"
        return f"(({last}) + %s)", [current_contractor_id().hex, self.place]


class Event(TenantModel):
    """One thing that happened at a building, in the words of whoever recorded it.

    `body` is the canonical text that was hashed, kept as it was hashed. Written once.
    """

    class Via(models.TextChoices):
        """The door it came through."""

        PAGE = "page", _("page")
        TABLET = "tablet", _("tablet")
        API = "api", _("API")
        IMPORT = "import", _("import")
        OWNER = "owner", _("owner")
        SERVICE = "service", _("the service itself")

    # The id is unique per contractor only: whoever makes the event makes its id.
    pk = models.CompositePrimaryKey("contractor_id", "id")
    id = models.UUIDField(default=new_id, editable=False)
    stream = models.CharField(max_length=12, choices=Stream)
    stream_id = models.UUIDField()
    position = models.PositiveIntegerField()
    # The order of the record over all streams; gaps mean nothing.
    number = models.BigIntegerField()
    kind = models.CharField(max_length=40)
    version = models.PositiveSmallIntegerField()
    building = models.ForeignKey(
        Building, on_delete=models.PROTECT, related_name="+", db_constraint=False
    )
    visit_id = models.UUIDField(null=True)
    tablet = models.UUIDField(null=True)
    seq = models.PositiveIntegerField(null=True)
    via = models.CharField(max_length=10, choices=Via)
    status = models.CharField(max_length=10)
    by = models.ForeignKey(Membership, null=True, on_delete=models.PROTECT, related_name="+")
    happened_at = models.DateTimeField()
    time_uncertain = models.BooleanField(default=False)
    received_at = models.DateTimeField()
    body = models.TextField()
    salt = models.CharField(max_length=32)
    content_hash = models.CharField(max_length=64)
    dedupe_hash = models.CharField(max_length=64)
    chain_hash = models.CharField(max_length=64)

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("building"),
            unique_here("stream", "stream_id", "position", name="inspections_event_position"),
            unique_here("number", name="inspections_event_number"),
            Sealed(name="inspections_event_sealed"),
        ]
        indexes = [
            models.Index(fields=["contractor", "visit_id"], name="inspections_event_visit"),
            models.Index(
                fields=["contractor", "building", "happened_at"], name="inspections_event_when"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.stream}:{self.stream_id}#{self.position}"


class ChainHead(TenantModel):
    """The end of one stream's chain; its row is locked while an event is appended."""

    stream = models.CharField(max_length=12, choices=Stream)
    stream_id = models.UUIDField()
    length = models.PositiveIntegerField(default=0)
    head = models.CharField(max_length=64, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys(),
            unique_here("stream", "stream_id", name="inspections_head_once"),
        ]

    def __str__(self) -> str:
        return f"{self.stream}:{self.stream_id} ({self.length})"


class Checkpoint(TenantModel):
    """The root over all chains of a contractor on a day, chained to the day before."""

    day = models.DateField()
    streams = models.PositiveIntegerField()
    root = models.CharField(max_length=64)
    chained = models.CharField(max_length=64)
    made_at = models.DateTimeField()

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys(),
            unique_here("day", name="inspections_checkpoint_day"),
            Sealed(name="inspections_checkpoint_sealed"),
        ]

    def __str__(self) -> str:
        return f"{self.day} {self.root[:12]}"


class Quarantined(TenantModel):
    """An entry that could not become an event, kept whole for a person to read and decide."""

    class Decision(models.TextChoices):
        """What became of it."""

        TAKEN = "taken", _("taken into the record")
        LEFT_OUT = "left_out", _("left out")

    event_id = models.UUIDField()
    tablet = models.UUIDField(null=True)
    seq = models.PositiveIntegerField(null=True)
    visit_id = models.UUIDField(null=True)
    text = models.TextField()
    reason = models.CharField(max_length=300)
    received_at = models.DateTimeField()
    by = models.ForeignKey(Membership, null=True, on_delete=models.PROTECT, related_name="+")
    decision = models.CharField(max_length=8, choices=Decision.choices, blank=True)
    decided_at = models.DateTimeField(null=True)
    decided_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )
    why = models.CharField(max_length=300, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys(), unique_here("event_id", name="inspections_quarantine_once")]

    def __str__(self) -> str:
        return self.reason


class Tablet(TenantModel):
    """What a technician holds, registered so that its entries can be counted without gaps."""

    member = models.ForeignKey(Membership, on_delete=models.PROTECT, related_name="+")
    label = models.CharField(_("name"), max_length=80, blank=True)
    registered_at = models.DateTimeField()
    last_seq = models.PositiveIntegerField(default=0)
    last_seen_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys()]

    def __str__(self) -> str:
        return self.label or str(self.pk)
