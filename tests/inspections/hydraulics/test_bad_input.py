"""Whatever a computation is given, it answers with finite values or refuses by name; never else."""

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildings.quantities import QUANTITIES
from buildings.units import UnitRefused
from inspections.calculations import as_entered, evaluate_entered
from inspections.hydraulics.computation import SI_UNITS, InputRefused
from inspections.hydraulics.index import COMPUTATIONS, evaluate

REFUSALS = (InputRefused, UnitRefused)
VERDICTS = {None, "pass", "fail", "look into it"}
PLAIN = ("word", "yes or no")
JUNK = [
    math.nan,
    math.inf,
    -math.inf,
    10**400,
    -(10**400),
    "",
    "   ",
    "much",
    "1e999 psi",
    "nan psi",
    "--5 psi",
    "5 psi psi",
    "\x00",
    "٣ psi",
    "1/0 in",
    True,
    [],
    [[]],
    {},
    {"value": None, "unit": "psi"},
    {"value": 5, "unit": None},
    {"value": 5, "unit": ["psi"]},
    {"value": {"value": 5}, "unit": "psi"},
    {"value": "5", "unit": "psi", "more": 1},
    [5, 5],
    [5, "stone"],
    ["5 psi", "psi"],
    [[1, 2], "psi"],
    [None, "psi"],
    object(),
]
junk = st.sampled_from(JUNK) | st.text(max_size=12) | st.floats() | st.integers()


def in_range(field):
    """Values that a field takes, its ends included."""
    low = field.low if field.low is not None else -1e6
    high = field.high if field.high is not None else 1e6
    if field.quantity == "count":
        return st.integers(int(low), int(high))
    numbers = st.floats(low, high, exclude_min=field.above, allow_subnormal=False)
    return numbers | st.sampled_from([high, low if not field.above else high / 2])


def right(field):
    """Values as a program writes them that one field takes by itself."""
    if field.columns:
        row = st.tuples(*(right(column) for column in field.columns)).map(list)
        return st.lists(row, min_size=0, max_size=4)
    if field.quantity == "yes or no":
        one = st.booleans()
    elif field.quantity == "word":
        words = field.choices or ("4 in", "2 1/2 in", "40", "gate_valve", "elbow_45", "x")
        one = st.sampled_from(words)
    else:
        unit = SI_UNITS[field.quantity]
        one = in_range(field)
        if unit:
            one = one.map(lambda value: {"value": value, "unit": unit})
    return st.lists(one, max_size=4) if field.many else one


def filled(computation):
    given = {
        field.name: right(field) if field.required else st.none() | right(field)
        for field in computation.inputs
    }
    return st.fixed_dictionaries(given)


def tried(name, inputs):
    try:
        return evaluate_entered(name, inputs), None
    except REFUSALS as refused:
        return None, refused


def answers_or_refuses(name, inputs):
    """Evaluate; check the answer or the refusal."""
    fields = COMPUTATIONS[name].inputs
    names = {field.name for field in fields} | set(inputs)
    names |= {column.name for field in fields for column in field.columns}
    outcome, refused = tried(name, inputs)
    if refused:
        assert refused.field in names, refused
        assert refused.accepted
        assert refused.why
        assert str(refused)
        return
    assert outcome.verdict in VERDICTS
    assert outcome.reason
    assert "{" not in outcome.reason
    assert "nan" not in outcome.reason.split()
    for value in (*outcome.values.values(), outcome.limit, outcome.margin):
        if value is not None and isinstance(value.value, int | float):
            assert math.isfinite(value.value), (value, outcome)
    json.dumps(as_entered(outcome, "metric"), allow_nan=False)


@pytest.mark.parametrize("name", COMPUTATIONS)
@settings(max_examples=8)
@given(data=st.data())
def test_values_in_range_are_computed_or_refused_by_name(name, data):
    answers_or_refuses(name, data.draw(filled(COMPUTATIONS[name])))


@pytest.mark.parametrize("name", COMPUTATIONS)
@settings(max_examples=8)
@given(data=st.data())
def test_one_wrong_value_among_right_ones_is_refused_by_name(name, data):
    inputs = data.draw(filled(COMPUTATIONS[name]))
    field = data.draw(st.sampled_from(COMPUTATIONS[name].inputs))
    answers_or_refuses(name, inputs | {field.name: data.draw(junk)})


@pytest.mark.parametrize("name", COMPUTATIONS)
def test_every_input_refuses_what_is_no_value_of_it(name):
    for field in COMPUTATIONS[name].inputs:
        for value in (math.nan, math.inf, "much", {"unit": "psi"}, [[]], object()):
            if field.quantity == "word" and not field.choices and isinstance(value, str):
                continue
            inputs = {
                one.name: value if one is field else None for one in COMPUTATIONS[name].inputs
            }
            with pytest.raises(REFUSALS) as caught:
                evaluate_entered(name, inputs)
            # What stands before it in the list is missing, and may be named first.
            assert caught.value.why


RANGED = [
    (name, field)
    for name, computation in COMPUTATIONS.items()
    for field in computation.inputs
    if field.quantity not in PLAIN and not field.columns
]


@pytest.mark.parametrize(
    ("name", "field"), RANGED, ids=[f"{name}-{field.name}" for name, field in RANGED]
)
def test_beyond_its_range_an_input_names_value_and_range(name, field):
    beyond = []
    if field.high is not None:
        beyond.append(field.high * 1.001 + 1e-6)
    if field.low is not None:
        beyond.append(field.low if field.above else field.low - abs(field.low) * 1e-3 - 1e-6)
    assert beyond, "an input without a range takes what can't be"
    for value in beyond:
        if field.quantity == "count":
            value = math.ceil(value) if value > (field.low or 0) else math.floor(value)
        with pytest.raises(InputRefused) as caught:
            field.checked([value] if field.many else value, lambda v, quantity: f"{v:g} {quantity}")
        assert caught.value.field == field.name
        assert caught.value.accepted
        assert caught.value.value is not None


@pytest.mark.parametrize("name", COMPUTATIONS)
def test_every_needed_input_is_asked_for_by_name_and_no_other_is_taken(name):
    needed = [field.name for field in COMPUTATIONS[name].inputs if field.required]
    if needed:
        with pytest.raises(InputRefused) as caught:
            evaluate(name, {})
        assert caught.value.field == needed[0]
    with pytest.raises(InputRefused) as caught:
        evaluate(name, {"weather": 1.0})
    assert caught.value.field == "weather"


@pytest.mark.parametrize(
    ("name", "field"), RANGED, ids=[f"{name}-{field.name}" for name, field in RANGED]
)
def test_a_unit_of_another_quantity_is_refused_with_those_that_are_taken(name, field):
    wrong = "5 stone" if field.quantity in ("number", "count") else "5 Hz"
    wrong = "5 psi" if field.quantity == "frequency" else wrong
    others = {one.name: None for one in COMPUTATIONS[name].inputs}
    with pytest.raises(UnitRefused) as caught:
        evaluate_entered(name, others | {field.name: [wrong] if field.many else wrong})
    assert caught.value.field == field.name
    first = next((unit for unit in QUANTITIES[field.quantity].units if unit), "without a unit")
    assert first in caught.value.accepted
