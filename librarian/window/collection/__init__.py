"""The collection at the left: the search line, the tags, the list of patches. Knows no database."""
