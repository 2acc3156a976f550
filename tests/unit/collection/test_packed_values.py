"""Values that come packed are kept, compared and read back as the same values that come one by one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.collection import Layout, Library, PackedValues, pack_many, usual_layout
from librarian.errors import BadInput
from librarian.messages import Values

WIDTHS = st.sampled_from((1, 2, 4, 8))
NUMBERS = st.integers(-(2**61), 2**61) | st.integers(-130, 130) | st.integers(-33000, 33000)
IDS = ("a", "b", "c", "d")


def packed_by(layout: Layout, values: Mapping[str, int]) -> PackedValues:
    row = layout.pack(values)
    assert row is not None
    return PackedValues(layout, row)


@given(st.lists(WIDTHS, min_size=4, max_size=4), st.lists(st.dictionaries(st.sampled_from(IDS), NUMBERS), max_size=5))
def test_many_rows_are_the_rows_of_each(widths: list[int], sounds: list[dict[str, int]]) -> None:
    layout = Layout("any", 1, IDS, tuple(widths))
    order = ("c", "stranger", "a", "d", "b")
    values = np.array([[sound.get(name, 5) for name in order] for sound in sounds], np.int64).reshape(-1, 5)
    known = np.array([[name in sound or name == "stranger" for name in order] for sound in sounds], bool).reshape(-1, 5)
    for sound, row in zip(sounds, pack_many(layout, order, values, known), strict=True):
        wide = any(width == 8 and name in sound for name, width in zip(IDS, widths, strict=True))
        assert row == (None if wide else layout.pack(sound))  # eight bytes do not fit: those are packed one by one


@given(st.lists(WIDTHS, min_size=4, max_size=4), st.dictionaries(st.sampled_from(IDS), st.integers(-127, 127)))
def test_packed_values_are_values(widths: list[int], sound: dict[str, int]) -> None:
    packed, plain = packed_by(Layout("any", 1, IDS, tuple(widths)), sound), Values(sound)
    assert {name for name in IDS if name in packed} == set(sound)  # before anything is unpacked
    assert "stranger" not in packed
    assert packed == plain
    assert plain == packed
    assert hash(packed) == hash(plain)
    assert dict(packed.items()) == sound
    assert packed.with_values({"a": 3}) == plain.with_values({"a": 3})


@given(st.lists(WIDTHS, min_size=4, max_size=4), st.lists(st.dictionaries(st.sampled_from(IDS), st.integers(-9, 9))))
def test_unknown_ones_of_many_rows(widths: list[int], sounds: list[dict[str, int]]) -> None:
    layout = Layout("any", 1, IDS, tuple(widths))
    rows = [layout.pack(sound) or b"" for sound in sounds]
    assert layout.count_unknowns(rows) == [layout.count_unknown(row) for row in rows]


def test_packed_ones_are_kept_as_the_same_content(library: Library, lantern: int, lanternfish, sound) -> None:
    plain = sound()
    usual = usual_layout(lanternfish)
    other = Layout(usual.chart, usual.revision, usual.parameters[::-1], usual.widths[::-1])
    for layout in (usual, other):
        packed = replace(plain, values=packed_by(layout, plain.values))
        patch = library.keep(lantern, "Packed", packed)
        assert library.version(library.patch(patch).latest).values == plain.values
    first = library.keep(lantern, "Plain", plain)
    assert len(library.holders([plain])[0]) == 3
    assert library.patch(first).unknown == library.patch(patch).unknown
    assert library.check() == ()


def test_a_range_that_is_too_wide_is_refused() -> None:
    chart = SimpleNamespace(
        id="x", revision=1, name="X", text="", parameters={"wide": SimpleNamespace(low=-(2**64), high=0)}
    )
    with pytest.raises(BadInput, match="too large"):
        usual_layout(chart)


def test_names_are_found_exactly(library: Library, lantern: int, sound) -> None:
    """Names that sort alike are different names."""
    ids = {name: library.keep(lantern, name, sound()) for name in ("Über 9", "uber 9", "Uber  9", "…", "?!", "Uber 09")}
    assert library.called(lantern, [*ids, "UBER 9", "nobody"]) == {name: (patch,) for name, patch in ids.items()}
    library.rename(ids["?!"], "Uber 9")
    assert library.called(lantern, ["Uber 9", "?!"]) == {"Uber 9": (ids["?!"],)}
