"""Words and shapes of printed reports: black ink, a shape before every state."""

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import template
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

register = template.Library()

# Shapes carry the state when colour is gone; each with its title for readers that cannot see it.
SHAPES = {
    "impairment": ('<path fill="currentColor" d="M3 3h18v18H3z"/>', "Filled square"),
    "critical": (
        '<path d="M3.5 3.5h17v17h-17z"/>'
        '<path fill="currentColor" stroke="none" d="M3 12h18v9H3z"/>',
        "Half square",
    ),
    "noncritical": (
        '<path d="M3.5 3.5h17v17h-17z"/>'
        '<path fill="currentColor" stroke="none" d="M3 17h18v4H3z"/>',
        "Square with a bar",
    ),
    "observation": ('<path d="M3.5 3.5h17v17h-17z"/>', "Square"),
    "good": ('<path stroke-width="3.4" d="M4 13l5 5L20 6"/>', "Tick"),
    "bad": ('<path stroke-width="3.4" d="M5 5l14 14M19 5L5 19"/>', "Cross"),
    "open": ('<circle cx="12" cy="12" r="8.5"/>', "Ring"),
    "unknown": ('<path stroke-dasharray="3 3" d="M3.5 3.5h17v17h-17z"/>', "Dashed square"),
}
ANSWERS = {
    "pass": ("good", _("passed")),
    "seen_in_order": ("good", _("seen in order")),
    "fail": ("bad", _("failed")),
    "finding": ("noncritical", _("finding")),
    "could_not": ("open", _("could not be done")),
    "not_fitted": ("open", _("not fitted")),
    "proven": ("good", _("proven")),
    "not_proven": ("unknown", _("not proven")),
    "impairment": ("impairment", _("impairment")),
    "critical": ("critical", _("critical deficiency")),
    "noncritical": ("noncritical", _("noncritical deficiency")),
    "observation": ("observation", _("observation")),
}


@register.simple_tag
def told(word: str) -> SafeString:
    """Return a state as shape and words."""
    shape, words = ANSWERS.get(word, ("open", word.replace("_", " ")))
    drawing, title = SHAPES[shape]
    return format_html(
        '<span class="m"><svg class="mk" viewBox="0 0 24 24" fill="none" stroke="currentColor"'
        ' stroke-width="2.4"><title>{}</title>{}</svg> {}</span>',
        title,
        mark_safe(drawing),  # noqa: S308, a drawing of this module
        words,
    )


@register.filter
def words(value: str) -> str:
    """Return a code as words."""
    return str(value).replace("_", " ")


@register.filter
def day(text: str | None) -> str:
    """Return an ISO date in words."""
    return date_format(date.fromisoformat(text[:10]), "j F Y") if text else ""


@register.filter
def moment(text: str | None, zone: str = "UTC") -> str:
    """Return an ISO instant as local day and time."""
    if not text:
        return ""
    return date_format(datetime.fromisoformat(text).astimezone(ZoneInfo(zone)), "j F Y, H:i")


@register.filter
def clock(text: str | None, zone: str = "UTC") -> str:
    """Return an ISO instant as local time."""
    return f"{datetime.fromisoformat(text).astimezone(ZoneInfo(zone)):%H:%M}" if text else ""


@register.simple_tag
def hours(begun: str, ended: str | None, zone: str) -> str:
    """Return from when to when something took, in local time; the end of another day names it."""
    first = clock(begun, zone)
    if not ended:
        return first
    days = [datetime.fromisoformat(one).astimezone(ZoneInfo(zone)).date() for one in (begun, ended)]
    last = clock(ended, zone) if days[0] == days[1] else moment(ended, zone)
    return _("{begun} to {ended}").format(begun=first, ended=last)


@register.filter
def observed(seen: dict[str, Any]) -> str:
    """Return what was expected or seen at a step, in one line."""
    return "; ".join(
        f"{name.replace('_', ' ')} {_plain(value)}" for name, value in sorted(seen.items())
    )


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(str(one).replace("_", " ") for one in value) or "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value).replace("_", " ")
