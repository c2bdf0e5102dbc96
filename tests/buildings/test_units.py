"""Values are read as they are typed, converted exactly and shown as the trade rounds them."""

import re
from pathlib import Path

import pytest
from django.conf import settings
from hypothesis import given
from hypothesis import strategies as st

from buildings.quantities import QUANTITIES
from buildings.units import UnitRefused, from_si, parse, show, to_si
from inspections.hydraulics.computation import SI_UNITS
from inspections.hydraulics.constants import BAR, FOOT, GALLON, GPM, INCH, LPM, PSI

UNITS = [(quantity, unit) for quantity, known in QUANTITIES.items() for unit in known.units]


@pytest.mark.parametrize(
    ("typed", "quantity", "si"),
    [
        ("52 psi", "pressure", 52 * PSI),
        ("52PSI", "pressure", 52 * PSI),
        ("3.6 bar", "pressure", 360000.0),
        ("3,6 bar", "pressure", 360000.0),
        ("0,250 bar", "pressure", 25000.0),
        ("\u22124 psi", "pressure", -4 * PSI),
        ("1' 6\"", "length", 0.4572),
        ("1\u2032 6\u2033", "length", 0.4572),
        ("1 ft 6 in", "length", 0.4572),
        ("1'-6\"", "length", 0.4572),
        ("-1' 6\"", "length", -0.4572),
        ("2 1/2 in", "length", 2.5 * INCH),
        ("2-1/2 in.", "length", 2.5 * INCH),
        ('2\u00bd"', "length", 2.5 * INCH),
        ("90 s", "time", 90.0),
        ("1:30", "time", 90.0),
        ("1 min 30 s", "time", 90.0),
        ("2 hours", "time", 7200.0),
        ("1 500 gpm", "flow", 1500 * GPM),
        ("1,500 gpm", "flow", 1500 * GPM),
        ("1\u202f500 L/min", "flow", 1500 * LPM),
        ("60 \u00b0F", "temperature", 288.70555555555556),
        ("-10 degC", "temperature", 263.15),
        ("10 %", "fraction", 0.1),
        ({"value": 52, "unit": "psi"}, "pressure", 52 * PSI),
        ([52, "psi"], "pressure", 52 * PSI),
        (0.85, "number", 0.85),
    ],
)
def test_a_value_is_read_as_people_and_programs_write_it(typed, quantity, si):
    assert parse(typed, quantity).si == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    ("typed", "quantity", "why"),
    [
        ("52", "pressure", "unit is missing"),
        pytest.param(52, "pressure", "unit is missing", id="a bare number"),
        ("52 gpm", "pressure", "unit of flow"),
        ("52 stone", "pressure", "not known"),
        ("much", "pressure", "number"),
        ("", "pressure", "number"),
        ("1/0 in", "length", "number"),
        ("12 5 psi", "pressure", "not known"),
        (float("nan"), "number", "number"),
        (True, "number", "number"),
        (None, "pressure", "number"),
        ({"unit": "psi"}, "pressure", "no value"),
        ([1, 2, 3], "pressure", "no value"),
        ({"value": "52", "unit": 3}, "pressure", "no word"),
        ("9" * 400 + " psi", "pressure", "number"),
    ],
)
def test_what_is_no_value_of_the_quantity_is_refused_with_the_units_accepted(typed, quantity, why):
    with pytest.raises(UnitRefused, match=why) as caught:
        parse(typed, quantity, field="residual")
    assert caught.value.field == "residual"
    assert "number" in caught.value.accepted


@given(st.sampled_from(UNITS), st.floats(-1e6, 1e6))
def test_a_conversion_there_and_back_changes_nothing(unit, value):
    quantity, written = unit
    back = from_si(to_si(value, written, quantity), written, quantity)
    assert back == pytest.approx(value, rel=1e-12, abs=1e-9)


@given(st.floats(0.0, 2000.0), st.floats(0.0, 2000.0))
def test_a_conversion_keeps_the_order(one, two):
    less, more = sorted((one, two))
    assert to_si(less, "psi") <= to_si(more, "psi")


@pytest.mark.parametrize(
    ("si", "quantity", "us", "metric"),
    [
        # Common practice, no source: trade rounding.
        (52.4 * PSI, "pressure", "52 psi", "3.60 bar"),
        (3.14 * PSI, "friction", "3.1 psi", "0.22 bar"),
        (1504 * GPM, "flow", "1,500 gpm", "5,700 L/min"),
        (14.82 * GPM, "flow", "14.8 gpm", "56.0 L/min"),
        (90.4, "time", "90 s", "90 s"),
        (125.0, "time", "2 min 5 s", "2 min 5 s"),
        (7200.0, "time", "2 h", "2 h"),
        (0.1176, "fraction", "11.8%", "11.8%"),
        (500 * GALLON, "volume", "500 gal", "1,893 L"),
        (4.026 * INCH, "length", "4.026 in", "102.3 mm"),
        (35 * FOOT, "length", "35.0 ft", "10.65 m"),
        (288.70555, "temperature", "60 \u00b0F", "15.5 \u00b0C"),
    ],
)
def test_a_value_is_shown_as_the_trade_rounds_it(si, quantity, us, metric):
    assert show(si, quantity) == us
    assert show(si, quantity, "metric") == metric


def test_the_constants_of_the_computations_are_those_of_the_registry():
    # Source: exact definitions (1 in = 25.4 mm, 1 US gal = 231 in3, 1 lb = 0.45359237 kg).
    constants = {"in": INCH, "ft": FOOT, "gal": GALLON, "gpm": GPM, "psi": PSI, "bar": BAR}
    constants["L/min"] = LPM
    for unit, value in constants.items():
        assert to_si(1.0, unit) == pytest.approx(value, rel=1e-15)


