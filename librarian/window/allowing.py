"""Which commands work now; those that cannot stay at their place and say why."""

from __future__ import annotations

from librarian.window.commands import Commands
from librarian.window.desk.desk import Desk
from librarian.window.desk.present import capture_reason, match_reason, recall_reason
from librarian.window.desk.standing import Standing
from librarian.window.only_to_read import CHANGING, REASON


def allow_commands(commands: Commands, desk: Desk, target: Standing | None) -> None:
    """Enable and disable every command. `target`: the instrument that a recall would go to."""
    allow = commands.allow
    choice, standing = desk.choice, desk.instruments.standing
    chosen = "" if choice.a is not None else "No sound is chosen."
    _allow_undo(commands, desk)
    for name in ("rename", "details", "delete", "compare", "older", "newer", "like", "merge", "carry"):
        allow(name, chosen)
    found = len(desk.found) if desk.found is not None else 0
    allow("details_found", "" if found else "No patch is found.")
    for name in ("recall", "recall_whole", "recall_setup"):
        allow(name, recall_reason(choice, target))
    for name in ("swap", "end_compare"):
        allow(name, "" if choice.comparing else "Nothing is compared.")
    older = desk.older_beside is not None
    allow("revert", "" if older else "Compare with an older version first: choose one in the history.")
    allow("match_panel", match_reason(choice, desk.standing_of_a))
    capture = capture_reason(standing)
    for name in ("capture", "capture_by_hand"):
        allow(name, capture)
    allow("capture_version", capture or chosen)
    held = "" if desk.captures.held else "Everything that was captured is kept."
    allow("keep_again", held)
    allow("save_alone", held)
    allow("compare_instrument", recall_reason(choice, desk.standing_of_a))
    none = "" if standing is not None else "No instrument is connected."
    for name in ("choose_ports", "look_again"):
        allow(name, none)
    slowed = standing is not None and bool(standing.setting.slowed)
    allow("usual_pace", none or ("" if slowed else "It is the chart's own pace already."))
    for name in ("memory", "bring_up"):
        allow(name, none)
    grouped = desk.order.removeprefix("group ") if desk.order.startswith("group ") else "none"
    for name in ("tag", "instrument", "none"):
        commands.act[f"group_{name}"].setChecked(name == grouped)
    if desk.library.only_to_read:
        for name in CHANGING:
            allow(name, REASON)
    going = standing is not None and bool(standing.transfer)
    allow("cancel", "" if going or desk.work.long is not None else "Nothing is under way.")


def _allow_undo(commands: Commands, desk: Desk) -> None:
    undo, redo = desk.past.undo, desk.past.redo
    undoing = f"Undo: {undo}" if undo else "Undo"
    commands.act["undo"].setText("Undo recall" if desk.can_undo_recall else undoing)
    commands.act["redo"].setText(f"Redo: {redo}" if redo else "Redo")
    nothing = REASON if desk.library.only_to_read else "" if undo else "There is nothing to take back."
    commands.allow("undo", "" if desk.can_undo_recall else nothing)
    commands.allow("redo", "" if redo else "There is nothing to do again.")
    commands.allow("undo_recall", "" if desk.can_undo_recall else "No recall can be taken back now.")
