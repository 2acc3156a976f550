"""Where everything of the chain stands at a given width: one place for painting, sentence and buttons."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF

from librarian.window.chain.state import ChainState

USUAL_WIDTH, HEIGHT = 1280, 100
EDGE = 16
SENTENCE_WIDTH = 718
"""With a fault the sentence keeps this width beside the buttons, so that its two lines read as one block."""


@dataclass(frozen=True)
class Geometry:
    """All in logical px, y from the top of the chain. `k`: how much larger than usual the text is."""

    width: float
    k: float

    @property
    def height(self) -> float:
        """Of the whole chain with a sentence of two lines."""
        return HEIGHT * self.k

    @property
    def _wider(self) -> float:
        return self.width - USUAL_WIDTH

    @property
    def plug_x(self) -> float:
        """Middle of the two plugs at the computer's side."""
        return max(208.0, min(300.0, 240 + self._wider * 0.094)) * max(1.0, self.k * 0.92)

    @property
    def box(self) -> QRectF:
        """The instrument's box."""
        wide = max(240.0, 276 + self._wider * 0.1) * max(1.0, self.k * 0.92)
        return QRectF(self.width - 14 - wide, 8 * self.k, wide, 46 * self.k)

    @property
    def out_y(self) -> float:
        """The upper strand."""
        return 20 * self.k

    @property
    def back_y(self) -> float:
        """The lower strand."""
        return 42 * self.k

    @property
    def out_text_y(self) -> float:
        """Middle of the text above the upper strand."""
        return 10 * self.k

    @property
    def back_text_y(self) -> float:
        """Middle of the text below the lower strand."""
        return 53 * self.k

    @property
    def plate_centre(self) -> QPointF:
        """Middle of the plate."""
        left = max(self.plug_x, min(self.plug_x + 60, 300.0))
        return QPointF((left + self.box.left()) / 2, (self.out_y + self.back_y) / 2)

    @property
    def gap_x(self) -> float:
        """Where a strand is broken before the box."""
        return self.box.left() - 150

    @property
    def near_gap_x(self) -> float:
        """Where a strand is broken at the computer."""
        return self.plug_x + 45

    @property
    def loop_x(self) -> float:
        """Where an echo turns back."""
        return self.box.left() - 105

    def leader_x(self, state: ChainState) -> float | None:
        """From where the leader runs down to the sentence, or None."""
        return {
            "none": None, "gap": self.gap_x, "computer": self.near_gap_x, "loop": self.loop_x,
            "box": self.box.left() - 4,
        }[state.leader]

    def sentence_left(self, state: ChainState, buttons_left: float) -> float:
        """Left edge of the sentence's text (its bar stands 10 px before it)."""
        leader = self.leader_x(state)
        if leader is None:
            return EDGE
        return max(EDGE, min(leader - 14, buttons_left - SENTENCE_WIDTH)) + 10
