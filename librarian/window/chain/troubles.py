"""The states in which something is missing or broken: drawn at the place of the fault, with what to do next."""

from __future__ import annotations

from dataclasses import replace

from librarian.window.chain.facts import (
    AGAIN_SLOWER,
    ASK_AGAIN,
    CHOOSE_PORTS,
    LOOK_AGAIN,
    NO_OUTPUT,
    SHOW_TRAFFIC,
    Setting,
)
from librarian.window.chain.state import Box, ChainState, Computer, Plate, Strand
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import count_word, counted

NO_INSTRUMENT = Box("No instrument yet", "it appears here when it answers", outline="dashed")


def _first(button: ButtonSpec) -> ButtonSpec:
    return replace(button, primary=True)


def no_system(instrument: Setting | None = None) -> ChainState:
    """No MIDI system runs here: no strands at all."""
    return ChainState(
        computer=Computer("no MIDI system", dashed=True),
        out=Strand("absent", plug=False), back=Strand("absent", plug=False),
        box=instrument.box("dashed", "not reached") if instrument else NO_INSTRUMENT,
        first="No MIDI system runs on this computer,",
        rest="so no port can be opened. Search, compare and files work; start it, then look again.",
        buttons=(_first(LOOK_AGAIN),), panic_reason=NO_OUTPUT,
    )


def nothing_connected(instrument: Setting | None = None) -> ChainState:
    """A MIDI system, but not one port."""
    system = instrument.system if instrument else ""
    return ChainState(
        computer=Computer(f"{system} · no MIDI port found" if system else "no MIDI port found"),
        out=Strand("dotted", plug=False), back=Strand("dotted", plug=False),
        box=instrument.box("dashed", "not reached") if instrument else NO_INSTRUMENT,
        first="No MIDI port found.", rest="Plug in an interface; this line looks again every second.",
        panic_reason=NO_OUTPUT,
    )


def no_instrument(system: str, found: int) -> ChainState:
    """Ports are there, and no instrument is described yet. `found`: how many."""
    return ChainState(
        computer=Computer(" · ".join(part for part in (system, f"{counted(found, 'port')} found") if part)),
        out=Strand("dotted"), back=Strand("dotted"), box=NO_INSTRUMENT,
        first=f"{counted(found, 'port')} found, and no instrument is described yet.",
        rest="Connect one; its port is only asked who is there.",
        buttons=(ButtonSpec("connect", "Connect…", primary=True),), panic_reason=NO_OUTPUT,
    )


def none_chosen(setting: Setting, found: int) -> ChainState:
    """Ports are there, none is chosen for this instrument. `found`: how many."""
    return ChainState(
        computer=setting.computer(f"{counted(found, 'port')} found"),
        out=Strand("dotted"), back=Strand("dotted"), box=setting.box("dashed", setting.expected),
        first=f"{counted(found, 'port')} found, none chosen for {setting.instrument}.",
        rest="Choose ports; each is only asked who is there.",
        buttons=(_first(CHOOSE_PORTS),), panic_reason=NO_OUTPUT,
    )


def no_answer(setting: Setting, *, asked: int, last_answer: str = "", silent_since: str = "") -> ChainState:
    """Asked, and nothing came. `last_answer`, `silent_since`: times of day ("19:46"), empty when never heard."""
    times = "once" if asked == 1 else "twice" if asked == 2 else f"{asked} times"
    heard = f"it last answered at {last_answer}." if last_answer else "it has not answered yet."
    silence = f"silent since {silent_since or last_answer}" if silent_since or last_answer else "silent"
    return ChainState(
        computer=setting.computer(),
        out=replace(setting.out, course="broken at instrument", remark=f"asked {times}", moving=False),
        back=replace(setting.back, course="broken at instrument", remark=silence, moving=False),
        box=setting.box("dashed", setting.expected),
        first=f"{setting.instrument} does not answer on {setting.ports};",
        rest=f"{heard} Check its power and the cable in its MIDI IN, then look again.",
        buttons=(CHOOSE_PORTS, _first(LOOK_AGAIN)), leader="gap",
    )


