"""What opens when wanted beside the sound: the traffic, and the panel as a guide back to the stored sound."""

from __future__ import annotations

from datetime import datetime, timedelta

from PySide6.QtCore import QObject

from librarian.messages import Address
from librarian.transfer.connections import Connections
from librarian.window.areas import Areas
from librarian.window.desk.desk import Desk
from librarian.window.desk.told import Told
from librarian.window.paint.look import Look
from librarian.window.traffic.drawer import TrafficDrawer
from librarian.window.traffic.meaning import Reader

TRAFFIC = "traffic"


class Drawers(QObject):
    """Owns the drawers of one window and opens them."""

    def __init__(self, look: Look, areas: Areas, desk: Desk, connections: Connections, parent: QObject) -> None:
        super().__init__(parent)
        self._areas, self._desk, self._connections = areas, desk, connections
        self.traffic = TrafficDrawer(look, connections.traffic)
        areas.add_drawer(TRAFFIC, self.traffic)
        areas.drawer_closed.connect(lambda _name: self.traffic.stop())
        self.traffic.closed.connect(areas.close_drawer)
        self.traffic.told.connect(lambda sentence: desk.told.emit(Told(sentence)))

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
