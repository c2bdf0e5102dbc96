"""Forms by which a visit on paper is typed in: each with the time at which it was written down."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inspections import forms as desk
from inspections.amending import EnteredReading
from inspections.models import Finding, Result, Visit

READ = "read_"
_MOMENT = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
_LONG = forms.Textarea(attrs={"rows": 3})
Answer = Result.Answer
_PROOFS = [
    ("", "-"),
    ("proven", _("proven")),
    ("not_proven", _("not proven")),
    ("not_fitted", _("not fitted")),
]
_ANSWERS = {
    "inspection": (Answer.IN_ORDER, Answer.FINDING, Answer.COULD_NOT, Answer.NOT_FITTED),
    "test": (Answer.PASS, Answer.FAIL, Answer.COULD_NOT, Answer.NOT_FITTED),
}


class PaperForm(forms.Form):
    """When something was written on paper, and by whom."""

    at = forms.DateTimeField(
        label=_("Recorded on paper at"),
        widget=_MOMENT,
        help_text=_("Day and time as on the paper, in the building's time."),
    )
    taken_by = forms.CharField(label=_("Written by"), max_length=200, required=False)

    def paper(self) -> dict[str, Any]:
        """Return what an entry says of the paper."""
        at: datetime = self.cleaned_data["at"]
        by = self.cleaned_data["taken_by"]
        return {"paper": {"at": at.isoformat(), **({"by": by} if by else {})}}


class ArrivalForm(PaperForm):
    """The arrival, which opens the visit."""

    contact = forms.CharField(label=_("Told at the building"), max_length=200, required=False)

    def entries(self) -> list[dict[str, Any]]:
        """Return the arrival as an entry."""
        payload = {"at": self.cleaned_data["at"].isoformat(), **self.paper()}
        if self.cleaned_data["contact"]:
            payload["contact"] = self.cleaned_data["contact"]
        return [{"kind": "visit.open", "payload": payload}]


class StationForm(PaperForm):
    """The monitoring station put on test, or taken off again."""

    state = forms.ChoiceField(
        label=_("Station"),
        widget=forms.RadioSelect,
        choices=[("on", _("put on test")), ("off", _("taken off test"))],
    )
    until = forms.DateTimeField(label=_("On test until"), widget=_MOMENT, required=False)
    account = forms.CharField(label=_("Account"), max_length=200, required=False)
    reference = forms.CharField(label=_("Reference they gave"), max_length=200, required=False)
    operator = forms.CharField(label=_("Operator"), max_length=200, required=False)
    signals = forms.CharField(
        label=_("Signals read back, with their times"),
        max_length=1000,
        required=False,
        widget=_LONG,
        help_text=_("Needed where it is taken off test."),
    )

    def clean(self) -> dict[str, Any]:
        """Ask for the end of the test, or for what was read back."""
        given = super().clean() or {}
        if given.get("state") == "on" and not given.get("until"):
            self.add_error("until", _("Until when the station expects signals."))
        if given.get("state") == "off" and not given.get("signals"):
            self.add_error("signals", _("Write what the station read back, or that it was none."))
        return given

    def entries(self) -> list[dict[str, Any]]:
        """Return it as an entry."""
        given = self.cleaned_data
        names = ("account", "reference", "operator")
        payload = {name: given[name] for name in names if given[name]}
        if given["state"] == "on":
            payload["until"] = given["until"].isoformat()
        else:
            payload["signals"] = given["signals"]
        payload |= {"state": given["state"], **self.paper()}
        return [{"kind": "visit.station", "payload": payload}]


class NoteForm(PaperForm):
    """A note."""

    text = forms.CharField(label=_("Note"), max_length=4000, widget=_LONG)

    def entries(self) -> list[dict[str, Any]]:
        """Return the note as an entry."""
        payload = {"text": self.cleaned_data["text"], **self.paper()}
        return [{"kind": "note.add", "payload": payload}]


class LeaveForm(PaperForm):
    """What the visit was left with, and why."""

    impairments = forms.MultipleChoiceField(
        label=_("Left out of service"), widget=forms.CheckboxSelectMultiple
    )
    reason = forms.CharField(label=_("Why it is left impaired"), max_length=1000, widget=_LONG)
    told = forms.CharField(label=_("Who was told, and when"), max_length=1000, required=False)

    def __init__(self, *args: Any, running: Sequence[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["impairments"].choices = [(str(one.id), one.name) for one in running]  # type: ignore[attr-defined]

    def entries(self) -> list[dict[str, Any]]:
        """Return it as an entry."""
        given = self.cleaned_data
        payload = {"impairments": given["impairments"], "reason": given["reason"], **self.paper()}
        if given["told"]:
            payload["told"] = given["told"]
        return [{"kind": "visit.leave", "payload": payload}]


class HandInForm(PaperForm):
    """Who signed on paper, and when the visit was handed in there."""

    technician = forms.CharField(label=_("Technician who signed"), max_length=200)
    capacity = forms.CharField(
        label=_("Capacity, licence"), max_length=200, required=False, initial=_("Technician")
    )
    owner = forms.ChoiceField(
        label=_("Owner's representative"),
        widget=forms.RadioSelect,
        choices=[
            ("owner_rep", _("signed")),
            ("refused", _("refused to sign")),
            ("absent", _("nobody was there")),
        ],
    )
    name = forms.CharField(label=_("Name"), max_length=200, required=False)
    owner_capacity = forms.CharField(label=_("Capacity"), max_length=200, required=False)
    reason = forms.CharField(
        label=_("Reason, where nobody signed"), max_length=1000, required=False, widget=_LONG
    )

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"].label = _("Signed and handed in at")
        self.fields["at"].initial = None
        crew = [one for one in (visit.technician, visit.second) if one]
        day = timezone.localdate()
        licensed = [one for one in crew if one.licence_on(day)] or crew
        self.fields["technician"].initial = licensed[0].name if licensed else ""
        self.fields["name"].initial = visit.building.contact_name

    def clean(self) -> dict[str, Any]:
        """Ask for the name of whoever signed, else for the reason."""
        given = super().clean() or {}
        if given.get("owner") == "owner_rep" and not given.get("name"):
            self.add_error("name", _("Type the name in full."))
        if given.get("owner") in ("refused", "absent") and not given.get("reason"):
            self.add_error("reason", _("Say why there is no signature."))
        return given

    def entries(self, shown: str) -> list[dict[str, Any]]:
        """Return both signatures as entries, under the hash of what is typed in by now."""
        given = self.cleaned_data
        ours = {
            "role": "technician",
            "name": given["technician"],
            "capacity": given["capacity"],
        }
        signed = given["owner"] == "owner_rep"
        theirs = {
            "role": given["owner"],
            "name": given["name"] if signed else "",
            "capacity": given["owner_capacity"] if signed else "",
            "reason": "" if signed else given["reason"],
        }
        return [
            {"kind": "signature.add", "payload": _said(one) | {"shown": shown, **self.paper()}}
            for one in (ours, theirs)
        ]


def _said(given: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in given.items() if value not in (None, "")}


class LineForm(PaperForm):
    """The result of one line, with its readings."""

    answer = forms.ChoiceField(label=_("Result"), widget=forms.RadioSelect)
    reason = forms.CharField(
        label=_("Remark"),
        required=False,
        max_length=1000,
        widget=_LONG,
        help_text=_("Needed where it could not be done."),
    )
    field_order = ("at", "taken_by", "answer")

    def __init__(
        self, *args: Any, line: Mapping[str, Any], seen: Sequence[Any], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.line, self.seen = line, seen
        kind = "inspection" if line["activity_kind"] == "inspection" else "test"
        self.fields["answer"].choices = [(one.value, one.label) for one in _ANSWERS[kind]]  # type: ignore[attr-defined]
        reason = self.fields.pop("reason")
        for reading in line["readings"]:
            self.fields[READ + _key_of(reading)] = _reading(reading)
        self.fields["reason"] = reason

    def clean(self) -> dict[str, Any]:
        """Ask why, where something could not be done."""
        given = super().clean() or {}
        if given.get("answer") == Answer.COULD_NOT and not given.get("reason"):
            self.add_error("reason", _("Say why it could not be done."))
        return given

    def entries(self) -> list[dict[str, Any]]:
        """Return the readings and the answer as entries."""
        given, about = self.cleaned_data, self._about()
        made: list[dict[str, Any]] = [
            {"kind": "reading.add", "payload": {**about, **_named(key.removeprefix(READ)), **value}}
            for key, value in given.items()
            if key.startswith(READ) and value
        ]
        answer = {**about, "answer": given["answer"]}
        if given["reason"]:
            answer["reason"] = given["reason"]
        return [*made, {"kind": "item.set", "payload": answer, "seen": list(self.seen)}]

    def _about(self) -> dict[str, Any]:
        line = self.line
        return {"subject": line["subject"], "activity": line["activity"], **self.paper()}


def _key_of(reading: Mapping[str, Any]) -> str:
    """Return what a reading's box is called: a pump is read at several points of its flow."""
    return f"{reading['name']}--{reading['point']}" if reading["point"] else str(reading["name"])


