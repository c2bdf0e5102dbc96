"""Exports: a table asked for as a file, written by a job in chunks, fetched until it expires.

Upper apps register their tables. What a table shows is narrowed by the same filters as the page
that lists it.
"""

import logging
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, BinaryIO
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q, QuerySet
from django.forms import BaseForm
from django.http import HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _

from contractors import audit, files, filters, outbox, sheets
from contractors.doors import Door
from contractors.models import (
    AskedExport,
    Export,
    OutboxMessage,
    OwnerExport,
    StoredFile,
)
from contractors.refusal import FieldRefused, NotThere, Refusal
from contractors.scope import contractor_scope, owner_scope

log = logging.getLogger(__name__)

WRITE, EXPIRE = "export.write", "export.expire"
KEPT_FOR = timedelta(days=7)
CHUNK = 1_000
ID_BYTES = 16
MOST_AT_ONCE = 4
MEDIA_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "json": "application/json",
}
State = AskedExport.State
UNDER_WAY = (State.WAITING, State.WRITING)
Filters = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table that can be exported.

    Attributes
    ----------
    name, title, says
        Its name in addresses and files, its name for people, and one line on what a row is.
    columns
        From the system of units, "us" or "metric", to the headings; a unit stands in its heading.
    chosen
        From what narrows it, and who asks, to the form that checks it (None: nothing narrows it)
        and the rows.
    rows
        From ids, in their order, and the system of units to the rows of the file. Moments are in
        the building's time zone, days are dates.
    owner
        Whether it is a table of an owner's rooms; else it is one of the contractor's desk.
    id_name
        The column that names a row.
    chunk
        How many ids are read at once; fewer where one id makes many rows of the file.
    """

    name: str
    title: Any
    says: Any
    columns: Callable[[str], Sequence[str]]
    chosen: Callable[[Filters, Door], tuple[BaseForm | None, QuerySet[Any]]]
    rows: Callable[[Sequence[UUID], str], Iterable[Sequence[object]]]
    owner: bool = False
    id_name: str = "pk"
    chunk: int = CHUNK


tables: dict[str, Table] = {}
# Which contractor's queue writes an owner's file: one of those who look after their buildings.
contractor_for_owner: list[Callable[[], UUID | None]] = []


def register(*given: Table) -> None:
    """Offer tables for export."""
    tables.update((table.name, table) for table in given)


def offered(door: Door) -> list[Table]:
    """Return the tables that somebody behind this door may have."""
    return [table for table in tables.values() if table.owner == (door.member is None)]


class TooMany(Refusal):
    """Several files are being written already."""

    code = "too_many_exports"
    status = 429
    sentence = "%(most)s files are being written already. Wait until one is ready, or call one off."


class NothingYet(Refusal):
    """An owner whose buildings nobody looks after yet has nothing to export."""

    code = "nothing_to_export"
    status = 409
    sentence = "There is nothing to export yet: no building is looked after."


class NotNow(Refusal):
    """The export is not in a state for this."""

    code = "export_state"
    status = 409
    sentence = "This cannot be done now: the export is %(state)s."


class Gone(Refusal):
    """The file was deleted when its time was over."""

    code = "export_expired"
    status = 410
    sentence = "The file expired and is deleted. Start the export again to have a new one."


def _model(door: Door) -> Any:
    return Export if door.member else OwnerExport


def of(door: Door) -> QuerySet[Any]:
    """Return the exports that were asked for at this door's desk or rooms, newest first.

    One whose job was given up is shown as failed.
    """
    rows: QuerySet[Any] = _model(door).objects.select_related("by__user").order_by("-made_at")
    _settle(rows)
    return rows


def _settle(rows: QuerySet[Any]) -> None:
    waiting = {f"{r.pk}:{r.attempt}": r.pk for r in rows.filter(state__in=UNDER_WAY)}
    if not waiting:
        return
    parked = OutboxMessage.objects.filter(
        kind=WRITE, key__in=waiting, state=OutboxMessage.State.PARKED
    )
    given_up = [waiting[key] for key in parked.values_list("key", flat=True)]
    if given_up:
        rows.model.objects.filter(pk__in=given_up, state__in=UNDER_WAY).update(
            state=State.FAILED, error=_broke()
        )


def _broke() -> str:
    return _("Something broke here; it was written down. Try again, or narrow the table first.")


def export_for(door: Door, export_id: UUID) -> Any:
    """Return an export of this door's desk or rooms; `NotThere` otherwise."""
    found = of(door).filter(pk=export_id).first()
    if found is None:
        raise NotThere
    return found


