"""The states of a line while a memory is read or written, or an instrument is proved against its chart."""

from __future__ import annotations

from dataclasses import replace

from librarian.window.chain.facts import CANCEL, CAPTURE, Setting
from librarian.window.chain.state import ChainState, Plate, PlateMark
from librarian.window.parts.spec import ButtonSpec
from librarian.window.words import quoted, seconds_left

SHOW_MEMORY = ButtonSpec("memory", "Memory")
SHOW_REPORT = ButtonSpec("bring_up", "Report")


def _share(done: int, of: int) -> float:
    return min(1.0, max(0.0, done / of)) if of > 0 else 0.0


def under_way(setting: Setting, *, what: str, subject: str, done: int, of: int, step: str,
              left_s: float | None) -> ChainState:
    """One of these conversations, on its way. `step`: what is tried just now (bring-up)."""
    left = seconds_left(left_s)
    if what == "backup":
        mark: PlateMark = "to computer"
        plate, first = f"{done} of {of} read", f"Reading {setting.instrument}’s memory:"
        rest = f"{done} of {of} programs read and kept{left}. Nothing is written to it."
    elif what == "restore":
        mark = "to instrument"
        plate, first = f"{done} of {of} written", f"Writing {quoted(subject)} into {setting.instrument}’s memory:"
        rest = f"{done} of {of} programs done{left}. What was there is kept first, and each is read back."
    else:
        mark = "to instrument"
        plate, first = f"{done} of {of} tried" if of else "begun", f"Proving {setting.instrument} against its chart:"
        so_far = f"{step}, {done} of {of}{left}" if of else "what is in it is read first"
        rest = f"{so_far}. Keep the monitors down; its sound comes back at the end."
    thick = replace(setting.back if mark == "to computer" else setting.out, thick=True)
    return ChainState(
        computer=setting.computer(), out=thick if mark != "to computer" else setting.out,
        back=thick if mark == "to computer" else setting.back, box=setting.box(),
        plate=Plate(mark, plate, share=_share(done, of)), first=first, rest=rest, buttons=(CANCEL,),
    )


def ended(setting: Setting, *, mark: PlateMark, plate: str, first: str, rest: str, report: bool = False) -> ChainState:
    """How it ended. `mark` "different": something is not as it was to be."""
    return ChainState(
        computer=setting.computer(), out=setting.out, back=setting.back, box=setting.box(),
        plate=Plate(mark, plate, broken=mark == "different"), first=first, rest=rest,
        buttons=(SHOW_REPORT if report else SHOW_MEMORY, CAPTURE),
    )
