"""Exercises at the practice bench: set, done, scored by the model, and kept as training records.

What a browser sends is which acts were done, what was marked and which fault was named. The score
is worked out here by doing the acts again; nothing it says of the result is read.
"""

from base64 import b64encode
from collections.abc import Mapping, Sequence
from datetime import date
from secrets import token_bytes
from typing import Any, NamedTuple

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from contractors import audit, licences
from contractors.doors import Role
from contractors.models import Licence, Membership, Person
from contractors.refusal import FieldRefused, NotThere, Refusal
from inspections import access, licensed
from inspections import practice_words as words
from inspections.models import PracticeExercise, PracticeRun
from inspections.practice import bench, score
from inspections.practice.faults import faults_of
from inspections.sequence.types import TYPES, Config, make_config

SETTERS = (Role.MANAGER, Role.TRAINER)
PREACTION = "preaction_"
MOST_MARKS = 60
# As long as the longest name of a fault, or longer: the length tells nothing.
HIDDEN_BYTES = 64
Task = PracticeExercise.Task


class NotToRelease(Refusal):
    """A run does not speak for releasing its person, or they would release themselves."""

    code = "not_to_release"
    status = 409
    sentence = (
        "Nobody is released by this run. Accepted: a passed run on a preaction type, of one of "
        "the contractor's people, released by somebody else."
    )


class Said(NamedTuple):
    """One part of a score: its name, whether it was good, and sentences."""

    title: str
    good: bool
    sentences: list[str]


def config_of(system_type: str) -> Config:
    """Return the riser that is practised on: the type with its usual set points."""
    return make_config(system_type, {})


def exercises_of(member: Membership) -> Any:
    """Return the exercises a member may see: a technician those for all and for them."""
    rows = PracticeExercise.objects.filter(withdrawn_at=None).select_related("person")
    if member.role != Role.TECHNICIAN:
        return rows
    return rows.filter(Q(person=None) | Q(person__membership=member))


def runs_of(member: Membership) -> Any:
    """Return the runs a member may see: a technician their own, everybody else all."""
    rows = PracticeRun.objects.select_related("person", "member__user")
    return rows if member.role != Role.TECHNICIAN else rows.filter(member=member)


def exercise_for(member: Membership, exercise_id: Any) -> PracticeExercise:
    """Return an exercise this member may see; `NotThere` otherwise."""
    found: PracticeExercise = _one(exercises_of(member), exercise_id)
    return found


def run_for(member: Membership, run_id: Any) -> PracticeRun:
    """Return a run this member may see; `NotThere` otherwise."""
    found: PracticeRun = _one(runs_of(member), run_id)
    return found


def _one(rows: Any, row_id: Any) -> Any:
    found = rows.filter(pk=row_id).first()
    if found is None:
        raise NotThere
    return found


def granted_to(people: Any) -> dict[Any, list[PracticeRun]]:
    """Return what people have practised, by person, the latest of each task and type first.

    These are training records. What asks for a licence reads releases, which rest on them.
    """
    newest: dict[Any, dict[tuple[str, str], PracticeRun]] = {}
    rows = PracticeRun.objects.filter(person__in=people, granted_on__isnull=False)
    for run in rows.defer("acts", "noted", "score"):
        newest.setdefault(run.person_id, {}).setdefault((run.system_type, run.task), run)
    return {person: list(rows.values()) for person, rows in newest.items()}


def may_be_released(run: PracticeRun) -> bool:
    """Say whether a run speaks for releasing its person to work alone on preaction."""
    return run.passed and run.person_id is not None and run.system_type.startswith(PREACTION)


