"""What must still happen, what was sent, what was done, and answers that are kept."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from contractors.keys import Sealed, tenant_keys, unique_here
from contractors.models.base import TenantModel, new_id
from contractors.models.parties import Contractor, Membership


class OutboxMessage(models.Model):
    """A job, written in the transaction of the change that calls for it: ids and times, no text.

    The row is the truth; Celery is only woken with its id.
    """

    class State(models.TextChoices):
        """Where the job is."""

        WAITING = "waiting", _("waiting")
        RUNNING = "running", _("running")
        DONE = "done", _("done")
        PARKED = "parked", _("failed, waits for a person")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    contractor = models.ForeignKey(Contractor, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=60)
    key = models.CharField(max_length=200)
    payload = models.JSONField(default=dict)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    not_before = models.DateTimeField()
    leased_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    made_at = models.DateTimeField()
    done_at = models.DateTimeField(null=True, blank=True)
    progress = models.PositiveSmallIntegerField(default=0)
    cancel_asked = models.BooleanField(default=False)
    error_code = models.CharField(max_length=80, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["contractor", "kind", "key"], name="contractors_one_job_per_key"
            )
        ]
        indexes = [models.Index(fields=["state", "not_before"], name="contractors_outbox_due")]

    def __str__(self) -> str:
        return f"{self.kind} {self.key} ({self.state})"


class Notice(TenantModel):
    """A message to somebody, with the proof that it went."""

    class State(models.TextChoices):
        """How far it got."""

        WAITING = "waiting", _("waiting")
        SENT = "sent", _("sent")
        KEPT = "kept", _("kept here, no mail server is set")
        GATHERED = "gathered", _("for the person's next gathered mail")
        UNWANTED = "unwanted", _("not mailed, as the person chose")
        FAILED = "failed", _("refused or failed")
        BOUNCED = "bounced", _("came back")

    key = models.CharField(max_length=200)
    kind = models.CharField(_("why"), max_length=60)
    recipient = models.EmailField(_("to"))
    subject = models.CharField(_("subject"), max_length=200)
    body = models.TextField(_("text"))
    state = models.CharField(_("state"), max_length=10, choices=State, default=State.WAITING)
    made_at = models.DateTimeField(_("written at"))
    sent_at = models.DateTimeField(_("sent at"), null=True, blank=True)
    error = models.CharField(_("error"), max_length=200, blank=True)
    urgent = models.BooleanField(_("about an impairment"), default=False)
    not_before = models.DateTimeField(_("waits until"), null=True, blank=True)
    message_id = models.CharField(max_length=120, blank=True)
    told_in = models.UUIDField(_("gathered mail"), null=True, blank=True)
    settled_at = models.DateTimeField(_("passed on at"), null=True, blank=True)
    settled_by = models.ForeignKey(
        Membership, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    settled_how = models.CharField(_("passed on, how and to whom"), max_length=200, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys(), unique_here("key", name="contractors_notice_once")]
        indexes = [
            models.Index(fields=["contractor", "made_at"], name="contractors_notice_made"),
            models.Index(
                fields=["contractor", "urgent", "state"], name="contractors_notice_urgent"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.subject} → {self.recipient}"


class AuditEntry(TenantModel):
    """Who did what to which row, written once."""

    at = models.DateTimeField()
    member = models.ForeignKey(Membership, null=True, on_delete=models.PROTECT, related_name="+")
    action = models.CharField(max_length=80)
    subject_kind = models.CharField(max_length=40)
    subject_id = models.UUIDField()
    facts = models.JSONField(default=dict)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys(), Sealed(name="contractors_audit_sealed")]
        indexes = [
            models.Index(fields=["contractor", "subject_id"], name="contractors_audit_subject")
        ]

    def __str__(self) -> str:
        return f"{self.action} {self.subject_kind} {self.subject_id}"


class KeptAnswer(TenantModel):
    """The first answer to a request with an Idempotency-Key, given again on a repeat."""

    route = models.CharField(max_length=120)
    key = models.CharField(max_length=100)
    actor = models.UUIDField()
    body_hash = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    body = models.JSONField(null=True)
    made_at = models.DateTimeField()

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys(),
            unique_here("actor", "route", "key", name="contractors_answer_once"),
        ]

    def __str__(self) -> str:
        return f"{self.route} {self.key}"


class FileFacts(models.Model):
    """What is known of a file whose bytes lie in the data folder; without a hash there is none."""

    sha256 = models.CharField(max_length=64, blank=True)
    size = models.PositiveIntegerField(default=0)
    media_type = models.CharField(max_length=100, blank=True)
    name = models.CharField(max_length=120, blank=True)

    class Meta:
        abstract = True


class StoredFile(FileFacts, TenantModel):
    """A file of the contractor: the row says what it is, the bytes lie in the data folder."""

    sha256 = models.CharField(max_length=64)
    size = models.PositiveIntegerField()
    media_type = models.CharField(max_length=100)
    name = models.CharField(max_length=120)
    made_at = models.DateTimeField()

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys()]
        indexes = [models.Index(fields=["contractor", "sha256"], name="contractors_file_sha")]

    def __str__(self) -> str:
        return self.name
