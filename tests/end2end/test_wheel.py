"""The wheel is whole: installed elsewhere, no source tree in reach, it opens a library and its charts."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
USE = """
import sys
from pathlib import Path

import librarian
from librarian import chart
from librarian.collection import Library

assert Path(librarian.__file__).is_relative_to(sys.prefix), librarian.__file__
with Library.open(Path(sys.argv[1])) as library:
    for name, path in sorted(chart.shipped().items()):
        one = chart.load(path)
        print(name, one.id, len(one.parameters))
    print("patches", library.total())
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(place)],
        cwd=ROOT,
        check=True,
        capture_output=True,
        timeout=120,
    )
    (built,) = place.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The programs folder of a fresh environment that holds the wheel; other packages are borrowed from this one."""
    place = tmp_path_factory.mktemp("elsewhere") / "an environment"
    venv.create(place, with_pip=False)
    packages = Path(sysconfig.get_path("purelib", vars={"base": str(place), "platbase": str(place)}))
    packages.joinpath("borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n")
    pip = [sys.executable, "-m", "pip", "--python", str(place), "--disable-pip-version-check"]
    subprocess.run([*pip, "install", "--quiet", "--no-deps", "--no-index", str(wheel)], check=True, timeout=120)
    return place / "bin"


def outside(command: list[str], cwd: Path) -> str:
    """Run from a foreign folder, without anything that points at the source tree; its text."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    ended = subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert ended.returncode == 0, ended.stdout + ended.stderr
    return ended.stdout


def test_the_wheel_carries_migrations_and_charts_and_no_tests(wheel: Path):
    names = zipfile.ZipFile(wheel).namelist()
    assert "librarian/migrations/env.py" in names
    assert "librarian/assets/charts/lanternfish.toml" in names
    assert {name.split("/")[0] for name in names} == {"librarian", wheel.name.rpartition("-py3")[0] + ".dist-info"}


def test_every_file_of_the_package_is_in_the_wheel(wheel: Path):
    inside = set(zipfile.ZipFile(wheel).namelist())
    wanted = {
        path.relative_to(ROOT).as_posix()
        for path in (ROOT / "librarian").rglob("*")
        if path.is_file()
        and not any(part.startswith(".") or part == "__pycache__" for part in path.relative_to(ROOT).parts)
    }
    assert wanted - inside == set()


def test_an_installed_wheel_opens_a_library_and_its_charts(installed: Path, tmp_path: Path, library_path: Path):
    text = outside([str(installed / "python"), "-c", USE, str(library_path)], tmp_path)
    assert text.splitlines() == ["fogbell fogbell 22", "lanternfish lanternfish 52", "patches 0"]


def test_the_command_and_the_module_are_the_same_program(installed: Path, tmp_path: Path):
    command = outside([str(installed / "librarian"), "--help"], tmp_path)
    module = outside([str(installed / "python"), "-m", "librarian", "--help"], tmp_path)
    assert "capture" in command
    assert command.replace("librarian ", "") == module.replace("python -m librarian ", "").replace("librarian ", "")