def release(run: PracticeRun, *, valid_until: date, by: Membership) -> Licence:
    """Release the person of a run to work alone on preaction, from today on.

    The bench alone releases nobody: somebody who may set exercises answers for it.

    Raises
    ------
    NotToRelease
        When the run was not passed or is of no preaction type, or the person releases themselves.
    FieldRefused
        When the last day is over, or the person is released for longer already.
    """
    person = run.person
    if person is None or not may_be_released(run) or person == access.person_of(by):
        raise NotToRelease
    today = timezone.localdate()
    held = licensed.held_by(person, today).get(Licence.Kind.PREACTION, today)
    if valid_until <= held:
        raise FieldRefused("valid_until", valid_until, _("A day after %(day)s.") % {"day": held})
    with transaction.atomic():
        made = licences.add(
            person,
            kind=Licence.Kind.PREACTION,
            number="",
            valid_from=today,
            valid_until=valid_until,
            by=by,
        )
        audit.record("practice.released", by=by, on=run, until=valid_until.isoformat())
    return made


def set_exercise(
    *,
    system_type: str,
    task: str,
    fault: str = "",
    person: Person | None = None,
    note: str = "",
    by: Membership | None,
) -> PracticeExercise:
    """Set an exercise for one person, or for everybody.

    Raises
    ------
    FieldRefused
        When the type or task is not known, the fault cannot be hidden in such a riser or is set
        for another task, or the person has no log-in to practise with.
    """
    if system_type not in TYPES:
        raise FieldRefused("system_type", system_type, ", ".join(TYPES))
    if task not in Task.values:
        raise FieldRefused("task", task, ", ".join(Task.values))
    if fault and task != Task.FIND_FAULT:
        raise FieldRefused("fault", fault, _("Empty, unless the task is to find a hidden fault."))
    if fault and fault not in faults_of(config_of(system_type)):
        raise FieldRefused("fault", fault, ", ".join(faults_of(config_of(system_type))))
    if person is not None and person.membership_id is None:
        raise FieldRefused("person", person.name, _("Somebody with a log-in of their own."))
    row: PracticeExercise = PracticeExercise.objects.create(
        system_type=system_type,
        task=task,
        fault=fault,
        person=person,
        note=note,
        set_at=timezone.now(),
        set_by=by,
    )
    audit.record("practice.set", by=by, on=row, type=system_type, task=task)
    return row


def withdraw(exercise: PracticeExercise, *, by: Membership) -> None:
    """Take an exercise from the list; the runs that were done of it stay."""
    exercise.withdrawn_at = timezone.now()
    exercise.save(update_fields=["withdrawn_at"])
    audit.record("practice.withdrawn", by=by, on=exercise)


def hand_in(
    exercise: PracticeExercise,
    *,
    acts: Sequence[str],
    noted: Mapping[str, Sequence[str]],
    claim: str,
    by: Membership,
) -> PracticeRun:
    """Score a run by doing its acts again, and keep it as a training record.

    Parameters
    ----------
    acts
        Codes of `bench.deeds_of`, in order; at least one.
    noted
        Number of an act (1 is the first) to what was marked as seen after it.
    claim
        The fault that is named, ``none`` for a sound riser; empty where no fault is looked for.

    Raises
    ------
    FieldRefused
        Naming what is not accepted: an act, a mark, the claim or their number.
    """
    if not acts:
        raise FieldRefused("acts", _("nothing"), _("At least one act."))
    run = score.Run(exercise.task, exercise.fault, list(acts), _numbered(noted), claim)
    try:
        found = score.score(config_of(exercise.system_type), run)
    except bench.NotAccepted as error:
        raise FieldRefused(error.field, error.given, f"{error.accepted}.") from error
    kept: PracticeRun = PracticeRun.objects.create(
        exercise=exercise,
        person=access.person_of(by),
        member=by,
        system_type=exercise.system_type,
        task=exercise.task,
        fault=exercise.fault,
        acts=list(acts),
        noted={str(number): list(marks) for number, marks in noted.items()},
        claim=claim,
        score=found,
        passed=found["passed"],
        done_at=timezone.now(),
        granted_on=timezone.localdate() if found["passed"] else None,
    )
    return kept


