"""What is shown of one sound, or of two: computed once, so that panel, table and header tell the same numbers."""
