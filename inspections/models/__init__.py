"""Tables of the inspections app."""

from inspections.models.event import (
    ChainHead,
    Checkpoint,
    Event,
    NextNumber,
    Quarantined,
    Stream,
    Tablet,
)
from inspections.models.finding import Finding, Impairment, ImpairmentStep, Outage
from inspections.models.practice import PracticeExercise, PracticeRun
from inspections.models.rule import Rule
from inspections.models.sample import Sample
from inspections.models.supply import FlowTest, SupplyMargin
from inspections.models.valve_run import ValveRun
from inspections.models.visit import Photo, Reading, Report, Result, Visit, VisitLine

__all__ = [
    "ChainHead",
    "Checkpoint",
    "Event",
    "Finding",
    "FlowTest",
    "Impairment",
    "ImpairmentStep",
    "NextNumber",
    "Outage",
    "Photo",
    "PracticeExercise",
    "PracticeRun",
    "Quarantined",
    "Reading",
    "Report",
    "Result",
    "Rule",
    "Sample",
    "Stream",
    "SupplyMargin",
    "Tablet",
    "ValveRun",
    "Visit",
    "VisitLine",
]
