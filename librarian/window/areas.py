"""All areas of the window put on its grid: chain above, collection left, sound right, history below, drawers.

Knows how much room each gets and where the focus goes; what they show is told to each area by whoever has the facts.
"""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QSize, Qt, QTimer, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QApplication, QStackedWidget, QVBoxLayout, QWidget
from shiboken6 import isValid

from librarian.window.chain.widget import Chain
from librarian.window.collection.area import CollectionArea
from librarian.window.collection.state import PatchSource
from librarian.window.grid import LEAST_HEIGHT, LEAST_WIDTH, Grid, grid_for
from librarian.window.header.widget import PatchHeader
from librarian.window.history.widget import HistoryLine
from librarian.window.pages.first_start import FirstStart
from librarian.window.paint.look import Look
from librarian.window.panel.panel import FrontPanel
from librarian.window.parts.drawerplace import DrawerPlace
from librarian.window.parts.lookful import Lookful
from librarian.window.parts.notice import Band, NoticeState
from librarian.window.parts.progress import ProgressState
from librarian.window.parts.splitter import HANDLE, Joint
from librarian.window.shown.sheet import Sheet
from librarian.window.values.area import ValuesArea

MENU_BAR = 26
AREAS = ("chain", "search", "tags", "list", "header", "panel", "values", "history", "drawer")
SOUND, FIRST_START, CONNECT, LEARN = "sound", "first start", "connect", "learn"
_AFTER_THE_TABLE_MS = 10


