"""What tests in a browser share: one contractor, committed for the servers to see."""

import pytest

from tests import scene


@pytest.fixture
def ours(committed_database: None) -> scene.Scene:
    return scene.build("northbank", "Northbank Fire Protection", "Quay Holdings")
