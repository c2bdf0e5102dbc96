"""Two answers that stand side by side on a visit: who gave them, and a person's word on them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from contractors.models import Membership
from contractors.refusal import FieldRefused, Refusal
from inspections import projections, record
from inspections.catalogue_files import catalogue
from inspections.closing import Places
from inspections.events.fold import Item, Proof, Subject
from inspections.events.heads import Heads
from inspections.models import Event, Visit
from inspections.trips import END_STATE_WORDS

State = Visit.State


class Sealed(Refusal):
    """What is sealed is corrected, not settled."""

    code = "wrong_state"
    status = 409
    sentence = "The visit is %(state)s: correct the wrong answer instead."


class Settled(Refusal):
    """Somebody settled it before."""

    code = "already_settled"
    status = 409
    sentence = "Nothing stands against this answer any more; nothing was changed."


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One of the answers: the entry, its word, and who recorded it when."""

    id: UUID
    word: str
    by: str
    at: Any
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict:
    """A matter on which people disagree; the sides worst first, of which the first counts."""

    name: str
    what: str
    sides: tuple[Side, ...]

    @property
    def first(self) -> UUID:
        """The entry by which the conflict is named."""
        return self.sides[0].id


def conflicts(visit: Visit) -> list[Conflict]:
    """Return what two people recorded differently on a visit, each with both values."""
    found = [_told(visit, one, heads) for one in _standing(visit) for heads in _sides(one)]
    return [one for one in found if one.sides]


def settle(visit: Visit, head: UUID, *, choice: UUID, reason: str, by: Membership) -> None:
    """Let one of the answers stand, with the reason; the entry names all those it replaces.

    Parameters
    ----------
    head, choice
        One of the entries that stand side by side, and the one that is right.

    Raises
    ------
    Settled
        When they do not disagree any more.
    FieldRefused
        When the choice is none of them.
    Sealed
        When the visit is sealed or cancelled.
    """
    if visit.state in (State.SEALED, State.CANCELLED):
        raise Sealed(state=str(visit.get_state_display()))
    heads = heads_of(visit, head)
    chosen = next((event for event in heads.events if event.id == choice), None)
    if chosen is None:
        raise FieldRefused("choice", str(choice), "One of the answers that stand.")
    payload: Mapping[str, Any] = {**chosen.payload, "reason": reason, "bulk": None}
    kept = {name: value for name, value in payload.items() if value is not None}
    entry = record.visit_entry(visit, chosen.kind, kept, by=by, seen=list(heads.ids))
    record.append([entry], via=Event.Via.PAGE, by=by)


def heads_of(visit: Visit, head: UUID) -> Heads:
    """Return the answers that stand beside an entry; `Settled` where none does."""
    for one in _standing(visit):
        for heads in _sides(one):
            if head in heads.ids:
                return heads
    raise Settled


def _standing(visit: Visit) -> tuple[Item | Proof, ...]:
    return projections.picture(visit.pk).conflicts


def _sides(one: Item | Proof) -> list[Heads]:
    sides = [one.heads] if isinstance(one, Proof) else [one.as_found, one.as_left]
    return [heads for heads in sides if heads.in_conflict]


def _told(visit: Visit, one: Item | Proof, heads: Heads) -> Conflict:
    places = Places(visit.building_id)
    rows = {
        row.id: row for row in Event.objects.filter(id__in=heads.ids).select_related("by__user")
    }
    if isinstance(one, Proof):
        name = places.name(Subject("device", one.device))
        what = str(END_STATE_WORDS.get(one.item, one.item.replace("_", " ")))
    else:
        activity = catalogue().activities.get(one.activity)
        name, what = places.name(one.subject), activity.task if activity else one.activity
    return Conflict(
        name=name,
        what=what,
        sides=tuple(
            Side(
                id=event.id,
                word=str(event.payload.get("answer") or event.payload.get("result")),
                by=_name(rows[event.id]),
                at=rows[event.id].happened_at,
                reason=event.payload.get("reason", ""),
            )
            for event in heads.events
        ),
    )


def _name(row: Event) -> str:
    return (row.by.user.name or row.by.user.email) if row.by else ""
