"""What is shipped is what stands in the folders, and the papers agree with it."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parent.parent
TOP_FOLDERS = ("adapters", "replay_logs", "signals", "tui")


@pytest.fixture(name="project", scope="module")
def _project() -> dict[str, Any]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def test_every_folder_with_code_is_listed(project: dict[str, Any]) -> None:
    """A sub-package missing from the list works editable and breaks the wheel."""
    found = {
        "bankwise." + ".".join(module.parent.relative_to(ROOT).parts)
        for folder in TOP_FOLDERS
        for module in (ROOT / folder).rglob("*.py")
    }
    assert found == set(project["tool"]["setuptools"]["packages"])


def test_every_listed_folder_is_a_package(project: dict[str, Any]) -> None:
    """Type checkers and the wheel need an `__init__.py` in each folder."""
    for name in project["tool"]["setuptools"]["packages"]:
        folder = ROOT.joinpath(*name.split(".")[1:])
        assert (folder / "__init__.py").is_file(), name


def test_every_data_file_is_shipped(project: dict[str, Any]) -> None:
    """A data file that no pattern names is left out of the wheel."""
    patterns = project["tool"]["setuptools"]["package-data"]["*"]
    left_out = [
        path.relative_to(ROOT)
        for folder in TOP_FOLDERS
        for path in (ROOT / folder).rglob("*")
        if path.is_file()
        and path.suffix not in {".py", ".pyc"}
        and path.parent.name != "pictures"
        and not any(path.match(pattern) for pattern in patterns)
    ]
    assert left_out == []


def test_newest_change_is_the_version(project: dict[str, Any]) -> None:
    """The changelog's newest entry, the project file and the metadata agree."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    newest = re.search(r"^### (\d+\.\d+\.\d+)", text, re.MULTILINE)
    assert newest is not None
    assert newest[1] == project["project"]["version"] == version("bankwise")


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_links_in_the_papers_lead_somewhere(name: str) -> None:
    """Every picture and file that a paper points to exists."""
    text = (ROOT / name).read_text(encoding="utf-8")
    targets = re.findall(r"\]\((?!https?:|#)([^)#]+)", text)
    missing = [target for target in targets if not (ROOT / target).exists()]
    assert missing == []


def test_readme_has_one_demo_and_one_test_command() -> None:
    """CI runs the test command as written, so the README must keep its marker."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for marker in ("the demo", "the tests"):
        blocks = re.findall(rf"<!-- {marker} -->\n```sh\n(.+?)\n```", text, re.DOTALL)
        assert len(blocks) == 1, marker
