"""A chart put to the proof: random values through all its codecs, and real dumps there and back to the byte."""

from librarian.chart.proving.prove import DumpProof, Proof, Trial, prove, whose

__all__ = ["DumpProof", "Proof", "Trial", "prove", "whose"]
