"""Forms by which water shut on paper is typed in: its start, the steps owed, and its end."""

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django import forms
from django.utils.translation import gettext_lazy as _

from buildings.models import Building
from contractors.models import new_id
from inspections import forms as desk
from inspections.outages import VALVE_OPEN, Running
from inspections.paper_forms import READ, EnteredReadingOrNone, PaperForm

_LONG = forms.Textarea(attrs={"rows": 3})
_MOMENT = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")


class ShutForm(PaperForm):
    """What was shut for work, or found shut."""

    subject = forms.ChoiceField(label=_("Valve, riser or system"))
    how = forms.ChoiceField(
        label=_("How it stood"),
        widget=forms.RadioSelect,
        choices=[
            ("attended", _("shut for work, somebody stayed at it")),
            ("found", _("found shut: an impairment, since when is not known")),
            ("left", _("out of service with nobody at it: an impairment from then on")),
        ],
    )
    extent = forms.CharField(
        label=_("What was out of service"),
        max_length=1000,
        widget=_LONG,
        help_text=_("Floors, areas, systems without water."),
    )
    person = forms.CharField(label=_("Who stayed at the valve"), max_length=200, required=False)

    def __init__(
        self, *args: Any, building: Building, others: Sequence[Running], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"].label = _("Shut, or found so, at")
        self.fields["subject"].choices = _places(building)  # type: ignore[attr-defined]
        if others:
            self.fields["second"] = forms.CharField(
                label=_("Why another one was shut all the same"),
                max_length=1000,
                widget=_LONG,
                help_text=_("Out of service already: %(what)s.")
                % {"what": ", ".join(one.name for one in others)},
            )

    def clean(self) -> dict[str, Any]:
        """Ask who stayed at a valve that was shut for work."""
        given = super().clean() or {}
        if given.get("how") == "attended" and not given.get("person"):
            self.add_error("person", _("Name who stayed at the valve; else it is an impairment."))
        return given

    def entries(self) -> list[dict[str, Any]]:
        """Return the start, and the reason where another one was out already."""
        given = self.cleaned_data
        kind, item = desk.subject_from(given["subject"])
        about = {"subject": {"kind": kind, "id": str(item)}, **self.paper()}
        started, extent = given["at"].isoformat(), given["extent"]
        if given["how"] == "attended":
            shut = {"extent": extent, "attended": True, "person": given["person"]}
            made = [{"kind": "outage.start", "payload": about | shut | {"started_at": started}}]
        else:
            begun: dict[str, Any] = {"extent": extent, "nature": "emergency"}
            begun |= {"unknown_start": True} if given["how"] == "found" else _from(started)
            made = [{"kind": "impairment.start", "payload": about | begun}]
        if given.get("second"):
            made.append({"kind": "note.add", "payload": about | {"text": given["second"]}})
        return made


def _places(building: Building) -> list[tuple[str, str]]:
    """Return what can be shut, valves first: they are what is turned."""
    found = [("device", one) for one in building.devices.filter(kind="control_valve")]
    found += [("riser", one) for one in building.risers.all()]
    found += [("system", one) for one in building.systems.all()]
    return [
        (
            f"{kind}:{one.pk}",
            ", ".join(part for part in (f"{one.code} {one.name}", one.location) if part),
        )
        for kind, one in found
    ]


def _from(started: str) -> dict[str, Any]:
    return {"unknown_start": False, "started_at": started}


class _OwedForm(PaperForm):
    """One step that is owed while something is out of service."""

    kind = ""

    def entries_of(self, outage_id: UUID) -> list[dict[str, Any]]:
        """Return the step as an entry on the outage's stream."""
        payload = {"impairment": str(outage_id), **self.told(), **self.paper()}
        payload = {name: value for name, value in payload.items() if value not in (None, "")}
        return [{"kind": self.kind, "stream_id": outage_id, "payload": payload}]

    def told(self) -> dict[str, Any]:
        """Return what the step says: at least its moment."""
        return {"at": self.cleaned_data["at"].isoformat()}


class TagForm(_OwedForm):
    """A tag hung or taken down."""

    kind = "impairment.tag"
    state = forms.ChoiceField(
        label=_("Tag"),
        widget=forms.RadioSelect,
        choices=[("hung", _("hung")), ("taken_down", _("taken down"))],
    )
    place = forms.CharField(label=_("Where"), max_length=200)
    number = forms.CharField(label=_("Number of the tag"), max_length=200, required=False)

    def told(self) -> dict[str, Any]:
        """Return state, place, number and time."""
        given = self.cleaned_data
        names = ("state", "place", "number")
        return {name: given[name] for name in names} | super().told()


class ToldForm(_OwedForm):
    """Who was told."""

    kind = "impairment.notice"
    who = forms.ChoiceField(label=_("Who was told"), choices=desk.TOLD)
    name = forms.CharField(label=_("Name"), max_length=200)
    how = forms.ChoiceField(label=_("How"), choices=desk.HOW)
    reference = forms.CharField(label=_("Reference they gave"), max_length=200, required=False)

    def told(self) -> dict[str, Any]:
        """Return who was told, how and when."""
        given = self.cleaned_data
        names = ("name", "how", "reference")
        said = {name: given[name] for name in names}
        return said | {"told": given["who"]} | super().told()


class WatchForm(_OwedForm):
    """A leg of the fire watch."""

    kind = "impairment.watch"
    who = forms.CharField(label=_("Who kept the watch"), max_length=200)
    until = forms.DateTimeField(label=_("To"), widget=_MOMENT, required=False)
    area = forms.CharField(label=_("Where"), max_length=200, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["at"].label = _("From")

    def clean(self) -> dict[str, Any]:
        """Refuse a leg that ends before it begins."""
        given = super().clean() or {}
        at, until = given.get("at"), given.get("until")
        if at and until and until <= at:
            self.add_error("until", _("A moment after the beginning."))
        return given

    def told(self) -> dict[str, Any]:
        """Return who walked, from when to when, and where."""
        given = self.cleaned_data
        until = given["until"].isoformat() if given["until"] else None
        said = {"who": given["who"], "area": given["area"]}
        return said | {"from": given["at"].isoformat(), "until": until}


class UnattendedForm(_OwedForm):
    """Nobody stayed at the valve: an impairment as of its beginning."""

    kind = "impairment.start"

    def __init__(self, *args: Any, shut: Mapping[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shut = shut
        self.fields["at"].label = _("Left at")

    def told(self) -> dict[str, Any]:
        """Return the impairment, with what was shut and since when."""
        names = ("subject", "extent", "started_at")
        return {name: self.shut.get(name) for name in names} | {
            "nature": "planned",
            "unknown_start": False,
        }


class RestoredForm(PaperForm):
    """The end: what proved it, or that proof is missing."""

    how = forms.ChoiceField(
        label=_("Restored"),
        widget=forms.RadioSelect,
        choices=[
            ("restored_proven", _("proven, by what is typed in here or before")),
            ("restored_proof_missing", _("proof missing: a licensed person answers for it")),
        ],
    )
    reason = forms.CharField(
        label=_("What could not be proven, and why"), max_length=1000, required=False, widget=_LONG
    )

    def __init__(
        self, *args: Any, subject: Mapping[str, str], test: Mapping[str, Any] | None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.subject, self.test = subject, test
        self.fields["at"].label = _("Restored at")
        if test is not None:
            self._ask_for_flow(test)

    def _ask_for_flow(self, test: Mapping[str, Any]) -> None:
        self.fields["open"] = forms.CharField(
            label=_("Valve seen open: turns, lock, seal or tamper switch"),
            max_length=200,
            required=False,
            help_text=_("Leave it blank where nobody saw it, or where it is typed in already."),
        )
        choices = [
            ("", _("not done, or typed in already")),
            ("pass", _("Pass")),
            ("fail", _("Fail")),
        ]
        self.fields["flow"] = forms.ChoiceField(
            label=_("After it: %(task)s") % {"task": test["task"]},
            choices=choices,
            required=False,
        )
        for reading in test["readings"]:
            self.fields[READ + reading["name"]] = EnteredReadingOrNone(
                label=f"{reading['label']}, {reading['unit']}",
                recorded_in=reading["unit"],
                required=False,
            )

    def clean(self) -> dict[str, Any]:
        """Ask missing proof for its reason, and a flow test for its readings."""
        given = super().clean() or {}
        if given.get("how") == "restored_proof_missing" and not given.get("reason"):
            self.add_error("reason", _("Say what could not be proven, and why."))
        if given.get("flow") and self.test is not None:
            for reading in self.test["readings"]:
                name = READ + reading["name"]
                if name not in self.errors and not given.get(name):
                    self.add_error(name, _("A reading is wanted with this test."))
        return given

    def proofs(self, before: Sequence[UUID]) -> list[dict[str, Any]]:
        """Return what is typed in here that speaks for the restoration, as entries.

        Parameters
        ----------
        before
            Answers to the same test that stand already, which this one takes the place of.
        """
        given, paper = self.cleaned_data, self.paper()
        made: list[dict[str, Any]] = []
        if given.get("open"):
            proof = {"device": self.subject["id"], "item": VALVE_OPEN, "result": "proven"}
            made.append({"kind": "proof.set", "payload": proof | {"value": given["open"], **paper}})
        if given.get("flow") and self.test is not None:
            about = {"subject": dict(self.subject), "activity": self.test["activity"], **paper}
            for name, value in given.items():
                if name.startswith(READ) and value:
                    read = {**about, "name": name.removeprefix(READ), **value}
                    made.append({"kind": "reading.add", "payload": read})
            answer = {**about, "answer": given["flow"]}
            made.append({"kind": "item.set", "payload": answer, "seen": list(before)})
        return made

    def end(self, outage_id: UUID, kind: str, proofs: Sequence[str]) -> dict[str, Any]:
        """Return the end as an entry.

        Parameters
        ----------
        kind
            `outage.end` or `impairment.end`.
        proofs
            All entries that speak for it.
        """
        given = self.cleaned_data
        proven = given["how"] == "restored_proven"
        payload = {
            kind.partition(".")[0]: str(outage_id),
            "result": given["how"],
            "ended_at": given["at"].isoformat(),
            **({"proofs": list(proofs)} if proven else {"reason": given["reason"]}),
            **self.paper(),
        }
        return {"id": new_id(), "kind": kind, "stream_id": outage_id, "payload": payload}
