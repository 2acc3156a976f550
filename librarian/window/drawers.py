"""What opens when wanted beside the sound: one owner for all drawers, and the commands that open them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from PySide6.QtCore import QObject

from librarian.messages import Address
from librarian.transfer.connections import Connections
from librarian.transfer.meaning import Reader
from librarian.window.areas import Areas
from librarian.window.bringup.proving import Before, BringUp
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told
from librarian.window.everything import Everything
from librarian.window.exchange.exporting import Exporting
from librarian.window.exchange.importing import Importing
from librarian.window.exchange.unread import Unread
from librarian.window.hand import Hand
from librarian.window.memory.bank import Memory
from librarian.window.paint.look import Look
from librarian.window.safety.backups import Backups
from librarian.window.safety.check import Check
from librarian.window.shelves.diary import Diary
from librarian.window.shelves.duplicates import Duplicates
from librarian.window.shelves.likeness import Like
from librarian.window.shelves.searches import Searches
from librarian.window.shelves.tags import Tags
from librarian.window.shelves.trash import Trash
from librarian.window.traffic.drawer import TrafficDrawer

TRAFFIC = "traffic"


class Drawers(QObject):
    """Owns the drawers of one window and opens them. `chosen` gives the patches that are chosen in the list."""

    def __init__(
        self, look: Look, areas: Areas, desk: Desk, connections: Connections, chosen: Callable[[], list[int]],
        caution: Before, parent: QObject,
    ) -> None:
        super().__init__(parent)
        self._areas, self._desk, self._connections, self._chosen = areas, desk, connections, chosen
        self.traffic = TrafficDrawer(look, connections.traffic)
        areas.add_drawer(TRAFFIC, self.traffic)
        areas.drawer_closed.connect(lambda _name: self.traffic.stop())
        self.traffic.closed.connect(areas.close_drawer)
        self.traffic.told.connect(lambda sentence: desk.told.emit(Told(sentence)))
        self.everything = Everything(look, areas, desk, self)
        self.importing = Importing(look, areas, desk, self)
        self.exporting = Exporting(look, areas, desk, self)
        self.unread = Unread(look, areas, desk, self)
        self.searches = Searches(look, areas, desk, self)
        self.tags = Tags(look, areas, desk, self)
        self.duplicates = Duplicates(look, areas, desk, self)
        self.like = Like(look, areas, desk, self)
        self.trash = Trash(look, areas, desk, self)
        self.diary = Diary(look, areas, desk, self)
        self.backups = Backups(look, areas, desk, self)
        self.check = Check(look, areas, desk, self)
        self.memory = Memory(look, areas, desk, self)
        self.bring_up = BringUp(look, areas, desk, caution, self)
        self.check.pressed_backups = self.backups.show  # type: ignore[method-assign]

    @property
    def hands(self) -> tuple[Hand, ...]:
        """Every one that is opened by `toggle`."""
        return tuple(one for one in vars(self).values() if isinstance(one, Hand))

    def doers(self) -> dict[str, Callable[[], object]]:
        """What the commands of the drawers do."""
        return {
            "all_commands": self.everything.toggle,
            "show_traffic": self.show_traffic,
            "import": self.importing.choose_files,
            "export": lambda: self.exporting.show_for(self._chosen()),
            "unread": self.unread.toggle,
            "save_search": self.searches.show_to_save,
            "searches": self.searches.toggle,
            "tags": self.tags.toggle,
            "duplicates": self.duplicates.toggle,
            "like": self.like.toggle,
            "trash": self.trash.toggle,
            "diary": self.diary.toggle,
            "backups": self.backups.toggle,
            "back_up": self.backups.make_one,
            "check": self.check.toggle,
            "memory": self.memory.toggle,
            "memory_replace": lambda: self.memory.answer(replaced=True),
            "memory_keep": lambda: self.memory.answer(replaced=False),
            "bring_up": self.bring_up.toggle,
        }

    def close(self) -> None:
        """End their threads."""
        for hand in self.hands:
            hand.close()

    def show_traffic(self) -> None:
        """Open the traffic, read through the chart of the instrument that the chain shows; or close it."""
        if self._areas.drawer == TRAFFIC:
            self._areas.close_drawer()
            return
        standing = self._desk.instruments.standing
        chart = standing.chart if standing is not None else None
        address = standing.row.address if standing is not None else Address()
        # The log counts seconds of the cable's clock; a person reads the time of day.
        started = datetime.now().astimezone() - timedelta(seconds=self._connections.clock.now())

        def time_of_day(at: float) -> str:
            return (started + timedelta(seconds=at)).strftime("%H:%M:%S.%f")[:-3]

        self.traffic.show_through(lambda: Reader(chart, address), time_of_day)
        self._areas.open_drawer(TRAFFIC)
