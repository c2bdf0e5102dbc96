"""Pressures of proof tests, spare sprinklers, samples, temperature classes. SI: Pa, K."""

import math

from inspections.hydraulics.answer import Answer, at_least, at_most
from inspections.hydraulics.tables import fahrenheit_k, limit, rows

YEAR_S = 365.25 * 86400.0


def hydrostatic_test_pressure(normal_pa: float, system: str) -> float:
    """Return the pressure of a hydrostatic test, Pa.

    Parameters
    ----------
    normal_pa
        Normal (for a standpipe: maximum) pressure, Pa; > 0.
    system
        "new or altered piping", "manual dry standpipe", "semiautomatic dry standpipe" (200 psi,
        or 50 over a normal above 150 psi, 2 h; OSHA 1910.158, NFPA 25) or a text with "FDC"
        (150 psi).
    """
    if "fdc" in system.casefold() or "fire department connection" in system.casefold():
        return limit("fdc_hydrostatic")
    if normal_pa > limit("hydrostatic_high_normal") * (1.0 + 1e-9):
        return max(limit("hydrostatic"), normal_pa + limit("hydrostatic_over_normal"))
    return limit("hydrostatic")


def fdc_hydrostatic_test() -> Answer:
    """Return the test of the piping from a fire department connection to its check valve.

    Notes
    -----
    NFPA 25: pressure, duration and interval.
    """
    values: dict[str, float | str | None] = {
        "pressure": limit("fdc_hydrostatic"),
        "duration": 7200.0,
        "interval": 5.0 * YEAR_S,
    }
    return Answer(values, "", None, None, "{pressure} for {duration}, every 5 years.", [])


def spare_sprinklers(installed: int, middle_from: int) -> int:
    """Return how many spare sprinklers the cabinet holds at least.

    Parameters
    ----------
    installed
        How many the building has; >= 1.
    middle_from
        Where the middle band starts (NFPA 13: 300; some jurisdictions 301).
    """
    if installed < middle_from:
        return 6
    return 12 if installed <= 1000 else 24


def sprinkler_sample_size(in_area: int) -> int:
    """Return how many sprinklers of an area are sent to test: 4 or 1 percent, the greater."""
    return max(4, math.ceil(in_area / 100))


def sprinkler_temperature_class(rating_k: float) -> Answer:
    """Return the temperature class of a rating, K.

    Notes
    -----
    The Celsius column is rounded: a class holds what lies in it by either scale.

    Raises
    ------
    ValueError
        When the rating lies between the classes: there is no such sprinkler.
    """
    for row in rows("sprinkler_ratings"):
        low_k = min(fahrenheit_k(float(row["rating_min_F"])), float(row["rating_min_C"]) + 273.15)
        high_k = max(fahrenheit_k(float(row["rating_max_F"])), float(row["rating_max_C"]) + 273.15)
        if at_least(rating_k, low_k) and at_most(rating_k, high_k):
            values: dict[str, float | str | None] = {
                "class": row["class"].lower(),
                "frame": row["frame_colour"],
                "bulb": row["bulb_colour"],
                "ceiling": fahrenheit_k(float(row["max_ceiling_F"])),
            }
            reason = "{class}, for ceilings up to {ceiling}; the frame is {frame}."
            return Answer(values, "", None, None, reason, [])
    raise ValueError("rating; a rating of a temperature class; ratings between them do not exist")
