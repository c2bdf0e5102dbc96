"""Warnings before licences end: to whoever holds them and to managers, once for each step."""

from datetime import datetime

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from contractors import licences, notices
from contractors.licences import LicenceEnd
from inspections.licensed import in_words
from scheduling import plans
from scheduling.escalation import managers as managers_here

ENDED = 0


def tick(now: datetime) -> None:
    """Send the warnings that are due, for the contractor in scope; safe to do twice.

    Each step (60, 30, 7 days ahead, and the end) goes out once to each person, under a key of its
    own. Of steps that were missed only the nearest is sent.
    """
    found = licences.ending(plans.today_at(now))
    managers = managers_here() if found else []
    for one in found:
        _warn(one, managers)


def _warn(one: LicenceEnd, managers: list[str]) -> None:
    step = ENDED if one.days < 0 else one.band
    person = one.licence.person
    user = person.membership.user if person.membership else None
    own = person.email or (user.email if user else "")
    for email in sorted({*managers, *([own] if own else [])}):
        notices.send(
            f"licence:{one.licence.pk}:{one.licence.valid_until}:{step}:{email}",
            kind="licence.ended" if step == ENDED else "licence.ends",
            to=email,
            subject=_subject(one),
            body=_body(one),
        )


def _subject(one: LicenceEnd) -> str:
    words = {
        "licence": in_words(one.licence.kind),
        "who": one.licence.person.name,
        "day": date_format(one.licence.valid_until),
    }
    if one.days < 0:
        return _("Licence ended: %(licence)s of %(who)s, on %(day)s") % words
    return _("Licence ends: %(licence)s of %(who)s, on %(day)s") % words


def _body(one: LicenceEnd) -> str:
    licence = one.licence
    lines = [
        _("Person: %(who)s") % {"who": licence.person},
        _("Licence: %(kind)s %(number)s")
        % {"kind": in_words(licence.kind), "number": licence.number},
        _("Jurisdiction: %(place)s") % {"place": licence.jurisdiction or "-"},
        _("Last day: %(day)s") % {"day": date_format(licence.valid_until)},
        "",
        _("After that day nobody can be sent on it: renew it, or give the work to somebody else."),
    ]
    return "\n".join(lines)
