"""What can explain these readings: ranked causes with reasons, what would tell them apart.

A hint never names one cause while two remain: every answer carries what else is possible, and the
instrument and the way of testing stay on every list. The rules are data (`causes.py`).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

Facts = Mapping[str, float | None]


@dataclass(frozen=True, slots=True)
class Observation:
    """Something that readings show or do not show.

    Attributes
    ----------
    id
        Short name used by the causes.
    words
        What is seen, as the reason says it.
    needs
        Names of the facts it is told from; without one of them it is not known.
    holds
        Of those facts, in this order.
    """

    id: str
    words: str
    needs: tuple[str, ...]
    holds: Callable[..., bool]

    def seen(self, facts: Facts) -> bool | None:
        """Tell whether it holds; None where a fact is missing."""
        values = [facts.get(name) for name in self.needs]
        if any(value is None for value in values):
            return None
        return bool(self.holds(*values))


@dataclass(frozen=True, slots=True)
class Cause:
    """A cause with what speaks for and against it.

    Attributes
    ----------
    words, confirm
        The cause, and what would confirm or rule it out next.
    fits, against
        Ids of observations; each weighs one.
    first
        Looked into before others that fit as well (a gauge before the system).
    source
        Where the rule comes from.
    """

    words: str
    confirm: str
    fits: tuple[str, ...]
    against: tuple[str, ...] = ()
    first: bool = False
    source: str = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Test:
    """One kind of test: what can be observed, what can cause it, and what its facts mean."""

    name: str
    words: str
    facts: Mapping[str, str]
    observations: tuple[Observation, ...]
    causes: tuple[Cause, ...]


@dataclass(frozen=True, slots=True)
class Hint:
    """A cause that fits, its reason, what would confirm it, and where the rule comes from."""

    cause: str
    reason: str
    confirm: str
    weight: int
    source: str


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """What the readings of a test point at.

    Attributes
    ----------
    seen
        What is out of the ordinary, in words; empty: nothing to explain.
    hints
        Causes that fit, likeliest first.
    remaining
        Causes that nothing speaks for or that something speaks against, none of them ruled out.
    not_known
        What could not be told, for want of a reading.
    """

    seen: tuple[str, ...]
    hints: tuple[Hint, ...]
    remaining: tuple[str, ...]
    not_known: tuple[str, ...]


def diagnose(test: Test, facts: Facts) -> Diagnosis:
    """Return what can explain the readings of a test.

    Parameters
    ----------
    test
        One of `causes.TESTS`.
    facts
        By the names of the test, SI; None or absent where not read.

    Raises
    ------
    ValueError
        Naming a fact that the test does not know.
    """
    for name in facts:
        if name not in test.facts:
            raise ValueError(
                f"{name}; one of {', '.join(test.facts)}; {test.name} has no such fact"
            )
    told = {one.id: one.seen(facts) for one in test.observations}
    words = {one.id: one.words for one in test.observations}
    unknown = tuple(words[key] for key, held in told.items() if held is None)
    seen = tuple(words[key] for key, held in told.items() if held and _explained(test, key))
    if not seen:
        return Diagnosis((), (), (), unknown)
    hints, remaining = [], []
    for cause in test.causes:
        fits = [words[key] for key in cause.fits if told[key]]
        against = [words[key] for key in cause.against if told[key]]
        weight = len(fits) - len(against)
        if weight <= 0:
            remaining.append(cause.words)
            continue
        reason = "; ".join(fits) + (f" (against it: {'; '.join(against)})" if against else "")
        hint = Hint(cause.words, reason, cause.confirm, weight, cause.source)
        hints.append((not cause.first, -weight, hint))
    ranked = [hint for _first, _weight, hint in sorted(hints, key=lambda one: one[:2])]
    return Diagnosis(seen, tuple(ranked), tuple(remaining), unknown)


def _explained(test: Test, key: str) -> bool:
    """Tell whether an observation calls for a cause: ordinary ones only speak against some."""
    return any(key in cause.fits for cause in test.causes) and not key.endswith("_ordinary")
