"""`librarian chart print --form pdf`: a file of its own, never over another one."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "librarian", *words], capture_output=True, text=True, timeout=60, check=False
    )


def test_the_chart_is_written_once_and_an_existing_file_is_kept(tmp_path: Path) -> None:
    target = tmp_path / "paper.pdf"
    first = run("chart", "print", "fogbell", "--form", "pdf", "--out", str(target))
    assert first.returncode == 0, first.stderr
    assert str(target) in first.stdout.replace("\n", "")
    written = target.read_bytes()
    assert written.startswith(b"%PDF-")
    again = run("chart", "print", "fogbell", "--form", "pdf", "--out", str(target))
    assert again.returncode == 1
    assert "exists already" in again.stderr
    assert target.read_bytes() == written
    nowhere = run("chart", "print", "fogbell", "--form", "pdf", "--out", str(tmp_path / "no" / "where.pdf"))
    assert nowhere.returncode == 1
    assert "cannot be written" in nowhere.stderr
