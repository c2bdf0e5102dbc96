"""The navigation in words, by role."""

from typing import Any, NamedTuple

from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from contractors.doors import Role, door_of

Entries = tuple[tuple[Any, str], ...]


class Pages(NamedTuple):
    """The pages of a role: those of every day stand in the bar, the others under "More"."""

    bar: Entries
    more: Entries


DESK = Pages(
    (
        (_("Today"), "today"),
        (_("Due"), "due"),
        (_("Plan"), "plans"),
        (_("Buildings"), "buildings"),
        (_("Visits"), "visits"),
        (_("Findings"), "findings"),
    ),
    (
        (_("Impairments"), "impairments"),
        (_("Follow-ups"), "follow_ups"),
        (_("Samples"), "samples"),
        (_("Rules"), "rules"),
        (_("People and licences"), "people"),
        (_("Tablets"), "tablets"),
        (_("Calculations"), "calculations"),
        (_("Practice"), "practice"),
        (_("Calendars"), "calendars"),
        (_("Exports"), "exports"),
        (_("Mail to me"), "mail_choice"),
    ),
)
BY_ROLE = {
    Role.MANAGER: DESK,
    Role.OFFICE: DESK,
    Role.TRAINER: Pages(
        ((_("Buildings"), "buildings"), (_("Calculations"), "calculations")),
        (
            (_("Practice"), "practice"),
            (_("People and licences"), "people"),
            (_("Mail to me"), "mail_choice"),
        ),
    ),
    Role.TECHNICIAN: Pages(
        (
            (_("On the tablet"), "tablet"),
            (_("My visits"), "visits"),
            (_("Buildings"), "buildings"),
        ),
        (
            (_("Impairments"), "impairments"),
            (_("Samples"), "samples"),
            (_("People and licences"), "people"),
            (_("Calculations"), "calculations"),
            (_("Practice"), "practice"),
            (_("Calendars"), "calendars"),
            (_("Mail to me"), "mail_choice"),
        ),
    ),
}
OWNER = Pages(
    (
        (_("Buildings"), "portfolio"),
        (_("Decisions"), "decisions"),
        (_("Reports and proof"), "owner_reports"),
    ),
    (
        (_("Calendars"), "owner_calendars"),
        (_("Exports"), "owner_exports"),
        (_("Mail to me"), "owner_mail_choice"),
    ),
)


# What stands in a building is reached, and shown, as a part of Buildings.
UNDER = {"buildings": ("/risers/", "/systems/", "/devices/", "/supplies/")}


def context(request: HttpRequest) -> dict[str, Any]:
    """Return what every page's bar shows: navigation, contractor or owner, who is signed in."""
    if not getattr(request, "user", None) or not request.user.is_authenticated:
        return {}
    door = door_of(request)
    if door is None:
        return {"navigation": []}
    is_owner = door.member is None
    pages = OWNER if is_owner else BY_ROLE[Role(door.role)]
    bar, more = _entries(request, pages)
    find = "owner_search" if is_owner else "search"
    return {
        "search_url": reverse(find),
        "suggestions_url": reverse(f"{find}_suggestions"),
        "navigation": bar,
        "more": more,
        "more_now": next((label for label, _url, current in more if current), ""),
        "door": door,
        "organisation": door.owner.name if is_owner else door.contractor.name,
    }


Entry = tuple[Any, str, bool]


def _entries(request: HttpRequest, pages: Pages) -> tuple[list[Entry], list[Entry]]:
    """Return label, address and whether it is the page shown: the one whose address fits best."""
    urls = {name: reverse(name) for entries in pages for _label, name in entries}
    begins = {start: name for name, url in urls.items() for start in (url, *UNDER.get(name, ()))}
    here = [start for start in begins if request.path.startswith(start)]
    current = begins[max(here, key=len)] if here else None
    bar, more = ([(label, urls[n], n == current) for label, n in part] for part in pages)
    return bar, more
