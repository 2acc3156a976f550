"""Charts that write themselves: from controls moved on the panel, and from dumps before and after a move."""

from librarian.chart.learn.nature import Nature
from librarian.chart.learn.panel import Control, Naming, PanelLearner

__all__ = ["Control", "Naming", "Nature", "PanelLearner"]