def foreign(setting: Setting, *, asked: int, heard: str) -> ChainState:
    """Messages come, none from this instrument. `heard`: what they are ("notes on channel 10")."""
    return ChainState(
        computer=setting.computer(),
        out=replace(setting.out, course="broken at instrument", moving=False,
                    remark=f"asked {'once' if asked == 1 else f'{asked} times'}"),
        back=replace(setting.back, remark=f"{setting.back.remark}, not understood", foreign=True, moving=False),
        box=setting.box("dashed", setting.expected),
        first=f"Messages arrive on {setting.input or setting.ports}, but none from {setting.instrument}:",
        rest=f"{heard}. Another instrument may be on this input; choose other ports.",
        buttons=(SHOW_TRAFFIC, _first(CHOOSE_PORTS)), leader="gap",
    )


def lost_system(setting: Setting, *, stopped: str) -> ChainState:
    """The MIDI system went away while ports were open. `stopped`: when ("19:51")."""
    return ChainState(
        computer=setting.computer("stopped"),
        out=replace(setting.out, course="broken at computer", remark="closed", moving=False),
        back=replace(setting.back, course="broken at computer", remark="closed", moving=False),
        box=setting.box("dashed", f"last answered {stopped}"),
        first=f"The MIDI system of this computer stopped at {stopped};",
        rest="nothing can be sent or heard. Start it again, and the ports reopen by themselves.",
        buttons=(_first(LOOK_AGAIN),), leader="computer", panic_reason=NO_OUTPUT,
    )


def port_gone(setting: Setting, *, at: str, detail: str = "") -> ChainState:
    """The port of this instrument vanished, the system still runs. `at`: when; `detail`: what was lost with it."""
    also = f"{detail} " if detail else ""
    return ChainState(
        computer=setting.computer(),
        out=replace(setting.out, course="broken at computer", remark="gone", moving=False),
        back=replace(setting.back, course="broken at computer", remark="gone", moving=False),
        box=setting.box("dashed", f"last answered {at}"),
        first=f"{setting.ports} disappeared at {at};",
        rest=f"{also}Plug the interface in again; its ports reopen by themselves. Or choose other ports.",
        buttons=(CHOOSE_PORTS, _first(LOOK_AGAIN)), leader="computer", panic_reason=NO_OUTPUT,
    )


def not_reached(setting: Setting, *, first: str, rest: str) -> ChainState:
    """Its ports could not be opened; the sentence comes from the error."""
    return ChainState(
        computer=setting.computer(),
        out=replace(setting.out, course="broken at computer", remark="not open", moving=False),
        back=replace(setting.back, course="broken at computer", remark="not open", moving=False),
        box=setting.box("dashed", setting.expected), first=first, rest=rest,
        buttons=(CHOOSE_PORTS, _first(LOOK_AGAIN)), leader="computer", panic_reason=NO_OUTPUT,
    )


def port_held(setting: Setting) -> ChainState:
    """Another program holds the output."""
    return ChainState(
        computer=setting.computer(f"{setting.open_ports} of 2 ports open"),
        out=replace(setting.out, course="broken at computer", remark="held elsewhere", moving=False),
        back=setting.back, box=setting.box("dashed", "not asked yet"),
        first=f"{setting.output} is held by another program, perhaps a sequencer.",
        rest="Close the port there, then look again.",
        buttons=(_first(LOOK_AGAIN),), leader="computer", panic_reason=NO_OUTPUT,
    )


