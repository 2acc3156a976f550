"""A chart and sounds for the window's tests and pictures: the theatre pit's Lanternfish, made here without the
chart room, so that the widgets are tested against nothing but what they draw from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

from librarian.messages import Comparison, Difference
from librarian.window.areas import Areas
from librarian.window.chain import transfers, troubles
from librarian.window.chain.facts import Setting
from librarian.window.collection.state import Found, PatchLine, Reason, RowMarks, TagCount
from librarian.window.header.state import (
    COMPARE,
    END_COMPARE,
    MATCH,
    RECALL,
    RECALL_B,
    SWAP,
    HeaderState,
    Title,
    detail,
)
from librarian.window.history.state import HistoryState, VersionMark
from librarian.window.shown.sheet import Sheet
from librarian.window.shown.state import Shown


@dataclass(frozen=True)
class Parameter:
    """One control. `scale`: factor and offset from raw value to display number."""

    id: str
    label: str
    section: str
    kind: str = "continuous"
    low: int = 0
    high: int = 127
    unit: str = "%"
    top: float = 100.0
    bottom: float = 0.0
    positions: tuple[str, ...] = ()
    short: str = ""
    sound: bool = True
    binding_text: str = "CC 1"

    def physical(self, value: int) -> float | None:
        if self.positions:
            return None
        return self.bottom + (self.top - self.bottom) * (value - self.low) / (self.high - self.low)

    def display(self, value: int) -> str:
        if self.positions:
            return self.positions[value - self.low]
        number = self.physical(value)
        assert number is not None
        return self._text(number, signed=self.kind == "bipolar")

    def _text(self, number: float, *, signed: bool) -> str:
        unit = self.unit
        if unit == "Hz" and abs(number) >= 1000:
            number, unit = number / 1000, "kHz"
        figures = f"{abs(number):.1f}" if unit == "kHz" else f"{abs(number):.0f}"
        sign = "−" if number < 0 and float(figures) else "+" if signed and float(figures) else ""
        return f"{sign}{figures} {unit}".strip()

    def share(self, value: int) -> float:
        return (value - self.low) / (self.high - self.low)

    def difference(self, a: int, b: int) -> str:
        if a == b:
            return ""
        if self.positions or self.kind in {"stepped", "switch"}:
            return "differs"
        one, other = self.physical(a), self.physical(b)
        assert one is not None
        assert other is not None
        return self._text(other - one, signed=True)


@dataclass(frozen=True)
class Section:
    id: str
    label: str
    row: int
    parameters: tuple[Parameter, ...]


@dataclass(frozen=True)
class Chart:
    name: str
    sections: tuple[Section, ...]
    parameters: Mapping[str, Parameter] = field(default_factory=dict)


def chart_of(name: str, *sections: tuple[str, int, tuple[Parameter, ...]]) -> Chart:
    """A chart from (title, row, parameters)."""
    made = tuple(Section(title.lower().replace(" ", "_"), title, row, parts) for title, row, parts in sections)
    return Chart(name, made, {part.id: part for section in made for part in section.parameters})


def knob(section: str, label: str, **more: object) -> Parameter:
    return Parameter(f"{section}_{label}".lower().replace(" ", "_"), label, section, **more)  # type: ignore[arg-type]


WAVES = ("sine", "triangle", "saw", "pulse")
SHAPES = ("sine", "triangle", "square", "random")


def _oscillator(section: str, cc: int) -> tuple[Parameter, ...]:
    return (
        knob(section, "Wave", kind="stepped", high=3, positions=WAVES, binding_text=f"CC {cc}"),
        knob(section, "Octave", kind="bipolar", low=-2, high=2, unit="", bottom=-2, top=2, binding_text=f"CC {cc + 1}"),
    )


def lanternfish() -> Chart:
    """52 controls in nine sections and four rows, two of them setup."""
    ct = {"kind": "bipolar", "low": -50, "high": 50, "unit": "ct", "bottom": -50, "top": 50}
    depth = {"kind": "bipolar", "low": -100, "high": 100, "bottom": -100, "top": 100}
    ms = {"unit": "ms", "top": 2000.0}
    envelope = (("Attack", ms), ("Decay", ms), ("Sustain", {}), ("Release", ms), ("Velocity", {}))
    onoff = {"kind": "switch", "high": 1, "positions": ("off", "on")}
    return chart_of(
        "Lanternfish",
        ("Oscillator 1", 0, (
            *_oscillator("o1", 14), knob("o1", "Tune", **ct), knob("o1", "Width"), knob("o1", "PW mod"),
            knob("o1", "Drift", binding_text="CC 19"),
        )),
        ("Oscillator 2", 0, (
            *_oscillator("o2", 20), knob("o2", "Interval", kind="bipolar", low=-12, high=12, unit="st", bottom=-12,
                                         top=12, binding_text="CC 22"),
            knob("o2", "Tune", **ct), knob("o2", "Width"), knob("o2", "PW mod", binding_text="CC 25"),
            knob("o2", "Sync", **onoff),
        )),
        ("Mixer", 1, tuple(knob("mix", name, binding_text="CC 30") for name in ("Osc 1", "Osc 2", "Sub", "Noise",
                                                                              "Ring"))),
        ("Filter", 1, (
            knob("f", "Mode", kind="stepped", high=2, positions=("low", "band", "high")),
            knob("f", "Slope", kind="switch", high=1, positions=("12 dB", "24 dB")),
            knob("f", "Cutoff", high=1023, unit="Hz", bottom=20, top=6000, binding_text="CC 74"),
            knob("f", "Resonance", short="Reso", binding_text="CC 71"), knob("f", "Env depth", **depth),
            knob("f", "Key track"), knob("f", "LFO depth"), knob("f", "Drive", binding_text="NRPN 261"),
        )),
        ("Filter envelope", 2, tuple(knob("fe", name, **more) for name, more in envelope)),
        ("Amp envelope", 2, tuple(knob("ae", name, **more) for name, more in envelope)),
        ("Modulation", 2, tuple(knob("mod", name, **depth) for name in ("Wheel", "Touch", "Velocity"))),
        ("LFO", 3, (
            knob("lfo", "Rate 1", unit="Hz", top=20), knob("lfo", "Shape 1", kind="stepped", high=3, positions=SHAPES),
            knob("lfo", "Fade in", **ms), knob("lfo", "Key sync", **onoff), knob("lfo", "Rate 2", unit="Hz", top=20),
            knob("lfo", "Shape 2", kind="stepped", high=3, positions=SHAPES), knob("lfo", "To pitch", **depth),
        )),
        ("Voice and output", 3, (
            knob("v", "Voices", kind="stepped", high=2, positions=("poly", "unison", "mono")),
            knob("v", "Detune"), knob("v", "Glide", **ms), knob("v", "Volume"),
            knob("v", "Transpose", kind="bipolar", low=-12, high=12, unit="st", bottom=-12, top=12, sound=False),
            knob("v", "Key scale", kind="stepped", high=3, positions=("even", "pure", "wide", "own"), sound=False),
        )),
    )


def harbour(chart: Chart) -> dict[str, int]:
    """A complete sound."""
    return {name: round(part.low + (part.high - part.low) * share) for (name, part), share in zip(
        chart.parameters.items(), [
            .67, .25, .5, .5, .22, .31, .34, .5, .79, .57, .36, .1, 0, .8, .64, .45, .06, 0, 0, 1, .51, .28, .62, .5,
            .12, .2, .62, .7, .55, .66, .3, .58, .6, .85, .74, .25, .5, .66, .55, .25, 0, .6, 0, .45, 0, .5, 0, .18,
            .2, .72, .5, 0,
        ], strict=True)}


def storm(chart: Chart) -> dict[str, int]:
    """A second sound: ten controls differ, two are unknown."""
    made = harbour(chart) | {
        "o2_wave": 3, "o2_pw_mod": 79, "mix_noise": 74, "f_cutoff": 900, "f_resonance": 60, "f_env_depth": -58,
        "fe_decay": 20, "ae_attack": 1, "lfo_rate_1": 70, "lfo_shape_1": 3, "v_transpose": 5,
    }
    for gone in ("o1_drift", "mod_touch"):
        del made[gone]
    return made


def compared(chart: Chart, a: Mapping[str, int], b: Mapping[str, int]) -> Comparison:
    """The comparison as the sounds room makes it, written out here."""
    rows = []
    for name, part in chart.parameters.items():
        one, other = a.get(name), b.get(name)
        state = "unknown" if one is None or other is None else "equal" if one == other else "different"
        share = 0.0
        if one is not None and other is not None and one != other:
            share = 1.0 if part.kind in {"stepped", "switch"} else abs(part.share(other) - part.share(one))
        rows.append(Difference(
            name, part.section, state, one, other,  # type: ignore[arg-type]
            "unknown" if one is None else part.display(one), "unknown" if other is None else part.display(other),
            "" if one is None or other is None else part.difference(one, other), share, part.sound,
        ))
    return Comparison(tuple(rows))


def one_sound(chart: Chart) -> Shown:
    """A alone, three controls moved since, Volume locked."""
    now = {"mix_noise": 25, "f_cutoff": 620, "f_resonance": 46}
    return Shown(a=harbour(chart), now=now, changed=frozenset(now), locked=frozenset({"v_volume"}))


def two_sounds(chart: Chart) -> Shown:
    """A and B."""
    a, b = harbour(chart), storm(chart)
    return Shown(a=a, b=b, comparison=compared(chart, a, b))


def with_unknowns(chart: Chart) -> Shown:
    """One sound with two unknown controls and the reason for each."""
    why = "not moved during the capture; recall leaves it as it is"
    return Shown(a=storm(chart), locked=frozenset({"v_volume"}), reasons={"o1_drift": why, "mod_touch": why})


def guided(chart: Chart) -> Shown:
    """The panel is being matched: some agree, some are to turn, some are not heard."""
    a = harbour(chart)
    names = [name for name, part in chart.parameters.items() if part.sound]
    now = {name: a[name] for name in names[:38]}
    now |= {"o1_drift": 90, "o2_pw_mod": 60, "f_cutoff": 90, "f_env_depth": -60, "mix_noise": 60}
    return Shown(a=a, now=now, turning=True)


TODAY = datetime(2026, 3, 12, 20, 11, tzinfo=UTC)


# -- the collection

NAMES = (
    "Harbour before the storm", "Keeper climbs the stair", "Lamp room, glass humming", "Storm, first gust",
    "Foghorn far off", "Foghorn close", "Bell buoy, three swings", "Letter under the door",
    "The boat that turned back", "Nell’s lullaby", "Gulls at the window", "Ice on the railing", "Low tide, bare rock",
    "Oil runs out", "Morning after, no wind",
)
TAG_SETS = (
    ("act 1", "harbour", "drone"), ("act 1", "lead", "quiet"), ("act 1", "lamp", "pad"), ("act 2", "storm", "loud"),
    ("act 2", "fog", "bass"), ("act 2", "fog", "bass", "loud"), ("act 2", "bell", "storm"), ("act 2", "quiet", "pad"),
    ("act 2", "storm", "drone"), ("act 3", "quiet", "lead"), ("act 3", "harbour"), ("act 3", "lamp", "bell"),
    ("act 3", "bass", "drone"), ("act 3", "lamp", "drone"), ("act 3", "pad", "quiet"),
)
TAGS = tuple(TagCount(tag, count) for tag, count in (
    ("act 1", 41), ("act 2", 36), ("act 3", 29), ("storm", 14), ("harbour", 17), ("lamp", 12), ("fog", 9),
    ("bell", 11), ("drone", 16), ("pad", 22), ("bass", 18), ("quiet", 33), ("loud", 8),
))


@dataclass
class Source:
    """Rows by id, made as they are asked for; `asked` records every page."""

    asked: list[list[int]] = field(default_factory=list)

    def lines(self, ids: Sequence[int]) -> list[PatchLine]:
        self.asked.append(list(ids))
        return [self.line(patch) for patch in ids]

    @staticmethod
    def line(patch: int) -> PatchLine:
        which = patch % len(NAMES)
        name = NAMES[which] if patch < len(NAMES) else f"{NAMES[which]} {patch}"
        tags = TAG_SETS[which]
        return PatchLine(
            patch, name, "Fogbell" if name.startswith(("Fog", "Bell", "Low")) else "Lanternfish", tags,
            unknown={3: 2, 5: 1, 10: 5}.get(which, 0),
        )


@dataclass
class StormSource(Source):
    """The same rows as a search for “storm” finds them."""

    @staticmethod
    def line(patch: int) -> PatchLine:
        made = Source.line(patch)
        at = made.name.lower().find("storm")
        hits = ((at, 5),) if at >= 0 else ()
        reason = None if hits or "storm" in made.tags else Reason("note: “before the storm breaks”", ((18, 5),))
        return replace(made, name_hits=hits, tag_hits=frozenset({"storm"}), reason=reason)


def found(count: int = 118) -> Found:
    orders = (("act", "by act, then name"), ("name", "by name"), ("newest", "newest first"))
    return Found(ids=range(count), total=118, order="act", orders=orders, tags=TAGS, tag_total=len(TAGS))


# -- the whole window

PIT = Setting("Lanternfish", "ALSA", 2, "Pit interface 1", "Pit interface 1", "2.1", 3, 17, 1, 2)
LATEST = Title("Harbour before the storm", "Lanternfish · version 4, latest · captured 12 Mar, 19:38 · "
                                           "complete: 52 of 52 received")
FOUR_VERSIONS = tuple(
    VersionMark(number, number, when, how, role)  # type: ignore[arg-type]
    for number, when, how, role in (
        (1, "2 Feb", "captured", ""), (2, "9 Feb", "captured", ""), (3, "1 Mar", "carried over", ""),
        (4, "12 Mar", "captured", "A"),
    )
)


def show_one_sound(areas: Areas) -> None:
    """A proved recall, then three knobs moved."""
    chart = lanternfish()
    sheet = Sheet(chart, one_sound(chart))
    areas.show_page("sound")
    areas.chain.show_state(transfers.proved(replace(PIT, in_rate=12), name=LATEST.name, equal=50, of=50, at="19:42",
                                            setup_left=2))
    areas.collection.show_found(found())
    areas.collection.show_marks(RowMarks(a=0, changed={0: 3}))
    areas.collection.list.select_id(0)
    areas.show_sheet(sheet)
    areas.header.show_state(HeaderState(a=LATEST, buttons=(COMPARE, MATCH, RECALL), legend=sheet.marks_in_use(),
                                        summary=sheet.summary(since="19:42")))
    areas.history.show_state(HistoryState(LATEST.name, FOUR_VERSIONS, panel="3 moved"))


def show_two_sounds(areas: Areas) -> None:
    """The same sound as A, another as B."""
    show_one_sound(areas)
    chart = lanternfish()
    sheet = Sheet(chart, two_sounds(chart))
    areas.collection.show_marks(RowMarks(a=0, b=3, changed={0: 3}))
    areas.collection.list.select_id(3)
    areas.show_sheet(sheet)
    areas.header.show_state(HeaderState(
        a=Title(LATEST.name, "version 4"), b=Title("Storm, first gust", "version 2"),
        buttons=(SWAP, END_COMPARE, RECALL_B), summary=sheet.summary(), legend=sheet.marks_in_use(),
    ))
    areas.history.show_state(HistoryState("Storm, first gust", (
        VersionMark(1, 1, "20 Feb", "knob by knob"), VersionMark(2, 2, "3 Mar", "knob by knob", "B"),
    )))


def show_broken(areas: Areas) -> None:
    """The instrument does not answer; a search is shown; the sound has two unknown controls."""
    chart = lanternfish()
    sheet = Sheet(chart, with_unknowns(chart))
    areas.show_page("sound")
    areas.chain.show_state(troubles.no_answer(PIT, asked=3, last_answer="19:46"))
    areas.collection.search.field.edit.setText("storm")
    areas.collection.show_found(replace(found(17), tags=TAGS[2:]))
    areas.collection.show_marks(RowMarks(a=3))
    areas.collection.list.select_id(3)
    areas.show_sheet(sheet)
    why = "Lanternfish does not answer."
    areas.header.show_state(HeaderState(
        a=Title("Storm, first gust", detail(instrument="Lanternfish", number=2, latest=True, how="knob by knob",
                                            when="3 Mar, 20:11", known=50, of=52)),
        buttons=(COMPARE, replace(MATCH, reason=why), replace(RECALL, reason=why)),
        summary=sheet.summary(silent_since="19:46"), legend=sheet.marks_in_use(),
    ))
    areas.history.show_state(HistoryState("Storm, first gust", (
        VersionMark(1, 1, "20 Feb", "knob by knob"), VersionMark(2, 2, "3 Mar", "knob by knob", "A"),
    )))


def show_first_start(areas: Areas) -> None:
    """Nothing connected, nothing kept."""
    areas.show_page("first start")
    areas.chain.show_state(troubles.nothing_connected())
    areas.collection.show_found(Found())
