"""Learning from the panel: with no chart at all, one control after another is moved and named."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from librarian.chart.chart import Chart
from librarian.chart.learn.events import EventReader
from librarian.chart.learn.nature import Nature, nature_of
from librarian.chart.learn.singles import LONGEST, Family, Single, families
from librarian.chart.learn.tracks import Track, Tracker
from librarian.chart.learn.writing import ChartWriter
from librarian.chart.load import loads
from librarian.errors import BadInput, LibrarianError, Refused
from librarian.wire.universal import IdentityReply, parse_identity

MOST_MESSAGES = 200_000
ControlKind = Literal["continuous", "stepped", "bipolar", "switch"]


@dataclass(frozen=True, slots=True)
class Control:
    """A control that was moved. `key` stays the same while it is moved again. `texts`: how it travels, in words.

    `label`, `section`: "" until it is named. `last`: the value that came last, as on the wire.
    """

    key: int
    texts: tuple[str, ...]
    nature: Nature
    messages: int
    last: int
    label: str
    section: str = ""


@dataclass(frozen=True, slots=True)
class Naming:
    """What a person says about a control. `positions`: names of its steps, lowest first, or none."""

    label: str
    section: str = "Panel"
    kind: ControlKind | None = None
    positions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Found:
    key: int
    nature: Nature
    tracks: tuple[Track, ...] = ()
    family: Family | None = None
    number: int = 0
    messages: int = 0
    newest: int = 0
    last: int = 0

    @property
    def texts(self) -> tuple[str, ...]:
        if self.family is None:
            return tuple(track.text for track in self.tracks)
        first, size = self.family.value
        bytes_ = f"byte {first + 1}" if size == 1 else f"bytes {first + 1} to {first + size}"
        return (f"SysEx, value in {bytes_}",)


class PanelLearner:
    """Fed with whole messages and their times (seconds); knows which controls moved and writes the chart.

    `known`: a chart that exists already: what it can explain is not learnt again. Nothing here waits or asks: the
    caller shows `controls()` and gives the names that the person says.
    """

    def __init__(self, known: Chart | None = None) -> None:
        self._known = known
        self._listener = known.codec.listener(known.default_address) if known is not None else None
        self._reader = EventReader()
        self._tracker = Tracker()
        self._singles: list[Single] = []
        self._count = 0
        self._names: dict[int, Naming] = {}
        self._judged: dict[int, _Found] = {}
        self._found: tuple[int, list[_Found]] | None = None
        self.identity: IdentityReply | None = None
        self.long: int = 0

    def feed(self, raw: bytes, at: float) -> None:
        """One whole message that came from the instrument. Raises Refused when far too many came."""
        if self._count >= MOST_MESSAGES:
            raise Refused("Too many messages came for one session of learning.", "Write the chart and go on with it.")
        if raw[:1] >= b"\xf8":
            return
        index = self._count
        self._count += 1
        if raw[:1] == b"\xf0":
            self._sysex(raw, index, at)
        elif raw and raw[0] < 0xF0 and not self._explained(raw, at):
            event = self._reader.read(raw, index, at)
            if event is not None:
                self._tracker.add(event)

    @property
    def unused(self) -> Mapping[str, int]:
        """What came and is no control: notes, pitch bend, bank select …, with the number of messages."""
        return dict(self._reader.unused)

    def controls(self) -> tuple[Control, ...]:
        """Every control that moved, in the order in which they were first moved."""
        return tuple(self._control(found) for found in self._all())

    def current(self) -> Control | None:
        """The control that moved last."""
        found = max(self._all(), key=lambda one: one.newest, default=None)
        return self._control(found) if found is not None else None

    def name(self, key: int, naming: Naming) -> None:
        """Say what a control is. Raises BadInput for an unknown key or names that do not fit its steps."""
        found = self._of(key)
        steps = len(found.nature.steps)
        if not naming.label.strip():
            raise BadInput("A control needs a name.", "Say what is printed on the panel beside it.")
        if naming.positions and len(naming.positions) != steps:
            raise BadInput(
                f"{len(naming.positions)} names were given; {naming.label} has {steps or 'no'} positions.",
                "Give one name for each position, lowest first.",
            )
        self._names[found.key] = naming

    def leave_out(self, key: int) -> None:
        """Forget a control: it moved by mistake. Moved again it is a new one."""
        found = self._of(key)
        self._tracker.forget([source for track in found.tracks for source in track.sources])
        if found.family is not None:
            gone = {index for one in found.family.controls if one.number == found.number for index in one.indexes}
            self._singles = [one for one in self._singles if one.index not in gone]
        self._names.pop(found.key, None)
        self._found = None

    def chart_text(self, *, id: str, name: str, existing: str = "") -> str:  # noqa: A002 - the chart's own word
        """A chart with every control that has a name, or `existing` with them added, comments and form kept.

        Raises BadInput when no control has a name, and ChartFaults of an existing text that is no chart.
        """
        named = [found for found in self._all() if found.key in self._names]
        if not named:
            raise BadInput("No control has a name yet.", "Move a control, and say what it is.")
        writer = ChartWriter(existing, id=id, name=name)
        writer.channel(_channel(named))
        if self.identity is not None:
            writer.identity(self.identity)
        ids: dict[int, str] = {}
        for found in named:
            naming = self._names[found.key]
            section = writer.section(naming.section)
            ids[found.key] = writer.parameter(section, naming.label, _described(found, naming))
        device = self.identity.device if self.identity is not None else None
        for family in families(self._singles):
            numbers = {
                ids[found.key]: found.number
                for found in named
                if found.family is not None and found.family.template == family.template
            }
            if numbers:
                writer.single(family, numbers, device)
        text = writer.text()
        loads(text, f"{name} (learnt)")
        return text

    def _sysex(self, raw: bytes, index: int, at: float) -> None:
        if raw[1:2] in (b"\x7e", b"\x7f"):
            try:
                self.identity = parse_identity(raw)
            except LibrarianError:
                self._reader.unused["universal messages"] = self._reader.unused.get("universal messages", 0) + 1
            return
        if len(raw) > LONGEST or len(raw) < 5 or raw[-1] != 0xF7:
            self.long += 1
        elif not self._explained(raw, at):
            self._singles.append(Single(raw, index, at))

    def _explained(self, raw: bytes, at: float) -> bool:
        return self._listener is not None and bool(self._listener.feed(raw, at) or self._listener.is_known(raw))

    def _all(self) -> list[_Found]:
        if self._found is not None and self._found[0] == self._count:
            return self._found[1]
        found = [self._of_tracks(group) for group in self._tracker.groups()]
        found += [one for family in families(self._singles) for one in _of_family(family)]
        found.sort(key=lambda one: one.key)
        self._found = (self._count, found)
        return found

    def _of_tracks(self, group: tuple[Track, ...]) -> _Found:
        """What one control is; worked out anew when one of its tracks is another one."""
        key = group[0].first
        kept = self._judged.get(key)
        if kept is None or len(kept.tracks) != len(group) or {*map(id, kept.tracks)} != {*map(id, group)}:
            kept = self._judged[key] = _of_tracks(group)
        return kept

    def _of(self, key: int) -> _Found:
        for found in self._all():
            # What began as two halves is one control since: the key of either still means it.
            if found.key == key or any(key in track.indexes for track in found.tracks):
                return found
        raise BadInput("There is no such control.", "Take one of those that were moved.")

    def _control(self, found: _Found) -> Control:
        naming = self._names.get(found.key)
        label, section = (naming.label, naming.section) if naming is not None else ("", "")
        return Control(found.key, found.texts, found.nature, found.messages, found.last, label, section)


def _of_tracks(group: tuple[Track, ...]) -> _Found:
    main = max(group, key=lambda track: track.most)
    return _Found(
        min(track.first for track in group),
        nature_of(main.values, main.most),
        (main, *(track for track in group if track is not main)),
        messages=sum(len(track.values) for track in group),
        newest=max(track.indexes[-1] for track in group),
        last=main.values[-1],
    )


def _of_family(family: Family) -> list[_Found]:
    return [
        _Found(
            control.indexes[0],
            nature_of(control.values, family.most),
            family=family,
            number=control.number,
            messages=len(control.values),
            newest=control.indexes[-1],
            last=control.values[-1],
        )
        for control in family.controls
    ]


def _channel(named: list[_Found]) -> int | None:
    """The channel that most controls use."""
    channels = [track.channel for found in named for track in found.tracks]
    return max(set(channels), key=channels.count) if channels else None


def _described(found: _Found, naming: Naming) -> dict[str, Any]:
    """The keys of the parameter: kind, range or positions, bindings."""
    nature = found.nature
    kind = naming.kind or nature.kind
    keys: dict[str, Any] = {"kind": kind}
    stepped = bool(nature.steps) and (found.family is None or nature.direct)
    if not stepped and kind in ("stepped", "switch"):
        keys["kind"] = kind = "continuous"
    if kind in ("stepped", "switch"):
        default = ("off", "on") if kind == "switch" else tuple(str(step + 1) for step in range(len(nature.steps)))
        keys["positions"] = list(naming.positions or default)
        if found.family is not None:
            keys["range"] = [nature.low, nature.high]
    centre = (nature.low + nature.high + 1) // 2 if kind == "bipolar" and found.family is None else 0
    if kind not in ("stepped", "switch"):
        keys["range"] = [nature.low - centre, nature.high - centre]
    bindings = [_binding(track, found, kind, centre) for track in found.tracks]
    if bindings:
        keys["bindings"] = bindings
    return keys


def _binding(track: Track, found: _Found, kind: str, centre: int) -> dict[str, Any]:
    binding = dict(track.binding)
    binding["channel"] = track.channel + 1
    nature = found.nature if track is found.tracks[0] else nature_of(track.values, track.most)
    if kind in ("stepped", "switch"):
        if nature.direct and nature.low == 0:
            binding["map"] = "direct"
        else:
            binding["map"] = "stepped"
            binding["values"] = list(nature.steps)
    elif track is not found.tracks[0]:
        binding["map"] = "scaled"
        binding["wire"] = [nature.low, nature.high]
    elif centre:
        binding["offset"] = centre
    return binding