def ask(door: Door, *, kind: str, format: str, units: str, narrowed: Filters) -> Any:
    """Write down that somebody wants a table as a file, and have it written.

    Raises
    ------
    FieldRefused
        When there is no such table, kind of file, system of units or filter, or a filter's value is
        not accepted.
    TooMany, NothingYet
        When four are under way already, or an owner has no building yet.
    """
    table = _table(door, kind)
    _one_of("format", format, AskedExport.Format.values)
    _one_of("units", units, AskedExport._meta.get_field("units").choices)
    wanted = _checked(table, narrowed, door)
    model = _model(door)
    if of(door).filter(state__in=UNDER_WAY).count() >= MOST_AT_ONCE:
        raise TooMany(most=MOST_AT_ONCE)
    whose = {"by": door.member} if door.member else {"by": door.access, "owner": door.owner}
    with transaction.atomic():
        export = model.objects.create(
            kind=kind,
            format=format,
            units=units,
            filters=wanted,
            made_at=timezone.now(),
            **whose,
        )
        _begin(export)
        _note("export.asked", door, export)
    return export


def _table(door: Door, kind: str) -> Table:
    names = [table.name for table in offered(door)]
    _one_of("kind", kind, names)
    return tables[kind]


def _one_of(field: str, value: str, accepted: Any) -> None:
    values = [one[0] if isinstance(one, tuple) else one for one in accepted]
    if value not in values:
        raise FieldRefused(field, value, _("One of: %(values)s.") % {"values": ", ".join(values)})


def _checked(table: Table, narrowed: Filters, door: Door) -> dict[str, Any]:
    given = {name: value for name, value in narrowed.items() if value not in ("", None)}
    form, _rows = table.chosen(given, door)
    names = list(form.fields) if form else []
    for name, value in given.items():
        _one_of(f"filters.{name}", name, names)
        if not isinstance(value, str | int | bool):
            raise FieldRefused(f"filters.{name}", value, _("A text, a number, or true or false."))
    if form is not None:
        filters.refuse_wrong(form)
    return {name: value if isinstance(value, bool) else str(value) for name, value in given.items()}


def _begin(export: Any) -> None:
    owner_id = export.owner_id if isinstance(export, OwnerExport) else None
    more: dict[str, Any] = {}
    if owner_id:
        contractor_id = next((c for c in (find() for find in contractor_for_owner) if c), None)
        if contractor_id is None:
            raise NothingYet
        more = {"contractor_id": contractor_id}
    key = f"{export.pk}:{export.attempt}"
    outbox.add(WRITE, key, export=export.pk, owner=owner_id, **more)


def _note(action: str, door: Door, export: Any) -> None:
    if door.member:
        audit.record(action, by=door.member, on=export, kind=export.kind, format=export.format)


def cancel(door: Door, export: Any) -> None:
    """Call an export off that waits or is being written.

    Raises
    ------
    NotNow
        When it is over.
    """
    changed = _model(door).objects.filter(pk=export.pk, state__in=UNDER_WAY)
    if not changed.update(state=State.CANCELLED, done_at=timezone.now()):
        raise NotNow(state=str(export.get_state_display()))


def retry(door: Door, export: Any) -> None:
    """Have an export written that failed, was called off or expired.

    Raises
    ------
    NotNow
        When it is under way or ready.
    """
    rows = _model(door).objects.filter(pk=export.pk).exclude(state__in=(*UNDER_WAY, State.READY))
    with transaction.atomic():
        begun = rows.update(
            state=State.WAITING,
            attempt=export.attempt + 1,
            rows=None,
            written=0,
            error="",
            done_at=None,
            expires_at=None,
        )
        if not begun:
            raise NotNow(state=str(export.get_state_display()))
        export.refresh_from_db()
        _begin(export)