class Areas(Lookful):
    """The inside of the main window below its menu bar.

    `chain`, `collection`, `header`, `panel`, `values`, `history`, `band`, `first_start` are the areas themselves.
    Selecting a control selects its row of the table and the other way round; `parameter_selected` tells both.
    """

    parameter_selected = Signal(str)
    drawer_closed = Signal(str)

    def __init__(self, look: Look, source: PatchSource, parent: QWidget | None = None) -> None:
        super().__init__(look, parent)
        self.chain = Chain(look)
        self.collection = CollectionArea(look, source)
        self.header = PatchHeader(look)
        self.panel = FrontPanel(look)
        self.values = ValuesArea(look)
        self.history = HistoryLine(look)
        self.band = Band(look)
        self.first_start = FirstStart(look)
        self.drawers = DrawerPlace(look)
        self.pages = QStackedWidget()
        self.under_header = QVBoxLayout()
        self._drawer_names: dict[str, QWidget] = {}
        self._page_names: dict[str, QWidget] = {}
        self._open_drawer = ""
        self._focus_before: QWidget | None = None
        self._band_dropped: Callable[[], object] | None = None
        self._grid: Grid | None = None
        self._level_width = 0
        self._later = QTimer(self, singleShot=True, interval=0)
        self._later.timeout.connect(self._put_on_grid)
        self._table_paints = QTimer(self, singleShot=True, interval=0)
        self._table_paints.timeout.connect(self._table_may_paint)
        self._panel_paints = QTimer(self, singleShot=True, interval=_AFTER_THE_TABLE_MS)
        self._panel_paints.timeout.connect(lambda: self.panel.setUpdatesEnabled(True))
        self._build()
        self.panel.selected.connect(self._control_selected)
        self.values.selected.connect(self._row_selected)
        self.setMinimumSize(LEAST_WIDTH, LEAST_HEIGHT - MENU_BAR)

    def _build(self) -> None:
        below = QWidget()
        stack = QVBoxLayout(below)
        stack.setContentsMargins(0, 0, 0, 0)
        stack.setSpacing(0)
        stack.addWidget(self.band)
        stack.addWidget(self.values, 1)
        self.upright = Joint(self.look, Qt.Orientation.Vertical)
        self.upright.addWidget(self.panel)
        self.upright.addWidget(below)
        self.upright.setStretchFactor(0, 0)
        self.upright.setStretchFactor(1, 1)
        sound = QWidget()
        column = QVBoxLayout(sound)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.header)
        column.addLayout(self.under_header)
        column.addWidget(self.upright, 1)
        self.add_page(SOUND, sound)
        self.add_page(FIRST_START, self.first_start)
        self.level = Joint(self.look, Qt.Orientation.Horizontal)
        self.level.addWidget(self.collection)
        self.level.addWidget(self.pages)
        self.level.addWidget(self.drawers)
        self.level.setStretchFactor(1, 1)
        self.drawers.hide()
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(0)
        whole.addWidget(self.chain)
        whole.addWidget(self.level, 1)
        whole.addWidget(self.history)

    # -- pages and drawers

    def add_page(self, name: str, page: QWidget) -> None:
        """Something that may stand at the right in place of the sound."""
        self._page_names[name] = page
        self.pages.addWidget(page)

    def show_page(self, name: str) -> None:
        """"sound", "first start", or a page that was added."""
        self.pages.setCurrentWidget(self._page_names[name])

    @property
    def page(self) -> str:
        """The page that is shown."""
        return next(name for name, page in self._page_names.items() if page is self.pages.currentWidget())

    def add_drawer(self, name: str, drawer: QWidget) -> None:
        """Something that opens when wanted: set list, guide, traffic, bring-up, chart text."""
        self._drawer_names[name] = drawer
        self.drawers.addWidget(drawer)

    def open_drawer(self, name: str) -> None:
        """Show a drawer where the grid has its place; the focus goes into it and is remembered."""
        if not self._open_drawer:
            self._focus_before = QApplication.focusWidget()
        before, self._open_drawer = self._open_drawer, name
        self.drawers.setCurrentWidget(self._drawer_names[name])
        self._put_on_grid()
        self._focus_into(self._drawer_names[name])
        if before and before != name:
            self.drawer_closed.emit(before)

    def close_drawer(self) -> None:
        """Away with the drawer; the focus returns to where it was."""
        name, self._open_drawer = self._open_drawer, ""
        if not name:
            return
        self._put_on_grid()
        before, self._focus_before = self._focus_before, None
        # A button of the chain is gone as soon as the chain says something else.
        if before is not None and isValid(before) and before.isVisible() and before.isEnabled():
            before.setFocus(Qt.FocusReason.OtherFocusReason)
        else:
            self.collection.list.take_focus()
        self.drawer_closed.emit(name)

    @property
    def drawer(self) -> str:
        """The drawer that is open, or an empty name."""
        return self._open_drawer

    def show_notice(self, notice: NoticeState | None) -> None:
        """What was done, at the foot of the list and of the drawer that may lie over it."""
        self.collection.show_notice(notice)
        self.drawers.notice.show_state(notice)

    def show_progress(self, state: ProgressState | None) -> None:
        """What takes long, at the same places."""
        self.collection.progress.show_state(state)
        self.drawers.progress.show_state(state)

    def show_band(self, notice: NoticeState | None, dropped: Callable[[], object] | None = None) -> None:
        """A notice where the values are; they come back when it is answered.

        `dropped` is called when another notice takes its place unanswered.
        """
        before, self._band_dropped = self._band_dropped, dropped
        if notice is not None and before is not None:
            before()
        self.band.show_state(notice)
        self.values.setVisible(notice is None)
        if notice is not None:
            self.band.take_focus()

    # -- one sound for panel and table

    def show_sheet(self, sheet: Sheet | None) -> None:
        """The same sheet for panel and table, so that they never disagree."""
        if sheet is not None and sheet is self.panel.sheet:
            return
        other_chart = self.panel.sheet is None or sheet is None or self.panel.sheet.chart is not sheet.chart
        self.panel.show_sheet(sheet)
        if self.isVisible():
            # All painted in one go would hold the loop up: list and header go first, then the table, then the panel,
            # which has begun to move meanwhile.
            self.values.setUpdatesEnabled(False)
            self._table_paints.start()
            self.panel.setUpdatesEnabled(False)
            self._panel_paints.stop()
        self.values.show_sheet(sheet)
        if other_chart:
            self._put_on_grid()

    def _table_may_paint(self) -> None:
        self.values.setUpdatesEnabled(True)
        self._panel_paints.start()

    def select_parameter(self, parameter: str) -> None:
        """Look at a control in both places; tells nobody."""
        self.panel.select(parameter)
        self.values.select(parameter)

    def _control_selected(self, parameter: str) -> None:
        self.values.select(parameter)
        self.parameter_selected.emit(parameter)

    def _row_selected(self, parameter: str) -> None:
        self.panel.select(parameter)
        self.parameter_selected.emit(parameter)

    # -- the grid

    def _put_on_grid(self) -> None:
        rows = []
        if self.panel.sheet is not None:
            rows = [(section.row, section.id, [parameter.id for parameter in section.parameters])
                    for section in self.panel.sheet.chart.sections]
        extra = self.under_header.sizeHint().height()
        above, header = self.chain.minimumHeight() + MENU_BAR, self.header.bare_height + extra
        grid = grid_for(self.width(), self.height() + MENU_BAR, rows=rows, texts=self.panel.texts, above=above,
                        header=header, drawer_open=bool(self._open_drawer))
        self.header.set_air(grid.header_air)
        before, self._grid = self._grid, grid
        if before is None or before.history != grid.history:
            self.history.set_height(grid.history)
        self.collection.set_tag_rows(grid.tag_rows)
        same_place = before is not None and (before.drawer_place, before.drawer) == (grid.drawer_place, grid.drawer)
        if not same_place or self._level_width != self.width():
            self._level_width = self.width()
            self._place_level(grid, changed=not same_place)
        elif grid.drawer_place == "over":
            self._float_drawer(grid.drawer)  # no layout moves it when what is above has become higher
        if not self.upright.moved_by_hand:
            room = self.height() - self.chain.minimumHeight() - header - grid.header_air - self.history.minimumHeight()
            panel = grid.panel_height
            sizes = [panel, max(0, room - panel - HANDLE)]
            if sizes != self.upright.sizes():
                self.upright.setSizes(sizes)

    def _place_level(self, grid: Grid, *, changed: bool) -> None:
        place = grid.drawer_place
        self.collection.setVisible(place != "instead")
        self.drawers.setVisible(bool(place))
        self.drawers.set_foot_shown(place != "column")
        if place == "instead":
            self._order_level(self.drawers, first=True)
            self.level.setSizes([grid.drawer, 0, self.width() - grid.drawer])
            return
        if place == "over":
            self._float_drawer(grid.drawer)
        else:
            self._order_level(self.drawers, first=False)
        if changed or not self.level.moved_by_hand:
            right = grid.drawer if place == "column" else 0
            self.level.setSizes([grid.collection - HANDLE, self.width() - grid.collection - right, right])

    def _order_level(self, drawers: QWidget, *, first: bool) -> None:
        """The drawer as the first or the last pane beside collection and pages."""
        self.level.insertWidget(0 if first else 2, drawers)
        self.level.setStretchFactor(self.level.indexOf(self.pages), 1)
        if self._open_drawer:
            drawers.show()

    def _float_drawer(self, wide: int) -> None:
        """In small windows the drawer lies over the collection."""
        self.drawers.setParent(self)
        self.drawers.setGeometry(0, self.level.y(), wide, self.level.height())
        self.drawers.show()
        self.drawers.raise_()

    def resizeEvent(self, _event: QResizeEvent) -> None:
        self._put_on_grid()

    def event(self, event: QEvent) -> bool:
        if event.type() == QEvent.Type.LayoutRequest:
            # Chain or header have become higher (a third line of a sentence, a second row of buttons).
            self._later.start()
        return super().event(event)

    def sizeHint(self) -> QSize:
        return QSize(1280, 800 - MENU_BAR)

    # -- where the focus goes

    def _takers(self) -> dict[str, Callable[[], None]]:
        takers: dict[str, Callable[[], None]] = {
            "chain": self.chain.take_focus, "search": self.collection.search.take_focus,
            "tags": self.collection.tags.take_focus, "list": self.collection.list.take_focus,
        }
        if self.page == SOUND:
            takers |= {
                "header": self.header.take_focus, "panel": self.panel.take_focus, "values": self.values.take_focus,
            }
        else:
            takers["panel"] = lambda: self._focus_into(self._page_names[self.page])
        takers["history"] = self.history.take_focus
        if self._open_drawer:
            takers["drawer"] = lambda: self._focus_into(self._drawer_names[self._open_drawer])
        if not self.collection.isVisible():
            for name in ("search", "tags", "list"):
                takers.pop(name)
        return takers

    def focus_area(self, name: str) -> None:
        """Go to an area directly; one that cannot take the focus leaves it where it is."""
        taker = self._takers().get(name)
        if taker is not None:
            taker()

    def area_of_focus(self) -> str:
        """The area that has the focus, or an empty name."""
        focused = QApplication.focusWidget()
        places = {
            "chain": self.chain, "search": self.collection.search, "tags": self.collection.tags,
            "list": self.collection.list, "header": self.header, "panel": self.panel, "values": self.values,
            "history": self.history, "drawer": self.drawers,
        }
        if focused is None:
            return ""
        for name, place in places.items():
            if place is focused or place.isAncestorOf(focused):
                return name
        return "panel" if self.pages.isAncestorOf(focused) else ""

    def next_area(self, step: int = 1) -> None:
        """F6: on to the next area that can take the focus, or back."""
        names = list(self._takers())
        now = self.area_of_focus()
        at = names.index(now) if now in names else (-1 if step > 0 else 0)
        for _ in names:
            at = (at + step) % len(names)
            self.focus_area(names[at])
            if self.area_of_focus() == names[at]:
                return

    @staticmethod
    def _focus_into(widget: QWidget) -> None:
        take = getattr(widget, "take_focus", None)
        if callable(take):
            take()
        else:
            widget.setFocus(Qt.FocusReason.OtherFocusReason)
