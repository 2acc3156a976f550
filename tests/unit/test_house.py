"""The shape of the repository: what may stand at its top level, and what no file of it may do."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOP = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "librarian", "migrations", "tests", "assets"}
LONGEST = 450  # lines; longer means more than one reason to change


def own_files() -> list[Path]:
    """Every file of the project (caches, the environment and Git's own left out)."""
    found = [ROOT / name for name in TOP if (ROOT / name).is_file()]
    found += [ROOT / ".gitignore", ROOT / ".ci" / "run"]
    for folder in (ROOT / name for name in TOP if (ROOT / name).is_dir()):
        found += [
            path
            for path in folder.rglob("*")
            if path.is_file()
            and not any(part.startswith(".") or part == "__pycache__" for part in path.relative_to(ROOT).parts)
        ]
    return found


def own_texts() -> list[tuple[Path, str]]:
    texts = []
    for path in own_files():
        raw = path.read_bytes()
        if b"\0" not in raw[:4096]:
            texts.append((path.relative_to(ROOT), raw.decode(errors="replace")))
    return texts


def inside(place: Path) -> Path:
    """`wire/cable.py` in a text means the one of the package."""
    return ROOT / "librarian" / place.relative_to(ROOT)


def test_the_top_level_holds_exactly_what_it_may():
    assert {path.name for path in ROOT.iterdir() if not path.name.startswith(".")} == TOP


def test_nothing_leans_on_a_folder_outside_of_the_repository():
    outside = re.compile(r"\.\./" + "shared" + r"|(?<![\w/.-])/?" + "shared" + r"/|/work" + "/")
    assert [(str(path), found[0]) for path, text in own_texts() if (found := outside.search(text))] == []


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_what_a_page_points_at_is_there(page: str):
    text = (ROOT / page).read_text()
    links = re.findall(r"\]\(([^)#:]+)\)", text)
    named = re.findall(
        r"`((?:librarian|tests|assets|migrations|wire|chart|collection|transfer|files|sounds|standin|window|cli)/[\w./-]+)`",
        text,
    )
    places = [ROOT / link for link in links] + [ROOT / name for name in named]
    assert [str(place) for place in places if not place.exists() and not inside(place).exists()] == []


def test_every_bench_is_in_the_guide_and_the_other_way_round():
    table = (ROOT / "DEVELOPERS.md").read_text().partition("| bench |")[2].partition("\n\n")[0]
    benches = [
        path.stem for path in (ROOT / "tests" / "bench").glob("*.py") if '__name__ == "__main__"' in path.read_text()
    ]
    assert sorted(re.findall(r"^\| `(\w+)`", table, re.MULTILINE)) == sorted(benches)


def test_nothing_is_left_to_be_done_later():
    later = re.compile(r"\b(?:TO" + "DO|FIX" + r"ME)\b")
    assert [str(path) for path, text in own_texts() if later.search(text)] == []


def test_no_module_has_grown_beyond_one_reason_to_change():
    long = {
        str(path): lines
        for path, text in own_texts()
        if path.suffix in {".py", ".sh"} and (lines := text.count("\n")) > LONGEST
    }
    assert long == {}


def test_test_files_have_unique_names():
    """With pytest's import mode `importlib` two of one name are easily taken for each other in reports."""
    names = [path.name for path in (ROOT / "tests").rglob("test_*.py")]
    assert sorted(names) == sorted(set(names))


@pytest.mark.parametrize("script", ["assets/setup.sh", "assets/try.sh", "tests/run.sh", ".ci/run"])
def test_a_script_can_be_read_by_bash(script: str):
    subprocess.run(["bash", "-n", str(ROOT / script)], check=True, timeout=20)
