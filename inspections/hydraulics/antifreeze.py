"""Antifreeze solutions: concentration, freezing point, limits.

Portable subset: it runs on the tablet too. Everything is in SI (Pa gauge, m3/s, m, m3, s, K);
limits are arguments, their defaults come from the catalogue through `index`. A ValueError names
the input, what is accepted and why.
"""

from typing import NamedTuple

from inspections.hydraulics.answer import Answer, at_most, interpolated, refusal


class AntifreezeCurve(NamedTuple):
    """One data set of a solution: percent rising, freezing point in K, relative density."""

    fluid: str
    basis: str
    percent: list[float]
    freezing_k: list[float]
    specific_gravity: list[float]
    gravity_at_k: float


def glycerine_weight_percent(volume_percent: float) -> float:
    """Return percent by weight from percent by volume of the two parts before mixing.

    Parameters
    ----------
    volume_percent
        0 to 100.

    Notes
    -----
    Densities 1.2656 and 0.9991 g/mL at 60 degF (38 by volume is 43.7 by weight).
    """
    glycerine = 1.2656 * volume_percent
    return 100.0 * glycerine / (glycerine + 0.9991 * (100.0 - volume_percent))


def glycerine_volume_percent(weight_percent: float) -> float:
    """Return percent by volume before mixing from percent by weight (0 to 100)."""
    glycerine = weight_percent / 1.2656
    return 100.0 * glycerine / (glycerine + (100.0 - weight_percent) / 0.9991)


def antifreeze_freezing_point(
    fluid: str,
    volume_percent: float | None,
    weight_percent: float | None,
    curves: list[AntifreezeCurve],
) -> float:
    """Return the freezing point of a solution, K: the warmer one where data sets differ.

    Parameters
    ----------
    fluid
        "propylene_glycol" or "glycerine".
    volume_percent, weight_percent
        Concentration; one of them, >= 0. Glycerine has two concentrations for one freezing point
        above about 67 percent by weight: refused there.
    curves
        The data sets.

    Raises
    ------
    ValueError
        When no data set covers the concentration, or none or both concentrations are given.
    """
    field = _percent_field(volume_percent)
    return _freezing_point(fluid, volume_percent, weight_percent, curves, field)


def _freezing_point(
    fluid: str,
    volume_percent: float | None,
    weight_percent: float | None,
    curves: list[AntifreezeCurve],
    field: str,
) -> float:
    percent = _percent(fluid, volume_percent, weight_percent)
    basis = _basis(fluid, volume_percent)
    if fluid == "glycerine" and percent > 67.0:
        why = "above about 67 percent by weight the freezing point rises again"
        raise ValueError(refusal(field, "67 by weight at most", why))
    warmest: float | None = None
    for curve in curves:
        if curve.fluid == fluid and curve.basis == basis and percent <= curve.percent[-1]:
            point = interpolated(percent, curve.percent, curve.freezing_k)
            if warmest is None or point > warmest:
                warmest = point
    if warmest is None:
        raise ValueError(refusal(field, "0 to 60", "no data beyond it"))
    return warmest


def antifreeze_specific_gravity(
    fluid: str,
    volume_percent: float | None,
    weight_percent: float | None,
    temperature_k: float,
    curves: list[AntifreezeCurve],
) -> float:
    """Return the density of a solution over that of water, -.

    Parameters
    ----------
    fluid, volume_percent, weight_percent, curves
        As for the freezing point; the first data set that covers the concentration is read.
    temperature_k
        Of the sample, K; 0.00025 less per degF above the table's (range 0.0002 to 0.0003).
    """
    percent = _percent(fluid, volume_percent, weight_percent)
    basis = _basis(fluid, volume_percent)
    for curve in curves:
        if curve.fluid == fluid and curve.basis == basis and percent <= curve.percent[-1]:
            at_table = interpolated(percent, curve.percent, curve.specific_gravity)
            return at_table - 0.00045 * (temperature_k - curve.gravity_at_k)
    raise ValueError(refusal(_percent_field(volume_percent), "0 to 60", "no data beyond it"))


def antifreeze_concentration(
    fluid: str, specific_gravity: float, temperature_k: float, curves: list[AntifreezeCurve]
) -> Answer:
    """Return the concentration by volume that a hydrometer reading shows, percent.

    Parameters
    ----------
    fluid
        "propylene_glycol" or "glycerine".
    specific_gravity
        Reading, -; within the table.
    temperature_k
        Of the sample, K.
    curves
        The data sets; the first one of the fluid is read.
    """
    basis = "weight" if fluid == "glycerine" else "volume"
    for curve in curves:
        if curve.fluid == fluid and curve.basis == basis:
            gravity = specific_gravity + 0.00045 * (temperature_k - curve.gravity_at_k)
            if gravity < curve.specific_gravity[0] or gravity > curve.specific_gravity[-1]:
                why = "outside the table of this solution: wrong fluid or wrong reading"
                raise ValueError(refusal("specific_gravity", "a gravity of the table", why))
            percent = interpolated(gravity, curve.specific_gravity, curve.percent)
            warnings: list[str] = []
            if fluid == "propylene_glycol":
                warnings.append(
                    "A hydrometer alone is not enough for propylene glycol: "
                    "confirm by refractometer."
                )
            else:
                percent = glycerine_volume_percent(percent)
            values: dict[str, float | str | None] = {"percent_by_volume": percent}
            reason = "The sample holds {percent_by_volume} percent by volume."
            return Answer(values, "", None, None, reason, warnings)
    raise ValueError(refusal("fluid", "a fluid of the table", "it sets the scale"))


