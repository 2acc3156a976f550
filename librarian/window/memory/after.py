"""What is said after programs were written into a memory, or a write broke off: what became of them, what comes next.

No Qt.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from librarian.transfer import Restored
from librarian.window.words import quoted

_ASTRAY = ("may have gone", "may have replaced another")
"""Words of the account (`transfer.restore`) where a write may have reached a program that was not meant."""
_REASONS = 4


def kept_words(name: str) -> str:
    """Where what was there before is, and how it gets back; `name`: of its backup, '' where none was made."""
    return f"What was there before is kept as {quoted(name)}; choose it in Memory and write it back." if name else ""


def astray_words(account: str, *, others: bool = False) -> str:
    """What to do where other programs may have changed: `others` did, or the account says that they may have."""
    if not others and not any(words in account for words in _ASTRAY):
        return ""
    return (
        "Programs that were not meant may have changed: back the memory up, see what changed since an earlier backup, "
        "and write those programs back from that."
    )


@dataclass(frozen=True)
class Written:
    """A restore that came to its end. `wanted`: the programs it was to write; `kept_as`: the name of the backup of what
    was there, '' where none was made."""

    result: Restored
    wanted: frozenset[int]
    kept_as: str

    @property
    def good(self) -> bool:
        """True when every program is what it should be, and no other one can have changed."""
        return not (self.result.old or self.result.unknown or self._astray)

    @property
    def count(self) -> str:
        """"2 of 3 read back equal"."""
        return f"{len(self.result.new)} of {len(self.wanted)} read back equal"

    @property
    def doubtful(self) -> list[int]:
        """Programs that are not certain, whether they were meant or not."""
        return sorted(self.result.unknown)

    @property
    def next(self) -> str:
        """Where what was there before is, and what to do about programs that were not meant."""
        return " ".join(part for part in (kept_words(self.kept_as), self._astray) if part)

    @property
    def brief(self) -> str:
        """The same where there is little room: of other programs only that Memory has more to say."""
        more = "Memory tells of other programs." if self._astray else ""
        return " ".join(part for part in (kept_words(self.kept_as), more) if part)

    @property
    def _astray(self) -> str:
        return astray_words(self.result.sentence, others=not self.wanted >= set(self.result.unknown))

    def reasons(self, shown: Iterable[str]) -> str:
        """Why each doubtful program is not certain, with its number as the instrument shows it (`shown`, in order)."""
        said = [f"{name}: {self.result.unknown[number]}." for name, number in zip(shown, self.doubtful, strict=True)]
        more = len(said) - _REASONS
        return " ".join([*said[:_REASONS], *([f"The rows tell why {more} more are not."] if more > 0 else [])])
