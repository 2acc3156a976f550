"""How one simulated instrument behaves beyond what its chart says: slow, small, deaf, refusing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Refusal = Literal["", "nak", "silence"]


@dataclass(frozen=True, slots=True)
class Behaviour:
    """The habits of one unit. The defaults are a quick, well-behaved instrument.

    answer_delay_s: from the end of a request to the start of its answer.
    message_s: time it needs for each message received; bytes that come meanwhile wait in the input buffer.
    store_s: time it is busy after a dump was written into its edit buffer or memory.
    input_buffer: bytes it can hold while it is busy; what comes on top is lost. None: as many as come.
    deaf_until_answered: from a request until its answer has ended it hears nothing beyond the input buffer.
    refuse: writes by SysEx are answered by NAK, or by nothing; 'nak' refuses requests too.
    refuse_writes: only writes by SysEx are answered by NAK.
    refused_write_changes: a refused write still changes the first parameters of the edit buffer.
    memory_protected: writes to the memory are refused, those to the edit buffer are not.
    waits: says WAIT so often, 0.1 s apart, before it acknowledges a write.
    takes_pieces: its memory is one map of addresses: each message of a dump is obeyed as it comes, without the others.
    acknowledge: writes by SysEx are answered by ACK (a chart whose recall is acknowledged sets it by itself).
    identity: answers the universal identity request.
    revision: the four revision bytes of its identity reply; None takes the first that its chart describes.
    thru: returns every byte it receives, before its answer.
    obeys_device: False: it takes SysEx for any device ID as its own.
    active_sensing_s: sends FE this often once it has heard something, 0 never; also inside its own SysEx.
    send_controllers: a pot that is turned sends its controller.
    wire_bytes_per_second: how fast its cable delivers; spaces the bytes of a message in time.
    """

    answer_delay_s: float = 0.002
    message_s: float = 0.0
    store_s: float = 0.0
    input_buffer: int | None = None
    deaf_until_answered: bool = False
    refuse: Refusal = ""
    refuse_writes: bool = False
    refused_write_changes: bool = False
    memory_protected: bool = False
    takes_pieces: bool = False
    acknowledge: bool = False
    waits: int = 0
    identity: bool = True
    revision: bytes | None = None
    thru: bool = False
    obeys_device: bool = True
    active_sensing_s: float = 0.0
    send_controllers: bool = True
    wire_bytes_per_second: float = 3125.0

    def __post_init__(self) -> None:
        if self.revision is not None and len(self.revision) != 4:
            raise ValueError(f"{len(self.revision)} revision bytes; an identity reply has 4")
