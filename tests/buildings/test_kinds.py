import csv
import shutil
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from buildings.kinds import (
    AttributeRefused,
    ValueType,
    device_kinds,
    kind_named,
    kinds,
    load_kinds,
)
from buildings.tables import CatalogueError

TABLES = Path(__file__).resolve().parents[2] / "fixtures" / "catalogue" / "itm"


@pytest.mark.parametrize(
    ("kind", "attribute", "value", "stored"),
    [
        ("gauge", "full_scale", "300", 300.0),
        ("gauge", "measures", "System water", "system_water"),
        ("gauge", "measures", "SYSTEM-WATER", "system_water"),
        ("gauge", "dated", "2023-05-02", "2023-05-02"),
        ("gauge", "dated", date(2023, 5, 2), "2023-05-02"),
        ("standpipe", "hose_class", "iii", "III"),
        ("sprinkler_group", "quantity", "1100", 1100),
        ("sprinkler_group", "quantity", 1100.0, 1100),
        ("sprinkler_group", "manufacture_year", "1998", 1998),
        ("sprinkler_group", "dry_type", "no", False),
        ("sprinkler_group", "dry_type", "Yes", True),
        ("sprinkler_group", "dry_type", True, True),
        ("building", "state", " OR ", "OR"),
    ],
)
def test_a_value_is_stored_in_the_type_of_its_attribute(kind, attribute, value, stored):
    found = kind_named(kind).normalise({attribute: value})
    assert found == {attribute: stored}
    assert type(found[attribute]) is type(stored)


@pytest.mark.parametrize(
    ("kind", "attribute", "value", "accepted"),
    [
        ("gauge", "full_scale", "high", "a number in psi"),
        ("gauge", "full_scale", "nan", "a number in psi"),
        ("gauge", "full_scale", True, "a number in psi"),
        ("gauge", "measures", "steam", "one of: supply, system_water"),
        ("gauge", "dated", "02/05/2023", "a date like 2026-05-31"),
        ("sprinkler_group", "quantity", "-1", "a whole number from 0"),
        ("sprinkler_group", "quantity", "2.5", "a whole number from 0"),
        ("sprinkler_group", "manufacture_year", "98", "a year from 1800 to 2200"),
        ("sprinkler_group", "dry_type", "perhaps", "yes or no"),
        ("building", "state", "x" * 201, "text of up to 200 characters"),
    ],
)
def test_a_value_of_another_type_is_refused_by_name_value_and_what_is_accepted(
    kind, attribute, value, accepted
):
    with pytest.raises(AttributeRefused) as refused:
        kind_named(kind).normalise({attribute: value})
    assert (refused.value.kind, refused.value.attribute) == (kind, attribute)
    assert refused.value.value == value
    assert accepted in refused.value.accepted
    assert attribute in str(refused.value)


def test_an_attribute_that_the_kind_has_not_is_refused_with_those_it_has():
    with pytest.raises(AttributeRefused) as refused:
        kind_named("test_connection").normalise({"colour": "red"})
    assert refused.value.attribute == "colour"
    assert "orifice_known" in refused.value.accepted


@pytest.mark.parametrize("name", ["toaster", "reading", "design", ""])
def test_a_kind_that_does_not_exist_is_refused_with_those_that_do(name):
    with pytest.raises(AttributeRefused) as refused:
        kind_named(name)
    assert "dry_pipe_valve" in refused.value.accepted
    assert "reading" not in refused.value.accepted.split(", ")


def test_an_import_may_head_a_column_with_a_synonym():
    gauge = kind_named("gauge")
    assert gauge.attribute_for("Gauge date").name == "dated"
    assert gauge.attribute_for("RANGE").name == "full_scale"
    assert gauge.attribute_for("full scale").name == "full_scale"
    assert gauge.attribute_for("colour") is None
    assert gauge.normalise({"range": "300"}) == {"full_scale": 300.0}


def test_two_columns_for_one_attribute_must_agree():
    gauge = kind_named("gauge")
    assert gauge.normalise({"range": "300", "full_scale": 300}) == {"full_scale": 300.0}
    with pytest.raises(AttributeRefused, match="one value"):
        gauge.normalise({"range": "300", "full_scale": 200})


