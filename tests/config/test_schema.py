"""The API describes itself: each shape has one name, and no address leaves anything open."""

import pytest
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator


@pytest.mark.once
def test_the_description_of_the_api_leaves_nothing_in_doubt(capsys):
    GENERATOR_STATS.reset()
    described = SchemaGenerator().get_schema(request=None, public=True)
    assert not GENERATOR_STATS, capsys.readouterr().err
    assert len(described["paths"]) > 100
