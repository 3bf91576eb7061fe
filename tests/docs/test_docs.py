"""What the documents promise is there: every setting, every command, every file they name."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from command import ebbmark

from service.cli import COMMANDS
from service.settings import SETTINGS

ROOT = Path(__file__).parents[2]
DOCS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]


@pytest.mark.parametrize("name", [name for name, _ in SETTINGS])
def test_every_setting_is_described(name):
    assert f"\n| `{name}` |" in (ROOT / "docs" / "settings.md").read_text()


def test_no_setting_is_described_that_does_not_exist():
    text = (ROOT / "docs" / "settings.md").read_text()
    assert set(re.findall(r"^\| `(\w+)` \|", text, re.MULTILINE)) == {name for name, _ in SETTINGS}


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(name):
    ran = ebbmark(name, "--help")
    assert ran.code == 0, ran.err
    assert "Usage:" in ran.out


def test_the_readme_names_only_commands_that_exist():
    text = (ROOT / "README.md").read_text()
    named = set(re.findall(r"ebbmark ([a-z]+)(?= |`|$)", text, re.MULTILINE))
    assert named <= set(COMMANDS)


@pytest.mark.parametrize("path", DOCS, ids=lambda p: p.name)
def test_links_lead_somewhere(path):
    for target in re.findall(r"\]\((?!http)([^)#]+)\)", path.read_text()):
        assert (path.parent / target).exists(), target


def test_files_that_developers_are_sent_to_exist():
    text = (ROOT / "DEVELOPERS.md").read_text()
    for target in re.findall(r"`((?:service|scrapers|tests|config|docs|\.ci)/[\w./]+?)`", text):
        assert (ROOT / target).exists() or "SHAPE" in target, target


def test_the_licence_is_in_the_metadata():
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert project["license"] == "MIT"
    assert (ROOT / project["license-files"][0]).read_text().startswith("MIT License")
