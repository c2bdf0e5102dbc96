"""Calendars that other programs subscribe to (RFC 5545), each under a secret address of its own.

A feed keeps what its readers were last told, so that an event that moves keeps its UID and raises
its SEQUENCE, and one that is gone is told as cancelled for a while. Upper apps say what is in it.
"""

import hashlib
import re
import secrets
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import icalendar
from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.utils import timezone, translation

from contractors import audit
from contractors.doors import OFFICE, Door, Role, doors_of
from contractors.models import CalendarFeed, DeskEntry, PublishedEntry
from contractors.models.base import new_id
from contractors.refusal import FieldRefused, NotThere, Refusal
from contractors.scope import contractor_scope

TOKEN_BYTES = 32
LONGEST_TOKEN = 80
SHOWN_BACK = timedelta(days=60)
SHOWN_AHEAD = timedelta(days=400)
CANCELLED_FOR = timedelta(days=30)
REMEMBERED_FOR = timedelta(days=400)
# A calendar program asks a few times an hour; more than this in a span is turned away.
COUNTED_FOR, MOST_ASKED = timedelta(minutes=10), 60
REFRESH = timedelta(hours=1)
MEDIA_TYPE = "text/calendar; charset=utf-8"
# Everything that RFC 5545, 3.1 keeps out of a text: controls but the tab; line ends come escaped.
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u2028\u2029\ufffe\uffff\ud800-\udfff]")
Kind = CalendarFeed.Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """An event for a calendar.

    Attributes
    ----------
    key
        Names the event for good, such as ``visit-`` and the visit's id: its UID is made of it.
    starts, ends
        Both moments, or both days; the end is the first moment or day after it.
    zone
        The building's time zone.
    path
        Address on this service that tells more.
    busy
        Whether somebody's time is taken.
    """

    key: str
    building_id: UUID
    starts: datetime | date
    ends: datetime | date
    zone: str
    summary: str
    place: str
    text: str
    path: str
    busy: bool = True

    def facts(self) -> dict[str, Any]:
        """Return what readers are told, as it is kept."""
        return {
            "starts": self.starts.isoformat(),
            "ends": self.ends.isoformat(),
            "all_day": not isinstance(self.starts, datetime),
            "zone": self.zone,
            "summary": self.summary,
            "place": self.place,
            "text": self.text,
            "path": self.path,
            "busy": self.busy,
        }

    @property
    def ends_on(self) -> date:
        """Return the day on which it ends."""
        return self.ends.date() if isinstance(self.ends, datetime) else self.ends


@dataclass(frozen=True, slots=True)
class Contents:
    """What a kind of calendar shows, as an upper app says.

    Attributes
    ----------
    contractors
        From the feed to the contractors whose rows it shows.
    entries
        From the feed and the moment to the events, in one contractor's scope.
    is_there
        Whether the subject of the feed is there, for who holds it; in the holder's scope.
    subjects
        Ids and names of what somebody behind a door may subscribe to; in their scope.
    """

    contractors: Callable[[CalendarFeed], Sequence[UUID]]
    entries: Callable[[CalendarFeed, datetime], Iterable[Entry]]
    is_there: Callable[[CalendarFeed, Door], bool]
    subjects: Callable[[Door], Sequence[tuple[UUID, str]]]


contents: dict[str, Contents] = {}


class AskedTooOften(Refusal):
    """A program fetches the calendar far more often than it can change."""

    code = "asked_too_often"
    status = 429
    sentence = "This calendar is fetched too often. Once an hour is enough."


# --- the feeds of a door ---------------------------------------------------------------------


def of(door: Door) -> QuerySet[CalendarFeed]:
    """Return the live feeds that somebody may see: their own, and a manager the contractor's."""
    rows = CalendarFeed.objects.filter(revoked_at=None).select_related(
        "membership__user", "owner_access__user"
    )
    if door.member is None:
        return rows.filter(owner_access=door.access)
    if door.role == Role.MANAGER:
        return rows.filter(membership__contractor=door.contractor)
    return rows.filter(membership=door.member)


def kinds_for(door: Door) -> list[str]:
    """Return the kinds of calendars that somebody may subscribe to."""
    if door.member is None:
        return [Kind.OWNER]
    if door.role in OFFICE:
        return [Kind.BUILDING, Kind.TECHNICIAN]
    return [Kind.TECHNICIAN] if door.role == Role.TECHNICIAN else []


