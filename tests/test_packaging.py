"""The installed package carries everything the compiler reads.

Run against an installed wheel, as CI does, this is a check of the wheel.
"""

from __future__ import annotations

import importlib
import tomllib
from importlib import metadata, resources
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

FOLDERS = {
    "bellcrank": ROOT / "compiler",
    "bellcrank.grammar": ROOT / "grammar",
    "bellcrank.targets": ROOT / "targets",
}


def setuptools_settings() -> dict:
    return tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]


OF_THE_REPOSITORY = "handbook"
"""The folder of what pages are made of, which nobody needs who has the package alone."""


def data_files(folder: Path) -> list[str]:
    """All files below a folder that are not Python, by their paths in it."""
    return sorted(
        p.relative_to(folder).as_posix()
        for p in folder.rglob("*")
        if p.is_file()
        and p.suffix not in (".py", ".pyc")
        and not {"__pycache__", OF_THE_REPOSITORY}.intersection(p.relative_to(folder).parts)
    )


def all_data_files() -> list[tuple[str, str]]:
    return [(package, name) for package, folder in FOLDERS.items() for name in data_files(folder)]


def test_there_is_data_to_carry() -> None:
    assert {
        ("bellcrank", "diagnostics/error_pages.toml"),
        ("bellcrank", "py.typed"),
        ("bellcrank.grammar", "layout.lark"),
        ("bellcrank.grammar", "fittings.crank"),
        ("bellcrank.targets", "README.md"),
        ("bellcrank.targets", "json/layout.schema.json"),
        ("bellcrank.targets", "csv/stamp.jinja"),
    } <= set(all_data_files())


@pytest.mark.parametrize(("package", "name"), all_data_files(), ids=lambda x: x)
def test_each_data_file_is_reached_through_the_installed_package(package: str, name: str) -> None:
    carried = resources.files(package).joinpath(*name.split("/"))
    assert carried.is_file()
    assert carried.read_bytes() == (FOLDERS[package] / name).read_bytes()


@pytest.mark.parametrize(("package", "name"), all_data_files(), ids=lambda x: x)
def test_each_data_file_is_named_by_a_pattern_of_package_data(package: str, name: str) -> None:
    """Else an editable install has it and a wheel has not."""
    folder = FOLDERS[package]
    patterns = setuptools_settings()["package-data"][package]
    assert folder / name in {path for pattern in patterns for path in folder.glob(pattern)}


def test_every_folder_of_the_compiler_is_a_package_that_is_listed() -> None:
    folders = {
        ".".join(("bellcrank", *p.parent.relative_to(ROOT / "compiler").parts))
        for p in (ROOT / "compiler").rglob("*.py")
    }
    listed = setuptools_settings()["packages"]
    assert len(listed) == len(set(listed))
    assert set(listed) == folders | set(FOLDERS)


@pytest.mark.parametrize("package", setuptools_settings()["packages"])
def test_every_listed_package_can_be_imported(package: str) -> None:
    module = importlib.import_module(package)
    assert module.__doc__


def test_the_folders_are_mapped_onto_the_package() -> None:
    assert setuptools_settings()["package-dir"] == {
        package: folder.name for package, folder in FOLDERS.items()
    }


def test_the_version_is_one_and_the_same_everywhere() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    version = importlib.import_module("bellcrank").__version__
    assert version == project["version"] == metadata.version("bellcrank")


def test_the_command_is_installed() -> None:
    (command,) = metadata.distribution("bellcrank").entry_points.select(group="console_scripts")
    assert command.name == "bellcrank"
    assert callable(command.load())
