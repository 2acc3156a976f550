"""Names from outside are shown as they are, everywhere: never read as HTML, never breaking a line."""

from __future__ import annotations

import re

from PySide6.QtGui import QTextDocument
from PySide6.QtWidgets import QComboBox, QLabel, QWidget

from librarian.window.hand import Hand
from librarian.window.parts.sentence import Sentence
from tests.gui.whole_window import Desk

HOSTILE = "<b>Gale</b> &amp; <img src=x>\u202e\nsecond line"


def seen_as_html(widget: QWidget) -> list[str]:
    """Labels and tips in which a tag from outside would act instead of being shown."""
    wrong = []
    for label in widget.findChildren(QLabel):
        if label.textFormat() == label.textFormat().RichText and isinstance(label, Sentence):
            document = QTextDocument()
            document.setHtml(label.text())
            if "img" in label.text() and "<img src=x>" not in document.toPlainText():
                wrong.append(label.text())
        elif label.textFormat() != label.textFormat().PlainText:
            wrong.append(f"{type(label).__name__} guesses: {label.text()}")
    for one in [widget, *widget.findChildren(QWidget)]:
        tip = one.toolTip()
        if "img" in tip and ("<img" in tip or not tip.startswith("<qt>")):
            wrong.append(f"tip: {tip}")
        if isinstance(one, QComboBox):
            wrong += [one.itemText(row) for row in range(one.count()) if "\n" in one.itemText(row)]
    return wrong


def test_every_drawer_shows_hostile_names_as_they_are(desk: Desk):
    window, library = desk.window, desk.library
    patch = desk.patches["Harbour before the storm"]
    library.rename(patch, HOSTILE)
    library.tag([patch], add=["<i>tag</i>"])
    library.set_note(patch, HOSTILE)
    library.save_search(HOSTILE, '"<b>x</b>"')
    library.update_instrument(desk.ids["lanternfish"], name="Fish <img src=x>")
    library.keep(desk.ids["lanternfish"], f"{HOSTILE} 2", library.version(library.patch(patch).latest))
    library.keep_unread([((b"\xf0\x01\xf7",), "<img src=x>.syx at byte 0", "<img src=x>")])
    library.delete([desk.patches["Foghorn close"]])
    desk.wait_for(lambda: any("Gale" in name for name in desk.listed))
    desk.wait_for(lambda: desk.standing("lanternfish").row.name.startswith("Fish"))
    window.desk.instruments.choose(desk.ids["lanternfish"])
    window.desk.choose_a(patch)
    assert not seen_as_html(window)
    hands: tuple[Hand, ...] = window.drawers.hands
    assert len(hands) > 12
    for hand in hands:
        hand.show()
        desk.settle()
        desk.qtbot.wait(30)
        assert not seen_as_html(window), hand.name
        lines = getattr(hand.drawer, "list", None)
        if lines is not None:
            lines.select_row(0)
            texts = [
                str(lines.rows.data(lines.rows.index(row, 0), role) or "")
                for row in range(lines.rows.rowCount()) for role in (0, 3)
            ]
            assert not any("\n" in text or "\u202e" in text for text in texts), hand.name
            tips = [text for text in texts if text.startswith("<qt>")]
            assert not any(re.search(r"<(?!/?qt>)", tip) for tip in tips), hand.name
        desk.qtbot.wait(10)
        window.areas.close_drawer()
    window.commands.run("details")
    assert not seen_as_html(window)


def test_every_command_can_be_reached_by_typing_its_name(desk: Desk):
    """F1 lists all of them with their keys; a word, then Enter."""
    desk.press("F1")
    everything = desk.window.drawers.everything
    assert desk.window.areas.drawer == "all commands"
    assert len(desk.lines(everything.sheet)) == len(desk.window.commands.act)
    field = everything.sheet.field.edit
    assert field.hasFocus()
    desk.qtbot.keyClicks(field, "trash")
    assert [line.first for line in desk.lines(everything.sheet)] == ["Trash"]
    desk.press("Return", field)
    assert desk.window.areas.drawer == "trash"
    desk.press("Escape")
    assert desk.window.areas.drawer == ""
    keys = [action.shortcut().toString() for action in desk.window.commands.act.values() if action.shortcut()]
    keys = [key for key in keys if key]
    assert len(keys) == len(set(keys)), "Two commands want the same key."
