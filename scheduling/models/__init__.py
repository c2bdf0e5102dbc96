"""Tables of the scheduling app."""

from scheduling.models.followup import (
    FollowUp,
    OwnerAct,
    Proposal,
    PublishedBuilding,
    PublishedItem,
    PublishedReport,
    PublishedStanding,
)
from scheduling.models.plan import Plan, Stop
from scheduling.models.programme import (
    Occurrence,
    Question,
    Standing,
    StandingInterval,
    Workload,
)
from scheduling.models.response import Basis, Holiday, Ladder, OverdueClass, ResponseTime

__all__ = [
    "Basis",
    "FollowUp",
    "Holiday",
    "Ladder",
    "Occurrence",
    "OverdueClass",
    "OwnerAct",
    "Plan",
    "Proposal",
    "PublishedBuilding",
    "PublishedItem",
    "PublishedReport",
    "PublishedStanding",
    "Question",
    "ResponseTime",
    "Standing",
    "StandingInterval",
    "Stop",
    "Workload",
]
