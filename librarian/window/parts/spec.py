"""What a row of buttons is to show: plain data, so that states can be written and tested without Qt."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ButtonSpec:
    """One button. `key`: the hint shown beside the words ("Ctrl+R"). `reason`: why it cannot work now; not empty
    means that it stands at its place, dashed, and names the reason in tool tip and description."""

    name: str
    text: str
    primary: bool = False
    key: str = ""
    reason: str = ""
    tip: str = ""

    @property
    def enabled(self) -> bool:
        """True when it can be pressed."""
        return not self.reason
