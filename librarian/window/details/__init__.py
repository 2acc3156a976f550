"""Tags and note of one patch, edited in place."""
