"""The bench in words: parts, what is done to them, what there is to notice, faults."""

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from inspections.practice.bench import Deed
from inspections.practice.score import NO_FAULT
from inspections.sequence.fault_words import FAULT_WORDS
from inspections.sequence.words import ENGLISH

TYPES = {
    "wet_alarm_check": _lazy("Wet, alarm check valve"),
    "wet_straight_pipe": _lazy("Wet, straight pipe"),
    "dry": _lazy("Dry"),
    "dry_qod": _lazy("Dry, with quick-opening device"),
    "deluge_electric": _lazy("Deluge, electric release"),
    "deluge_pneumatic": _lazy("Deluge, dry pilot line"),
    "deluge_hydraulic": _lazy("Deluge, wet pilot line"),
    "preaction_non_interlock": _lazy("Preaction, non-interlock"),
    "preaction_single_electric": _lazy("Preaction, single interlock, electric"),
    "preaction_single_pneumatic": _lazy("Preaction, single interlock, dry pilot line"),
    "preaction_double_electric_electric": _lazy("Preaction, double interlock, electric/electric"),
    "preaction_double_electric_pneumatic": _lazy("Preaction, double interlock, electric/pneumatic"),
}
PARTS = {
    "control_valve": _lazy("Control valve"),
    "inlet_drain": _lazy("Main drain"),
    "system_drain": _lazy("Drain above"),
    "test_connection": _lazy("Test connection"),
    "alarm_test_valve": _lazy("Alarm test valve"),
    "alarm_line_valve": _lazy("Alarm line valve"),
    "manual_release": _lazy("Manual release"),
    "pilot_head": _lazy("Pilot line, far end"),
    "air_supply_valve": _lazy("Air supply valve"),
    "priming_supply_valve": _lazy("Priming valve"),
    "qod_isolation_valve": _lazy("Device's valve"),
    "sprinkler": _lazy("Sprinkler"),
    "panel": _lazy("Panel"),
    "ac_power": _lazy("Panel's mains"),
    "compressor": _lazy("Compressor"),
    "system_valve": _lazy("System valve"),
    "qod": _lazy("Quick-opening device"),
    "low_points": _lazy("Low points"),
    "manual_station": _lazy("Manual station"),
    "release_disconnect": _lazy("Release disconnect"),
    "solenoid": _lazy("Solenoid"),
    "time": _lazy("Waiting"),
    "gauge_supply": _lazy("Supply gauge"),
    "gauge_system": _lazy("System gauge"),
    "gauge_prime": _lazy("Prime gauge"),
    "gauge_pilot": _lazy("Pilot gauge"),
}
# What a part is called in either of its two positions: open or on, shut or off.
OPEN_SHUT = (_lazy("open"), _lazy("shut"))
POSITIONS = {
    "sprinkler": (_lazy("operated"), _lazy("whole")),
    "manual_station": (_lazy("pulled"), _lazy("set")),
    "release_disconnect": (_lazy("disconnected"), _lazy("connected")),
    "compressor": (_lazy("on"), _lazy("off")),
    "ac_power": (_lazy("on"), _lazy("off")),
}
ZONE = (_lazy("detector in alarm"), _lazy("clear"))
DEEDS = {
    "control_valve:0": _lazy("Shut it"),
    "control_valve:10": _lazy("Slowly to a tenth open"),
    "control_valve:40": _lazy("Slowly to 40 % open"),
    "control_valve:50": _lazy("Slowly to half open"),
    "control_valve:100": _lazy("Slowly to fully open"),
    "control_valve:fast": _lazy("Fully open in one go"),
    "fuse_sprinkler": _lazy("Let a sprinkler operate"),
    "replace_sprinkler": _lazy("Replace the sprinkler"),
    "panel_reset": _lazy("Reset the panel"),
    "panel_silence": _lazy("Silence the panel"),
    "ac_power:off": _lazy("Switch the mains off"),
    "ac_power:on": _lazy("Switch the mains on"),
    "compressor:off": _lazy("Switch it off"),
    "compressor:on": _lazy("Switch it on"),
    "reset_clapper": _lazy("Set the clapper by hand"),
    "drain_column": _lazy("Drain the water above the clapper"),
    "reset_qod": _lazy("Set the device again"),
    "drain_low_points": _lazy("Drain the low points"),
    "pull_station": _lazy("Pull the station"),
    "restore_pull_station": _lazy("Restore the station"),
    "release_disconnect:on": _lazy("Disconnect the release"),
    "release_disconnect:off": _lazy("Connect the release"),
    "reset_solenoid": _lazy("Reset the solenoid by hand"),
    "wait:10": _lazy("Wait 10 seconds"),
    "wait:60": _lazy("Wait a minute"),
    "wait:600": _lazy("Wait 10 minutes"),
    "settle": _lazy("Wait until nothing moves"),
}
SEEN = {
    "flow_test_connection": _lazy("At the test connection"),
    "sprinkler_discharge": _lazy("At sprinklers and nozzles"),
    "flow_inlet_drain": _lazy("At the main drain"),
    "drip_auto_drain": _lazy("At the automatic drain"),
    "solenoid_energised": _lazy("Release output"),
    "water_in_piping": _lazy("Water in the piping"),
    "gong": _lazy("Water motor gong"),
    "drip_release_drain": _lazy("Release drain"),
    "qod": _lazy("Quick-opening device"),
    "compressor_running": _lazy("Air supply working"),
}
VALUES = {
    "none": _lazy("nothing"),
    "air": _lazy("air"),
    "water": _lazy("water"),
    "set": _lazy("set"),
    "tripped": _lazy("tripped"),
    "fell": _lazy("fell"),
    "rose": _lazy("rose"),
    "came": _lazy("came"),
    "gone": _lazy("went out"),
    "on": _lazy("on, or running"),
    "off": _lazy("off, or stopped"),
}


