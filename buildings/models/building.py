"""Buildings, who is engaged for them, under which rules, and what the contract covers."""

from datetime import date, datetime
from typing import Any

from django.db import models
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from contractors.keys import Sealed, tenant_keys, unique_here
from contractors.models import Contractor, InZone, Membership, Owner, TenantModel

# Where no authority says otherwise (IFC 901.7 and NFPA 25 ch.15, from memory; minutes: common
# practice, no source).
IMPAIRMENT_HOURS = 10.0
ATTENDED_MINUTES = 60


class Jurisdiction(TenantModel):
    """An authority having jurisdiction, as this contractor meets it."""

    name = models.CharField(_("name"), max_length=120)
    country = models.CharField(_("country"), max_length=20, default="US")
    region = models.CharField(_("state or province"), max_length=20, blank=True)
    impairment_hours = models.FloatField(
        _("hours out of service in 24 before interim measures are owed"), default=10
    )
    attended_minutes = models.PositiveSmallIntegerField(
        _("minutes after which an attended shutdown is an impairment"),
        default=ATTENDED_MINUTES,
        help_text=_("0 where the authority wants to know of every one."),
    )
    notice_phone = models.CharField(_("telephone for impairments"), max_length=40, blank=True)
    emergency_phone = models.CharField(_("fire department"), max_length=40, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys(), unique_here("name", name="buildings_jurisdiction_name")]

    def __str__(self) -> str:
        return self.name


class Adoption(TenantModel):
    """The edition of a standard that a jurisdiction enforces from a day on."""

    jurisdiction = models.ForeignKey(
        Jurisdiction, on_delete=models.CASCADE, related_name="adoptions", db_constraint=False
    )
    standard = models.CharField(_("standard"), max_length=20, default="nfpa25")
    edition = models.PositiveSmallIntegerField(_("edition"))
    valid_from = models.DateField(_("in force from"))
    recorded_at = models.DateTimeField()

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("jurisdiction"),
            unique_here("jurisdiction", "valid_from", name="buildings_adoption_once"),
        ]

    def __str__(self) -> str:
        return f"{self.standard} {self.edition} from {self.valid_from}"


class Building(InZone, TenantModel):
    """A building whose water-based systems the contractor looks after.

    The columns are the newest revision's facts; the past is read through `buildings.inventory`.
    """

    code = models.CharField(_("number"), max_length=30)
    name = models.CharField(_("name"), max_length=120)
    address = models.CharField(_("street and number"), max_length=200)
    city = models.CharField(_("town"), max_length=80)
    region = models.CharField(_("state or province"), max_length=20, blank=True)
    postal_code = models.CharField(_("postal code"), max_length=20, blank=True)
    country = models.CharField(_("country"), max_length=20, default="US")
    area = models.CharField(_("district for planning"), max_length=60, blank=True)
    latitude = models.FloatField(_("latitude"), null=True, blank=True)
    longitude = models.FloatField(_("longitude"), null=True, blank=True)
    time_zone = models.CharField(_("time zone"), max_length=60, default="America/New_York")
    units = models.CharField(
        _("units"), max_length=10, choices=Contractor.Units, default=Contractor.Units.US
    )
    jurisdiction = models.ForeignKey(
        Jurisdiction, null=True, blank=True, on_delete=models.PROTECT, db_constraint=False
    )
    hours = models.JSONField(
        _("hours for visits"),
        default=dict,
        blank=True,
        help_text=_("Weekday (0 is Monday) to spans such as 07:00-12:00; empty means any hour."),
    )
    access_notes = models.TextField(_("access: keys, escort, riser room"), blank=True)
    contact_name = models.CharField(_("contact"), max_length=120, blank=True)
    contact_phone = models.CharField(_("contact's telephone"), max_length=40, blank=True)
    contact_email = models.EmailField(_("contact's e-mail"), blank=True)
    station_phone = models.CharField(_("monitoring station"), max_length=40, blank=True)
    station_account = models.CharField(_("monitoring account"), max_length=40, blank=True)
    taken_over_on = models.DateField(_("looked after since"))
    attributes = models.JSONField(_("facts that the rules read"), default=dict, blank=True)
    suspended_from = models.DateField(_("suspended from"), null=True, blank=True)
    suspended_until = models.DateField(_("suspended until"), null=True, blank=True)
    suspension_reason = models.CharField(
        _("why suspended, by whose leave"), max_length=200, blank=True
    )
    history_complete = models.BooleanField(
        _("history is in"),
        default=True,
        help_text=_("False while an import of its history is running: not known yet until then."),
    )

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("jurisdiction"),
            unique_here(
                "code", name="buildings_building_code", message=_("This number is used already.")
            ),
        ]
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("building", args=[self.pk])

    @property
    def impairment_hours(self) -> float:
        """Return the hours out of service within 24 from which interim measures are owed."""
        place = self.jurisdiction
        return float(place.impairment_hours) if place else IMPAIRMENT_HOURS

    @property
    def attended_minutes(self) -> int:
        """Return the minutes after which an attended shutdown here is an impairment."""
        place = self.jurisdiction
        return int(place.attended_minutes) if place else ATTENDED_MINUTES

    def edition_on(self, day: date) -> int | None:
        """Return the adopted edition in force on a day; None where nobody has told it."""
        if self.jurisdiction_id is None:
            return None
        found: int | None = (
            Adoption.objects.filter(jurisdiction_id=self.jurisdiction_id, valid_from__lte=day)
            .order_by("-valid_from")
            .values_list("edition", flat=True)
            .first()
        )
        return found

    @property
    def full_address(self) -> str:
        """Return the address on one line."""
        place = " ".join(part for part in (self.region, self.postal_code) if part)
        return ", ".join(part for part in (self.address, self.city, place) if part)