def fetched(door: Door, export: Any) -> BinaryIO:
    """Open the file of an export, and note who fetched it.

    Raises
    ------
    Gone
        When its time is over.
    NotNow
        When it is not ready.
    """
    over = export.expires_at is not None and export.expires_at <= timezone.now()
    if export.state == State.EXPIRED or over:
        raise Gone
    if export.state != State.READY:
        raise NotNow(state=str(export.get_state_display()))
    _note("export.fetched", door, export)
    return files.opened(export.file.sha256, _holder(export))


def _holder(export: Any) -> UUID:
    holder: UUID = export.owner_id if isinstance(export, OwnerExport) else export.contractor_id
    return holder


def at_once(name: str, narrowed: Filters, door: Door) -> HttpResponse:
    """Answer with a table as a CSV file, for a page's own link; large ones are for `ask`.

    Raises
    ------
    FieldRefused
        When a filter's value is not accepted: a file does not say what was left out.
    """
    table = tables[name]
    form, chosen = table.chosen(narrowed, door)
    if form is not None:
        filters.refuse_wrong(form)
    units = door.contractor.units
    rows = (
        row
        for chunk in _chunks(_ids(table, chosen), table.chunk)
        for row in table.rows(chunk, units)
    )
    content = sheets.write_csv(table.columns(units), rows)
    answer = HttpResponse(content, content_type=MEDIA_TYPES["csv"])
    answer["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    return answer


def _ids(table: Table, chosen: QuerySet[Any]) -> bytes:
    """Return the ids of the rows, sixteen bytes each: the one thing held of all rows at once."""
    found = bytearray()
    for key in chosen.values_list(table.id_name, flat=True).iterator(chunk_size=CHUNK):
        found += key.bytes
    return bytes(found)


def _chunks(ids: bytes, size: int) -> Iterator[list[UUID]]:
    for start in range(0, len(ids), ID_BYTES * size):
        part = ids[start : start + ID_BYTES * size]
        yield [UUID(bytes=part[n : n + ID_BYTES]) for n in range(0, len(part), ID_BYTES)]


def in_order(rows: QuerySet[Any], ids: Sequence[UUID], id_name: str = "pk") -> list[Any]:
    """Return the rows of these ids in the ids' order; one deleted meanwhile is left out."""
    name = "id" if id_name == "pk" else id_name
    found = {getattr(row, name): row for row in rows.filter(**{f"{id_name}__in": list(ids)})}
    return [found[one] for one in ids if one in found]


def moment(at: datetime | None, zone: str | ZoneInfo) -> str | None:
    """Write a moment in a building's time zone, with its offset: 2026-11-25T08:00:00-05:00."""
    if at is None:
        return None
    here = ZoneInfo(zone) if isinstance(zone, str) else zone
    return at.astimezone(here).isoformat(timespec="seconds")


# --- the job ---------------------------------------------------------------------------------


@outbox.on(WRITE, queue="bulk", long=True)
def write(message: OutboxMessage) -> None:
    """Write an export's file in chunks, each read in a scope of its own; called off at any one."""
    job = _Job(message)
    try:
        job.run()
    except Refusal as refused:
        job.fail(refused.message())
    except Exception:
        if message.attempts >= outbox.MOST_ATTEMPTS:
            job.fail(_broke())
        raise


class _CalledOff(Exception):
    """Somebody called the export off, or another worker began it anew."""


class _Job:
    def __init__(self, message: OutboxMessage) -> None:
        self.message = message
        owner = message.payload["owner"]
        self.owner_id = UUID(owner) if owner else None
        self.model: Any = OwnerExport if owner else Export
        self.holder = self.owner_id or message.contractor_id
        self.asker = ("by__user",) if owner else ("by__user", "by__contractor")

    def scope(self) -> AbstractContextManager[None]:
        if self.owner_id:
            return owner_scope(self.owner_id)
        return contractor_scope(self.message.contractor_id)

    def change(self, **values: Any) -> None:
        """Change the export while it is this job's to write."""
        attempt = self.message.key.rpartition(":")[2]
        mine = Q(pk=self.message.payload["export"], state__in=UNDER_WAY, attempt=attempt)
        if not self.model.objects.filter(mine).update(**values):
            raise _CalledOff

    def fail(self, error: str) -> None:
        with self.scope():
            mine = self.model.objects.filter(pk=self.message.payload["export"], state__in=UNDER_WAY)
            mine.update(state=State.FAILED, error=error[:300], done_at=timezone.now())

    def run(self) -> None:
        try:
            with self.scope():
                self.change(state=State.WRITING, written=0, error="")
                export = self.model.objects.select_related(*self.asker).get(
                    pk=self.message.payload["export"]
                )
                door = self._door(export)
                table = _table(door, export.kind)
            with door.clock():
                self._write(export, table, door)
        except _CalledOff:
            log.info("export %s was called off", self.message.key)

    def _write(self, export: Any, table: Table, door: Door) -> None:
        """Write the rows on the day of whoever asked, as the list narrows them."""
        with self.scope():
            form, chosen = table.chosen(export.filters, door)
            if form is not None:
                filters.refuse_wrong(form)
            ids = _ids(table, chosen)
            self.change(rows=len(ids) // ID_BYTES)
        with files.being_written(self.holder) as part:
            count = self._rows(export, table, ids, part)
            sha256, size = files.keep_written(part, self.holder)
        self._ready(export, count, sha256, size)

    def _door(self, export: Any) -> Door:
        by = export.by
        return Door(by.user, access=by) if self.owner_id else Door(by.user, member=by)

    def _rows(self, export: Any, table: Table, ids: bytes, part: BinaryIO) -> int:
        headings = table.columns(export.units)
        done = count = 0
        with _writer(export, table, headings, part) as add:
            for chunk in _chunks(ids, table.chunk):
                with self.scope():
                    for row in table.rows(chunk, export.units):
                        add(row)
                        count += 1
                    done += len(chunk)
                    self.change(written=done)
                OutboxMessage.objects.filter(pk=self.message.pk).update(
                    progress=100 * done // max(1, len(ids) // ID_BYTES),
                    leased_until=timezone.now() + outbox.LEASE,
                )
        return count

    def _ready(self, export: Any, count: int, sha256: str, size: int) -> None:
        now = timezone.now()
        facts = {
            "sha256": sha256,
            "size": size,
            "media_type": MEDIA_TYPES[export.format],
            "name": f"{export.kind}-{timezone.localdate(now)}.{export.format}",
        }
        ends = now + KEPT_FOR
        with self.scope(), transaction.atomic():
            named = (
                facts
                if self.owner_id
                else {"file": StoredFile.objects.create(**facts, made_at=now)}
            )
            counts = {"rows": count, "written": count}
            self.change(state=State.READY, done_at=now, expires_at=ends, **counts, **named)
            outbox.add(
                EXPIRE,
                self.message.key,
                not_before=ends,
                contractor_id=self.message.contractor_id,
                export=export.pk,
                owner=self.owner_id,
            )


def _writer(
    export: Any, table: Table, headings: Sequence[str], part: BinaryIO
) -> AbstractContextManager[sheets.AddRow]:
    if export.format == "csv":
        return sheets.csv_file(part, headings)
    if export.format == "xlsx":
        return sheets.xlsx_file(part, table.name, headings)
    facts = {
        "table": table.name,
        "made_at": timezone.now().isoformat(timespec="seconds"),
        "units": export.units,
        "narrowed_to": export.filters,
    }
    return sheets.json_file(part, facts, headings)


@outbox.on(EXPIRE, queue="bulk")
def expire(message: OutboxMessage) -> None:
    """Delete the file of an export whose time is over."""
    owner = message.payload["owner"]
    with owner_scope(UUID(owner)) if owner else contractor_scope(message.contractor_id):
        model: Any = OwnerExport if owner else Export
        export = model.objects.filter(pk=message.payload["export"], state=State.READY).first()
        if export is None or export.expires_at > timezone.now():
            return
        file, holder = export.file, _holder(export)
        sha256 = file.sha256
        if owner:
            model.objects.filter(pk=export.pk).update(state=State.EXPIRED, sha256="")
            still = model.objects.filter(sha256=sha256).exists()
        else:
            model.objects.filter(pk=export.pk).update(state=State.EXPIRED, file=None)
            file.delete()
            still = StoredFile.objects.filter(sha256=sha256).exists()
        if not still:
            transaction.on_commit(lambda: files.delete(sha256, holder))
