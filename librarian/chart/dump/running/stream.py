"""A dump that travels in several messages, put together: one stream of bytes, and what is in it."""

from __future__ import annotations

from collections.abc import Mapping

from librarian.chart.dump.running.frame import Cell, Content, FrameCodec
from librarian.messages import Address


class Stream:
    """The bytes that are cut. `payload`: all of them as one frame (packed as a whole, or packed piece by piece)."""

    def __init__(self, part_name: str, payload: FrameCodec) -> None:
        self.part_name = part_name
        self.payload = payload
        self.size = payload.size

    def read(self, stream: bytes) -> Content:
        """Images and numbers of a complete stream. Raises `DumpRefused` with the reason."""
        content = Content()
        self.payload.read(stream, None, content)
        return content

    def join(
        self, images: Mapping[Cell, bytes], slots: Mapping[str, int], address: Address, base: bytes | None
    ) -> bytes:
        """The stream of these images; what they do not say, and bits without data, come from the stream `base`."""
        return self.payload.write(Content(dict(slots), dict(images)), address, base)
