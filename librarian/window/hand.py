"""What the owner of a drawer has in common: made when first wanted, filled on a worker, read again after changes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject

from librarian.window.areas import Areas
from librarian.window.desk.asker import Asker
from librarian.window.desk.desk import Desk
from librarian.window.only_to_read import REASON
from librarian.window.paint.look import Look
from librarian.window.parts.drawer import Drawer


class Hand(QObject):
    """One drawer of the window. Subclasses give `name`, `make` the drawer, `load` it, and do what its buttons say.

    `follows`: read again whenever the library has changed while the drawer is open. `changing`: its buttons that write
    the library; one that can only be read has them disabled.
    """

    name = ""
    follows = True
    changing: frozenset[str] = frozenset()

    def __init__(self, look: Look, areas: Areas, desk: Desk, parent: QObject) -> None:
        super().__init__(parent)
        self.look, self.areas, self.desk = look, areas, desk
        self._drawer: Drawer | None = None
        self._asker: Asker | None = None
        self._then: Callable[[Any], object] | None = None
        desk.edited.connect(self._library_changed)

    # -- for subclasses --------------------------------------------------------------------------------------------

    def make(self) -> Drawer:
        """The drawer, made once."""
        raise NotImplementedError

    def load(self) -> None:
        """Fill the drawer anew."""

    def do(self, button: str) -> None:
        """A button at the foot was pressed."""

    def left(self) -> None:
        """The drawer was closed."""

    # -- for everybody ---------------------------------------------------------------------------------------------

    @property
    def drawer(self) -> Drawer:
        """The drawer."""
        if self._drawer is None:
            self._drawer = self.make()
            if self.desk.library.only_to_read:
                self._drawer.disable(dict.fromkeys(self.changing, REASON))
            self._drawer.closed.connect(self.areas.close_drawer)
            self._drawer.pressed.connect(self.do)
            self.areas.add_drawer(self.name, self._drawer)
            self.areas.drawer_closed.connect(lambda name: self.left() if name == self.name else None)
        return self._drawer

    @property
    def is_open(self) -> bool:
        """True while it is shown."""
        return self.areas.drawer == self.name

    def show(self) -> None:
        """Open the drawer."""
        assert self.drawer is not None
        self.load()
        self.areas.open_drawer(self.name)

    def toggle(self) -> None:
        """Open it, or close it when it is open: what its command does."""
        if self.is_open:
            self.areas.close_drawer()
        else:
            self.show()

    def ask(self, question: Callable[[], Any], then: Callable[[Any], object]) -> None:
        """Ask the library on a thread; of several questions only the newest is answered."""
        if self._asker is None:
            self._asker = Asker(self)
            self._asker.answered.connect(self._answered)
            self._asker.failed.connect(lambda _number, problem: self.desk.trouble(problem))
        self._then = then
        self._asker.ask(question)

    def close(self) -> None:
        """End its thread."""
        if self._asker is not None:
            self._asker.close()

    def _answered(self, _number: int, result: object) -> None:
        if self._then is not None:
            self._then(result)

    def _library_changed(self) -> None:
        if self.follows and self.is_open:
            self.load()
