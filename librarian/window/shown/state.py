"""The facts that panel, table and header are drawn from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from librarian.messages import Comparison


@dataclass(frozen=True)
class Shown:
    """One sound A, perhaps a second one B, and what is known of the panel.

    `a`: parameter id -> raw value; an id that is absent is unknown. None: no sound is chosen, every control is drawn
    as unknown. `b`: the same for the second sound, with the `comparison` made of the two. `now`: positions heard
    from the instrument's panel; `changed`: ids changed since capture or recall. `reasons`: why an id is unknown.
    `turning`: the guide is open; then `agreed` and every id not in `now` are drawn as the guide needs it.
    """

    a: Mapping[str, int] | None = None
    b: Mapping[str, int] | None = None
    comparison: Comparison | None = None
    now: Mapping[str, int] = field(default_factory=dict)
    changed: frozenset[str] = frozenset()
    locked: frozenset[str] = frozenset()
    reasons: Mapping[str, str] = field(default_factory=dict)
    turning: bool = False
    agreed: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        if (self.b is None) != (self.comparison is None):
            raise ValueError("a second sound and its comparison come together or not at all")

    @property
    def comparing(self) -> bool:
        """True when a second sound is shown."""
        return self.b is not None
