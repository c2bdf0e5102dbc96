"""Who may come in: contractors, owners, users and what their tokens and sessions stand for.

These tables stand outside the row policies, so they hold no personal data beyond the log-in itself.
"""

from datetime import time
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _
from knox.models import AbstractAuthToken

from contractors.models.base import InZone, new_id


class MailChoice(models.TextChoices):
    """How a person wants mail about ordinary matters; impairments always come at once."""

    EACH = "each", _("each message as it comes")
    DAILY = "daily", _("one mail a day")
    WEEKLY = "weekly", _("one mail a week, on Monday")
    NONE = "none", _("none; I look here")


class Contractor(InZone, models.Model):
    """A fire protection contractor: the tenant that all recorded rows belong to."""

    class Units(models.TextChoices):
        """How quantities are shown where a building does not say otherwise."""

        US = "us", _("US customary")
        METRIC = "metric", _("metric")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    name = models.CharField(_("name"), max_length=120)
    code = models.SlugField(_("short code"), max_length=40, unique=True)
    units = models.CharField(_("units"), max_length=10, choices=Units, default=Units.US)
    time_zone = models.CharField(_("time zone"), max_length=60, default="America/New_York")
    review_waived = models.BooleanField(
        _("visits are sealed without a review"),
        default=False,
        help_text=_("Impairments and owner notices never wait for a review."),
    )
    planning = models.JSONField(_("planning weights"), default=dict, blank=True)
    quiet_from = models.TimeField(
        _("quiet from"),
        default=time(20),
        help_text=_("Ordinary messages wait till the morning; impairments never do."),
    )
    quiet_until = models.TimeField(_("quiet until"), default=time(7))
    digest_at = models.TimeField(_("one mail a day goes at"), default=time(7))
    owner_mail = models.CharField(
        _("owners get mail"), max_length=6, choices=MailChoice, default=MailChoice.EACH
    )

    def __str__(self) -> str:
        return self.name


class Owner(InZone, models.Model):
    """A building owner's organisation: an account of its own, not a row of one contractor."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    name = models.CharField(_("name"), max_length=120)
    code = models.SlugField(_("short code"), max_length=40, unique=True)
    time_zone = models.CharField(
        _("time zone"),
        max_length=60,
        default="America/New_York",
        help_text=_("That of the contractor who brought the owner in."),
    )

    def __str__(self) -> str:
        return self.name


class UserManager(BaseUserManager["User"]):
    """Makes users, whose e-mail address is their name."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "User":
        """Make a user; without a password nobody can sign in as them until one is set."""
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user


class User(AbstractBaseUser):  # type: ignore[django-manager-missing]
    """A person's log-in. What they may do follows from a membership or an owner access."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    email = models.EmailField(_("e-mail"), unique=True)
    name = models.CharField(_("name"), max_length=120, blank=True)
    language = models.CharField(_("language"), max_length=10, default="en")
    is_active = models.BooleanField(_("may sign in"), default=True)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    objects = UserManager()

    def __str__(self) -> str:
        return self.name or self.email


class Membership(models.Model):  # type: ignore[django-manager-missing]
    """A user's place with a contractor."""

    class Role(models.TextChoices):
        """What a member does."""

        MANAGER = "manager", _("service manager")
        OFFICE = "office", _("office")
        TECHNICIAN = "technician", _("technician")
        TRAINER = "trainer", _("trainer")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="memberships")
    contractor = models.ForeignKey(Contractor, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(_("role"), max_length=20, choices=Role)
    is_principal = models.BooleanField(
        _("answers for the contractor, and is told last"), default=False
    )
    mail = models.CharField(_("mail"), max_length=6, choices=MailChoice, default=MailChoice.EACH)
    ended_on = models.DateField(_("ended on"), null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["user", "contractor"], name="contractors_one_membership_each"
            )
        ]

    def __str__(self) -> str:
        return f"{self.user} ({self.get_role_display()}, {self.contractor})"

    @property
    def is_over(self) -> bool:
        """Say whether its last day is past at the contractor's."""
        return self.ended_on is not None and self.ended_on < self.contractor.today


class Accesses(models.QuerySet["OwnerAccess"]):
    """Owners' accesses."""

    def open_today(self) -> list["OwnerAccess"]:
        """Return those that are open on their owner's day, with owner and user."""
        return [one for one in self.select_related("owner", "user") if one.is_open]


class OwnerAccess(models.Model):  # type: ignore[django-manager-missing]
    """A user's place with an owner, for a span of days."""

    class Role(models.TextChoices):
        """What the user may do for the owner."""

        DECIDES = "decides", _("decides on repairs")
        READS = "reads", _("reads")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="owner_accesses")
    owner = models.ForeignKey(Owner, on_delete=models.CASCADE, related_name="accesses")
    role = models.CharField(_("role"), max_length=20, choices=Role, default=Role.DECIDES)
    mail = models.CharField(
        _("mail"),
        max_length=6,
        choices=MailChoice,
        blank=True,
        help_text=_("Empty: as the contractor set it for owners."),
    )
    from_on = models.DateField(_("from"))
    until_on = models.DateField(_("until"), null=True, blank=True)

    objects = Accesses.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "owner"], name="contractors_one_access_each")
        ]

    def __str__(self) -> str:
        return f"{self.user} ({self.owner})"

    @property
    def is_open(self) -> bool:
        """Say whether today, at the owner's, lies within its days."""
        today = self.owner.today
        return self.from_on <= today and (self.until_on is None or today <= self.until_on)


class AccessToken(AbstractAuthToken):  # type: ignore[misc]
    """An API token: it stands for exactly one membership or one owner access."""

    membership = models.ForeignKey(
        Membership, null=True, blank=True, on_delete=models.CASCADE, related_name="tokens"
    )
    owner_access = models.ForeignKey(
        OwnerAccess, null=True, blank=True, on_delete=models.CASCADE, related_name="tokens"
    )
    label = models.CharField(_("what it is for"), max_length=80, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(membership__isnull=False, owner_access__isnull=True)
                | Q(membership__isnull=True, owner_access__isnull=False),
                name="contractors_token_names_one_door",
            )
        ]

    def __str__(self) -> str:
        return f"{self.token_key}… ({self.label or self.user})"