def echo(setting: Setting, *, requests: int) -> ChainState:
    """What is sent comes straight back. `requests`: how many were sent and returned."""
    return ChainState(
        computer=setting.computer(),
        out=replace(setting.out, course="returning", moving=False, remark=f"{counted(requests, 'request')} sent"),
        back=replace(setting.back, course="returning", moving=False,
                     remark=f"the same {requests if requests != 1 else 'one'} came back"),
        box=setting.box("dashed", setting.expected),
        first=f"{setting.ports} returns what is sent to it:",
        rest="thru is on, or OUT is wired to IN. Switch thru off or rewire; nothing more is sent until then.",
        buttons=(SHOW_TRAFFIC, _first(LOOK_AGAIN)), leader="loop",
    )


def wrong_firmware(setting: Setting, *, described: str) -> ChainState:
    """The right instrument with a firmware that its chart does not describe. `described`: what it does ("2.x")."""
    return ChainState(
        computer=setting.computer(), out=setting.out, back=setting.back, box=setting.box("broken"),
        plate=Plate("different", f"chart is for {described}", broken=True),
        first=f"{setting.instrument} answered with firmware {setting.firmware}, but the chart describes {described}.",
        rest=f"Capture keeps the bytes; recall waits until a chart for {setting.firmware} is chosen.",
        buttons=(
            ButtonSpec("bring_up", "Bring-up…", reason="The bring-up report is made in the terminal for now."),
            ButtonSpec("choose_chart", "Choose chart…", primary=True),
        ),
        leader="box",
    )


def other_instrument(setting: Setting, *, expected: str) -> ChainState:
    """Another instrument answered (the setting's); `expected`: the one that was looked for."""
    name = setting.instrument
    return ChainState(
        computer=setting.computer(), out=setting.out, back=setting.back, box=setting.box("broken"),
        plate=Plate("different", f"{expected} expected", broken=True),
        first=f"{name} answered on {setting.ports}, where {expected} was expected.",
        rest=f"Use {name} here, or choose other ports for {expected}.",
        buttons=(CHOOSE_PORTS, ButtonSpec("use_instrument", f"Use {name}", primary=True)), leader="box",
    )


def dump_broke_off(setting: Setting, *, came: int, of: int | None) -> ChainState:
    """A dump ended early. `came` bytes `of` so many (None where the length was not known)."""
    so_far = f"{came} of {of} bytes" if of is not None else counted(came, "byte")
    return ChainState(
        computer=setting.computer(), out=setting.out, back=setting.back, box=setting.box(),
        plate=Plate("alarm", so_far, broken=True),
        first=f"A dump from {setting.instrument} broke off after {so_far};",
        rest="no patch was made of it. Ask again, slower; the bytes are in the traffic.",
        buttons=(SHOW_TRAFFIC, _first(AGAIN_SLOWER)),
    )


def dump_refused(setting: Setting, *, reason: str) -> ChainState:
    """A dump came whole but cannot be used. `reason`: one sentence with its full stop."""
    return ChainState(
        computer=setting.computer(), out=setting.out, back=setting.back, box=setting.box(),
        plate=Plate("alarm", "dump not taken", broken=True),
        first=f"A dump from {setting.instrument} could not be used, and no patch was made of it:",
        rest=f"{reason} Ask again; the bytes are in the traffic.",
        buttons=(SHOW_TRAFFIC, _first(ASK_AGAIN)),
    )


def could_not(setting: Setting, *, first: str, rest: str = "", buttons: tuple[ButtonSpec, ...] = ()) -> ChainState:
    """Anything else that failed while the line itself is whole; the sentence comes from the error."""
    return ChainState(
        computer=setting.computer(), out=setting.out, back=setting.back, box=setting.box(),
        plate=Plate("alarm", "not done", broken=True), first=first, rest=rest,
        buttons=buttons or (SHOW_TRAFFIC, _first(LOOK_AGAIN)),
    )


def left_alone(count: int) -> str:
    """What a recall says of setup parameters: "Two setup parameters were left as they are."."""
    if count == 0:
        return ""
    noun = "setup parameter was left as it is" if count == 1 else "setup parameters were left as they are"
    return f"{count_word(count, capital=True)} {noun}."
