"""What a visit still lacks before it can be handed in, in words."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from inspections.events.envelope import Event
from inspections.events.fold import Item, Proof, Subject, VisitPicture, subject_of

LAST = 10**6


class Lack(StrEnum):
    """What is missing, as a code to translate and to act on."""

    WATER_SHUT = "water_shut"
    NOT_RECORDED = "not_recorded"
    NOT_PROVEN = "not_proven"
    IN_CONFLICT = "in_conflict"
    NOT_OPENED = "not_opened"
    ON_TEST = "on_test"
    NOT_SIGNED = "not_signed"
    OWNER_NOT_SIGNED = "owner_not_signed"
    CHANGED_SINCE_SIGNED = "changed_since_signed"


SENTENCES = {
    Lack.WATER_SHUT: "{words}: water still shut; restore it with proof, or leave it as impaired",
    Lack.NOT_RECORDED: "{words}: not recorded yet",
    Lack.NOT_PROVEN: "{words}: not proven; prove it, or leave the visit as impaired",
    Lack.IN_CONFLICT: "{words}: recorded differently ({answers}); settle it with a reason",
    Lack.NOT_OPENED: "Arrival: time and contact not recorded yet",
    Lack.ON_TEST: "Monitoring station: still on test; put the account back and note it",
    Lack.NOT_SIGNED: "Technician's signature: missing",
    Lack.OWNER_NOT_SIGNED: "Owner's representative: signature, refusal or absence not recorded yet",
    Lack.CHANGED_SINCE_SIGNED: "Technician's signature: there are entries after it; sign again",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Required:
    """Something a visit has to record.

    Attributes
    ----------
    what
        An item of a device's end state (proof), the result of an activity (item) or a reading.
    subject
        The device or other subject it is about.
    code
        The end-state item's code for a proof, otherwise the activity.
    name, point
        Which reading, and where or when it is taken; empty where any will do.
    words
        How it is called on the page, in the reader's language.
    riser, riser_order
        Under which riser it is listed, and that riser's place among them; without a riser it comes
        after all of them.
    """

    what: Literal["proof", "item", "reading"]
    subject: Subject
    code: str
    words: str
    name: str = ""
    point: str = ""
    riser: str = ""
    riser_order: int = LAST


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """One thing a visit lacks: a code, the sentence in English, and what it is about.

    `words` is what the sentence names; with the answers it makes the sentence in any language.
    """

    lack: Lack
    sentence: str
    words: str = ""
    riser: str = ""
    required: Required | None = None
    answers: tuple[str, ...] = ()


def missing(
    picture: VisitPicture, required: Iterable[Required], *, shut: Iterable[str] = ()
) -> list[Missing]:
    """Return what the visit lacks: riser by riser, end state first, then the visit's own matters.

    Parameters
    ----------
    picture
        The visit as recorded so far.
    required
        What its activities and devices ask for. Within one riser and kind their order is kept.
    shut
        Names of what was shut during it and neither restored nor left as impaired.

    Notes
    -----
    Readings of an activity that could not be done, or of something not fitted, are not asked for.
    An end state that is not proven is no obstacle once the visit is left as impaired; one that was
    not looked at is.
    """
    known = _Known(picture)
    ordered = sorted(required, key=lambda need: (need.riser_order, need.riser, _rank(need)))
    found = [lack for need in ordered if (lack := known.lack_of(need)) is not None]
    first = [_lack(Lack.WATER_SHUT, words=name) for name in shut]
    return [*first, *found, *known.conflicts_beside(ordered), *_own_matters(picture)]


def _rank(need: Required) -> int:
    return ("proof", "item", "reading").index(need.what)


class _Known:
    """A picture made ready to be asked about single needs."""

    def __init__(self, picture: VisitPicture) -> None:
        self.may_lack_proof = picture.left_impaired is not None
        self.proofs = {(Subject("device", p.device), p.item): p for p in picture.proofs}
        self.items = {(item.subject, item.activity): item for item in picture.items}
        self.readings = picture.readings

    def lack_of(self, need: Required) -> Missing | None:
        if need.what == "reading":
            return None if self._is_read(need) else _about(need, Lack.NOT_RECORDED)
        known = self._answer(need)
        if known is None:
            return _about(need, Lack.NOT_RECORDED)
        if answers := _disagreement(known):
            return _about(need, Lack.IN_CONFLICT, answers)
        if isinstance(known, Proof) and known.result == "not_proven" and not self.may_lack_proof:
            return _about(need, Lack.NOT_PROVEN)
        return None

    def _answer(self, need: Required) -> Item | Proof | None:
        key = (need.subject, need.code)
        return self.proofs.get(key) if need.what == "proof" else self.items.get(key)

    def conflicts_beside(self, needs: Sequence[Required]) -> list[Missing]:
        asked = {(need.what, need.subject, need.code) for need in needs}
        others: list[tuple[str, Item | Proof]] = [
            (activity, item)
            for (subject, activity), item in self.items.items()
            if ("item", subject, activity) not in asked
        ]
        others += [
            (code, proof)
            for (subject, code), proof in self.proofs.items()
            if ("proof", subject, code) not in asked
        ]
        return [
            _lack(Lack.IN_CONFLICT, words=code, answers=answers)
            for code, known in others
            if (answers := _disagreement(known))
        ]

    def _is_read(self, need: Required) -> bool:
        item = self.items.get((need.subject, need.code))
        if item is not None and item.answer in {"could_not", "not_fitted"}:
            return True
        return any(_is_reading(event, need) for event in self.readings)


def _is_reading(event: Event, need: Required) -> bool:
    return (
        subject_of(event) == need.subject
        and event.payload["activity"] == need.code
        and need.name in {"", event.payload["name"]}
        and need.point in {"", event.payload.get("point", "")}
    )


def _disagreement(known: Item | Proof) -> tuple[str, ...]:
    sides = (known.heads,) if isinstance(known, Proof) else (known.as_found, known.as_left)
    return next((heads.words for heads in sides if heads.in_conflict), ())


def _own_matters(picture: VisitPicture) -> list[Missing]:
    roles = {event.payload["role"] for event in picture.signatures}
    lacks = (
        (picture.opened is None, Lack.NOT_OPENED),
        (picture.on_test is not None, Lack.ON_TEST),
        ("technician" not in roles, Lack.NOT_SIGNED),
        (_is_changed_since_signed(picture), Lack.CHANGED_SINCE_SIGNED),
        (not roles & {"owner_rep", "refused", "absent"}, Lack.OWNER_NOT_SIGNED),
    )
    return [_lack(lack) for applies, lack in lacks if applies]


def _is_changed_since_signed(picture: VisitPicture) -> bool:
    signed_on: set[object] = set()
    changed_on: set[object] = set()
    for event in picture.counted:
        if event.kind == "signature.add" and event.payload["role"] == "technician":
            signed_on.add(event.tablet)
            changed_on.discard(event.tablet)
        elif event.schema.work and event.kind != "signature.add" and event.tablet in signed_on:
            changed_on.add(event.tablet)
    return bool(changed_on)


def _about(need: Required, lack: Lack, answers: tuple[str, ...] = ()) -> Missing:
    words = f"{need.riser}: {need.words}" if need.riser else need.words
    return _lack(lack, words=words, riser=need.riser, required=need, answers=answers)


def _lack(
    lack: Lack,
    *,
    words: str = "",
    riser: str = "",
    required: Required | None = None,
    answers: tuple[str, ...] = (),
) -> Missing:
    sentence = said(SENTENCES[lack], words, answers)
    return Missing(
        lack=lack,
        sentence=sentence,
        words=words,
        riser=riser,
        required=required,
        answers=answers,
    )


def said(sentence: str, words: str, answers: Iterable[str]) -> str:
    """Return one of `SENTENCES`, in whatever language, with what it names."""
    told = ", ".join(answer.replace("_", " ") for answer in answers)
    return sentence.format(words=words, answers=told)