def _numbered(noted: Mapping[str, Sequence[str]]) -> dict[int, list[str]]:
    found = {}
    for number, marks in noted.items():
        if not str(number).isdigit():
            raise FieldRefused("noted", number, _("The number of an act."))
        if len(marks) > MOST_MARKS:
            raise FieldRefused("noted", number, _("At most %(n)s marks.") % {"n": MOST_MARKS})
        found[int(number)] = list(marks)
    return found


def riser_of(exercise: PracticeExercise) -> dict[str, Any]:
    """Return what a bench needs to be worked without the service: plain values as JSON has them."""
    config = config_of(exercise.system_type)
    deeds = bench.deeds_of(config)
    return {
        "exercise": str(exercise.pk),
        "system_type": exercise.system_type,
        "task": exercise.task,
        "hidden": masked(exercise.fault),
        "start": [one._asdict() for one in bench.start_acts(config, exercise.task)],
        "seen": list(bench.SEEN),
        "parts": _parts(config, deeds),
        "deeds": {
            code: {
                "name": words.deed_name(deed),
                "whole": words.whole_name(deed),
                "part": deed.part,
                "position": deed.position,
                "to": deed.to,
                "action": deed.action._asdict(),
            }
            for code, deed in deeds.items()
        },
        "sights": _sights(config),
        "claims": claims_of(exercise),
        "words": words.for_browser(),
    }


def masked(fault: str) -> list[str]:
    """Return a hidden fault so that nobody meets it in the page: its bytes over random ones.

    Where there is no connection the riser can only behave as it does if the browser has the fault.
    This is no secret from whoever takes the page apart, and the score does not rest on it: a fault
    that the acts have not shown is not counted as found.
    """
    plain = fault.encode().ljust(HIDDEN_BYTES)
    over = token_bytes(HIDDEN_BYTES)
    under = bytes(one ^ other for one, other in zip(plain, over, strict=True))
    return [b64encode(part).decode() for part in (over, under)]


def claims_of(exercise: PracticeExercise) -> list[list[str]]:
    """Return the faults that can be named: code and words; none where none is looked for."""
    if exercise.task != Task.FIND_FAULT:
        return []
    faults = faults_of(config_of(exercise.system_type))
    return [[code, words.fault_name(code)] for code in (score.NO_FAULT, *faults)]


def _sights(config: Config) -> list[dict[str, Any]]:
    """Return what can be marked, each with its ways: code, word, and both as they are logged."""
    found: dict[str, dict[str, Any]] = {}
    for code in bench.sights_of(config):
        what, _colon, way = code.rpartition(":")
        row = found.setdefault(what, {"name": words.sight_subject(what), "ways": []})
        row["ways"].append([code, words.way_name(way), words.sight_name(code)])
    return list(found.values())


def _parts(config: Config, deeds: Mapping[str, bench.Deed]) -> dict[str, Any]:
    shown = [*bench.DIALS, *(["system_valve"] if config.valve != "none" else [])]
    parts = {code: _part(code) for code in shown}
    for code, deed in deeds.items():
        part = parts.setdefault(deed.part, _part(deed.part))
        part["deeds"].append(code)
        if deed.position:
            part["position"] = deed.position
            part["at"] = list(words.position_names(deed.position))
    return parts


def _part(code: str) -> dict[str, Any]:
    return {"name": words.part_name(code), "position": "", "at": ["", ""], "deeds": []}


def said_of(run: PracticeRun) -> list[Said]:
    """Return a score in sentences: safe order, what was noticed, and what was found or left."""
    found = run.score
    last = _diagnosis(found["diagnosis"]) if found["diagnosis"] else _left(run)
    return [_order(run), _noticed(found["observed"]), last]


def _order(run: PracticeRun) -> Said:
    said = [
        _("Act %(n)s, %(act)s: %(why)s") % {"n": row["number"], "act": row["act"], "why": why}
        for row in log_of(run)
        for why in row["broken"]
    ]
    sentences = said or [_("No act stood against the order of the work.")]
    return Said(_("Safe order"), not said, sentences)


