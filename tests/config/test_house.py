"""The top of the repository stays small, and what pins the packages names no place to get them."""

import re
import subprocess

import pytest

from tests.servers import ROOT

TOP_LEVEL = """
README.md DEVELOPERS.md manage.py pyproject.toml contractors buildings inspections scheduling
tests fixtures config docs Makefile .ci .gitignore requirements.in requirements.lock
requirements-dev.in requirements-dev.lock package.json package-lock.json .npmrc
"""
PINS = ["requirements.in", "requirements.lock", "requirements-dev.in", "requirements-dev.lock"]


def tracked():
    """Return the files of the repository: known to git where there is one, else all of them."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode == 0:
        return [name for name in listed.stdout.split("\0") if name]
    ignored = {".venv", "data", "staticfiles", "node_modules"}
    return [path.name for path in ROOT.iterdir() if path.name not in ignored]


def test_the_top_level_holds_only_names_of_the_list():
    assert {name.partition("/")[0] for name in tracked()} - set(TOP_LEVEL.split()) == set()


@pytest.mark.parametrize("name", [*PINS, "package.json", "package-lock.json", ".npmrc"])
def test_no_file_of_pins_names_a_host(name):
    assert "resolved" not in (ROOT / name).read_text() or name == ".npmrc"
    if name != "package-lock.json":
        assert "://" not in (ROOT / name).read_text()


@pytest.mark.parametrize("name", ["requirements.lock", "requirements-dev.lock"])
def test_every_pin_has_a_hash(name):
    pins = re.split(r"\n(?=\S)", (ROOT / name).read_text().strip())
    assert len(pins) > 50
    assert [pin.splitlines()[0] for pin in pins if "--hash=sha256:" not in pin] == []


def test_tests_run_on_the_very_packages_of_the_service():
    def pins(name):
        return dict(re.findall(r"^([\w.\-\[\],]+)==(\S+)", (ROOT / name).read_text(), re.MULTILINE))

    service, tests = pins("requirements.lock"), pins("requirements-dev.lock")
    assert {name: tests.get(name) for name in service} == service