def test_an_empty_value_is_left_out_and_asked_for():
    group = kind_named("sprinkler_group")
    stored = group.normalise({"response": "", "dry_type": None, "type": "spray"})
    assert stored == {"type": "spray"}
    asked = {attribute.name for attribute in group.questions(stored)}
    assert {"response", "dry_type", "manufacture_year"} <= asked
    assert "type" not in asked
    assert "element" not in asked, "a default stands in for it"
    assert "quantity" not in asked, "no rule needs it"
    assert all(attribute.question for attribute in group.questions(stored))


def test_each_kind_hangs_on_kinds_that_exist():
    for kind in map(kind_named, device_kinds()):
        assert kind.parents
        assert set(kind.parents) <= set(kinds())
    assert kind_named("building").parents == ()


def test_a_schema_accepts_what_is_stored_and_nothing_else():
    schema = kind_named("gauge").schema()
    assert schema["additionalProperties"] is False
    assert schema["properties"]["full_scale"]["type"] == "number"
    assert schema["properties"]["full_scale"]["x-unit"] == "psi"
    assert "supply" in schema["properties"]["measures"]["enum"]
    assert schema["properties"]["measures"]["default"] == "other"
    assert schema["properties"]["dated"]["format"] == "date"


VALUES = {
    ValueType.TRUTH: st.booleans(),
    ValueType.NUMBER: st.floats(-1e9, 1e9),
    ValueType.INTEGER: st.integers(0, 10**6),
    ValueType.YEAR: st.integers(1800, 2200),
    ValueType.DATE: st.dates(date(1800, 1, 1), date(2200, 1, 1)),
    ValueType.TEXT: st.text(min_size=1, max_size=200).filter(lambda text: text == text.strip()),
}


@given(st.data())
def test_what_is_stored_is_stored_again_unchanged(data):
    kind = kind_named(data.draw(st.sampled_from(device_kinds())))
    attributes = {
        attribute.name: data.draw(
            st.sampled_from(attribute.choices)
            if attribute.value_type is ValueType.CHOICE
            else VALUES[attribute.value_type]
        )
        for attribute in kind.attributes.values()
    }
    stored = kind.normalise(attributes)
    assert set(stored) == set(attributes)
    assert kind.normalise(stored) == stored
    assert kind.normalise({name: str(value) for name, value in stored.items()}) == stored


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"type": "colour"}, "colour"),
        ({"type": "enum", "allowed": ""}, "an enum needs allowed words"),
        ({"default_if_unknown": "maybe"}, "the default is not accepted: yes or no"),
    ],
)
def test_a_row_of_the_dictionary_that_cannot_be_used_is_refused(tmp_path, change, reason):
    with (TABLES / "kinds.csv").open(encoding="utf-8", newline="") as text:
        reader = csv.DictReader(text)
        rows = list(reader)
    at = next(n for n, row in enumerate(rows) if row["attribute"] == "workplace")
    rows[at].update(change)
    with (tmp_path / "kinds.csv").open("w", encoding="utf-8", newline="") as text:
        writer = csv.DictWriter(text, reader.fieldnames)
        writer.writeheader()
        writer.writerows(rows)
    with pytest.raises(CatalogueError) as refused:
        load_kinds(tmp_path)
    assert (refused.value.file, refused.value.row) == ("kinds.csv", at + 2)
    assert reason in refused.value.reason


def test_a_dictionary_that_is_no_table_is_refused(tmp_path):
    shutil.copyfile(TABLES / "kinds.csv", tmp_path / "kinds.csv")
    with (tmp_path / "kinds.csv").open("a", encoding="utf-8") as text:
        text.write("gauge,one,two\n")
    with pytest.raises(CatalogueError, match="more or fewer values"):
        load_kinds(tmp_path)
    (tmp_path / "kinds.csv").write_bytes(b"kind,attribute\n\xff,\n")
    with pytest.raises(CatalogueError, match="UTF-8"):
        load_kinds(tmp_path)
