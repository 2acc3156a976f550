"""The patch header: what is looked at, how complete it is, what can be done with it, and the legend of marks."""
