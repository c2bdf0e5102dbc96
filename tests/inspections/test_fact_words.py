"""Facts of rules in the words of the dictionary."""

import pytest

from inspections import fact_words
from inspections.conditions.facts import Fact, Origin


@pytest.mark.parametrize(
    ("name", "value", "origin", "said"),
    [
        ("system.kind", "dry", Origin.GIVEN, "System, kind: dry"),
        ("item.access", "exposed", Origin.GIVEN, "Access: exposed"),
        ("item.dwelling_unit", True, Origin.GIVEN, "Inside dwelling units: yes"),
        ("item.dwelling_unit", False, Origin.DEFAULT, "Inside dwelling units: assumed no"),
        ("riser.gauge_pair", None, Origin.MISSING, "there is none"),
        ("item.recalled", None, Origin.UNKNOWN, "not known"),
        ("building.base_standard", "nfpa25", Origin.GIVEN, "Building, base standard: NFPA 25"),
        ("edition", 2020, Origin.GIVEN, "Adopted edition: 2020"),
    ],
)
def test_a_fact_is_said_with_its_meaning_and_its_value(name, value, origin, said):
    assert fact_words.said(Fact(name, value, origin), "sprinkler_group").endswith(said)


def test_what_has_to_be_told_is_asked_as_the_dictionary_asks_it():
    asked = fact_words.question("item.recalled", "sprinkler_group")
    assert asked == "Do they fall under a recall?"
    assert fact_words.question("edition", "sprinkler_group") == "Adopted edition?"
