"""Which items of a building go first where every other one has its turn: asked for, and chosen."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from buildings import inventory as stock
from buildings.models import Building, TurnOrder
from contractors import audit
from contractors.models import Membership
from contractors.refusal import FieldRefused
from inspections.catalogue_rows import Activity
from scheduling.applicable import Judges, applied, site_of
from scheduling.turns import taking_turns

EARLIEST, LATEST = date(1990, 1, 1), date(2100, 12, 31)


@dataclass(frozen=True, slots=True)
class ByTurns:
    """Work of a building that its items have by turns, and those items in their order."""

    activity: Activity
    items: Sequence[stock.Item]


def by_turns(building: Building) -> dict[str, ByTurns]:
    """Return the work that goes by turns at a building today, by its activity."""
    inventory = stock.tree(building)
    judge, site = Judges().at(inventory), site_of(inventory)
    everything = applied(inventory, judge, site=site, off=False)
    return {
        activity: ByTurns(
            everything[places[0]].owed.activity,
            [item for n in places if (item := everything[n].subject) is not None],
        )
        for activity, places in taking_turns(everything, site, judge).items()
    }


def choose(
    building: Building, activity: str, first: Iterable[UUID], *, valid_from: date, by: Membership
) -> TurnOrder:
    """Choose which items go first from a day on; the others have their turn in the next cycle.

    Those passed over in the last cycle still come first, and no day gone by is judged anew.

    Parameters
    ----------
    first
        Ids of half of the items that take turns there; of an odd number, one more or less.

    Raises
    ------
    FieldRefused
        When nothing there goes by turns so, or it is not half of the items.
    """
    known = by_turns(building)
    if activity not in known:
        accepted = ", ".join(known) or _("Nothing: no two items take turns here.")
        raise FieldRefused("activity", activity, accepted)
    if not EARLIEST <= valid_from <= LATEST:
        raise FieldRefused("valid_from", valid_from, _("A day from 1990 to 2100."))
    chosen, items = set(first), {item.id: item for item in known[activity].items}
    half = len(items) // 2
    if not chosen <= set(items) or len(chosen) not in (half, len(items) - half):
        said = _("Half of these, %(half)s of %(count)s: %(names)s.") % {
            "half": half
            if len(items) == 2 * half
            else _("%(half)s or %(more)s") % {"half": half, "more": half + 1},
            "count": len(items),
            "names": ", ".join(f"{item.code} {item.name}".strip() for item in items.values()),
        }
        told = ", ".join(items[one].code if one in items else str(one) for one in chosen)
        raise FieldRefused("first", told, said)
    with transaction.atomic():
        made: TurnOrder = TurnOrder.objects.create(
            building=building,
            activity=activity,
            first=[str(pk) for pk in items if pk in chosen],
            then=[str(pk) for pk in items if pk not in chosen],
            valid_from=valid_from,
            recorded_at=timezone.now(),
            recorded_by=by,
        )
        names = [items[UUID(pk)].code for pk in made.first]
        audit.record("turn_order.chosen", by=by, on=building, activity=activity, first=names)
        stock.tell_changed(building.pk, timezone.now())
    return made
