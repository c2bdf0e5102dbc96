"""The pages of the computations: list, form, result, and what a wrong value is told."""

import re
from urllib.parse import parse_qsl

import pytest
from django.urls import reverse

from inspections import calculator
from inspections.hydraulics import index

pytestmark = pytest.mark.django_db


@pytest.fixture
def technician(ours, as_member):
    return as_member(ours.technician)


def page(client, name, **typed):
    return client.get(reverse("calculation", args=[name]), typed)


def test_the_list_holds_every_computation_under_its_subject(technician):
    shown = technician.get(reverse("calculations")).content.decode()
    assert all(f"/calculations/{name}/" in shown for name in index.COMPUTATIONS)
    assert all(subject in shown for subject in index.SUBJECTS)


def test_every_computation_stands_under_one_subject():
    named = [name for names in index.SUBJECTS.values() for name in names]
    assert sorted(named) == sorted(index.COMPUTATIONS)


def test_a_word_narrows_the_list(technician):
    shown = technician.get(reverse("calculations"), {"q": "antifreeze"}).content.decode()
    assert "Freezing point of antifreeze" in shown
    assert "Main drain test" not in shown


@pytest.mark.parametrize("name", index.COMPUTATIONS)
def test_every_computation_has_a_form_with_a_field_for_each_input(technician, name):
    answer = page(technician, name)
    shown = answer.content.decode()
    assert answer.status_code == 200
    for field in index.COMPUTATIONS[name].inputs:
        assert f'name="{field.name}"' in shown


@pytest.mark.parametrize("name", index.COMPUTATIONS)
def test_an_example_fills_the_form_and_comes_to_something(name):
    typed = dict(parse_qsl(calculator.example(name, "us")))
    sheet = calculator.filled(name, typed, "us")
    assert (sheet.error, [entry.error for entry in sheet.entries if entry.error]) == ("", [])
    assert sheet.outcome is not None


def test_an_address_with_values_shows_what_they_come_to(technician):
    # NFPA 291's formula by hand: 29.84 * 0.9 * 2.5**2 * 16**0.5 = 671.4 gpm.
    answer = page(technician, "nozzle_pitot_flow", p="16", d='2 1/2"', c="0.9")
    assert "670 gpm" in answer.content.decode()
    assert answer.status_code == 200


def test_a_judged_value_shows_verdict_limit_and_margin(technician):
    shown = page(technician, "waterflow_alarm_time", t="1:40").content.decode()
    assert 'data-verdict="fail"' in shown
    assert re.search(r"Limit</th><td>90 s", shown)
    assert re.search(r"Margin</th><td>-10 s", shown)


def test_a_wrong_value_is_named_with_what_is_accepted_and_nothing_typed_is_lost(technician):
    answer = page(technician, "supply_margin", static="70", residual="75", flow="1 000 gpm",
                  demand_flow="500", demand_pressure="3.6 bar")  # fmt: skip
    shown = answer.content.decode()
    assert answer.status_code == 422
    assert "less than static" in shown
    assert "75 psi is not accepted" in shown
    for typed in ("70", "75", "1 000 gpm", "500", "3.6 bar"):
        assert f'value="{typed}"' in shown


def test_a_unit_of_another_dimension_is_named(technician):
    shown = page(technician, "standpipe_residual", residual="52 gpm").content.decode()
    assert "gpm is a unit of flow" in shown


def test_bare_numbers_keep_their_unit_when_the_system_is_switched():
    sheet = calculator.filled("nozzle_pitot_flow", {"p": "16", "d": "63.5 mm", "c": "0.9"}, "us")
    assert sheet.query("metric") == "p=16+psi&d=63.5+mm&c=0.9&units=metric"


def test_both_systems_come_to_the_same(technician):
    us = calculator.filled("standpipe_residual", {"residual": "100 psi"}, "us")
    metric = calculator.filled("standpipe_residual", {"residual": "6.894757293"}, "metric")
    assert us.outcome.verdict == metric.outcome.verdict == "pass"
    assert "6.90 bar" in metric.outcome.reason


def test_rows_are_written_one_a_line():
    sheet = calculator.filled("system_volume", {"pipes": "2; 40; 100 ft\n1-1/2; 40; 50"}, "us")
    # Bores of the pipe table by hand: 100 ft of 0.1743 and 50 ft of 0.1058 gal/ft.
    assert sheet.rows == [("volume of the piping", "23 gal")]


def test_a_row_that_lacks_a_part_is_refused_with_what_is_wanted():
    sheet = calculator.filled("system_volume", {"pipes": "2; 40"}, "us")
    assert "between semicolons" in sheet.entries[0].error


def test_a_name_that_nobody_knows_is_not_there(technician):
    assert page(technician, "no_such_thing").status_code == 404


@pytest.mark.parametrize("role", ["manager", "office", "technician", "trainer"])
def test_everybody_of_a_contractor_may_calculate(ours, as_member, role):
    client = as_member(getattr(ours, role))
    assert client.get(reverse("calculations")).status_code == 200
