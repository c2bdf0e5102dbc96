"""Work taken down on paper and typed in later: both times are kept, and the first one counts."""

from collections.abc import Mapping
from datetime import datetime, time
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format

from buildings.models import Building
from inspections.events.envelope import Event as Checked
from inspections.events.fields import EventRefused
from inspections.models import Visit


def moment(event: Checked) -> datetime | None:
    """Return when an entry was taken down on paper; None where it was recorded at once."""
    paper = event.payload.get("paper")
    return datetime.fromisoformat(paper["at"]) if paper else None


def of(payload: Mapping[str, Any]) -> dict[str, Any]:
    """Return the part of a payload that tells of the paper, for what follows from the entry."""
    return {"paper": payload["paper"]} if payload.get("paper") else {}


def stamped(payload: Mapping[str, Any]) -> dict[str, Any]:
    """Return a payload in which what comes from paper says when it was typed in: now."""
    paper = payload.get("paper")
    if not isinstance(paper, Mapping) or paper.get("typed_at"):
        return dict(payload)
    typed_at = timezone.now().isoformat(timespec="seconds")
    return {**payload, "paper": {**paper, "typed_at": typed_at}}


def check(event: Checked, visit: Visit, now: datetime) -> None:
    """Refuse a time on paper that does not lie within the visit, or has not come yet.

    Parameters
    ----------
    visit
        As the record has it before the entry. It begins with its arrival; where none is recorded
        yet, with the day it is planned for. It ends with its hand-in, or now.

    Raises
    ------
    EventRefused
        Naming the time and what is accepted.
    """
    amended = event.kind == "visit.amend"
    paper = (event.payload["value"] if amended else event.payload).get("paper")
    if not paper:
        return
    path = "payload.value.paper" if amended else "payload.paper"
    at, typed_at = (datetime.fromisoformat(paper[name]) for name in ("at", "typed_at"))
    if typed_at > now:
        accepted = f"a moment that has passed, {_told(now, visit)} at the latest"
        raise EventRefused(f"{path}.typed_at", paper["typed_at"], accepted)
    wrong = _outside(at, typed_at, visit)
    if wrong:
        raise EventRefused(f"{path}.at", paper["at"], wrong)


def _outside(at: datetime, typed_at: datetime, visit: Visit) -> str:
    """Return what would be accepted instead; empty where the moment can be used."""
    if at > typed_at:
        told = _told(typed_at, visit)
        return f"a moment that has passed: it was typed in on {told}, the paper is older"
    begun, what = _begin(visit)
    if begun is not None and at < begun:
        return f"a moment within the visit, not before {what} on {_told(begun, visit)}"
    if visit.handed_in_at is not None and at > visit.handed_in_at:
        told = _told(visit.handed_in_at, visit)
        return f"a moment within the visit, not after its hand-in on {told}"
    return ""


def _begin(visit: Visit) -> tuple[datetime | None, str]:
    """Return when a visit begins and by what; arrival is written down to the minute."""
    if visit.opened_at is not None:
        return visit.opened_at.replace(second=0, microsecond=0), "its arrival"
    if visit.planned_on is None:
        return None, ""
    zone = _building(visit).zone
    return datetime.combine(visit.planned_on, time.min, zone), "the day it is planned for,"


def _told(at: datetime, visit: Visit) -> str:
    local = at.astimezone(_building(visit).zone)
    return date_format(local, "j F Y, H:i")


def _building(visit: Visit) -> Building:
    found: Building = visit.building
    return found
