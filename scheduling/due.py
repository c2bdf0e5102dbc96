"""When is it due: the open occurrence of each activity on each item, derived from the record.

Past occurrences are results, future ones come from `recurrence` on request; only the open one of
each item and activity is stored, and it can be thrown away and derived again to the same value.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from functools import lru_cache, partial
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from buildings import inventory as stock
from buildings.kinds import Kinds
from buildings.models import Building
from contractors import bulk, outbox
from contractors.models import OutboxMessage
from contractors.scope import contractor_scope
from inspections.applies import How, Judge
from inspections.catalogue_rows import Activity
from inspections.rules import buildings_under
from scheduling import deriving, followups, publish, standing, week_loads
from scheduling.applicable import Applied, Judges, applied, site_of
from scheduling.deriving import Asked, Open, Place
from scheduling.owing import Timed, iso, timed
from scheduling.terms import terms as terms_at


def derive(building: Building, now: datetime | None = None, judges: Judges | None = None) -> int:
    """Derive a building's open occurrences, questions, standing and what its owner sees.

    Returns
    -------
    int
        How many occurrences are open.
    """
    return derive_chunk([building], now or timezone.now(), judges or Judges())


def derive_all(now: datetime | None = None, told: Callable[[int, int], None] | None = None) -> int:
    """Derive every building of the contractor in scope; `told(done, of)` reports progress."""
    now, parts = now or timezone.now(), chunks()
    judges = Judges()
    total, done, of = 0, 0, sum(map(len, parts))
    for ids in parts:
        total += derive_chunk(_buildings(ids), now, judges)
        done += len(ids)
        if told:
            told(done, of)
    return total


def chunks(ids: Sequence[UUID] | None = None) -> list[Sequence[UUID]]:
    """Return buildings of the contractor in scope, all unless told, in the chunks they take."""
    if ids is None:
        ids = list(Building.objects.order_by("pk").values_list("pk", flat=True))
    return [ids[start : start + deriving.CHUNK] for start in range(0, len(ids), deriving.CHUNK)]


def derive_ids(ids: Sequence[UUID], now: datetime | None = None) -> int:
    """Derive one chunk of buildings; return how many occurrences are open."""
    return derive_chunk(_buildings(ids), now or timezone.now(), Judges())


@bulk.uncollected()
def derive_chunk(buildings: Sequence[Building], now: datetime, judges: Judges) -> int:
    """Derive some buildings together, in one transaction; return how many occurrences are open.

    The number of queries does not grow with the buildings, but for those that call for follow-ups.
    """
    inventories = stock.trees(buildings)
    on = {one.pk: inventories[one.pk].on for one in buildings}
    filled = bulk.filled(deriving.SELDOM, buildings)
    holding = terms_at(buildings, on, filled=filled)
    told = deriving.told_at(buildings, filled=filled)
    places: list[Place] = []
    asked: list[Asked] = []
    for building in buildings:
        inventory, today = inventories[building.pk], timezone.localdate(now, building.zone)
        place = Place(building, today, inventory, holding[building.pk])
        places.append(place)
        ruling, site = judges.at(inventory), site_of(inventory)
        everything = applied(inventory, ruling, site=site, off=False)
        under = partial(
            timed,
            building,
            inventory,
            resting=True,
            terms=place.terms,
            told=told[building.pk],
            site=site,
        )
        open_now = under(ruling, everything=everything)
        turns = [day for day in judges.turns(inventory) if day > building.taken_over_on]
        place.programme = _by_rules_then(open_now, under, inventory, judges, turns)
        owed_now = [one for one in open_now if not one.rests]
        place.owed = [
            _open(building, one, minutes, today, ruling.catalogue.version)
            for one, minutes in week_loads.weighed(owed_now, ruling.catalogue)
        ]
        asked += _questions(building, inventory, everything, ruling.catalogue.kinds)
    owing = [one for place in places for one in place.owed]
    # A failure goes up to whoever opened a transaction: no savepoint is gone back to.
    with transaction.atomic(savepoint=False):
        taken = deriving.keep_occurrences(buildings, owing)
        week_loads.keep(places, taken)
        deriving.keep_questions(buildings, asked)
        followed = deriving.followed(places, filled)
        for place in followed:
            followups.derive(place.building, now)
        if followed:
            deriving.read_findings(followed)
        standing.derive_chunk(places, now, filled)
        publish.chunk(places, now, filled)
    return len(owing)


def _by_rules_then(
    open_now: list[Timed],
    under: Callable[[Judge], list[Timed]],
    inventory: stock.Inventory,
    judges: Judges,
    turns: Sequence[date],
) -> list[Timed]:
    """Return what was scheduled under each set of rules since take-over, with its days in force.

    A day gone by is judged by the rules then in force: a new rule makes nothing late before its
    first day.
    """
    if not turns:
        return open_now
    found = [one._replace(since=turns[-1]) for one in open_now]
    for since, until in zip([None, *turns[:-1]], turns, strict=True):
        judge = judges.at(inventory, until - timedelta(days=1))
        found += [one._replace(since=since, until=until) for one in under(judge)]
    return found


def _buildings(ids: Sequence[UUID]) -> list[Building]:
    rows = Building.objects.select_related("contractor", "jurisdiction").filter(pk__among=ids)
    return list(rows.order_by("pk"))


def _open(building: Building, one: Timed, adds: float, today: date, version: str) -> Open:
    item, activity = one.applied.subject, one.activity
    return Open(
        building_id=building.pk,
        subject_id=one.applied.subject_id,
        activity=activity.id,
        system_id=item.system_id if item else None,
        subject_kind=one.applied.subject_kind,
        frequency=iso(activity),
        qualification=activity.qualification,
        by_owner=one.by_owner,
        earliest_on=one.window.earliest,
        due_on=one.window.due,
        latest_on=one.window.latest,
        last_done_on=one.evidence.days[-1] if one.evidence.days else None,
        last_evidence=one.evidence.grade,
        known=one.known_on(today),
        minutes=round(activity.minutes_per_item * one.how_many, 1),
        adds=adds,
        reason=_reason(one),
        catalogue_version=version,
        derived_on=today,
    )


def _reason(one: Timed) -> Mapping[str, Any]:
    absorbed = one.evidence.last_absorbed
    return _told(
        one.activity,
        one.applied.owed.reason,
        one.window.reason,
        one.window.clash,
        absorbed.reason if absorbed else "",
        one.impaired,
    )


# Like items of a building have the same reason, which is then written out once.
@lru_cache(maxsize=5_000)
def _told(
    activity: Activity, applies: str, window: str, clash: str, absorbed: str, impaired: str
) -> Mapping[str, Any]:
    """Return why an occurrence is there, in words and as data."""
    return {
        "window": window,
        "applies": applies,
        "source": activity.source,
        "confidence": activity.confidence,
        "regime": activity.regime,
        **({"absorbed": absorbed} if absorbed else {}),
        **({"rules": [str(one) for one in activity.changes]} if activity.changes else {}),
        **({"clash": clash} if clash else {}),
        **({"impaired": impaired} if impaired else {}),
    }


def _questions(
    building: Building, inventory: stock.Inventory, everything: Iterable[Applied], kinds: Kinds
) -> list[Asked]:
    asked: dict[tuple[UUID, str], list[str]] = defaultdict(list)
    subjects: dict[tuple[UUID, str], str] = {}
    for one in everything:
        if one.owed.how is not How.ASK:
            continue
        for name in one.owed.ruling.asks:
            key = (one.subject_id, name)
            asked[key].append(one.owed.activity.id)
            subjects[key] = one.subject_kind
    return [
        Asked(
            building_id=building.pk,
            subject_kind=subjects[key],
            subject_id=key[0],
            attribute=key[1],
            asked_as=_question(key[1], inventory, key[0], kinds)[:300],
            decides=sorted(set(decides)),
        )
        for key, decides in asked.items()
    ]


def _question(name: str, inventory: stock.Inventory, subject_id: UUID, kinds: Kinds) -> str:
    scope, _, attribute = name.partition(".")
    if scope == "item":
        scope = inventory.by_id[subject_id].kind if subject_id in inventory.by_id else "building"
    if scope in kinds and attribute in kinds[scope].attributes:
        return kinds[scope].attributes[attribute].question
    return name.replace("_", " ")


@outbox.on("building.recorded", queue="interactive")
@outbox.on("building.changed", queue="interactive")
def follow(message: OutboxMessage) -> None:
    """Derive one building again after something was recorded or its inventory changed."""
    if not _is_asked_anew(message):
        for building in _buildings([UUID(message.payload["building"])]):
            derive(building)


def _is_asked_anew(message: OutboxMessage) -> bool:
    """Say whether a later message of the same building waits: what it derives is all there is."""
    later = Q(made_at__gt=message.made_at) | Q(made_at=message.made_at, pk__gt=message.pk)
    waiting = OutboxMessage.objects.filter(
        later,
        contractor=message.contractor_id,
        kind__in=("building.recorded", "building.changed"),
        key__startswith=f"{message.payload['building']}:",
        state=OutboxMessage.State.WAITING,
    )
    return bool(waiting.exists())


@outbox.on("rules.changed", queue="bulk", long=True)
@outbox.on("programme.derive", queue="bulk", long=True)
def derive_under(message: OutboxMessage) -> None:
    """Derive the buildings again at which a rule was set or ended; once a local day, all of them.

    More than a chunk of them become jobs of a chunk each, for as many workers as there are.
    """
    with contractor_scope(message.contractor_id):
        parts = chunks(buildings_under(message.payload))
        if len(parts) < 2:
            derive_ids([one for ids in parts for one in ids])
            return
        for place, ids in enumerate(parts):
            ends: dict[str, Any] = {"first": ids[0], "last": ids[-1]}
            outbox.add("programme.chunk", f"{message.pk}:{place}", **message.payload, **ends)


@outbox.on("programme.chunk", queue="bulk", long=True)
def derive_some(message: OutboxMessage) -> None:
    """Derive one chunk of the buildings under a changed rule, or of all."""
    first, last = (UUID(message.payload[end]) for end in ("first", "last"))
    with contractor_scope(message.contractor_id):
        derive_ids(buildings_under(message.payload, first, last))
