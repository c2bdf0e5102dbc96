"""What every table of a contractor's rows has in common."""

from collections.abc import Callable, Iterable
from datetime import date
from typing import Any, ClassVar
from uuid import UUID
from zoneinfo import ZoneInfo

import uuid6
from django.db import models
from django.db.models import Q
from django.utils import timezone

from contractors import scope
from contractors.models import lookups  # noqa: F401

_COUNTED = 20


def new_id() -> UUID:
    """Return a UUIDv7: unique wherever it is made, and sorted by the time of making."""
    return UUID(int=uuid6.uuid7().int)


def new_ids(count: int) -> range:
    """Return UUIDv7s of one moment as integers, one after another behind a random one."""
    # Its last bits are cleared, so that counting on never reaches the bits that tell the version.
    first = new_id().int >> _COUNTED << _COUNTED
    return range(first, first + count)


class InZone:
    """What keeps the days of its `time_zone`."""

    time_zone: Any

    @property
    def zone(self) -> ZoneInfo:
        """Return its time zone."""
        return ZoneInfo(self.time_zone)

    @property
    def today(self) -> date:
        """Return the day it is there."""
        return timezone.localdate(timezone=self.zone)


# What is told of written rows that can be searched: (rows, columns written or None for all, new).
searched: dict[type[models.Model], Callable[[Iterable[Any], Iterable[str] | None, bool], None]] = {}


class ScopedQuerySet(models.QuerySet[Any]):
    """A queryset that writes only rows of the contractor in scope."""

    def bulk_create(self, objs: Iterable[Any], *args: Any, **kwargs: Any) -> list[Any]:
        """Insert many rows of the contractor in scope."""
        objs = list(objs)
        for obj in objs:
            obj.check_contractor()
        made = super().bulk_create(objs, *args, **kwargs)
        if objs and self.model in searched:
            known = kwargs.get("update_conflicts") or kwargs.get("ignore_conflicts")
            searched[self.model](objs, None, not known)
        return made

    def bulk_update(
        self, objs: Iterable[Any], fields: Iterable[str], *args: Any, **kwargs: Any
    ) -> int:
        """Write the same columns of many rows."""
        objs, fields = list(objs), list(fields)
        count = super().bulk_update(objs, fields, *args, **kwargs)
        if objs and self.model in searched:
            searched[self.model](objs, fields, False)
        return count


class ScopedManager(models.Manager[Any]):
    """Rows of the contractor in scope; a query without one is an error."""

    which: ClassVar[Q] = Q(contractor_id=scope.CurrentContractor())

    def get_queryset(self) -> models.QuerySet[Any]:
        """Add the contractor's filter, resolved when the SQL is compiled."""
        rows = super().get_queryset()
        # Half of what a small query costs would go into building this same filter anew.
        key = (type(rows), self.model)
        if key not in _filtered:
            _filtered[key] = rows.filter(self.which).query
        rows.query = _filtered[key].clone()
        return rows


class PublishedManager(ScopedManager):
    """Rows that the reader in scope, contractor or owner, may see."""

    which = Q(scope.PublishedToReader())


_filtered: dict[tuple[type, type], Any] = {}


class TenantModel(models.Model):
    """A row of one contractor."""

    is_tenant_table = True

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    contractor = models.ForeignKey(
        "contractors.Contractor",
        on_delete=models.PROTECT,
        default=scope.current_contractor_id,
        editable=False,
        related_name="+",
        db_index=False,
    )

    objects = ScopedManager.from_queryset(ScopedQuerySet)()

    class Meta:
        abstract = True
        base_manager_name = "objects"

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Write the row within its contractor's scope."""
        self.check_contractor()
        fresh = self._state.adding
        super().save(*args, **kwargs)
        if type(self) in searched:
            searched[type(self)]([self], kwargs.get("update_fields"), fresh)

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        """Delete the row within its contractor's scope."""
        self.check_contractor()
        return super().delete(*args, **kwargs)

    def check_contractor(self) -> None:
        """Refuse to write a row of another contractor.

        Raises
        ------
        WrongContractor
            When the row belongs to another contractor than the one in scope.
        """
        if self.contractor_id != scope.current_contractor_id():
            raise scope.WrongContractor(f"{self._meta.label} {self.pk}")


class PublishedModel(TenantModel):
    """A row that a contractor published to an owner; both read it, the contractor writes it."""

    is_published_table = True
    owner_writes = False

    owner = models.ForeignKey(
        "contractors.Owner", on_delete=models.PROTECT, editable=False, related_name="+"
    )

    objects = PublishedManager.from_queryset(ScopedQuerySet)()  # type: ignore[misc,assignment]

    class Meta:
        abstract = True
        base_manager_name = "objects"

    def check_contractor(self) -> None:
        """Refuse a row of another contractor; an owner writes only their own acts."""
        owner_id = scope.current_owner_id()
        if owner_id is None:
            super().check_contractor()
        elif not self.owner_writes or self.owner_id != owner_id:
            raise scope.WrongContractor(f"{self._meta.label} {self.pk}")
