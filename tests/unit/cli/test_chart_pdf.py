"""`librarian chart print --form pdf`: a file of its own, never over another one."""

from __future__ import annotations

from pathlib import Path


def test_the_chart_is_written_once_and_an_existing_file_is_kept(run, tmp_path: Path) -> None:
    target = tmp_path / "paper.pdf"
    first = run("chart", "print", "fogbell", "--form", "pdf", "--out", target)
    assert first.code == 0, first.err
    assert str(target) in first.out.replace("\n", "")
    written = target.read_bytes()
    assert written.startswith(b"%PDF-")
    again = run("chart", "print", "fogbell", "--form", "pdf", "--out", target)
    assert again.code == 1
    assert "exists already" in again.err
    assert target.read_bytes() == written
    nowhere = run("chart", "print", "fogbell", "--form", "pdf", "--out", tmp_path / "no" / "where.pdf")
    assert nowhere.code == 1
    assert "cannot be written" in nowhere.err
