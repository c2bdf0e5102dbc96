"""A planned visit and the tablet of its technician, for tests of the record and of the sync."""

import pytest

from tests.inspections import tablets


@pytest.fixture
def visit(ours):
    return tablets.planned(ours)


@pytest.fixture
def tablet(ours, api):
    return tablets.Tablet(api(ours.technician), ours.technician)
