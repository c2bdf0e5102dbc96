"""Which faults can be hidden in a riser, and which of them nothing done on it tells apart."""

from functools import lru_cache
from typing import Any

from inspections.practice.bench import TRIP_TEST, deeds_of, same, start_of, view
from inspections.sequence.acts import FAULTS, act, fault_fits
from inspections.sequence.guide import guide
from inspections.sequence.state import Action
from inspections.sequence.types import Config

# What a careful person does besides a trip test, as far as the riser has the part.
CHECKS = (
    *("open:alarm_test_valve", "settle", "close:alarm_test_valve", "settle"),
    *("ac_power:off", "wait:60", "ac_power:on", "compressor:off", "wait:600", "compressor:on"),
    *("settle", "control_valve:0", "settle", "control_valve:10", "settle", "control_valve:50"),
    *("settle", "control_valve:100", "settle"),
)


@lru_cache(maxsize=64)
def faults_of(config: Config) -> tuple[str, ...]:
    """Return the faults that can be hidden in a riser: those that a whole drill shows."""
    fitting = [fault for fault in FAULTS if fault_fits(config, fault)]
    return tuple(fault for fault in fitting if not _alike(config, "", fault))


@lru_cache(maxsize=512)
def twins_of(config: Config, fault: str) -> tuple[str, ...]:
    """Return the faults that a whole drill does not tell from this one, itself among them."""
    return tuple(one for one in faults_of(config) if _alike(config, fault, one))


def drill_of(config: Config) -> list[Action]:
    """Return the acts of a whole drill: the checks, then a trip test with its restoration."""
    deeds = deeds_of(config)
    checks = [deeds[code].action for code in CHECKS if code in deeds]
    return [*checks, *(action for step in guide(config, TRIP_TEST) for action in step.acts)]


def _alike(config: Config, one: str, other: str) -> bool:
    pairs = zip(_drilled(config, one), _drilled(config, other), strict=True)
    return all(same(first, second) for first, second in pairs)


@lru_cache(maxsize=512)
def _drilled(config: Config, fault: str) -> tuple[dict[str, Any], ...]:
    """Return what is seen through a whole drill: before the first act, then after each."""
    state = start_of(config, TRIP_TEST, fault)
    shown = [view(config, state, whole=False)]
    for action in drill_of(config):
        state = act(config, state, action)
        shown.append(view(config, state, whole=False))
    return tuple(shown)