def antifreeze_limit_2023(
    fluid: str,
    volume_percent: float | None,
    weight_percent: float | None,
    glycol_limit: float,
    glycerine_limit: float,
) -> Answer:
    """Judge the concentration of a legacy solution in service.

    Parameters
    ----------
    fluid
        "propylene_glycol", "glycerine"; any other is drained and replaced.
    volume_percent, weight_percent
        Concentration; the highest sample governs. Weight is converted for glycerine only.
    glycol_limit, glycerine_limit
        Percent by volume (NFPA 25 2023: 30 and 38). A listed solution follows its listing.
    """
    if fluid != "glycerine" and fluid != "propylene_glycol":
        values: dict[str, float | str | None] = {"finding": "over limit", "percent_by_volume": None}
        reason = "An unknown solution, or one that is not permitted, is drained and replaced."
        return Answer(values, "fail", None, None, reason, [])
    percent = volume_percent
    if percent is None and weight_percent is not None and fluid == "glycerine":
        percent = glycerine_volume_percent(weight_percent)
    if percent is None:
        why = "the limit is by volume"
        raise ValueError(refusal("percent_by_volume", "0 to 100", why))
    limit = glycerine_limit if fluid == "glycerine" else glycol_limit
    within = at_most(percent, limit)
    values = {"finding": "within limit" if within else "over limit", "percent_by_volume": percent}
    reason = "{percent_by_volume} percent by volume; {limit} allowed."
    if not within:
        reason += " Drain and replace."
    return Answer(values, "pass" if within else "fail", limit, limit - percent, reason, [])


def antifreeze_test_points(volume_m3: float, plain_m3: float, each_m3: float) -> Answer:
    """Return at how many points a solution is measured.

    Parameters
    ----------
    volume_m3
        Volume of the system, m3; > 0.
    plain_m3, each_m3
        Four points up to `plain_m3`, one more for each further `each_m3`, begun ones counted
        (NFPA 25: 150 and 100 gal).
    """
    more = 0
    while volume_m3 > (plain_m3 + more * each_m3) * (1.0 + 1e-9):
        more += 1
    values: dict[str, float | str | None] = {"points": 4.0 + more}
    warnings = ["How a part of 100 gal counts is not stated: a begun one is counted."]
    reason = "{points} points: top, bottom, most remote, supply connection, and more by volume."
    return Answer(values, "", None, None, reason, [] if more == 0 else warnings)


def antifreeze_protection(
    fluid: str, volume_percents: list[float], lowest_k: float, curves: list[AntifreezeCurve]
) -> Answer:
    """Judge whether the weakest of the samples stays liquid at the lowest expected temperature.

    Parameters
    ----------
    fluid
        "propylene_glycol" or "glycerine".
    volume_percents
        Concentration at each test point, percent by volume; at least one.
    lowest_k
        Lowest expected temperature, K.
    curves
        The data sets.
    """
    if len(volume_percents) == 0:
        raise ValueError(refusal("percents_by_volume", "one or more", "the weakest governs"))
    warmest_k = 0.0
    for percent in volume_percents:
        point_k = _freezing_point(fluid, percent, None, curves, "percents_by_volume")
        warmest_k = max(warmest_k, point_k)
    verdict = "pass" if warmest_k < lowest_k else "fail"
    values: dict[str, float | str | None] = {"verdict": verdict, "freezing_point": warmest_k}
    reason = "The weakest sample freezes at {freezing_point}; {limit} is expected."
    return Answer(values, verdict, lowest_k, lowest_k - warmest_k, reason, [])


def _basis(fluid: str, volume_percent: float | None) -> str:
    return "volume" if volume_percent is not None and fluid != "glycerine" else "weight"


def _percent_field(volume_percent: float | None) -> str:
    return "percent_by_volume" if volume_percent is not None else "percent_by_weight"


def _percent(fluid: str, volume_percent: float | None, weight_percent: float | None) -> float:
    if volume_percent is not None and weight_percent is not None:
        why = "one concentration, by volume or by weight"
        raise ValueError(refusal("percent_by_weight", "nothing beside percent_by_volume", why))
    if volume_percent is not None:
        return glycerine_weight_percent(volume_percent) if fluid == "glycerine" else volume_percent
    if weight_percent is not None:
        return weight_percent
    raise ValueError(refusal("percent_by_volume", "0 to 100", "a concentration is needed"))
