"""What lies on the table: sound A, perhaps a second one B, of which versions, and the sheet made of both."""

from __future__ import annotations

from dataclasses import dataclass

from librarian.chart import Chart
from librarian.collection import PatchRow, VersionRow
from librarian.messages import Comparison, Values, Version
from librarian.sounds import compare
from librarian.window.desk.standing import Standing
from librarian.window.shown.sheet import Sheet
from librarian.window.shown.state import Shown


@dataclass(frozen=True)
class Side:
    """One sound: a patch in one of its versions, or (patch None) what an instrument holds now.

    `versions`: all of the patch, oldest first.
    """

    name: str
    content: Version
    patch: PatchRow | None = None
    version: VersionRow | None = None
    versions: tuple[VersionRow, ...] = ()

    @property
    def values(self) -> Values:
        """Its values."""
        return self.content.values

    @property
    def latest(self) -> bool:
        """True when it is the patch's newest version."""
        return self.version is not None and bool(self.versions) and self.versions[-1].id == self.version.id


@dataclass(frozen=True)
class Choice:
    """A and B with the chart that A is kept by. B of another chart cannot be laid beside A: `odd` says why.

    `laid`: B as A's chart explains it, where it was kept with another revision. `turning`: the panel leads the hand
    back to A.
    """

    a: Side | None = None
    b: Side | None = None
    chart: Chart | None = None
    odd: str = ""
    laid: Version | None = None
    turning: bool = False

    @property
    def comparing(self) -> bool:
        """True when a second sound lies beside the first."""
        return self.a is not None and self.b is not None

    @property
    def beside(self) -> Values | None:
        """The values that lie beside those of A."""
        if self.b is None:
            return None
        return self.b.values if self.laid is None else self.laid.values

    def comparison(self) -> Comparison | None:
        """B against A, set-up left out of the count; None without two sounds of one chart."""
        beside = self.beside
        if self.a is None or beside is None or self.chart is None or self.odd:
            return None
        return compare(self.chart, self.a.values, beside)

    def sheet(self, standing: Standing | None, drawn: Sheet | None = None) -> Sheet | None:
        """The sheet to draw; None when nothing is chosen. `standing`: the instrument that A belongs to, if open.

        `drawn`: the sheet that is there now. It is the answer when it says the same: making one takes a while, and
        much that happens to an instrument does not touch the sound.
        """
        if self.a is None or self.chart is None:
            return None
        comparison = self.comparison()
        shown = Shown(
            a=self.a.values,
            b=self.beside if comparison is not None else None,
            comparison=comparison,
            now=dict(standing.now) if standing is not None and not self.comparing else {},
            changed=standing.changed if standing is not None and not self.comparing else frozenset(),
            turning=self.turning and not self.comparing,
            agreed=standing.agreeing(self.a.values) if standing is not None and self.turning else frozenset(),
        )
        if drawn is not None and drawn.says(self.chart, shown):
            return drawn
        return Sheet(self.chart, shown)