class Engagement(TenantModel):
    """An owner's engagement of this contractor for a building, for a span of days."""

    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="engagements", db_constraint=False
    )
    owner = models.ForeignKey(Owner, on_delete=models.PROTECT, related_name="+")
    from_on = models.DateField(_("from"))
    until_on = models.DateField(_("until"), null=True, blank=True)
    recorded_at = models.DateTimeField(
        null=True, blank=True, help_text="Null: before this was written down."
    )
    end_recorded_at = models.DateTimeField(
        null=True, blank=True, help_text="When the last day was written down, if it was later."
    )

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("building"),
            unique_here("building", "owner", "from_on", name="buildings_engagement_once"),
        ]

    def __str__(self) -> str:
        return f"{self.owner} {self.from_on}"

    def holds_on(self, day: date, known_at: datetime | None = None) -> bool:
        """Say whether the engagement runs on that day, as known at a moment."""
        if known_at is not None and self.recorded_at and self.recorded_at > known_at:
            return False
        last = self.last_known(known_at)
        return self.from_on <= day and (last is None or day <= last)

    def last_known(self, known_at: datetime | None = None) -> date | None:
        """Return the last day as known at a moment; None while no end was known."""
        if known_at is not None and self.end_recorded_at and self.end_recorded_at > known_at:
            return None
        found: date | None = self.until_on
        return found


class Agreement(TenantModel):
    """What the contract covers at a building from a day on: who does which frequencies."""

    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="agreements", db_constraint=False
    )
    valid_from = models.DateField(_("from"))
    valid_until = models.DateField(_("until"), null=True, blank=True)
    owner_does = models.JSONField(
        _("frequencies the owner does"),
        default=list,
        blank=True,
        help_text=_("ISO 8601 durations such as P7D and P1M; the contractor does the rest."),
    )
    anchor_month = models.PositiveSmallIntegerField(
        _("month of the annual visit"), null=True, blank=True
    )
    recorded_at = models.DateTimeField()

    class Meta(TenantModel.Meta):
        constraints = [
            *tenant_keys("building"),
            unique_here("building", "valid_from", name="buildings_agreement_once"),
        ]

    def __str__(self) -> str:
        return f"agreement from {self.valid_from}"


class SupplyPoint(TenantModel):
    """A point of water supply that one or more buildings draw on, with its flow tests."""

    code = models.CharField(_("number"), max_length=30)
    name = models.CharField(_("name"), max_length=120)
    main_size = models.CharField(_("main"), max_length=40, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys(), unique_here("code", name="buildings_supply_code")]

    def __str__(self) -> str:
        return self.name


class Revision(TenantModel):
    """What was known of a building, system, riser or device from a day on; written once.

    Facts that rules read have two dates: valid from (in the world) and recorded at (here).
    """

    class Subject(models.TextChoices):
        """What the revision is of."""

        BUILDING = "building", _("building")
        SYSTEM = "system", _("system")
        RISER = "riser", _("riser")
        DEVICE = "device", _("device")

    building = models.ForeignKey(
        Building, on_delete=models.CASCADE, related_name="revisions", db_constraint=False
    )
    subject_kind = models.CharField(max_length=10, choices=Subject)
    subject_id = models.UUIDField()
    valid_from = models.DateField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        Membership, null=True, on_delete=models.PROTECT, related_name="+"
    )
    reason = models.CharField(max_length=200, blank=True)
    facts: Any = models.JSONField()

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("building"), Sealed(name="buildings_revision_sealed")]
        indexes = [
            models.Index(
                fields=["contractor", "building", "subject_id", "valid_from"],
                name="buildings_revision_at",
            )
        ]

    def __str__(self) -> str:
        return f"{self.subject_kind} {self.subject_id} from {self.valid_from}"
