"""A small run of the fault bench: whatever goes wrong, a conversation proves its claim or tells the cause."""

from __future__ import annotations

import pytest

from tests.conversations import TROUBLES, charts, converse
from tests.unseen import unseen

_EACH = 5


@pytest.fixture(scope="module")
def instruments() -> list[object]:
    return list(charts())


@pytest.mark.parametrize("name", sorted(TROUBLES))
def test_every_trouble_is_proved_or_told(name: str, instruments: list[object]) -> None:
    names = sorted(TROUBLES)
    first = names.index(name)
    for turn in range(_EACH):
        judgement = converse(instruments, names, 20, first + turn * len(names))  # type: ignore[arg-type]
        assert judgement.trouble == name
        assert judgement.end in {"proved", "told"}, judgement


def test_the_same_seed_is_the_same_run(instruments: list[object]) -> None:
    names = sorted(TROUBLES)
    for number in range(0, 96, 5):
        assert converse(instruments, names, 3, number) == converse(instruments, names, 3, number)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("seed", "number"),
    [
        (2, 1794),  # a turned control stood in seven answers, and the last one alone was cut short
        (22, 5881),  # of three writes one came damaged, one replaced another program, and one was lost
        (7, 1299),  # a turned control stood in one answer, and cut others short
        (83, 7069),  # a write damaged twice, in its name and in its number, replaced another program
    ],
)
def test_what_once_went_wrong(seed: int, number: int, instruments: list[object]) -> None:
    judgement = converse(instruments, sorted(TROUBLES), seed, number)  # type: ignore[arg-type]
    assert judgement.end in {"proved", "told"}, judgement


def test_an_old_answer_that_comes_late_is_no_move_of_the_panel() -> None:
    """Three questions went unanswered for a while; the answer to one of them came while the sound was sent."""
    instruments = [unseen(number) for number in range(53000, 53013)]
    judgement = converse(instruments, sorted(TROUBLES), 53, 5410)
    assert judgement.end == "proved", judgement
