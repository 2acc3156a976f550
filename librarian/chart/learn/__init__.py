"""Charts that write themselves: from controls moved on the panel, and from dumps before and after a move."""

from librarian.chart.learn.nature import Nature
from librarian.chart.learn.panel import Control, Naming, PanelLearner

BLANK = """
id = "learning"
name = "Learning"
section = [{ id = "panel", label = "Panel" }]
parameter = [{ id = "panel.any", label = "Any", section = "panel", range = [0, 127], by_hand = true }]
"""
"""A chart that says nothing, for opening the cable of an instrument that has none yet."""

__all__ = ["BLANK", "Control", "Naming", "Nature", "PanelLearner"]
