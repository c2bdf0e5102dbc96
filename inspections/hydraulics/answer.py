"""What a computation that judges gives back, and how it compares and refuses (portable subset)."""

from typing import NamedTuple

GUARD = 1e-9


class Answer(NamedTuple):
    """Values with the judgement on them.

    `values` are in SI (or words) under the names of the computation's outputs, the answer first.
    `verdict` is "pass", "fail", "look into it" or "" (nothing to judge). `limit` and `margin`
    (positive = on the good side) are in SI. `reason` is a sentence with the names of values in
    braces, filled in for the reader's units; `warnings` are sentences.
    """

    values: dict[str, float | str | None]
    verdict: str
    limit: float | None
    margin: float | None
    reason: str
    warnings: list[str]


def at_most(value: float, limit: float) -> bool:
    """Tell whether a value keeps an upper limit; equality keeps it (relative guard 1e-9)."""
    return value <= limit + GUARD * max(abs(value), abs(limit))


def at_least(value: float, limit: float) -> bool:
    """Tell whether a value keeps a lower limit; equality keeps it (relative guard 1e-9)."""
    return value >= limit - GUARD * max(abs(value), abs(limit))


def refusal(field: str, accepted: str, why: str) -> str:
    """Compose the text of a ValueError: the input's name, what is accepted, why."""
    return field + "; " + accepted + "; " + why


def interpolated(at: float, knots: list[float], values: list[float]) -> float:
    """Read a table linearly between its knots.

    Parameters
    ----------
    at
        Where to read; knots[0] <= at <= knots[-1].
    knots
        Rising positions.
    values
        The value at each knot.
    """
    i = 1
    while i < len(knots) - 1 and at > knots[i]:
        i += 1
    part = (at - knots[i - 1]) / (knots[i] - knots[i - 1])
    return values[i - 1] + part * (values[i] - values[i - 1])


def keeps(value: float, limit: float, reason: str, warnings: list[str]) -> Answer:
    """Judge a value that has to stay at or under a limit; a reason may use {value}, {limit}."""
    verdict = "pass" if at_most(value, limit) else "fail"
    values: dict[str, float | str | None] = {"verdict": verdict, "value": value}
    return Answer(values, verdict, limit, limit - value, reason, warnings)
