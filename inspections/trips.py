"""The valve model at a real riser: which type it is, what was seen, whether it is restored.

The model reckons in psi gauge, seconds and feet of water; this module converts from the record.
"""

from typing import Any

from django.utils.translation import gettext_lazy as _

from buildings.models import Device, System
from inspections.sequence.ready import LIST, has_item
from inspections.sequence.types import Config, make_config

# Kind, interlock and release of a system -> the model's type. A wet system and a dry one are told
# apart further by the riser's valve and its quick-opening device.
_TYPES = {
    ("preaction", "non", "electric"): "preaction_non_interlock",
    ("preaction", "single", "electric"): "preaction_single_electric",
    ("preaction", "single", "pneumatic"): "preaction_single_pneumatic",
    ("preaction", "double", "electric"): "preaction_double_electric_electric",
    ("preaction", "double", "electric_pneumatic"): "preaction_double_electric_pneumatic",
    ("deluge", "none", "electric"): "deluge_electric",
    ("deluge", "none", "pneumatic"): "deluge_pneumatic",
    ("deluge", "none", "hydraulic"): "deluge_hydraulic",
}

END_STATE_WORDS = {
    "control_valve": _("control valve open, turns counted, secured, tamper restored"),
    "supply_gauge": _("supply gauge at its usual static pressure"),
    "system_gauge": _("system gauge in its band"),
    "prime_steady": _("priming pressure at supply and steady, release drain dry"),
    "pilot_air": _("pilot air in its band"),
    "valve_set": _("system valve set, automatic drain not dripping"),
    "quick_opening_device": _("quick-opening device set, isolation valve open"),
    "priming_water_level": _("priming water at its level"),
    "drains_shut": _("drains, test connection and alarm test valve shut, plugged or capped"),
    "alarm_line_open": _("alarm line valve open"),
    "air_supply_on": _("air supply on and in automatic"),
    "priming_valve_open": _("priming valve open"),
    "manual_release_sealed": _("manual release shut, guarded and sealed"),
    "low_points_drained": _("low points drained, caps on"),
    "sprinklers_replaced": _("sprinklers replaced like for like, spares restocked"),
    "panel_normal": _("panel normal: no lamp, no latched input, disconnect normal"),
    "heat_on": _("heat on, room at 40 °F (4 °C) or more"),
    "downstream_functions": _("fans, doors, power and lifts put back"),
    "off_test": _("monitoring station off test, last signals read back"),
    "owner_told": _("owner told, tags in order"),
}


def system_type(system: System) -> str | None:
    """Return the model's type of a system; None for what the model does not know."""
    facts = system.attributes
    if system.kind == "wet":
        straight = system.risers.filter(attributes__valve_kind="straight_pipe").exists()
        return "wet_straight_pipe" if straight else "wet_alarm_check"
    if system.kind == "dry":
        fast = system.devices.filter(kind="quick_opening_device").exists()
        return "dry_qod" if fast else "dry"
    interlock = facts.get("interlock", "none") if system.kind == "preaction" else "none"
    return _TYPES.get((system.kind, interlock, facts.get("release", "none")))


def config_of(device: Device) -> Config | None:
    """Return the model's composition for the system that a valve belongs to, or None."""
    kind = system_type(device.system) if device.system else None
    return make_config(kind, overrides_of(device)) if kind else None


def overrides_of(device: Device) -> dict[str, Any]:
    """Return what the record knows better than the model's round figures.

    Notes
    -----
    `zones_required` follows from the panel's cross-zoning; pressures come as found at the visit.
    """
    panel = device.system.devices.filter(kind="releasing_panel").first() if device.system else None
    crossed = bool(panel and panel.attributes.get("cross_zoned"))
    return {"zones_required": 2} if crossed else {}


def end_state_codes(device: Device) -> list[str]:
    """Return the codes of the end-state items that exist at a valve's riser, in their order."""
    config = config_of(device)
    return [row[1] for row in LIST if has_item(config, row[1])] if config else []
