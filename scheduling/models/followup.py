"""What an open finding calls for: follow-ups with reminders, proposals, the owner's acts."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from buildings.models import Building
from contractors.keys import tenant_keys, unique_here
from contractors.models import OwnerAccess, TenantModel
from contractors.models.base import PublishedModel
from inspections.models import Finding, Impairment


class FollowUp(TenantModel):
    """One thing owed because of a finding or an impairment, with its day and its reminders."""

    class Kind(models.TextChoices):
        """What is owed."""

        TELL_OWNER = "tell_owner", _("tell the owner")
        RESPOND = "respond", _("repair or decide")
        RETEST = "retest", _("re-test")
        PROOF = "proof", _("prove the restoration")
        AUTHORITY = "authority", _("tell the authority")
        NO_ACCESS = "no_access", _("access refused again and again")

    class State(models.TextChoices):
        """Where it is."""

        OPEN = "open", _("open")
        DEFERRED = "deferred", _("deferred by the owner")
        DECLINED = "declined", _("declined by the owner")
        DONE = "done", _("done")

    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="follow_ups", db_constraint=False
    )
    finding = models.ForeignKey(
        Finding,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="follow_ups",
        db_constraint=False,
    )
    impairment = models.ForeignKey(
        Impairment,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="follow_ups",
        db_constraint=False,
    )
    kind = models.CharField(_("what"), max_length=12, choices=Kind)
    state = models.CharField(_("state"), max_length=10, choices=State, default=State.OPEN)
    due_on = models.DateField(_("by"))
    basis = models.CharField(_("why this day"), max_length=200, blank=True)
    grade = models.CharField(_("class"), max_length=12, choices=Finding.Class, blank=True)
    cause = models.CharField(
        max_length=80,
        blank=True,
        help_text="What set the day; while it stays, the day stays, whatever rules come later.",
    )
    next_at = models.DateTimeField(
        null=True, blank=True, help_text="When the ladder is looked at next; empty for never."
    )
    sent = models.JSONField(default=dict, help_text="Steps of the ladder done for this day.")
    reminded_on = models.DateField(null=True, blank=True)
    reminders = models.PositiveSmallIntegerField(default=0)
    escalated = models.PositiveSmallIntegerField(_("step of escalation"), default=0)
    opened_on = models.DateField()
    done_on = models.DateField(null=True, blank=True)
    done_how = models.CharField(_("done how"), max_length=200, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("building", "finding", "impairment"),
            unique_here("finding", "kind", name="scheduling_follow_up_once"),
            unique_here("impairment", "kind", name="scheduling_follow_up_impair"),
            models.UniqueConstraint(
                fields=["contractor", "building", "kind"],
                condition=Q(finding=None, impairment=None, done_on=None),
                name="scheduling_follow_up_place",
            ),
        ]
        indexes = [
            models.Index(fields=["contractor", "state", "due_on"], name="scheduling_follow_due"),
            models.Index(fields=["contractor", "next_at"], name="scheduling_follow_next"),
        ]
        ordering = ["due_on"]

    def __str__(self) -> str:
        return f"{self.kind} by {self.due_on}"


class Proposal(TenantModel):
    """An offer to put a finding right, for the owner to decide."""

    finding = models.ForeignKey(
        Finding, on_delete=models.CASCADE, related_name="proposals", db_constraint=False
    )
    text = models.CharField(_("what will be done"), max_length=400)
    amount = models.DecimalField(_("price"), max_digits=10, decimal_places=2, null=True, blank=True)
    currency = models.CharField(_("currency"), max_length=3, default="USD")
    made_at = models.DateTimeField()
    valid_until = models.DateField(null=True, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("finding")]

    def __str__(self) -> str:
        return self.text


class PublishedBuilding(PublishedModel):
    """A building as its owner sees it, with its present standing and what is next."""

    building_id = models.UUIDField()
    engaged_from = models.DateField()
    engaged_until = models.DateField(null=True)
    contractor_name = models.CharField(max_length=120)
    name = models.CharField(max_length=120)
    code = models.CharField(max_length=30)
    address = models.CharField(max_length=300)
    time_zone = models.CharField(max_length=60)
    word = models.CharField(max_length=14)
    due_by = models.DateField(null=True)
    facts = models.JSONField(default=dict)
    told_at = models.DateTimeField()

    class Meta(PublishedModel.Meta):
        constraints = [
            *tenant_keys(published=True),
            unique_here("owner", "building_id", name="scheduling_published_building"),
        ]
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class PublishedStanding(PublishedModel):
    """An interval of a building's standing, as published; never retracted, only ended."""

    building_id = models.UUIDField()
    from_at = models.DateTimeField()
    to_at = models.DateTimeField(null=True)
    word = models.CharField(max_length=14)
    due_by = models.DateField(null=True)
    reasons = models.JSONField(default=list)
    scope = models.JSONField(default=dict)
    known_from = models.DateTimeField()
    known_to = models.DateTimeField(null=True)

    class Meta(PublishedModel.Meta):
        constraints = [*tenant_keys(published=True)]
        indexes = [
            models.Index(fields=["owner", "building_id", "from_at"], name="scheduling_pub_standing")
        ]
        ordering = ["from_at"]

    def __str__(self) -> str:
        return f"{self.word} from {self.from_at}"