def type_name(code: str) -> str:
    """Return what a system type is called."""
    return str(TYPES.get(code, code))


def fault_name(code: str) -> str:
    """Return what a fault is called."""
    return (
        guide_word(f"cause.{code}") if code not in ("", NO_FAULT) else _("None: the riser is sound")
    )


def part_name(code: str) -> str:
    """Return what a part is called."""
    if code.startswith("zone_"):
        return _("Detection, zone %(n)s") % {"n": code.removeprefix("zone_")}
    return str(PARTS[code])


def position_names(position: str) -> tuple[str, str]:
    """Return what a position is called: open or on, shut or off."""
    pair = ZONE if position[1:].isdigit() else POSITIONS.get(position, OPEN_SHUT)
    return str(pair[0]), str(pair[1])


def deed_name(deed: Deed) -> str:
    """Return what an act is called at its part: "Open it"."""
    if deed.code in DEEDS:
        return str(DEEDS[deed.code])
    known = {
        "open": _("Open it"),
        "close": _("Shut it"),
        "detector_alarm": _("Set a detector off"),
        "detector_clear": _("Clear the detector"),
    }
    return known[deed.code.partition(":")[0]]


def whole_name(deed: Deed) -> str:
    """Return an act with its part, as it stands in a log."""
    if deed.part == "time":
        return deed_name(deed)
    return f"{part_name(deed.part)}: {deed_name(deed)[:1].lower()}{deed_name(deed)[1:]}"


def sight_name(code: str) -> str:
    """Return something to notice in words: "Supply gauge fell"."""
    what, _colon, way = code.rpartition(":")
    joint = ": " if what in SEEN else " "
    return f"{sight_subject(what)}{joint}{way_name(way)}"


def sight_subject(what: str) -> str:
    """Return what changes: a gauge, a signal, an outlet."""
    if what.startswith("signal:"):
        return signal_name(what.removeprefix("signal:"))
    return str(PARTS[what] if what.startswith("gauge_") else SEEN[what])


def way_name(way: str) -> str:
    """Return how it changes: "fell", "came", "water"."""
    return str(VALUES[way])


def signal_name(code: str) -> str:
    """Return what a signal at the panel is called."""
    kind, _colon, zone = code.partition(":")
    return f"{guide_word(f'signal.{kind}')} {zone.removeprefix('z')}".strip()


def guide_word(key: str) -> str:
    """Return what the valve model's guide says for a key, in the reader's language."""
    return _(FAULT_WORDS.get(key, ENGLISH.get(key, key)))


def for_browser() -> dict[str, Any]:
    """Return the words that the bench needs beside those of its parts."""
    keys = [key for key in ENGLISH if key.startswith(("panel.", "signal."))]
    return {
        **{key: guide_word(key) for key in keys},
        **{f"seen.{key}": str(name) for key, name in SEEN.items()},
        **{f"value.{key}": str(name) for key, name in VALUES.items()},
        "yes": _("yes"),
        "no": _("no"),
        "open": _("open"),
        "shut": _("shut"),
        "percent": _("{n} % open"),
        "inside": _("not seen"),
        "no_signals": _("no signals"),
        "chosen": _("Chosen: {part}."),
        "nothing_changed": _("nothing changed"),
        "panel": str(PARTS["panel"]),
        "marked": _("Marked"),
        "nothing_marked": _("nothing"),
        "psi": "{n} psi",
        "lit": _("lit"),
        "dark": _("dark"),
        "unreachable": _(
            "The service cannot be reached. The run is kept in this browser, and handed in once "
            "there is a connection while this page is open; else hand it in again."
        ),
        "choose_claim": _("Name what you found first, then hand in."),
        "kept": _("A run that was not handed in is taken up again."),
    }
