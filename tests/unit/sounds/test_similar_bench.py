"""The bench of likeness in a small setting: exact, and it prints what it promises."""

from __future__ import annotations

import re

from tests.bench import similar


def test_small_and_exact(capsys):
    similar.main(["--patches", "3000", "--queries", "3", "--checked", "3", "--seed", "5"])
    last = capsys.readouterr().out.splitlines()[-1]
    assert re.fullmatch(r"RESULT ratio=\d+\.\d\d ms=\d+\.\d exact=1", last)
