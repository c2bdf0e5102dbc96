"""Words of what happened, for the desk pages."""

import json
import re
from datetime import datetime
from typing import Any

from django import template
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from contractors.templatetags.look import in_words
from inspections import catalogue_rows, licensed

register = template.Library()
register.filter("regime_words", catalogue_rows.regime_words)

GOOD = ("pass", "seen_in_order", "not_fitted")
MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}T\S+")
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
CODE = re.compile(r"[a-z0-9]+(_[a-z0-9]+)+")
# The page's typeface has no signs for at least and at most.
SIGNS = ((">=", gettext_lazy("at least")), ("<=", gettext_lazy("at most")))
EVENT_WORDS = {
    "finding.add": gettext_lazy("Found"),
    "finding.accept": gettext_lazy("Accepted"),
    "finding.drop": gettext_lazy("Dropped"),
    "finding.link": gettext_lazy("Found again"),
    "finding.reclass": gettext_lazy("Class changed"),
    "finding.decide": gettext_lazy("The owner decided"),
    "finding.close": gettext_lazy("Closed on evidence"),
    "impairment.start": gettext_lazy("Out of service"),
    "impairment.notice": gettext_lazy("Told"),
    "impairment.tag": gettext_lazy("Tag"),
    "impairment.watch": gettext_lazy("Fire watch"),
    "impairment.end": gettext_lazy("Ended"),
    "outage.start": gettext_lazy("Shut, with a person at it"),
    "outage.end": gettext_lazy("Opened again"),
    "note.add": gettext_lazy("Note"),
    "photo.attach": gettext_lazy("Photo"),
    "sample.send": gettext_lazy("Sample sent to the laboratory"),
    "sample.result": gettext_lazy("Result of the laboratory"),
    "sample.replace": gettext_lazy("Replaced"),
    "visit.open": gettext_lazy("Arrival"),
    "visit.station": gettext_lazy("Monitoring station"),
    "item.set": gettext_lazy("Answer"),
    "reading.add": gettext_lazy("Reading"),
    "step.add": gettext_lazy("Step of the trip test"),
    "proof.set": gettext_lazy("End state"),
    "signature.add": gettext_lazy("Signature"),
    "visit.leave": gettext_lazy("Left impaired"),
    "visit.hand_over": gettext_lazy("Handed over"),
    "visit.hand_in": gettext_lazy("Handed in"),
    "visit.review": gettext_lazy("Review"),
    "visit.waive_review": gettext_lazy("Review waived"),
    "visit.seal": gettext_lazy("Sealed"),
    "visit.amend": gettext_lazy("Correction"),
    "visit.cancel": gettext_lazy("Cancelled"),
    "visit.import": gettext_lazy("Imported"),
}
TEXT_FIELDS = (
    *("class", "decision", "told", "role", "name", "typed", "how", "who", "action"),
    *("item", "answer", "result", "verdict", "state", "reference", "contact", "signals"),
    *(
        "at",
        "from",
        "until",
        "text",
        "extent",
        "reason",
        "measure",
        "caption",
        "done_on",
        "done_by",
        "place",
        "number",
    ),
)


@register.filter
def told_event(one: dict[str, Any]) -> str:
    """Return what kind of thing happened."""
    return str(EVENT_WORDS.get(one["kind"], one["kind"].replace(".", " ").replace("_", " ")))


@register.filter
def event_text(one: dict[str, Any]) -> str:
    """Return what an entry says, in one line."""
    return payload_text(one["payload"])


@register.filter
def pretty(value: Any) -> str:
    """Return data as indented JSON."""
    return json.dumps(value, indent=2, ensure_ascii=False)


@register.filter
def payload_text(payload: dict[str, Any]) -> str:
    """Return what a payload says, in one line."""
    parts = [spaced_out(payload[name]) for name in TEXT_FIELDS if payload.get(name)]
    if payload.get("unknown_start"):
        parts.append(_("start unknown"))
    if paper := payload.get("paper"):
        parts.append(_("on paper at %(at)s") % {"at": clock(paper["at"])})
    return "; ".join(parts)


@register.filter
def spaced_out(code: Any) -> str:
    """Write a code or a moment as words: ``seen_in_order`` is "seen in order"; texts stay."""
    text = str(code)
    if MOMENT.fullmatch(text):
        return clock(text)
    if DAY.fullmatch(text):
        return in_words(text)
    return text.replace("_", " ") if CODE.fullmatch(text) else text


@register.filter
def clock(moment: Any) -> str:
    """Write a recorded moment as day and time of the building, or nothing where there is none."""
    if not moment:
        return ""
    at = datetime.fromisoformat(moment) if isinstance(moment, str) else moment
    return f"{in_words(at)}, {date_format(timezone.localtime(at), 'H:i')}"


@register.filter
def named_values(values: dict[str, Any]) -> str:
    """Write what was expected or seen: names and values in one line."""
    return "; ".join(f"{spaced_out(name)} {_value(value)}" for name, value in values.items())


@register.filter
def criterion_words(text: str) -> str:
    """Write a criterion of the catalogue as words: its prose, or its expression where it is all."""
    prose, _sep, expression = text.partition("expr:")
    text = prose.strip("; ") or expression.strip()
    for sign, words in (*SIGNS, ("==", _("is"))):
        text = text.replace(sign, str(words))
    return spaced_words(text)


@register.filter
def spaced_words(text: str) -> str:
    """Write the codes within a text as words."""
    return text.replace("_", " ")


@register.filter
def qualification_words(name: str) -> str:
    """Say which qualification work asks for."""
    return licensed.in_words(name)


@register.filter
def in_order(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the answers that nobody needs to look at."""
    return [row for row in rows if _is_good(row)]


@register.filter
def not_in_order(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the answers that somebody looks at first."""
    return [row for row in rows if not _is_good(row)]


def _is_good(row: dict[str, Any]) -> bool:
    return row["answer"] in GOOD and not row["disputed"] and not row["reason"]


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    return spaced_out(value)
