"""The facts that most states of the chain share, and the ends and strands drawn from them."""

from __future__ import annotations

from dataclasses import dataclass

from librarian.window.chain.state import Box, Computer, Others, Outline, Strand
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import counted, rate

CAPTURE = ButtonSpec("capture", "Capture")
CANCEL = ButtonSpec("cancel", "Cancel", key="Esc")
CHOOSE_PORTS = ButtonSpec("choose_ports", "Choose ports…")
LOOK_AGAIN = ButtonSpec("look_again", "Look again")
SHOW_TRAFFIC = ButtonSpec("show_traffic", "Show traffic")
AGAIN_SLOWER = ButtonSpec("again_slower", "Again, slower")
ASK_AGAIN = ButtonSpec("ask_again", "Ask again")
MATCH_PANEL = ButtonSpec("match_panel", "Match panel")
USUAL_PACE = ButtonSpec("usual_pace", "Usual pace")
NO_OUTPUT = "No output port is open, so nothing can be sent."


@dataclass(frozen=True)
class Setting:
    """Who and where. `channel` is 1 to 16 as shown; `device` is None where it is not known or all call.

    `open_ports` counts the ports this program holds open; `output` and `input` are port names as the system gives
    them; `place` of `count` instruments; `others`: the mark of the worst state among the other instruments; rates
    in bytes per second; `slowed`: how often the gaps between messages are doubled.
    """

    instrument: str
    system: str = ""
    open_ports: int = 2
    output: str = ""
    input: str = ""
    firmware: str = ""
    channel: int | None = None
    device: int | None = None
    place: int = 1
    count: int = 1
    others: Others = ""
    out_rate: float = 0.0
    in_rate: float = 0.0
    slowed: int = 0

    @property
    def slower(self) -> str:
        """How much slower than its chart says messages go to it: gaps are doubled `slowed` times."""
        return f"with gaps {2**self.slowed} times as long as its chart asks for"

    @property
    def ports(self) -> str:
        """The pair of ports by one name where both are called alike."""
        if not self.input or self.output == self.input:
            return self.output
        return f"{self.output} and {self.input}" if self.output else self.input

    @property
    def detail(self) -> str:
        """"firmware 2.1 · channel 3 · device 17", of that what is known."""
        parts = []
        if self.firmware:
            parts.append(f"firmware {self.firmware}")
        if self.channel is not None:
            parts.append(f"channel {self.channel}")
        if self.device is not None:
            parts.append(f"device {self.device}")
        if self.slowed:
            parts.append(f"gaps ×{2**self.slowed}")
        return " · ".join(parts)

    @property
    def expected(self) -> str:
        """"expected: firmware 2.1, channel 3", of that what is known."""
        parts = [f"firmware {self.firmware}"] if self.firmware else []
        if self.channel is not None:
            parts.append(f"channel {self.channel}")
        return f"expected: {', '.join(parts)}" if parts else "not heard yet"

    def computer(self, remark: str = "") -> Computer:
        """The left end: the MIDI system, and how many ports are open or another remark."""
        text = remark or (f"{counted(self.open_ports, 'port')} open" if self.open_ports else "no port open")
        return Computer(" · ".join(part for part in (self.system, text) if part))

    def box(self, outline: Outline = "whole", detail: str | None = None) -> Box:
        """The right end."""
        place = f"{self.place} of {self.count}" if self.count > 1 else ""
        shown = self.detail if detail is None else detail
        return Box(self.instrument, shown, outline=outline, place=place, others=self.others)

    @property
    def out(self) -> Strand:
        """The upper strand, whole."""
        return Strand(port=self.output, remark=rate(self.out_rate), moving=self.out_rate > 0)

    @property
    def back(self) -> Strand:
        """The lower strand, whole."""
        return Strand(port=self.input, remark=rate(self.in_rate), moving=self.in_rate > 0)
