"""Learning a dump: its packing, its checksums and where each parameter stands, from dumps before and after a move."""

from librarian.chart.learn.dumps.evidence import Dial
from librarian.chart.learn.dumps.finding import Finding, Found
from librarian.chart.learn.dumps.guess import Guess
from librarian.chart.learn.dumps.learner import DumpLearner, Question, dials_of
from librarian.chart.learn.dumps.moved import Moved, moved_in

__all__ = ["Dial", "DumpLearner", "Finding", "Found", "Guess", "Moved", "Question", "dials_of", "moved_in"]
