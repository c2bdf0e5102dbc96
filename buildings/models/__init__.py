"""Tables of the buildings app."""

from buildings.models.building import (
    Adoption,
    Agreement,
    Building,
    Engagement,
    Jurisdiction,
    Revision,
    SupplyPoint,
)
from buildings.models.items import SPRINKLER_KINDS, Device, Item, Riser, System, subject_model
from buildings.models.sketches import Sketch
from buildings.models.supply import Draw, Placard
from buildings.models.terms import OffLimits, Regime, Suspension, Timing, TurnOrder

__all__ = [
    "SPRINKLER_KINDS",
    "Adoption",
    "Agreement",
    "Building",
    "Device",
    "Draw",
    "Engagement",
    "Item",
    "Jurisdiction",
    "OffLimits",
    "Placard",
    "Regime",
    "Revision",
    "Riser",
    "Sketch",
    "SupplyPoint",
    "Suspension",
    "System",
    "Timing",
    "TurnOrder",
    "subject_model",
]