def make(door: Door, *, kind: str, subject_id: UUID | None, label: str) -> tuple[CalendarFeed, str]:
    """Make a feed; return it with its secret, which is kept nowhere and shown this once.

    Raises
    ------
    FieldRefused
        When it has no name, or the kind or its subject is not this person's to subscribe to.
    """
    name = label.strip()
    if not name or len(name) > 80:
        raise FieldRefused("label", label[:80] or "nothing", "A name of up to 80 characters.")
    if kind not in kinds_for(door):
        raise FieldRefused("kind", kind, f"One of: {', '.join(kinds_for(door))}.")
    token = secrets.token_urlsafe(TOKEN_BYTES)
    feed = CalendarFeed(
        id=new_id(),
        token_hash=_hash(token),
        membership=door.member,
        owner_access=door.access,
        kind=kind,
        subject_id=subject_id,
        label=name,
        made_at=timezone.now(),
    )
    if not contents[kind].is_there(feed, door):
        raise FieldRefused("subject", subject_id or "nothing", "One of those in the list.")
    with transaction.atomic():
        feed.save(force_insert=True)
        if door.member:
            audit.record("calendar.made", by=door.member, on=feed, kind=kind)
    return feed, token


def revoke(door: Door, feed_id: UUID) -> None:
    """End a feed; its address answers like one that never was.

    Raises
    ------
    NotThere
        When it is none of theirs.
    """
    feed = of(door).filter(pk=feed_id).first()
    if feed is None:
        raise NotThere
    with transaction.atomic():
        CalendarFeed.objects.filter(pk=feed.pk).update(revoked_at=timezone.now())
        if door.member:
            DeskEntry.objects.filter(reader_id=feed.pk).delete()
            audit.record("calendar.revoked", by=door.member, on=feed)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


# --- fetched by a program --------------------------------------------------------------------


def document(token: str, base: str, now: datetime) -> bytes:
    """Return the calendar behind a secret as iCalendar data.

    Parameters
    ----------
    base
        Address of the service, to which the paths of events are added.

    Raises
    ------
    NotThere
        When the secret is unknown or revoked, or its holder or subject is gone: all the same.
    AskedTooOften
        When a program asks without pause.
    """
    feed = _found(token)
    door = _door(feed)
    with door.scope():
        if not contents[feed.kind].is_there(feed, door):
            raise NotThere
    _count(feed, now)
    with translation.override(door.user.language):
        for contractor_id in contents[feed.kind].contractors(feed):
            with contractor_scope(contractor_id):
                _keep(feed, door, list(contents[feed.kind].entries(feed, now)), now)
    with door.scope():
        rows = list(_told(feed, door).order_by("key"))
    return _written(feed, [row for row in rows if _is_shown(row, now)], base)


def _found(token: str) -> CalendarFeed:
    if len(token) > LONGEST_TOKEN:
        raise NotThere
    rows = CalendarFeed.objects.filter(token_hash=_hash(token), revoked_at=None)
    feed = rows.select_related("membership__user", "owner_access__user").first()
    if feed is None:
        raise NotThere
    return feed


def _door(feed: CalendarFeed) -> Door:
    held = feed.membership or feed.owner_access
    user = held.user  # type: ignore[union-attr]
    doors = doors_of(user) if user.is_active else []
    door = next((d for d in doors if (d.member or d.access) == held), None)
    if door is None or feed.kind not in kinds_for(door):
        raise NotThere
    return door


def _count(feed: CalendarFeed, now: datetime) -> None:
    """Count the request, by one statement, so that many at once are counted rightly."""
    rows = CalendarFeed.objects.filter(pk=feed.pk)
    since = now - COUNTED_FOR
    begun = rows.filter(Q(counted_from=None) | Q(counted_from__lte=since))
    if begun.update(counted_from=now, counted=1, last_used_at=now):
        return
    more = rows.filter(counted__lt=MOST_ASKED)
    if not more.update(counted=F("counted") + 1, last_used_at=now):
        raise AskedTooOften


def _told(feed: CalendarFeed, door: Door) -> QuerySet[Any]:
    if door.member:
        return DeskEntry.objects.filter(reader_id=feed.pk)
    return PublishedEntry.objects.filter(owner=door.owner, key__startswith=f"{feed.pk}/")


def _key(feed: CalendarFeed, door: Door, key: str) -> str:
    return key if door.member else f"{feed.pk}/{key}"