def _named(key: str) -> dict[str, str]:
    name, _dashes, point = key.partition("--")
    return {"name": name, "point": point} if point else {"name": name}


def _reading(reading: Mapping[str, Any]) -> forms.Field:
    last, limit = reading["last"], reading["limit"]
    hints = [
        *([_("last: %(value)s") % {"value": last["typed"]}] if last else []),
        *([limit["words"]] if limit and limit["words"] else []),
        *([", ".join(reading["choices"]).replace("_", " ")] if reading["choices"] else []),
    ]
    label = reading["label"]
    if reading["unit"] not in ("word", "count"):
        label = f"{label}, {reading['unit']}"
    return EnteredReadingOrNone(
        label=label, recorded_in=reading["unit"], required=False, help_text="; ".join(hints)
    )


class EnteredReadingOrNone(EnteredReading):
    """A reading, where one was written down."""

    def clean(self, value: Any) -> Any:
        """Return the reading as the record keeps it, or None."""
        return super().clean(value) if str(value or "").strip() else None


class EndStateForm(PaperForm):
    """What was seen of a valve's end state, item by item."""

    def __init__(self, *args: Any, valve: Mapping[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.valve = valve
        for item in valve["end_state"]:
            words = item["words"]
            self.fields[item["code"]] = forms.ChoiceField(
                label=words[:1].upper() + words[1:], choices=_PROOFS, required=False
            )

    def entries(self) -> list[dict[str, Any]]:
        """Return what was seen as entries; items left blank make none."""
        paper = self.paper()
        return [
            {
                "kind": "proof.set",
                "payload": {
                    "device": self.valve["device"],
                    "item": item["code"],
                    "result": self.cleaned_data[item["code"]],
                    **paper,
                },
            }
            for item in self.valve["end_state"]
            if self.cleaned_data[item["code"]]
        ]


class FindingOnPaperForm(PaperForm, desk.FindingForm):
    """A finding with the time at which it was written down, or one open before, found again."""

    again = forms.ChoiceField(label=_("Open before and found again"), required=False)
    field_order = ("at", "taken_by", "again")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        building = kwargs["building"]
        rows = Finding.objects.filter(building=building, state=Finding.State.OPEN)
        known = [(str(one.pk), f"{one.text[:80]}, {one.location}".strip(", ")) for one in rows]
        self.fields["again"].choices = [("", _("no, something new")), *known]  # type: ignore[attr-defined]
        self.fields["again"].help_text = _(
            "It is linked to the open one instead of doubled; what is wrong and its class stay."
        )
        if not known:
            del self.fields["again"]
        elif self.data.get(self.add_prefix("again")):
            for name in ("subject", "grade", "text"):
                self.fields[name].required = False

    def clean(self) -> dict[str, Any]:
        """Ask for no class where it is one that is open already."""
        given = super().clean() or {}
        if given.get("again"):
            self.errors.pop("grade", None)
        return given

    def entries(self) -> list[dict[str, Any]]:
        """Return the finding as an entry, or its link to the one that is open."""
        given = self.cleaned_data
        if given.get("again"):
            linked = {"to": given["again"], "count": given["count"], "reason": given["text"]}
            return [{"kind": "finding.link", "payload": _said(linked) | self.paper()}]
        kind, item = desk.subject_from(given["subject"])
        told = {
            "subject": {"kind": kind, "id": str(item)},
            "class": given["grade"],
            "text": given["text"],
            "location": given["location"],
            "count": given["count"],
            "measure": given["measure"],
            "code": given["deficiency"],
            "activity": given["activity"],
        }
        return [{"kind": "finding.add", "payload": _said(told) | self.paper()}]
