"""What is due: open occurrences, and how each building stands, as intervals. Both are derived."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from buildings.models import Building, System
from contractors import scope
from contractors.keys import tenant_keys, unique_here
from contractors.models import TenantModel
from inspections.models import Visit


class DerivedModel(TenantModel):
    """A row derived for a building, written by the hundred thousand."""

    # The key to the building holds the contractor too: a second key would be checked for every row
    # and could refuse nothing more.
    contractor = models.ForeignKey(
        "contractors.Contractor",
        on_delete=models.PROTECT,
        default=scope.current_contractor_id,
        editable=False,
        related_name="+",
        db_index=False,
        db_constraint=False,
    )

    class Meta(TenantModel.Meta):
        abstract = True


class Occurrence(DerivedModel):
    """The open occurrence of one activity on one item; past ones are results."""

    # Every index is written for every row of a whole programme: only those that a query needs.
    building = models.ForeignKey(
        Building,
        on_delete=models.CASCADE,
        related_name="occurrences",
        db_constraint=False,
        db_index=False,
    )
    system = models.ForeignKey(
        System,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        db_constraint=False,
        db_index=False,
    )
    subject_kind = models.CharField(max_length=10)
    subject_id = models.UUIDField()
    activity = models.CharField(_("activity"), max_length=80)
    frequency = models.CharField(_("frequency"), max_length=10)
    qualification = models.CharField(_("qualification"), max_length=40, blank=True)
    by_owner = models.BooleanField(_("done by the owner"), default=False)
    earliest_on = models.DateField(_("earliest"), null=True, blank=True)
    due_on = models.DateField(_("due"))
    latest_on = models.DateField(_("latest"))
    last_done_on = models.DateField(_("last done"), null=True, blank=True)
    last_evidence = models.CharField(max_length=14, blank=True)
    known = models.BooleanField(
        _("evidence is known"),
        default=True,
        help_text=_("False while nothing was ever seen done and one window has not passed."),
    )
    minutes = models.FloatField(_("minutes, own estimate"), default=0)
    adds = models.FloatField(
        _("minutes it adds to its week, own estimate"),
        default=0,
        help_text=_("With its share of what is counted once for all the work of that week there."),
    )
    reason = models.JSONField(default=dict)
    visit = models.ForeignKey(
        Visit,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="occurrences",
        db_constraint=False,
        db_index=False,
    )
    catalogue_version = models.CharField(max_length=64)
    derived_on = models.DateField()

    class Meta(DerivedModel.Meta):
        constraints = [
            *tenant_keys("visit", of_many=("building", "system")),
            unique_here("subject_id", "activity", name="scheduling_one_open_each"),
        ]
        indexes = [
            models.Index(fields=["contractor", "due_on"], name="scheduling_due"),
            models.Index(fields=["contractor", "building", "due_on"], name="scheduling_due_bldg"),
            models.Index(fields=["contractor", "latest_on"], name="scheduling_latest"),
            models.Index(
                fields=["contractor", "visit"],
                condition=Q(visit__isnull=False),
                name="scheduling_in_visit",
            ),
        ]
        ordering = ["latest_on", "due_on"]

    def __str__(self) -> str:
        return f"{self.activity} due {self.due_on}"


class Workload(DerivedModel):
    """What falls due at a building, counted by work, week and latest day: see `week_loads`.

    Of a building there is one of all that falls due, and one of each visit that does some of it.
    """

    building = models.ForeignKey(
        Building,
        on_delete=models.CASCADE,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    visit = models.ForeignKey(
        Visit,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="+",
        db_constraint=False,
        db_index=False,
    )
    area = models.CharField(max_length=60, blank=True, help_text=_("The building's district."))
    counts = models.BinaryField(help_text=_("Packed: one value a building is read soon."))

    class Meta(DerivedModel.Meta):
        constraints = [
            *tenant_keys("visit", of_many=("building",)),
            unique_here("building", only=Q(visit=None), name="scheduling_one_workload_each"),
            unique_here("visit", name="scheduling_one_workload_a_visit"),
        ]
        indexes = [models.Index(fields=["contractor", "building"], name="scheduling_workload_at")]

    def __str__(self) -> str:
        return f"what falls due at {self.building_id}"


class Question(DerivedModel):
    """A fact that rules need and nobody gave: whether an activity applies hangs on it."""

    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="questions", db_constraint=False
    )
    subject_kind = models.CharField(max_length=10)
    subject_id = models.UUIDField()
    attribute = models.CharField(max_length=80)
    asked_as = models.CharField(max_length=300)
    decides = models.JSONField(default=list)

    class Meta(DerivedModel.Meta):
        constraints = [
            *tenant_keys(of_many=("building",)),
            unique_here("subject_id", "attribute", name="scheduling_question_once"),
        ]

    def __str__(self) -> str:
        return self.asked_as


class Standing(models.TextChoices):
    """How a building stands, worst first; `not with us` stands outside the order."""

    IMPAIRED = "impaired", _("impaired")
    OVERDUE = "overdue", _("overdue")
    FINDING_OPEN = "finding_open", _("finding open")
    NOT_KNOWN = "not_known_yet", _("not known yet")
    DUE_BY = "due_by", _("due by")
    IN_ORDER = "in_order", _("in order")
    NOT_WITH_US = "not_with_us", _("not with us")


class StandingInterval(DerivedModel):
    """How a building stood from one moment to another, as known from one moment to another."""

    building = models.ForeignKey(
        Building,
        on_delete=models.CASCADE,
        related_name="standings",
        db_constraint=False,
        db_index=False,
    )
    from_at = models.DateTimeField()
    to_at = models.DateTimeField(null=True)
    word = models.CharField(max_length=14, choices=Standing)
    due_by = models.DateField(null=True)
    reasons = models.JSONField(default=list)
    scope = models.JSONField(default=dict)
    known_from = models.DateTimeField()
    known_to = models.DateTimeField(null=True)

    class Meta(DerivedModel.Meta):
        constraints = [*tenant_keys(of_many=("building",))]
        indexes = [
            models.Index(
                fields=["contractor", "building", "known_to", "from_at"],
                name="scheduling_standing_at",
            )
        ]
        ordering = ["from_at"]

    def __str__(self) -> str:
        return f"{self.word} from {self.from_at}"
