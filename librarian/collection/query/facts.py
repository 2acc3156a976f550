"""All that a query may ask of one patch, taken out of the library once."""

from __future__ import annotations

from dataclasses import dataclass, field

from librarian.collection.folding import tag_key, words
from librarian.collection.sqlite import BETWEEN
from librarian.messages import Values


@dataclass(frozen=True, slots=True)
class Facts:
    """One patch with its latest version. `taken` in microseconds since 1970 UTC; `detail` is the origin's text."""

    id: int
    name: str
    tags: tuple[str, ...]
    note: str
    instrument: int
    instrument_name: str
    taken: int
    origin: str
    detail: str
    unknown: int
    versions: int
    chart: str
    revision: int
    values: Values
    unknown_ids: frozenset[str]
    _words: dict[str, list[str]] = field(default_factory=dict, repr=False, compare=False)

    def words(self, column: str) -> list[str]:
        """Folded words of 'name', 'tags' or 'note', as the index has them."""
        if column not in self._words:
            self._words[column] = self._folded(column)
        return self._words[column]

    def _folded(self, column: str) -> list[str]:
        if column == "name":
            return words(self.name)
        if column == "note":
            return words(self.note)
        folded: list[str] = []
        for tag in self.tags:
            folded += [BETWEEN, *words(tag)] if folded else words(tag)
        return folded

    @property
    def tag_keys(self) -> list[str]:
        """Folded spellings of the tags."""
        return [tag_key(tag) for tag in self.tags]
