"""The benches of this room with small settings: they run, and what they measure is right."""

from __future__ import annotations

import random

from tests.bench import codec, vectors


def test_all_vectors_pass() -> None:
    assert vectors.failures() == ([], 47)


def test_a_wrong_expectation_would_show() -> None:
    name, data, expectation = vectors.rows()[0]
    assert name == "V01"
    assert vectors.judge(data, expectation) == expectation
    assert vectors.judge(data[:-1] + b"\x42", expectation) != expectation


def test_the_codec_says_the_same_as_plain_functions() -> None:
    """Ratios are not judged here, the machine may be busy; `python -m tests.bench.codec` measures them."""
    *_ratios, same = codec.edit_buffers(20, random.Random(3), 1)
    assert same
    *_ratios, same = codec.banks(128, random.Random(3), 1)
    assert same
