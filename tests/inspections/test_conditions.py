import math
from contextlib import suppress
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.conditions.compiled import compile_condition
from inspections.conditions.facts import Fact, Kind, Origin, Shape
from inspections.conditions.language import ConditionError, read
from inspections.conditions.units import SI_OF_MEASURE, UNITS

YEAR = Kind(Shape.NUMBER, year=True)
NAMES = {
    "item.supervised": Kind(Shape.TRUTH),
    "item.heated": Kind(Shape.TRUTH),
    "item.type": Kind(Shape.WORD, choices=("dry", "wet", "deluge")),
    "item.size": Kind(Shape.NUMBER, UNITS["inch"]),
    "item.length": Kind(Shape.NUMBER, UNITS["foot"]),
    "item.year": YEAR,
    "item.dated": Kind(Shape.DATE),
    "edition": Kind(Shape.NUMBER),
    "today": Kind(Shape.DATE),
    "pressure": Kind(Shape.NUMBER, SI_OF_MEASURE["pressure"]),
    "other_pressure": Kind(Shape.NUMBER, SI_OF_MEASURE["pressure"]),
    "room": Kind(Shape.NUMBER, SI_OF_MEASURE["temperature"]),
    "limit.loss": Kind(Shape.NUMBER, UNITS["psi"]),
    "limit.share": Kind(Shape.NUMBER),
    "limit.least": Kind(Shape.NUMBER, UNITS["degF"]),
}
TODAY = Fact("today", date(2026, 7, 1))
MISSING = Origin.MISSING
PSI = 6894.757293168361


class Words:
    def kind_of(self, name):
        return NAMES.get(name)


class Known:
    """Facts by name; what is not named is unknown."""

    def __init__(self, values):
        self.values = values

    def look_up(self, name):
        value = TODAY.value if name == "today" else self.values.get(name)
        if isinstance(value, Fact):
            return value
        if value is MISSING:
            return Fact(name, None, Origin.MISSING)
        return Fact(name, value, Origin.UNKNOWN if value is None else Origin.GIVEN)


def answer(text, **values):
    known = {name.replace("__", "."): value for name, value in values.items()}
    return compile_condition(text, Words()).evaluate(Known(known))


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("True", True),
        ("item.supervised", True),
        ("not item.supervised", False),
        ('item.type == "dry"', True),
        ('item.type != "dry"', False),
        ('item.type in ("wet","dry")', True),
        ('item.type not in ("wet","dry")', False),
        ('item.size >= q(2.5,"inch")', True),
        ('item.size > q(2.5,"inch")', False),
        ("edition < 2014 or edition >= 2017", True),
        ("years_since(item.year) >= 50", True),
        ("years_since(item.year) >= 51", False),
        ('pressure - other_pressure <= limit("loss")', True),
        ('abs(other_pressure - pressure) <= limit("loss")', True),
        ('min(pressure, other_pressure) > limit("share") * pressure', True),
        ("max(pressure, other_pressure) > pressure", False),
        ('not (item.supervised and item.size < q(1,"foot"))', False),
    ],
)
def test_a_condition_over_known_facts_is_true_or_false(text, value):
    found = answer(
        text,
        item__supervised=True,
        item__type="dry",
        item__size=2.5,
        item__year=1976,
        edition=2017,
        pressure=43 * PSI,
        other_pressure=40 * PSI,
        limit__loss=3,
        limit__share=0.9,
    )
    assert found.value is value


@pytest.mark.parametrize(
    ("left", "right", "both", "either"),
    [
        (False, None, False, None),
        (None, False, False, None),
        (True, None, None, True),
        (None, True, None, True),
        (None, None, None, None),
    ],
)
def test_an_unknown_decides_only_where_the_other_side_cannot(left, right, both, either):
    values = {"item__supervised": left, "item__heated": right}
    assert answer("item.supervised and item.heated", **values).value is both
    assert answer("item.supervised or item.heated", **values).value is either
    assert answer("not item.supervised", item__supervised=None).value is None


def test_an_undecided_condition_names_only_what_would_decide_it():
    found = answer(
        'item.supervised and (item.heated or item.type == "dry") and edition >= 2014',
        item__supervised=None,
        item__heated=True,
        edition=2020,
    )
    assert found.asks == ("item.supervised",)


def test_a_decided_condition_rests_on_the_part_that_decided():
    found = answer('item.supervised and item.type == "wet"', item__type="dry")
    assert found.value is False
    assert [fact.name for fact in found.facts] == ["item.type"]
    assert found.asks == ()


def test_a_default_that_decided_is_told_apart_from_what_was_given():
    by_default = Fact("item.heated", False, Origin.DEFAULT)
    found = answer("item.heated", item__heated=by_default)
    assert found.value is False
    assert found.assumed == (by_default,)


@pytest.mark.parametrize(
    "text",
    [
        'item.type == "dry"',
        'item.type != "dry"',
        'item.type in ("dry")',
        'item.type not in ("dry")',
        'item.size > q(1,"inch")',
        'item.length - item.size < q(1,"inch")',
        "years_since(item.dated) < 5",
        "item.supervised",
    ],
)
def test_every_comparison_with_something_that_is_not_there_is_false(text):
    values = dict.fromkeys(("item__type", "item__size", "item__dated", "item__supervised"), MISSING)
    assert answer(text, **values).value is False


