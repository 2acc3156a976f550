"""Frames between the program and its port process."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.wire.frames import Frame, Kind, read_frame, told

FRAMES = st.builds(
    Frame,
    st.sampled_from(Kind),
    st.integers(0, 2**32 - 1),
    st.integers(0, 2**64 - 1),
    st.floats(allow_nan=False),
    st.binary(max_size=50),
)


@given(st.lists(FRAMES, max_size=5), st.data())
def test_frames_travel_and_a_cut_off_one_is_the_end(frames: list[Frame], draw: st.DataObject) -> None:
    data = b"".join(frame.to_bytes() for frame in frames)
    stream = io.BytesIO(data)
    assert [read_frame(stream) for _ in frames] == frames
    assert read_frame(stream) is None
    if frames:
        cut = draw.draw(st.integers(1, len(frames[-1].to_bytes())))
        stream = io.BytesIO(data[:-cut])
        assert [read_frame(stream) for _ in frames] == [*frames[:-1], None]


def test_content_is_json() -> None:
    assert told(Kind.LOST, {"sentence": "Weg: Brücke."}, 3).content == {"sentence": "Weg: Brücke."}


def test_nonsense_on_the_pipe_is_an_error() -> None:
    with pytest.raises(ValueError, match="a frame of 4294967295 bytes"):
        read_frame(io.BytesIO(b"\xff" * 100))
