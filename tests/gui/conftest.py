"""A look for the widgets: light, the usual text size, nothing moving, so that pictures and geometry are the same."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from PySide6.QtWidgets import QApplication

from librarian.window.paint.look import Look


@pytest.fixture
def look(qapp: QApplication) -> Iterator[Look]:
    """Light, base 13 px, reduced motion; the application wears it."""
    made = Look("light", 13)
    made.reduced_motion = True
    made.dress(qapp)
    yield made
    made.changed.disconnect()
