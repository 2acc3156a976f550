"""The states of a whole line: answered, capturing, recalling, and how each ended, with its proof or without."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from librarian.window.chain.facts import (
    AGAIN_SLOWER,
    ASK_AGAIN,
    CANCEL,
    CAPTURE,
    MATCH_PANEL,
    USUAL_PACE,
    Setting,
)
from librarian.window.chain.state import ChainState, Plate, PlateMark
from librarian.window.chain.troubles import left_alone
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import listed, quoted, seconds_left, size


def _share(done: int, of: int) -> float:
    return min(1.0, max(0.0, done / of)) if of > 0 else 0.0


def _whole(setting: Setting, plate: Plate | None, first: str, rest: str, *buttons: ButtonSpec) -> ChainState:
    return ChainState(
        computer=setting.computer(), out=setting.out, back=setting.back, box=setting.box(), plate=plate,
        first=first, rest=rest, buttons=buttons,
    )


def asking(setting: Setting) -> ChainState:
    """Asked who is there, no answer yet."""
    state = _whole(
        setting, Plate("to instrument", "asking who is there"), f"Asking {setting.instrument} on {setting.ports}.",
        "Nothing else is sent to it.", CANCEL,
    )
    return replace(state, box=setting.box("dashed", setting.expected))


def identified(setting: Setting, *, answered_ago_s: float, revision: int) -> ChainState:
    """It answered, and its chart describes it. `revision`: of the chart."""
    if answered_ago_s < 10:
        ago = f"{answered_ago_s:.1f} s ago"
    elif answered_ago_s < 120:
        ago = f"{round(answered_ago_s)} s ago"
    else:
        ago = f"{round(answered_ago_s / 60)} min ago"
    described = f"Its firmware is {setting.firmware}, and chart" if setting.firmware else "Chart"
    slower = f" Messages go to it {setting.slower}, because that worked." if setting.slowed else ""
    return _whole(
        setting, Plate("agrees", f"answered {ago}"), f"{setting.instrument} answered on {setting.ports}.",
        f"{described} revision {revision} describes it. Ready to capture or recall.{slower}",
        *((USUAL_PACE,) if setting.slowed else ()), replace(CAPTURE, primary=True),
    )


def heard_only(setting: Setting, *, revision: int) -> ChainState:
    """An instrument that cannot be asked who it is: its ports are open, and the chart says that it is there."""
    return _whole(
        setting, Plate("question", "cannot be asked"),
        f"{setting.ports} is open for {setting.instrument}, which cannot be asked who it is.",
        f"Chart revision {revision} is taken to describe it. Ready to capture or recall.",
        replace(CAPTURE, primary=True),
    )


def capturing(setting: Setting, *, received: int, of: int, left_s: float | None) -> ChainState:
    """Instrument to computer, on its way."""
    state = _whole(
        setting, Plate("to computer", f"{received} of {of} received", share=_share(received, of)),
        f"Capturing from {setting.instrument}:",
        f"{received} of {of} parameters received{seconds_left(left_s)}. Leave the knobs still until it ends.", CANCEL,
    )
    return replace(state, back=replace(setting.back, thick=True))


def capturing_by_hand(setting: Setting, *, moved: int, of: int, by_dump: bool = False) -> ChainState:
    """Listening while the person moves every control. `by_dump`: it only sends a dump, started on the instrument."""
    rest = f"{moved} of {of} controls have moved. Move each remaining control a little; the panel shows which."
    if by_dump:
        rest = "Start the dump on the instrument; it is taken as soon as it is whole."
    state = _whole(
        setting, Plate("to computer", f"{moved} of {of} moved", share=_share(moved, of)),
        f"Listening to {setting.instrument}:", rest, ButtonSpec("enough", "Enough"), CANCEL,
    )
    return replace(state, back=replace(setting.back, thick=True))


def captured(setting: Setting, *, known: int, of: int, at: str) -> ChainState:
    """Everything arrived and is kept. `at`: when ("19:38")."""
    return _whole(
        setting, Plate("agrees", f"{known} of {of} received"), f"Captured from {setting.instrument}:",
        f"{known} of {of} parameters received at {at}, and kept. Give it a name by which you will find it.",
        ButtonSpec("name", "Name it…", primary=True), CAPTURE,
    )


def captured_incomplete(setting: Setting, *, missing: Sequence[str], known: int, of: int) -> ChainState:
    """Some parameters did not arrive. `missing`: their labels."""
    return _whole(
        setting, Plate("question", f"{known} of {of}, {len(missing)} unknown"),
        f"Captured from {setting.instrument}, but {listed(missing)} did not arrive.",
        "They are kept as unknown; move them a little, or ask again." if len(missing) != 1
        else "It is kept as unknown; move it a little, or ask again.",
        replace(ASK_AGAIN, primary=True),
    )


def recalling(setting: Setting, *, name: str, sent: int, of: int, left_s: float | None, kept_as: str) -> ChainState:
    """Computer to instrument, on its way. `kept_as`: the name under which its earlier sound is kept, or empty."""
    kept = f" What was in it before is kept as {quoted(kept_as)}." if kept_as else ""
    state = _whole(
        setting, Plate("to instrument", f"{sent} of {of} sent", share=_share(sent, of)),
        f"Recalling {quoted(name)} to {setting.instrument}:", f"{sent} of {of} sent{seconds_left(left_s)}.{kept}",
        CANCEL,
    )
    return replace(state, out=replace(setting.out, thick=True))


def verifying(setting: Setting, *, name: str, read: int, of: int, left_s: float | None) -> ChainState:
    """Reading back what was sent."""
    state = _whole(
        setting, Plate("to computer", f"{read} of {of} read back", share=_share(read, of)),
        f"Reading back {quoted(name)} from {setting.instrument}:",
        f"{read} of {of} read{seconds_left(left_s)}. Leave the knobs still until it ends.", CANCEL,
    )
    return replace(state, back=replace(setting.back, thick=True))


def proved(
    setting: Setting, *, name: str, equal: int, of: int, at: str, setup_left: int, saved: int = 0
) -> ChainState:
    """Every value sent was read back equal. `at`: when; `saved`: bytes that were there already and did not travel."""
    were = "was" if saved == 1 else "were"
    spared = f"{size(saved)} {were} there already and did not travel." if saved else ""
    return _whole(
        setting, Plate("equal", f"{equal} of {of} read back equal"), f"Recall of {quoted(name)} is proved:",
        f"{equal} of {of} sound parameters read back equal at {at}. "
        f"{' '.join(part for part in (left_alone(setup_left), spared) if part)}".rstrip(), CAPTURE,
    )


def differs(setting: Setting, *, labels: Sequence[str], equal: int, of: int) -> ChainState:
    """Some values read back different. `labels`: of those parameters."""
    many = len(labels)
    these = "this one" if many == 1 else f"these {many}"
    return _whole(
        setting, Plate("different", f"{equal} of {of} equal, {many} differ{'s' if many == 1 else ''}", broken=True),
        f"Recalled to {setting.instrument}, but {many} of {of} read back different:",
        f"{listed(labels)}. Send {these} again, slower, or keep what is there.",
        ButtonSpec("show_differences", f"Show the {many}"), replace(AGAIN_SLOWER, primary=True),
    )


def sent_unprovable(setting: Setting, *, sent: int, of: int) -> ChainState:
    """Sent, and the instrument cannot be read back."""
    who = f"firmware {setting.firmware}" if setting.firmware else "it"
    return _whole(
        setting, Plate("question", f"{sent} sent, not proved"),
        f"Sent {sent} of {of} to {setting.instrument}, but {who} cannot be read back, so nothing proves it.",
        "Listen, or match the panel.", replace(MATCH_PANEL, primary=True),
    )


def compared(setting: Setting, *, name: str, equal: int, of: int, mark: PlateMark, sentence: str) -> ChainState:
    """The instrument was compared with a sound, and nothing was sent. `sentence`: what was found."""
    return _whole(
        setting, Plate(mark, f"{equal} of {of} equal", broken=mark == "different"),
        f"{setting.instrument} was compared with {quoted(name)}:", f"{sentence}.", CAPTURE,
    )


def ended_otherwise(setting: Setting, *, name: str, equal: int, of: int, mark: PlateMark, sentence: str) -> ChainState:
    """A recall of which more is to be told than a count. `sentence`: what became of it."""
    return _whole(
        setting, Plate(mark, f"{equal} of {of} read back equal", broken=mark == "different"),
        f"{quoted(name)} was recalled to {setting.instrument}:", f"{sentence}.", CAPTURE,
    )


def cancelled(setting: Setting, *, what: str, state: str) -> ChainState:
    """The person ended it. `what`: "Capture", "Recall of “…”"; `state`: in which condition things were left."""
    return _whole(
        setting, Plate("question", "cancelled"), f"{what} was cancelled.", state, CAPTURE,
    )


def panel_elsewhere(setting: Setting, *, name: str, equal: int, of: int) -> ChainState:
    """While the panel is matched: the sound is in the instrument, its knobs stand elsewhere."""
    return _whole(
        setting, Plate("equal", f"{equal} of {of} read back equal"),
        f"The sound of {quoted(name)} is in {setting.instrument}, {equal} of {of} read back equal.",
        "Its knobs still stand elsewhere.",
    )
