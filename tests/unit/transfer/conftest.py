"""The two shipped instruments, for tests of conversations."""

from __future__ import annotations

import pytest

from librarian.chart import Chart, load, shipped


@pytest.fixture(scope="session")
def lanternfish() -> Chart:
    return load(shipped()["lanternfish"])


@pytest.fixture(scope="session")
def fogbell() -> Chart:
    return load(shipped()["fogbell"])
