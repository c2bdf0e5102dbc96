"""The page of all parts, with a context that shows each state; looked at by hand and by tests."""

from datetime import UTC, date, datetime
from types import SimpleNamespace

from django import forms
from django.contrib import messages
from django.contrib.messages.storage.base import Message
from django.core.paginator import Paginator
from django.template.loader import render_to_string
from django.test import RequestFactory

from contractors.forms_renderer import QuantityField
from contractors.models import Membership, User
from contractors.templatetags.look import STATES, symbol_names

NOW = datetime(2027, 4, 13, 7, 32, tzinfo=UTC)
ROLES = [
    "paper",
    "sheet",
    "well",
    "band",
    "ink",
    "ink-2",
    "line",
    "rule",
    "accent",
    "accent-soft",
    "impaired",
    "critical",
    "test",
    "order",
    "water",
    "air",
]


class ReadingForm(forms.Form):
    """One field of each kind, two of them wrong."""

    room = forms.CharField(label="Room of the riser", help_text="As a stranger would look for it")
    static = QuantityField(label="Static pressure", unit="psi", min_value=0, max_value=300)
    seen_on = forms.DateField(label="Seen on", widget=forms.DateInput(attrs={"type": "date"}))
    kind = forms.ChoiceField(label="Kind", choices=[("wet", "Wet"), ("dry", "Dry")])
    note = forms.CharField(label="Note", widget=forms.Textarea, required=False)
    calibrated = forms.BooleanField(label="Read with gauge 14, calibrated 3 February")
    floors = forms.MultipleChoiceField(
        label="Floors it serves",
        choices=[("1", "First floor"), ("2", "Second floor")],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )


class FilterForm(forms.Form):
    """Filters as a list page has them."""

    kind = forms.ChoiceField(label="Kind", choices=[("", "All kinds"), ("dry", "Dry")])
    county = forms.ChoiceField(label="Jurisdiction", choices=[("", "Everywhere")], required=False)


def _rows() -> list[dict[str, object]]:
    reason = "Quarterly here: the only supply comes through a backflow preventer."
    names = ("Tannery Row Market", "Ferry Street Archive", "Plumtree Clinic and Rehabilitation")
    states = ("overdue", "due_by", "in_order")
    return [
        {
            "building": name,
            "riser": "Riser 1, wet",
            "activity": "Main drain test",
            "state": state,
            "until": date(2027, 3, 31) if state == "overdue" else date(2027, 5, 14),
            "reason": reason,
            "minutes": 1250,
        }
        for name, state in zip(names, states, strict=True)
    ]


def _readings() -> list[SimpleNamespace]:
    drain = {
        "unit": "psi",
        "limit": "at least 72 psi",
        "last": "75 psi",
        "last_on": date(2027, 1, 12),
        "label": "Main drain, flowing",
    }
    empty = dict.fromkeys(("value", "verdict", "verdict_text", "reason", "source", "error"), "")
    return [
        SimpleNamespace(id="r1", letter="A", **empty | drain),
        SimpleNamespace(
            id="r2",
            letter="D",
            **empty
            | drain
            | {
                "value": "74",
                "verdict": "in_order",
                "verdict_text": "In order, 1 psi under last time",
                "reason": "74 is above 72, which is 80 at acceptance less 10 percent.",
                "source": "Common practice, no source for 10 percent.",
            },
        ),
        SimpleNamespace(
            id="r3",
            letter="E",
            **empty
            | drain
            | {
                "value": "920",
                "error": "920 psi is more than the gauge can show (300 psi). Last time 75 psi."
                " Correct it, or keep it and say why.",
            },
        ),
    ]


# What the box offers, as `search_views` groups it.
FOUND = [
    {
        "kind": "building",
        "label": "Buildings",
        "hits": [{"url": "/missing", "title": "Mill Street Works", "detail": "MSW, Harbour"}],
    },
    {
        "kind": "riser",
        "label": "Risers",
        "hits": [{"url": "/missing", "title": "Mill Riser", "detail": "R1, Mill Street Works"}],
    },
]


def render_parts() -> str:
    """Render the page; the clock must stand at `NOW` for its dates to be of this year."""
    form = ReadingForm({"room": "Basement, behind the loading bay", "static": "920", "kind": "dry"})
    rows = _rows()
    request = RequestFactory().get("/", {"kind": "dry", "page": "4"})
    return render_to_string(
        "contractors/parts.html",
        {
            "organisation": "Quillmere Fire Protection",
            "navigation": [
                ("Today", "#main", True),
                ("Due", "#main", False),
                ("Plan", "#main", False),
                ("Buildings", "#main", False),
                ("Findings", "#main", False),
            ],
            "more": [("Rules", "#main", False), ("Calendars", "#main", False)],
            "search_url": "#main",
            "suggestions_url": "/search/suggestions/",
            "user": User(name="Mara Quist"),
            "door": SimpleNamespace(member=Membership(role=Membership.Role.MANAGER)),
            "messages": [Message(messages.SUCCESS, "Millrace Lofts moved to 22 April.")],
            "states": STATES,
            "symbols": sorted(symbol_names()),
            "roles": ROLES,
            "form": form,
            "filters": FilterForm({"kind": "dry"}),
            "rows": rows,
            "page_obj": Paginator([*rows] * 80, 20).page(4),
            "readings": _readings(),
            "now": NOW,
            "today": NOW.date(),
            "due": date(2027, 5, 14),
            "overdue": date(2027, 3, 31),
            "long_ago": date(2026, 12, 30),
            "impaired_at": datetime(2027, 4, 12, 11, 44, tzinfo=UTC),
            "test_ends": datetime(2027, 4, 13, 8, 0, tzinfo=UTC),
        },
        request=request,
    )