def _keep(feed: CalendarFeed, door: Door, wanted: Sequence[Entry], now: datetime) -> None:
    """Bring what readers are told up to date, in the contractor's scope; mostly nothing changes."""
    rows = _told(feed, door)
    if not any(_differences(feed, door, wanted, now, rows)):
        return
    model: Any = DeskEntry if door.member else PublishedEntry
    with transaction.atomic():
        fresh, changed, gone = _differences(feed, door, wanted, now, rows.select_for_update())
        # Another request may have told the same at the same moment.
        model.objects.bulk_create(fresh, ignore_conflicts=True)
        if changed:
            names = ["facts", "ends_on", "sequence", "told_at", "cancelled_at"]
            model.objects.bulk_update(changed, names, batch_size=200)
        rows.filter(pk__in=[row.pk for row in gone]).delete()


def _differences(
    feed: CalendarFeed, door: Door, wanted: Sequence[Entry], now: datetime, rows: QuerySet[Any]
) -> tuple[list[Any], list[Any], list[Any]]:
    """Return the rows that are new, those told otherwise from now on, and those to forget."""
    there = {row.key: row for row in rows}
    fresh, changed, gone = [], [], []
    for one in wanted:
        row = there.pop(_key(feed, door, one.key), None)
        if row is None:
            fresh.append(_row(feed, door, one, now))
        elif row.facts != one.facts() or row.cancelled_at is not None:
            row.facts, row.ends_on, row.cancelled_at = one.facts(), one.ends_on, None
            changed.append(row)
    # What lies further back than is shown slides out of sight by itself: nobody called it off. The
    # end is the day after a whole day, and an evening's work ends on the next day in UTC.
    shown_from = (now - SHOWN_BACK).date() + timedelta(days=1)
    for row in there.values():
        if row.cancelled_at is None and row.ends_on > shown_from:
            row.cancelled_at = now
            changed.append(row)
        elif row.cancelled_at is None or row.cancelled_at < now - REMEMBERED_FOR:
            gone.append(row)
    for row in changed:
        row.sequence += 1
        row.told_at = now
    return fresh, changed, gone


def _row(feed: CalendarFeed, door: Door, one: Entry, now: datetime) -> Any:
    values: dict[str, Any] = {
        "building_id": one.building_id,
        "key": _key(feed, door, one.key),
        "facts": one.facts(),
        "ends_on": one.ends_on,
        "told_at": now,
    }
    if door.member:
        return DeskEntry(reader_id=feed.pk, **values)
    return PublishedEntry(owner=door.owner, **values)


def _is_shown(row: Any, now: datetime) -> bool:
    return row.cancelled_at is None or bool(row.cancelled_at > now - CANCELLED_FOR)


# --- written down ----------------------------------------------------------------------------


def _written(feed: CalendarFeed, rows: Sequence[Any], base: str) -> bytes:
    made = icalendar.Calendar()
    made.add("prodid", "-//Maindrain//Calendars//EN")
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("method", "PUBLISH")
    made.add("name", _plain(feed.label))
    made.add("x-wr-calname", _plain(feed.label))
    made.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    made.add("x-published-ttl", "PT1H")
    for row in rows:
        made.add_component(_event(row, base))
    days = [row.ends_on for row in rows]
    if days:
        first, last = min(days) - timedelta(days=800), max(days) + timedelta(days=400)
        made.add_missing_timezones(first_date=first, last_date=last)
    return bytes(made.to_ical())


def _event(row: Any, base: str) -> icalendar.Event:
    facts = row.facts
    event = icalendar.Event()
    event.add("uid", row.key.rpartition("/")[2])
    event.add("dtstamp", row.told_at.replace(microsecond=0))
    event.add("last-modified", row.told_at.replace(microsecond=0))
    event.add("sequence", row.sequence)
    event.add("dtstart", _time(facts["starts"], facts))
    event.add("dtend", _time(facts["ends"], facts))
    event.add("summary", _plain(facts["summary"]))
    event.add("location", _plain(facts["place"]))
    event.add("description", _plain(facts["text"]))
    event.add("url", base + facts["path"])
    event.add("status", "CONFIRMED" if row.cancelled_at is None else "CANCELLED")
    event.add("transp", "OPAQUE" if facts["busy"] else "TRANSPARENT")
    return event


def _time(text: str, facts: dict[str, Any]) -> datetime | date:
    if facts["all_day"]:
        return date.fromisoformat(text)
    return datetime.fromisoformat(text).astimezone(ZoneInfo(facts["zone"]))


def _plain(text: str) -> str:
    return _CONTROL.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))