class PublishedItem(PublishedModel):
    """An open (or ended) finding or impairment, as the owner sees it."""

    building_id = models.UUIDField()
    kind = models.CharField(max_length=12)
    source_id = models.UUIDField()
    grade = models.CharField(max_length=12)
    text = models.CharField(max_length=600)
    since = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    facts = models.JSONField(default=dict)

    class Meta(PublishedModel.Meta):
        constraints = [
            *tenant_keys(published=True),
            unique_here("owner", "source_id", name="scheduling_published_item"),
        ]
        indexes = [models.Index(fields=["owner", "building_id"], name="scheduling_pub_item")]

    def __str__(self) -> str:
        return self.text


class PublishedReport(PublishedModel):
    """A version of a report that the owner may read."""

    building_id = models.UUIDField()
    report_id = models.UUIDField()
    visit_id = models.UUIDField()
    version = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=200)
    performed_on = models.DateField()
    code = models.CharField(max_length=40)
    sha256 = models.CharField(max_length=64)
    facts = models.TextField()
    pdf_sha256 = models.CharField(max_length=64, blank=True)
    sealed_at = models.DateTimeField()

    class Meta(PublishedModel.Meta):
        constraints = [
            *tenant_keys(published=True),
            unique_here("owner", "report_id", name="scheduling_published_report"),
        ]
        ordering = ["-performed_on", "-version"]

    def __str__(self) -> str:
        return self.title


class OwnerAct(PublishedModel):
    """What an owner did in their own rooms: a decision, a request, a check of their own.

    The owner writes it; a task in the contractor's scope takes it into the record.
    """

    owner_writes = True

    class Kind(models.TextChoices):
        """What the owner did."""

        DECIDE = "decide", _("decision")
        REQUEST = "request", _("request")
        CHECK = "check", _("own check")

    building_id = models.UUIDField()
    access = models.ForeignKey(OwnerAccess, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=10, choices=Kind)
    source_id = models.UUIDField(null=True)
    facts = models.JSONField(default=dict)
    at = models.DateTimeField()
    taken_at = models.DateTimeField(null=True)
    refused = models.CharField(max_length=200, blank=True)

    class Meta(PublishedModel.Meta):
        constraints = [*tenant_keys(published=True)]
        indexes = [models.Index(fields=["owner", "at"], name="scheduling_owner_act")]
        ordering = ["-at"]

    def __str__(self) -> str:
        return f"{self.kind} {self.at}"
