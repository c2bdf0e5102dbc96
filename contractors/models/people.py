"""A contractor's own people and their instruments."""

from datetime import date
from typing import Any

from django.db import models
from django.utils.translation import gettext_lazy as _

from contractors.keys import tenant_keys, unique_here
from contractors.models.base import TenantModel
from contractors.models.outbox import StoredFile
from contractors.models.parties import Membership


class Office(TenantModel):
    """A place that technicians start from."""

    name = models.CharField(_("name"), max_length=80)
    address = models.CharField(_("address"), max_length=200, blank=True)
    latitude = models.FloatField(_("latitude"))
    longitude = models.FloatField(_("longitude"))

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys(), unique_here("name", name="contractors_office_name")]

    def __str__(self) -> str:
        return self.name


class Person(TenantModel):
    """One of the contractor's people; a technician when they have a working week."""

    membership = models.OneToOneField(
        Membership, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    office = models.ForeignKey(
        Office, null=True, blank=True, on_delete=models.PROTECT, db_constraint=False
    )
    code = models.CharField(_("short code"), max_length=20)
    name = models.CharField(_("name"), max_length=120)
    firm = models.CharField(
        _("other firm"),
        max_length=120,
        blank=True,
        help_text=_("Only for somebody of another firm, who comes as the second on a visit."),
    )
    phone = models.CharField(_("telephone"), max_length=20, blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    is_technician = models.BooleanField(_("goes out on visits"), default=False)
    week = models.JSONField(
        _("working week"),
        default=dict,
        blank=True,
        help_text=_("Weekday (0 is Monday) to start and end, such as 07:00 and 16:00."),
    )
    absences = models.JSONField(_("days off"), default=list, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("office"), unique_here("code", name="contractors_person_code")]

    def __str__(self) -> str:
        return f"{self.name} ({self.firm})" if self.firm else self.name

    def licence_on(self, day: date, kind: str | None = None) -> "Licence | None":
        """Return a licence of this person that holds on that day, or None."""
        held = self.licences.filter(valid_from__lte=day, valid_until__gte=day)
        if kind is not None:
            held = held.filter(kind=kind)
        found: Licence | None = held.order_by("-valid_until").first()
        return found


class Licence(TenantModel):
    """A licence or qualification that a person holds for a span of days."""

    class Kind(models.TextChoices):
        """What the licence allows; the words of the activity catalogue's qualifications."""

        INSPECTOR = "inspector", _("inspector")
        SPRINKLER_FITTER = "sprinkler_fitter", _("sprinkler fitter")
        BACKFLOW_TESTER = "backflow_tester", _("backflow tester")
        PUMP_TESTER = "pump_tester", _("pump tester")
        ALARM_TECHNICIAN = "alarm_technician", _("fire alarm technician")
        ENGINE_MECHANIC = "engine_mechanic", _("engine mechanic")
        ELECTRICIAN = "electrician", _("electrician")
        FOAM = "foam", _("foam systems")
        MIST = "mist", _("water mist systems")
        TANK_INSPECTOR = "tank_inspector", _("tank inspector")
        LABORATORY = "laboratory", _("laboratory")
        COMPETENT_PERSON_UK = "competent_person_uk", _("competent person (United Kingdom)")
        PREACTION = "preaction", _("released to work alone on preaction")

    person = models.ForeignKey(
        Person, on_delete=models.CASCADE, related_name="licences", db_constraint=False
    )
    kind = models.CharField(_("kind"), max_length=40)
    number = models.CharField(_("number"), max_length=40, blank=True)
    jurisdiction = models.CharField(_("jurisdiction"), max_length=80, blank=True)
    valid_from = models.DateField(_("valid from"))
    valid_until = models.DateField(_("valid until"))
    scan = models.ForeignKey(
        StoredFile,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        db_constraint=False,
    )

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys("person", "scan")]
        indexes = [
            models.Index(fields=["contractor", "valid_until"], name="contractors_licence_ends")
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.number}".strip()


class Instrument(TenantModel):
    """A gauge, kit or meter that readings are taken with, and its calibration."""

    kind = models.CharField(_("kind"), max_length=60)
    serial = models.CharField(_("serial number"), max_length=60)
    calibrated_on = models.DateField(_("calibrated on"), null=True, blank=True)
    due_on = models.DateField(_("calibration due on"), null=True, blank=True)

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys(), unique_here("serial", name="contractors_instrument_serial")]

    def __str__(self) -> str:
        return f"{self.kind} {self.serial}"


def minutes_of(clock: Any) -> int:
    """Return minutes after midnight of a clock time such as 07:30.

    Raises
    ------
    ValueError
        When it is not a time of day written as HH:MM.
    """
    hours, _colon, minutes = str(clock).partition(":")
    if not (hours.isdigit() and minutes.isdigit() and int(hours) <= 24 and int(minutes) < 60):
        raise ValueError(f"{clock!r} is not a time of day; write HH:MM, such as 07:30")
    return int(hours) * 60 + int(minutes)
