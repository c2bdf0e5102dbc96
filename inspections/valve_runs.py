"""Runs of the valve model: begun, acted on, looked at, diagnosed, and gone a month after the last.

Each works on the log, from which the model's state follows at any time; nothing else is kept.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from contractors.models import Membership
from contractors.refusal import NotThere, Refusal
from inspections.models import ValveRun
from inspections.sequence import records
from inspections.sequence.constraints import take
from inspections.sequence.diagnosis import OBSERVABLE
from inspections.sequence.guide import compare
from inspections.sequence.observe import observe
from inspections.sequence.run import ScenarioError, start
from inspections.sequence.state import State
from inspections.sequence.types import Config

KEPT_FOR = timedelta(days=30)
MOST_RUNS = 1000


class NotOfTheModel(Refusal):
    """Something the valve model does not have."""

    code = "not_of_the_model"
    status = 400
    sentence = "%(what)s"

    def __init__(self, error: ScenarioError) -> None:
        super().__init__(what=str(error))


class TooMany(Refusal):
    """More runs, or a longer one, than are kept."""

    code = "too_many"
    status = 409
    sentence = "No more than %(most)s are kept. Begin another run, or let old ones expire."


def listed() -> Any:
    """Return the contractor's runs that have not expired."""
    return ValveRun.objects.filter(expires_at__gt=timezone.now())


def create(given: Mapping[str, Any], *, by: Membership | None) -> ValveRun:
    """Begin a run.

    Parameters
    ----------
    given
        ``system_type``, ``overrides`` (`config` of a scenario), ``hidden`` (faults), ``title``.
    by
        Who begins it.

    Raises
    ------
    NotOfTheModel
        Naming the field and what is accepted.
    """
    now = timezone.now()
    run = ValveRun(
        title=given.get("title", ""),
        system_type=given["system_type"],
        overrides=given.get("overrides", {}),
        hidden=given.get("hidden", []),
        started_at=now,
        started_by=by,
        expires_at=now + KEPT_FOR,
    )
    _start(run)
    ValveRun.objects.filter(expires_at__lte=now).delete()
    if listed().count() >= MOST_RUNS:
        raise TooMany(most=MOST_RUNS)
    run.save()
    return run


def act(run: ValveRun, step: Any) -> dict[str, Any]:
    """Do one act; return what is then shown and the warnings that stood before it."""
    with _writing(run) as row:
        config, state = replay(row)
        try:
            action = records.action_at(config, "act", step)
            taken = take(config, state, action)
        except ScenarioError as error:
            raise NotOfTheModel(error) from error
        except ValueError as error:
            raise NotOfTheModel(ScenarioError(f"act {error}")) from error
        row.add({"act": step})
    warnings = [warning._asdict() for warning in taken.warnings]
    return {"observation": shown(config, taken.state), "warnings": warnings}


def look(run: ValveRun, seen: Any) -> dict[str, Any]:
    """Keep what was seen; return what a sound riser would show otherwise, and why it may be.

    Notes
    -----
    The likely faults of a mismatch are named at once: single causes only, which takes
    milliseconds. Pairs are searched when a diagnosis is asked for.
    """
    with _writing(run) as row:
        config, _state = replay(row)
        try:
            checked = records.seen_at(config, "seen", seen)
            row.add({"seen": seen})
            sound = replay(row, faults=[])[1]
            plain = {k: v for k, v in checked.items() if not isinstance(v, dict)}
            expected = {k: v for k, v in shown(config, sound).items() if k in plain}
            found = [one._asdict() for one in compare(expected, plain)]
            likely = records.diagnosed(
                config, records.record_of(config, row.run.log, {}), deepest=1
            )
        except ScenarioError as error:
            raise NotOfTheModel(error) from error
    return {"mismatches": found, "diagnosis": likely}


def diagnose(run: ValveRun, answers: Any, *, pairs: bool, go_on: Callable[[], bool]) -> Any:
    """Return what explains the record of a run so far."""
    config, _state = _start(run)
    try:
        record = records.record_of(config, run.log, answers)
        return records.diagnosed(config, record, deepest=2 if pairs else 1, go_on=go_on)
    except ScenarioError as error:
        raise NotOfTheModel(error) from error


def replay(run: "ValveRun | _Row", faults: list[str] | None = None) -> tuple[Config, State]:
    """Return the riser and where it stands after the acts of a run's log."""
    row = run.run if isinstance(run, _Row) else run
    config, state = _start(row, faults)
    for number, entry in enumerate(row.log, start=1):
        if "act" in entry:
            action = records.action_at(config, f"log {number}", entry["act"])
            state = take(config, state, action).state
    return config, state


def shown(config: Config, state: State) -> dict[str, Any]:
    """Return what can be seen at a riser, without the model's truth."""
    return {key: value for key, value in observe(config, state).items() if key in OBSERVABLE}


def _start(run: ValveRun, faults: list[str] | None = None) -> tuple[Config, State]:
    laid_in = run.hidden if faults is None else faults
    scenario = {
        "id": "run",
        "system_type": run.system_type,
        "config": run.overrides,
        "faults": laid_in,
    }
    try:
        return start(scenario, strict=True)
    except ScenarioError as error:
        raise NotOfTheModel(error) from error


class _Row:
    """A run's row held for one entry."""

    def __init__(self, run: ValveRun) -> None:
        self.run = run

    def add(self, entry: dict[str, Any]) -> None:
        """Append to the log and keep the run a month from now."""
        if len(self.run.log) >= records.MOST_ACTS:
            raise TooMany(most=f"{records.MOST_ACTS} entries")
        self.run.log = [*self.run.log, entry]
        self.run.expires_at = timezone.now() + KEPT_FOR
        self.run.save(update_fields=["log", "expires_at"])


@contextmanager
def _writing(run: ValveRun) -> Iterator[_Row]:
    """Hold the row of a run, so that two entries at once come one after the other."""
    with transaction.atomic():
        row = listed().select_for_update().filter(pk=run.pk).first()
        if row is None:
            raise NotThere
        yield _Row(row)
