"""Words, shapes and numbers as every page shows them."""

import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from decimal import Decimal
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from django import template
from django.core.paginator import Page
from django.forms import BoundField
from django.templatetags.static import static
from django.utils import timezone
from django.utils.formats import date_format, number_format
from django.utils.functional import Promise
from django.utils.html import format_html
from django.utils.http import urlencode
from django.utils.safestring import SafeString
from django.utils.text import capfirst
from django.utils.translation import get_language, gettext_lazy, ngettext, pgettext
from django.utils.translation import gettext as _

register = template.Library()

#: State -> (shape in symbols.svg, words). The shape carries the state when colour is gone.
STATES: dict[str, tuple[str, str | Promise]] = {
    # how a building or a system stands
    "in_order": ("order", gettext_lazy("In order")),
    "due_by": ("due", gettext_lazy("Due")),
    "overdue": ("overdue", gettext_lazy("Overdue")),
    "finding_open": ("critical", gettext_lazy("Finding open")),
    "impaired": ("impaired", gettext_lazy("Impaired")),
    "not_known_yet": ("unknown", gettext_lazy("Not known yet")),
    "not_with_us": ("none", gettext_lazy("Not with us")),
    # how an activity stands in the months of a year
    "due_later": ("ahead", gettext_lazy("Due later")),
    "foreseen": ("foreseen", gettext_lazy("Foreseen")),
    "failed": ("failed", gettext_lazy("Failed")),
    # classes of a finding
    "impairment": ("impaired", gettext_lazy("Impairment")),
    "critical_deficiency": ("critical", gettext_lazy("Critical deficiency")),
    "noncritical_deficiency": ("noncritical", gettext_lazy("Noncritical deficiency")),
    "observation": ("observation", gettext_lazy("Observation")),
    # what waits for somebody
    "on_test": ("test", gettext_lazy("Station on test")),
    "to_send": ("send", gettext_lazy("Waiting to be sent")),
    "two_versions": ("both", gettext_lazy("Two versions")),
    "waits_for_owner": ("owner", gettext_lazy("Waits for the owner")),
    "visit_not_closed": ("visit", gettext_lazy("Visit not closed")),
    "no_access": ("noaccess", gettext_lazy("No access")),
    "licence_ends": ("licence", gettext_lazy("Licence ends")),
}

#: Classes of findings as the record keeps them -> their state.
CLASSES = {"critical": "critical_deficiency", "noncritical": "noncritical_deficiency"}

UNIT_SIGNS = {"ft2": "ft²", "m2": "m²", "ft3": "ft³", "m3": "m³", "degF": "°F", "degC": "°C"}
NO_BREAK = "\N{NO-BREAK SPACE}"
SYMBOLS_FILE = Path(__file__).resolve().parent.parent / "static/contractors/symbols.svg"


def _key(state: str) -> str:
    key = str(state).strip().lower().replace(" ", "_").replace("-", "_")
    key = CLASSES.get(key, key)
    if key not in STATES:
        raise ValueError(f"state {state!r}: not one of {', '.join(STATES)}")
    return key


@cache
def symbol_names() -> frozenset[str]:
    """Names of all shapes in symbols.svg."""
    return frozenset(re.findall(r'<symbol id="([^"]+)"', SYMBOLS_FILE.read_text("utf-8")))


@cache
def _symbols_url() -> str:
    return static("contractors/symbols.svg")


@register.simple_tag
def symbol(name: str, label: str = "", css: str = "") -> SafeString:
    """Draw a shape of symbols.svg.

    Parameters
    ----------
    name
        Its name there: ``gauge``, ``st-impaired``, ``i-clock``.
    label
        Words for those who can't see it. Leave it out where a word stands beside the shape.
    css
        Classes instead of the usual ``sym`` (48 px) or ``sym-s`` (20 px, marks and signs).

    Raises
    ------
    ValueError
        There is no such shape.
    """
    if name not in symbol_names():
        raise ValueError(f"symbol {name!r}: not one of the shapes in symbols.svg")
    css = css or ("sym-s" if name.startswith(("st-", "i-")) or name == "caution" else "sym")
    href = f"{_symbols_url()}#{name}"
    if label:
        return format_html(
            '<svg class="{}" role="img" aria-label="{}"><use href="{}"/></svg>', css, label, href
        )
    return format_html('<svg class="{}" aria-hidden="true"><use href="{}"/></svg>', css, href)


@register.inclusion_tag("_mark.html")
def mark(
    state: str, text: str = "", *, worst: str = "", until: date | None = None
) -> dict[str, object]:
    """Show a state as shape and word.

    Parameters
    ----------
    state
        A key of `STATES`; "due by" and "due_by" are the same.
    text
        Words instead of the usual ones.
    worst
        For *finding open*: the class of the worst finding, which gives the shape.
    until
        The latest day, which *due by* and *overdue* say.

    Raises
    ------
    ValueError
        `state` or `worst` is not a key of `STATES`.
    """
    key = _key(state)
    shape = STATES[_key(worst) if worst else key][0]
    return {"shape": shape, "symbol_name": f"st-{shape}", "text": text or _words(key, until)}


def _words(key: str, until: date | None) -> str:
    if until and key == "due_by":
        return _("Due by %(day)s") % {"day": in_words(until)}
    if until and key == "overdue":
        return _("Overdue, latest was %(day)s") % {"day": in_words(until)}
    return str(STATES[key][1])


@register.filter
def standing_word(state: str) -> str:
    """Say a standing in words: ``not_known_yet`` is "Not known yet"."""
    return str(STATES[_key(state)][1])


