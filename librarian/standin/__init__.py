"""Simulated instruments, driven by a chart alone, for trying the program out and for testing it."""

from librarian.standin.behaviour import Behaviour
from librarian.standin.instrument import Instrument

__all__ = ["Behaviour", "Instrument"]