@pytest.mark.parametrize("way", [0.0, math.inf])
def test_a_figure_that_only_conversion_moved_still_meets_its_limit(way):
    room = math.nextafter((40.0 + 459.67) * 5 / 9, way)
    assert answer('room >= limit("least")', room=room, limit__least=40.0).value is True
    assert answer('room < limit("least")', room=room, limit__least=40.0).value is False
    assert answer('room == q(40,"degF")', room=room).value is True


def test_age_counts_calendar_years_for_a_year_and_days_for_a_date():
    assert answer("years_since(item.year) == 1", item__year=2025).value is True
    assert answer("years_since(item.dated) < 1", item__dated=date(2025, 12, 31)).value is True
    assert answer("years_since(item.dated) >= 1", item__dated=date(2025, 6, 30)).value is True


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "ends too early"),
        ("item.supervised and", "ends too early"),
        ("item.supervised item.heated", "nothing was expected"),
        ("(item.supervised", "')' is missing"),
        ("item.supervised ? 1", "cannot read"),
        ("1 < edition < 3", "not chained"),
        ("item.type in (dry)", "quoted word"),
        ('item.type not "dry"', "'in' is missing"),
        ("item.colour == 3", "no attribute, reading or limit 'item.colour'"),
        ('__import__("os")', "is no function"),
        ('q(3,"furlong") > 2', "no unit 'furlong'"),
        ('limit("nothing") > 2', "limit.nothing"),
        ('item.type == "blue"', "'blue' is none of: dry, wet, deluge"),
        ('item.type in ("dry","blue")', "'blue' is none of"),
        ('item.type < "dry"', "cannot be compared by '<'"),
        ("item.type == 3", "a number is compared with a word"),
        ("item.size", "a number is used as a condition"),
        ("item.supervised > 3", "compared with a truth"),
        ("item.size > pressure", "a figure of length meets one of pressure"),
        ("item.size + pressure > pressure", "a figure of length meets one of pressure"),
        ("item.size > 3", "a figure of length meets one of dimensionless"),
        ("item.size * item.size > 3", "must be a plain number"),
        ('room - limit("least") > limit("least")', "temperatures are not"),
        ("years_since(edition) > 3", "wants a year or a date"),
        ("min(item.size, pressure) > 3", "meets one of pressure"),
        ("abs(item.size and item.size) > 3", "where a value is wanted"),
        ("(" * 50 + "True" + ")" * 50, "levels of brackets"),
    ],
)
def test_a_condition_that_does_not_fit_is_refused_with_the_reason(text, reason):
    with pytest.raises(ConditionError) as refused:
        compile_condition(text, Words())
    assert reason in str(refused.value)


@given(st.text(alphabet='itemandornot. ()"<>=+-*,123q', max_size=60))
def test_any_text_is_read_or_refused(text):
    with suppress(ConditionError):
        assert read(text) == read(f" {text} ")


LEAVES = [
    "item.supervised",
    "item.heated",
    'item.type == "dry"',
    'item.type not in ("dry","wet")',
    'item.size >= q(2,"inch")',
    'item.length - item.size > q(1,"foot")',
    "years_since(item.year) < 50",
]
EXPRESSIONS = st.recursive(
    st.sampled_from(LEAVES),
    lambda part: st.one_of(
        st.tuples(part, part).map(lambda both: f"({both[0]} and {both[1]})"),
        st.tuples(part, part).map(lambda both: f"({both[0]} or {both[1]})"),
        part.map(lambda one: f"not ({one})"),
    ),
    max_leaves=8,
)
COMPLETE = st.fixed_dictionaries(
    {
        "item.supervised": st.booleans(),
        "item.heated": st.booleans(),
        "item.type": st.sampled_from(["dry", "wet", "deluge"]),
        "item.size": st.floats(0.5, 20),
        "item.length": st.floats(0.5, 20),
        "item.year": st.integers(1900, 2026),
    }
)


@given(EXPRESSIONS, COMPLETE, st.sets(st.sampled_from(sorted(NAMES))))
def test_what_is_decided_without_a_fact_stays_so_whatever_the_fact(text, facts, unknown):
    condition = compile_condition(text, Words())
    partial = {name: value for name, value in facts.items() if name not in unknown}
    before = condition.evaluate(Known(partial))
    after = condition.evaluate(Known(facts))
    assert after.value is not None
    if before.value is not None:
        assert after.value is before.value
    else:
        assert before.asks
        assert set(before.asks) <= unknown


@given(EXPRESSIONS, COMPLETE)
def test_an_answer_is_the_same_from_the_facts_it_rests_on_alone(text, facts):
    condition = compile_condition(text, Words())
    found = condition.evaluate(Known(facts))
    shown = {fact.name: fact for fact in found.facts}
    assert condition.evaluate(Known(shown)).value is found.value


@given(EXPRESSIONS, COMPLETE)
def test_negation_turns_the_answer_round(text, facts):
    plain = compile_condition(text, Words()).evaluate(Known(facts))
    turned = compile_condition(f"not ({text})", Words()).evaluate(Known(facts))
    assert turned.value is (not plain.value)
