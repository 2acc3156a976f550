"""What the chain has to say now, with or without an instrument."""

from __future__ import annotations

from librarian.window.chain.state import ChainState
from librarian.window.chain.troubles import no_instrument, no_system, nothing_connected
from librarian.window.desk.instruments import Instruments
from librarian.wire.ports import API_NAMES
from librarian.wire.process import SystemState


def chain_now(instruments: Instruments, system: SystemState | None, ports: int) -> ChainState:
    """`system`, `ports`: the MIDI systems of this computer and how many ports were found; None: not known yet."""
    if instruments.standing is not None:
        return instruments.chain()
    if system is not None and system.alive and not system.apis:
        return no_system()
    if system is not None and ports:
        return no_instrument(" and ".join(API_NAMES[api] for api in system.apis), ports)
    return nothing_connected()
