"""The import contracts of pyproject.toml hold, and each of them is able to fail."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

# room -> what it must not import; one line for every border that design asks for
FORBIDDEN = {
    "errors": ["librarian.wire"],
    "messages": ["librarian.collection"],
    "shipped": ["librarian.chart"],
    "wire": ["librarian.chart", "librarian.collection", "librarian.transfer", "librarian.window"],
    "chart": ["librarian.collection", "librarian.standin", "librarian.cli"],
    "collection": ["librarian.transfer", "librarian.files", "librarian.sounds", "librarian.standin"],
    "sounds": ["librarian.cli"],
    "standin": ["librarian.window"],
    "files": ["librarian.window"],
    "transfer": ["librarian.cli"],
    "cli": ["librarian.window"],
    "window": ["librarian.cli"],
}
QT_FREE = [room for room in FORBIDDEN if room != "window"]


def rooms(package: Path) -> set[str]:
    modules = {place.stem for place in package.glob("*.py")} - {"__init__", "__main__"}
    return modules | {place.parent.name for place in package.glob("*/__init__.py")}


def copy_of_the_package(tmp_path: Path) -> Path:
    package = tmp_path / "librarian"
    shutil.copytree(ROOT / "librarian", package, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return package


def plant(package: Path, room: str, lines: list[str]) -> str:
    """Put the lines into the room (a module of it, or its only one); the module's name."""
    text = "\n".join(lines) + "\n"
    if (package / room).is_dir():
        (package / room / "planted.py").write_text(text)
        return f"librarian.{room}.planted"
    with (package / f"{room}.py").open("a") as module:
        module.write(text)
    return f"librarian.{room}"


def lint(tmp_path: Path) -> tuple[int, str]:
    """Exit code and text of import-linter, run on the copy."""
    program = "import sys; from importlinter.cli import lint_imports_command; sys.exit(lint_imports_command())"
    ended = subprocess.run(
        [sys.executable, "-c", program, "--no-cache"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    # Wrapped by the width of the terminal; names are searched for, so spaces do not matter.
    return ended.returncode, " ".join((ended.stdout + ended.stderr).split())


def test_every_room_is_in_the_table_above():
    assert rooms(ROOT / "librarian") == set(FORBIDDEN)


def test_the_package_as_it_is_keeps_every_contract(tmp_path: Path):
    copy_of_the_package(tmp_path)
    code, text = lint(tmp_path)
    assert (code, "0 broken" in text) == (0, True), text


def test_every_forbidden_import_is_caught(tmp_path: Path):
    package = copy_of_the_package(tmp_path)
    expected = []
    for room, targets in FORBIDDEN.items():
        module = plant(package, room, [f"import {target}" for target in targets])
        expected += [f"{module} -> {target}" for target in targets]
    for room in QT_FREE:
        module = plant(package, room, ["import PySide6.QtCore"] + [f"import {one}" for one in FORBIDDEN[room]])
        expected.append(f"{module} -> PySide6")
    code, text = lint(tmp_path)
    assert code != 0
    assert [line for line in expected if line not in text] == []


@pytest.mark.parametrize("room", ["attic"])
def test_a_room_that_chose_no_layer_is_caught(tmp_path: Path, room: str):
    package = copy_of_the_package(tmp_path)
    (package / room).mkdir()
    (package / room / "__init__.py").write_text("")
    code, text = lint(tmp_path)
    assert code != 0
    assert room in text