@register.inclusion_tag("_why.html")
def why(reason: str, source: str = "", summary: str = "") -> dict[str, object]:
    """Open a reason and its source in place.

    Parameters
    ----------
    reason
        A sentence or two.
    source
        Where it is written; ``memory`` says that nobody has confirmed it yet.
    summary
        The question to press, "Why?" unless told.
    """
    if source == "memory":
        source = _("From memory, not yet confirmed.")
    return {"reason": reason, "source": source, "summary": summary or _("Why?")}


@register.inclusion_tag("_empty.html")
def empty(
    title: str, text: str, url: str = "", label: str = "", symbol_name: str = "i-paper"
) -> dict[str, object]:
    """Say what will stand here and what makes it appear; `url` and `label` are the first step."""
    return {"title": title, "text": text, "url": url, "label": label, "symbol_name": symbol_name}


@register.simple_tag
def quantity(value: Decimal | float | str | None, unit: str = "", places: int | None = None) -> str:
    """Write a number with its unit; "not measured" where there is none.

    Parameters
    ----------
    value
        A number, or text as somebody typed it, which is left alone.
    unit
        ``psi``, ``gal/min``, ``ft2``: shown beside the number, never broken from it.
    places
        Decimal places. Left out: as many as the number has, two at most.
    """
    if value is None or value == "":
        return _("not measured")
    words = value if isinstance(value, str) else _number(value, places)
    sign = UNIT_SIGNS.get(unit, unit)
    if not sign:
        return words
    return f"{words}{NO_BREAK}{sign}"


def _number(value: Decimal | float, places: int | None) -> str:
    if places is None:
        digits = f"{value:.2f}".rstrip("0").rstrip(".")
        places = len(digits.partition(".")[2])
    return number_format(
        Decimal(f"{value:.{places}f}"), decimal_pos=places, use_l10n=True, force_grouping=True
    )


@register.filter
def in_words(day: date | str | None) -> str:
    """Write a day as "14 March", with its year when that is not this year; "no date" for none.

    Parameters
    ----------
    day
        A day, a moment, or one of them as ISO 8601 text.
    """
    if day is None or day == "":
        return _("no date")
    if isinstance(day, str):
        day = datetime.fromisoformat(day) if "T" in day else date.fromisoformat(day)
    if isinstance(day, datetime):
        day = timezone.localtime(day).date() if timezone.is_aware(day) else day.date()
    return _in_words(day, timezone.localdate().year, get_language())


# A page says the same few days again and again.
@lru_cache(maxsize=5_000)
def _in_words(day: date, this_year: int, _language: str | None) -> str:
    if day.year == this_year:
        return date_format(day, pgettext("day of this year, in date format letters", "j F"))
    return date_format(day, pgettext("day of another year, in date format letters", "j F Y"))


@register.filter
def since(moment: datetime | date | None, now: datetime | None = None) -> str:
    """Say how long ago: "48 min", "19 h 48 min", from two days on "13 days".

    A moment ahead, as of a clock that runs fast, is "less than a minute" ago.
    """
    return "" if not moment else _span(_elapsed(moment, now))


@register.filter
def left(moment: datetime | date | None, now: datetime | None = None) -> str:
    """Say how long until then, in the words of `since`; past moments have nothing left."""
    return "" if not moment else _span(-_elapsed(moment, now))


def _elapsed(moment: datetime | date, now: datetime | None) -> timedelta:
    if not isinstance(moment, datetime):
        today = timezone.localdate(now) if now else timezone.localdate()
        return today - moment
    return (now or timezone.now()) - moment


def _span(length: timedelta) -> str:
    minutes = int(length.total_seconds() // 60)
    if minutes < 1:
        return _("less than a minute")
    if minutes < 60:
        return _("%(minutes)d min") % {"minutes": minutes}
    if minutes < 48 * 60:
        return _("%(hours)d h %(minutes)d min") % {"hours": minutes // 60, "minutes": minutes % 60}
    days = minutes // (24 * 60)
    return ngettext("%(days)d day", "%(days)d days", days) % {"days": days}


@register.filter
def error_sentence(error: str, field: BoundField) -> str:
    """Complete a form's error so that it names the field and what was typed."""
    sentence = f"{capfirst(str(field.label))}: {error}"
    typed = field.value()
    shown = str(typed) if isinstance(typed, str | int | float | Decimal) else ""
    input_type = getattr(field.field.widget, "input_type", "")
    unsaid = input_type in {"password", "hidden", "file", "checkbox"}
    if unsaid or not shown or len(shown) > 60 or shown in str(error):
        return sentence
    return f"{sentence} " + _("You typed “%(typed)s”.") % {"typed": shown}


@register.filter
def takes_tick(field: BoundField) -> bool:
    """Tell whether the field is one box to tick, whose label stands behind it."""
    return getattr(field.field.widget, "input_type", "") == "checkbox" and not field.use_fieldset


@register.simple_tag(takes_context=True)
def page_url(context: template.Context, **changes: object) -> str:
    """Give the address of this page with some of its query changed; ``None`` takes a key out."""
    request = context.get("request")
    query = dict(request.GET.lists()) if request else {}
    query |= {key: [] if value is None else [str(value)] for key, value in changes.items()}
    return f"?{urlencode(query, doseq=True)}"


@register.filter
def around(page: "Page[Any]") -> Iterable[int | str]:
    """List the page numbers to offer round a page of a paginator."""
    return page.paginator.get_elided_page_range(page.number, on_each_side=1, on_ends=1)
