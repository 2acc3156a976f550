"""Pages that stand in the place of the panel: the first start."""
