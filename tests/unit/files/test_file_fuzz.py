"""The bench of damaged files at a small size, and that it can fail."""

from __future__ import annotations

from pathlib import Path

import pytest

from librarian.files import intake
from tests.bench import filefuzz


@pytest.mark.slow
def test_damaged_files_are_read_or_refused(tmp_path: Path) -> None:
    found = filefuzz.run(tmp_path, 70, 7)
    assert (found["cases"], found["crashes"], found["hangs"], found["outside_writes"]) == (70, 0, 0, 0)
    assert found["imported"] > 10
    assert found["refused"] > 10


def test_it_notices_crashes_and_strange_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def careless(*_: object, **__: object) -> object:
        Path("strange.txt").write_text("x", encoding="utf-8")
        raise KeyError("a bug of ours")

    monkeypatch.setattr(intake, "preview", careless)
    found = filefuzz.run(tmp_path, 6, 1)
    assert (found["crashes"], found["outside_writes"]) == (6, 1)
