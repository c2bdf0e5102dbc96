"""Times and lengths as the pages of the scheduling app show them."""

import re
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from contractors.models import Licence
from contractors.templatetags.look import in_words
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import REGIME_WORDS, regime_words
from inspections.models import Visit
from scheduling import bundle
from scheduling.marks import rounded

register = template.Library()
_DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")
# Names of data alone: "own" and "local" are words too.
_REGIME = re.compile("|".join(rf"\b{name}\b" for name in REGIME_WORDS if re.search(r"[\d_]", name)))
NO_BREAK = "\N{NO-BREAK SPACE}"


@register.filter
def hours(minutes: float | None) -> str:
    """Return minutes in whole hours: ``131 h``; less than an hour in minutes."""
    if not minutes:
        return f"0{NO_BREAK}h"
    if abs(minutes) < 60:
        return f"{minutes:.0f}{NO_BREAK}min"
    return f"{minutes / 60:.0f}{NO_BREAK}h"


@register.filter
def hours_and_minutes(minutes: float | None) -> str:
    """Return minutes as ``6 h 35 min``."""
    whole = round(minutes or 0)
    if whole < 60:
        return f"{whole}{NO_BREAK}min"
    return f"{whole // 60}{NO_BREAK}h{NO_BREAK}{whole % 60}{NO_BREAK}min"


@register.filter
def tenths(seconds: float | None) -> str:
    """Return seconds in hours with a tenth: ``31.4 h``."""
    return f"{(seconds or 0) / 3600:.1f}{NO_BREAK}h"


@register.filter
def duration(seconds: float | None) -> str:
    """Return seconds as ``6 h 35 min``, with a sign where it is less than nothing."""
    sign = "-" if (seconds or 0) < 0 else ""
    return sign + hours_and_minutes(abs(seconds or 0) / 60)


@register.filter
def kilometres(metres: float | None) -> str:
    """Return metres in kilometres."""
    return f"{(metres or 0) / 1000:.0f}{NO_BREAK}km"


@register.filter
def miles(metres: float | None) -> str:
    """Return metres in miles."""
    return f"{(metres or 0) / 1609.344:.0f}{NO_BREAK}mi"


@register.filter
def clock(moment: datetime | None, zone: Any) -> str:
    """Return the time of day of an instant in a zone, such as 08:30."""
    if moment is None:
        return ""
    there = zone if isinstance(zone, ZoneInfo) else ZoneInfo(str(zone))
    return f"{moment.astimezone(there):%H:%M}"


@register.filter
def often(frequency: str) -> str:
    """Return an ISO 8601 duration in words."""
    return bundle.frequency_words(frequency)


@register.filter
def qualification(name: str) -> str:
    """Return a qualification in words."""
    words = dict(Licence.Kind.choices)
    return str(words.get(name) or name.replace("_", " ") or _("nothing special"))


@register.filter
def shown(moment: datetime | None, zone: Any) -> str:
    """Return a time of day as people are told it, to five minutes."""
    return clock(rounded(moment), zone) if moment else ""


@register.filter
def span(ends: tuple[float, float]) -> str:
    """Return the width between two ends, as an attribute of a drawing takes it."""
    return f"{ends[1] - ends[0]:.1f}"


@register.filter
def add_up(value: float, more: float) -> float:
    """Return a sum of numbers that may be broken; Django's own `add` cuts them."""
    return round(value + float(more), 1)


@register.filter
def opposite(value: float) -> float:
    """Return the number with the other sign."""
    return -value


@register.filter
def halved(value: float) -> float:
    """Return half of a number: overtime as it is, where a cost counts it twice."""
    return value / 2


@register.filter
def cut_words(name: str) -> str:
    """Write a name of data as words: ``own_record`` is "own record"."""
    return str(name).replace("_", " ")


CONFIDENCE = {
    "read": gettext_lazy("read in its source"),
    "memory": gettext_lazy("from memory, not yet confirmed"),
}


@register.filter
def confidence_words(name: str) -> str:
    """Say how sure a row of the catalogue is; "not said" where it does not say."""
    return str(CONFIDENCE.get(name) or cut_words(name) or _("not said"))


@register.filter
def task_words(activity: str) -> str:
    """Say what an activity is, by the catalogue; its id where the catalogue has none such."""
    row = catalogue().activities.get(activity)
    return row.task if row else activity


@register.filter
def evidence_words(grade: str) -> str:
    """Say how good the evidence of a performance is; without one it was recorded here."""
    return str(dict(Visit.Evidence.choices).get(grade or Visit.Evidence.OWN, cut_words(grade)))


@register.filter
def reason_words(text: str) -> str:
    """Write the days and regimes that a reason names as a page does."""
    dated = _DAY.sub(lambda found: in_words(found[0]), str(text))
    return _REGIME.sub(lambda found: regime_words(found[0]), dated)
