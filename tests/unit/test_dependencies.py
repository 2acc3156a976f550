"""What the code imports is what pyproject.toml installs: a fresh machine has nothing else."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
OWN = {"librarian", "migrations", "tests"}


def plain(requirement: str) -> str:
    """The name alone, as packaging compares names."""
    return re.sub(r"[-_.]+", "-", re.split(r"[<>=!~ \[;]", requirement)[0]).lower()


RUNNING = {plain(one) for one in PROJECT["dependencies"]}
TESTING = RUNNING | {plain(one) for one in PROJECT["optional-dependencies"]["tests"]}
# Brought by another package, which asks for exactly one version of it.
SAME_AS = {"shiboken6": "pyside6-essentials", "pydantic-core": "pydantic"}


def imported(folder: Path) -> dict[str, str]:
    """Top-level name of every foreign package -> one of the files that import it."""
    found = {}
    for path in sorted(folder.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            names = []
            if isinstance(node, ast.Import):
                names = [each.name for each in node.names]
            elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
                names = [node.module]
            for name in names:
                found[name.partition(".")[0]] = str(path.relative_to(ROOT))
    return {name: where for name, where in found.items() if name not in OWN | sys.stdlib_module_names}


@pytest.mark.parametrize(("folder", "declared"), [("librarian", RUNNING), ("migrations", RUNNING), ("tests", TESTING)])
def test_every_package_that_is_imported_is_declared(folder: str, declared: set[str]):
    providers = packages_distributions()
    missing = {
        name: where
        for name, where in imported(ROOT / folder).items()
        if not {SAME_AS.get(plain(one), plain(one)) for one in providers.get(name, [name])} & declared
    }
    assert missing == {}
