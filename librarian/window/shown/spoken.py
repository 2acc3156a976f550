"""Display texts as a screen reader should say them: "642 Hz" is "642 hertz", "+7 st" is "plus 7 semitones"."""

from __future__ import annotations

_UNITS = {
    "Hz": "hertz", "kHz": "kilohertz", "ms": "milliseconds", "s": "seconds", "%": "percent", "st": "semitones",
    "ct": "cents", "dB": "decibels", "oct": "octaves", "bpm": "beats per minute", "°": "degrees",
}


def spoken(text: str) -> str:
    """The text with signs and units as words; anything not known stays as it is."""
    words = []
    for index, word in enumerate(text.split()):
        said = word
        if index == 0 and len(word) > 1 and word[1:2].isdigit():
            said = {"−": "minus ", "-": "minus ", "+": "plus "}.get(word[0], word[0]) + word[1:]
        elif index > 0:
            said = _UNITS.get(word, word)
        words.append(said)
    return " ".join(words)
