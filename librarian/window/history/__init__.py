"""The history along the bottom edge: the versions of a patch on a line of time."""