def _noticed(found: Mapping[str, Any]) -> Said:
    if not found["acts"]:
        return Said(_("What was noticed"), False, [_("Nothing that was done showed anything.")])
    said = [
        _("After %(noticed)s of %(acts)s acts that showed something, something of it was marked.")
        % found
    ]
    if found["wrong"]:
        said.append(
            ngettext(
                "%(n)s mark named what did not happen.",
                "%(n)s marks named what did not happen.",
                found["wrong"],
            )
            % {"n": found["wrong"]}
        )
    return Said(_("What was noticed"), found["enough"], said)


def _left(run: PracticeRun) -> Said:
    found = run.score
    said = [words.guide_word(f"normal.{code}") + "." for code in found["not_normal"]]
    if said:
        said = [_("The riser was not left normal."), *said]
    elif not found["reached"]:
        said = [_("The riser is normal, but no test made it answer.")]
    else:
        said = [_("The riser was left normal.")]
    skipped = found["guided"].get("left_out", [])
    if skipped:
        steps = ", ".join(words.guide_word(f"step.{code}") for code in skipped)
        said.append(
            _("Steps of the guide not done, or done otherwise: %(steps)s.") % {"steps": steps}
        )
    return Said(_("How it was left"), found["reached"], said)


def _diagnosis(found: Mapping[str, Any]) -> Said:
    good = found["verdict"] == score.RIGHT
    others = [words.fault_name(one) for one in found["group"] if one != found["claim"]]
    if found["sound"] and found["claim"] not in ("", score.NO_FAULT):
        others.insert(0, words.fault_name(score.NO_FAULT))
    facts = {
        "claim": words.fault_name(found["claim"]),
        "others": "; ".join(others),
        "n": found["contradicted"],
    }
    said = [_VERDICTS[found["verdict"]]() % facts]
    if found["verdict"] == score.WRONG:
        said.append(
            _("What was seen as the riser was found speaks against it.")
            if found["contradicted"] == 0
            else _("What was seen after act %(n)s speaks against it.") % facts
        )
    if others and found["verdict"] != score.WRONG:
        said.append(_("What was done would have looked the same with: %(others)s.") % facts)
    if not good:
        said.append(_("What is hidden stays hidden: take the exercise again."))
    return Said(_("Diagnosis"), good, said)


_VERDICTS = {
    score.RIGHT: lambda: _("Found: %(claim)s. No test would tell more."),
    score.TOO_EARLY: lambda: _("Named too early: %(claim)s. A further test would tell more."),
    score.UNPROVEN: lambda: _("Not shown by what was done: %(claim)s."),
    score.WRONG: lambda: _("Not the fault: %(claim)s."),
    score.SILENT: lambda: _("No fault was named."),
}


def told(run: PracticeRun, member: Membership) -> dict[str, Any]:
    """Return the score as a member may read it: what is hidden only once it was found."""
    if run.passed or member.role in SETTERS or not run.score["diagnosis"]:
        return dict(run.score)
    verdict = {k: v for k, v in run.score["diagnosis"].items() if k != "fault"}
    return {**run.score, "diagnosis": verdict}


def log_of(run: PracticeRun) -> list[dict[str, Any]]:
    """Return the run act by act for its debrief: what was done, seen, marked and missed."""
    deeds = bench.deeds_of(config_of(run.system_type))
    return [
        {
            "number": step["number"],
            "act": words.whole_name(deeds[step["act"]]),
            "noticed": [words.sight_name(one) for one in step["noticed"]],
            "missed": [
                words.sight_name(one) for one in step["sights"] if one not in step["noticed"]
            ],
            "imagined": [words.sight_name(one) for one in step["imagined"]],
            "broken": [words.guide_word(f"rule.{one['code']}") for one in step["breaches"]],
        }
        for step in run.score["steps"]
    ]
