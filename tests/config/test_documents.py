"""README and DEVELOPERS.md say what is there."""

import re
from pathlib import Path

import pytest

from tests.servers import ROOT

# Django's own migrate, as the schema role; it has no use of its own to explain.
NOT_LISTED = {"migrate"}


def commands():
    found = set()
    for app in ("config", "contractors", "buildings", "inspections", "scheduling"):
        folder = ROOT / app / "management" / "commands"
        found |= {path.stem for path in folder.glob("[a-z]*.py")}
    return found - NOT_LISTED


def test_the_readme_lists_every_command_and_no_other():
    listed = set(re.findall(r"`manage\.py (\w+)", (ROOT / "README.md").read_text()))
    assert listed == commands()


def test_the_settings_at_the_top_of_the_file_are_those_that_are_read():
    text = (ROOT / "config" / "settings.py").read_text()
    told = set(re.findall(r"^\| ([A-Z_]+) \|", text, re.MULTILINE))
    read = set(re.findall(r"environ(?:\.get\(|\[)\"([A-Z_]+)\"", text))
    assert read == told


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_files_that_the_documents_name_are_there(name):
    text = (ROOT / name).read_text()
    for path in re.findall(
        r"`((?:config|contractors|buildings|inspections|scheduling|tests|fixtures)/[\w/.]+)`", text
    ):
        assert (ROOT / Path(path)).exists(), path


@pytest.mark.django_db
def test_the_page_of_the_api_lists_its_addresses(client):
    page = client.get("/api/").content.decode()
    for address in ("/api/v1/visits/", "/api/v1/plans/{id}/publish/", "/api/v1/sync/push/"):
        assert address in page
