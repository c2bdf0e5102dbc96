"""A "no" that no page caught itself still reaches the user as a sentence, never as a 500."""

import pytest
from django.test import RequestFactory

from buildings import units
from config.middleware import RefusalMiddleware
from contractors.refusal import FieldRefused
from inspections.events.fields import EventRefused


def unexpected(request):
    pytest.fail("the page is not asked again")


def answered(error, **headers):
    request = RequestFactory().post("/visits/", headers=headers)
    return RefusalMiddleware(unexpected).process_exception(request, error)


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (
            EventRefused("payload.answer", "splendid", "pass or fail"),
            ("answer", "splendid", "pass"),
        ),
        (FieldRefused("until", "soon", "A day."), ("until", "soon", "A day.")),
    ],
)
def test_a_refused_field_is_shown_with_its_value_and_what_is_accepted(error, words):
    page = answered(error)
    assert page.status_code == 400
    assert all(word in page.content.decode() for word in words)


def test_a_refused_unit_is_shown_as_well():
    with pytest.raises(units.UnitRefused) as refused:
        units.parse("64 furlong", "pressure")
    page = answered(refused.value)
    assert page.status_code == 400
    assert "furlong" in page.content.decode()


def test_a_bug_is_no_refusal():
    assert answered(ValueError("a bug")) is None
