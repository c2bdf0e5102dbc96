"""Tables of the contractors app."""

from contractors.models.base import (
    InZone,
    PublishedModel,
    ScopedManager,
    ScopedQuerySet,
    TenantModel,
    new_id,
)
from contractors.models.given_out import (
    AskedExport,
    CalendarEntry,
    CalendarFeed,
    DeskEntry,
    Export,
    OwnerExport,
    PublishedEntry,
)
from contractors.models.limits import Allowance
from contractors.models.outbox import AuditEntry, KeptAnswer, Notice, OutboxMessage, StoredFile
from contractors.models.parties import (
    AccessToken,
    Contractor,
    MailChoice,
    Membership,
    Owner,
    OwnerAccess,
    User,
)
from contractors.models.people import Instrument, Licence, Office, Person
from contractors.models.search import SearchWord

__all__ = [
    "AccessToken",
    "Allowance",
    "AskedExport",
    "AuditEntry",
    "CalendarEntry",
    "CalendarFeed",
    "Contractor",
    "DeskEntry",
    "Export",
    "InZone",
    "Instrument",
    "KeptAnswer",
    "Licence",
    "MailChoice",
    "Membership",
    "Notice",
    "Office",
    "OutboxMessage",
    "Owner",
    "OwnerAccess",
    "OwnerExport",
    "Person",
    "PublishedEntry",
    "PublishedModel",
    "ScopedManager",
    "ScopedQuerySet",
    "SearchWord",
    "StoredFile",
    "TenantModel",
    "User",
    "new_id",
]