def test_every_quantity_of_a_computation_can_be_read_and_shown():
    plain = {"word", "yes or no"}
    inside = {quantity: unit for quantity, unit in SI_UNITS.items() if quantity not in plain}
    assert inside == {name: QUANTITIES[name].si for name in inside}


@pytest.mark.parametrize(
    ("typed", "figure"),
    [
        ("1.250,5", 1250.5),
        ("1 250,5", 1250.5),
        ("1\u202f250,5", 1250.5),
        ("1,250.5", 1250.5),
        ("1.250.000", 1250000.0),
        ("1 250,500", 1250.5),
        ("1.250", 1.25),
        ("1,25", 1.25),
    ],
)
def test_thousands_and_decimals_are_told_apart_by_their_signs(typed, figure):
    assert parse(f"{typed} L/min", "flow").value == figure
    assert parse(f"-{typed} L/min", "flow").value == -figure


@pytest.mark.parametrize("typed", ["1,250,5 gpm", "1.250,5.3 gpm", "1 250 5 gpm", "1,250 500 gpm"])
def test_figures_grouped_by_no_rule_are_refused(typed):
    with pytest.raises(UnitRefused):
        parse(typed, "flow")


@pytest.mark.parametrize(
    ("typed", "quantity", "si"),
    [
        ("52 lbf/in\u00b2", "pressure", 52 * PSI),
        ("52 lbf/in**2", "pressure", 52 * PSI),
        ("0.5 mpa", "pressure", 5e5),
        ("0.5 MPA", "pressure", 5e5),
        ("3.6 barg", "pressure", 3.6e5),
        ("5 gal per min", "flow", 5 * GPM),
        ("7 m\u00b3/h", "flow", 7 / 3600),
    ],
)
def test_a_unit_is_taken_however_its_powers_and_letters_are_written(typed, quantity, si):
    assert parse(typed, quantity).si == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    ("typed", "quantity", "why"),
    [
        ("0.5 mPa", "pressure", "means a thousandth of Pa; if MPa is meant, write MPa"),
        ("36 Mbar", "pressure", "means a million of bar; if mbar is meant, write mbar"),
        ("65 Mm", "length", "if mm is meant"),
        ("20 MA", "current", "if mA is meant"),
    ],
)
def test_a_prefix_that_means_another_power_is_refused_and_never_read_as_it(typed, quantity, why):
    with pytest.raises(UnitRefused, match=why):
        parse(typed, quantity)


def spelled(unit):
    """Return a strategy of the ways in which people write a unit."""
    ways = {unit, f" {unit} ", unit.replace("^2", "\u00b2").replace("^3", "\u00b3")}
    ways |= {unit.replace("^", "**"), unit.replace("/", " per "), unit.upper(), unit.lower()}
    # All in capitals or in small letters no prefix says another power; mPa alone would.
    return st.sampled_from(sorted(way for way in ways if way.strip() not in ("mPa", "MA")))


@st.composite
def written(draw):
    """Return a value of some unit, its text, and the figure that the text says."""
    quantity, unit = draw(st.sampled_from([one for one in UNITS if one[1]]))
    places = draw(st.sampled_from([1, 2, 4]))
    value = draw(st.integers(-9_999_999, 9_999_999)) / 10**places
    figure = f"{value:{draw(st.sampled_from(['', ',']))}.{places}f}"
    signs = draw(st.sampled_from([",.", ".,", " ,", "\u202f,", " ."]))
    figure = figure.translate(str.maketrans(",.", signs))
    gap = draw(st.sampled_from(["", " ", "\u00a0"]))
    return quantity, unit, f"{figure}{gap}{draw(spelled(unit))}", value


@given(written())
def test_every_spelling_of_every_unit_is_read_as_the_figure_it_says(case):
    quantity, unit, text, value = case
    read = parse(text, quantity)
    assert read.value == pytest.approx(value, rel=1e-12)
    assert read.si == pytest.approx(to_si(value, unit, quantity), rel=1e-12, abs=1e-12)
    # What was understood can be written down and read again: nothing moves.
    again = parse({"value": read.value, "unit": read.unit}, quantity)
    assert (again.si, again.unit) == (read.si, read.unit)


@given(st.sampled_from(UNITS), st.floats(-1e6, 1e6))
def test_what_a_program_writes_is_read_back_exactly(unit, value):
    quantity, name = unit
    assert parse(f"{value!r} {name}" if "e" not in repr(value) else [value, name], quantity) == (
        parse([value, name], quantity)
    )


@pytest.mark.parametrize("name", QUANTITIES)
def test_no_two_units_of_a_quantity_share_a_spelling_and_differ(name):
    by_spelling = {}
    for unit in QUANTITIES[name].units:
        if unit:
            by_spelling.setdefault(parse([1.0, unit.lower()], name).unit.casefold(), set()).add(
                to_si(1.0, unit, name)
            )
    assert all(len(factors) == 1 for factors in by_spelling.values())


def test_only_the_table_of_units_imports_the_library():
    apps = ("config", "scheduling", "inspections", "buildings", "contractors", "fixtures")
    asks = re.compile(r"^\s*(?:import|from)\s+pint\b", re.MULTILINE)
    found = [
        str(path.relative_to(settings.BASE_DIR))
        for app in apps
        for path in (Path(settings.BASE_DIR) / app).rglob("*.py")
        if asks.search(path.read_text(encoding="utf-8"))
    ]
    assert found == ["buildings/units.py"]
