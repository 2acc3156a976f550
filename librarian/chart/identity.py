"""Who answers, and which firmware a chart revision describes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from librarian.chart.language.head import FirmwareTable, IdentityTable, manufacturer_bytes
from librarian.wire.universal import IdentityReply

Fit = Literal["fits", "other firmware", "other instrument"]


@dataclass(frozen=True, slots=True)
class IdentityRule:
    """What an identity reply must say to be this instrument; None: not known, so anything fits."""

    manufacturer: bytes | None = None
    family: int | None = None
    member: int | None = None
    template: str = "{1}.{2}.{3}.{4}"
    first: str | None = None
    before: str | None = None
    only: tuple[str, ...] | None = None

    def firmware(self, revision: bytes) -> str:
        """The revision bytes of a reply as the maker writes them, e.g. 00 00 02 01 as "2.1"."""
        return firmware_text(self.template, revision)

    def fits(self, reply: IdentityReply) -> Fit:
        """Whether a reply is this instrument, and with a firmware that the chart describes."""
        for wanted, got in (
            (self.manufacturer, reply.manufacturer),
            (self.family, reply.family),
            (self.member, reply.member),
        ):
            if wanted is not None and wanted != got:
                return "other instrument"
        return "fits" if self.fits_firmware(self.firmware(reply.revision)) else "other firmware"

    def fits_firmware(self, text: str) -> bool:
        """Whether the chart describes this firmware text."""
        if self.only is not None:
            return text in self.only
        version = version_of(text)
        if self.first is not None and version < version_of(self.first):
            return False
        return self.before is None or version < version_of(self.before)

    def example_revision(self) -> bytes:
        """Four revision bytes that fit, for an instrument made up from the chart."""
        wanted = self.only[0] if self.only else self.first
        if wanted is not None:
            found = _bytes_for(self.template, wanted)
            if found is not None and self.fits_firmware(self.firmware(found)):
                return found
        start = 0x30 if ":char}" in self.template else 0  # characters: from "0" on
        for number in range(128 * 128):
            raw = bytes((start, start, number >> 7, number & 0x7F))
            if self.fits_firmware(self.firmware(raw)):
                return raw
        return bytes(4)


def build_identity(table: IdentityTable) -> IdentityRule:
    """The rule of an [identity] table."""
    firmware = table.firmware if table.firmware is not None else FirmwareTable()
    return IdentityRule(
        manufacturer=manufacturer_bytes(table.manufacturer) if table.manufacturer is not None else None,
        family=table.family,
        member=table.member,
        template=firmware.text,
        first=firmware.from_,
        before=firmware.before,
        only=tuple(firmware.only) if firmware.only is not None else None,
    )


def version_of(text: str) -> tuple[tuple[int, str], ...]:
    """A firmware text as something that can be ordered: runs of digits as numbers, letters by alphabet.

    "2.10" is later than "2.9", "1.2b" later than "1.2", "2" is the same as "2.0".
    """
    parts: list[tuple[int, str]] = []
    digits = letters = ""
    for letter in [*text.strip().casefold(), "."]:
        if letter.isascii() and letter.isdigit():
            if letters:
                parts.append((-1, letters))
                letters = ""
            digits += letter
            continue
        if digits:
            parts.append((int(digits), ""))
            digits = ""
        if letter.isalpha():
            letters += letter
        elif letters:
            parts.append((-1, letters))
            letters = ""
    while parts and parts[-1] == (0, ""):
        parts.pop()
    return tuple(parts)


@dataclass(frozen=True, slots=True)
class _Piece:
    """A piece of a firmware template: fixed text, or one byte in a form."""

    text: str = ""
    byte: int = -1
    form: str = ""


def pieces(template: str) -> list[_Piece] | None:
    """A firmware template taken apart, or None when a brace in it is no {1} … {4}."""
    found: list[_Piece] = []
    rest = template
    while rest:
        before, brace, after = rest.partition("{")
        if "}" in before:
            return None
        found.append(_Piece(before))
        if not brace:
            break
        inside, closed, rest = after.partition("}")
        name, _, form = inside.partition(":")
        if not closed or name not in {"1", "2", "3", "4"} or form not in {"", "02", "03", "hex", "char"}:
            return None
        found.append(_Piece("", int(name) - 1, form))
    return found


def firmware_text(template: str, revision: bytes) -> str:
    """The four revision bytes through a template."""
    text = ""
    for piece in pieces(template) or []:
        if piece.byte < 0:
            text += piece.text
            continue
        number = revision[piece.byte] if piece.byte < len(revision) else 0
        if piece.form == "hex":
            text += f"{number:02X}"
        elif piece.form == "char":
            text += chr(number) if 0x20 <= number < 0x7F else "·"
        else:
            text += f"{number:0{piece.form or '1'}d}"
    return text


def _bytes_for(template: str, wanted: str) -> bytes | None:
    """Revision bytes whose text is the same version as `wanted`: read off it, or each plain byte from left to right."""
    parts = pieces(template) or []
    read = _read_off(parts, wanted)
    if read is not None:
        return read
    used = [piece.byte for piece in parts if piece.byte >= 0]
    numbers = [number for number, letters in version_of(wanted) if not letters]
    raw = bytearray(4)
    for place, number in zip(used, numbers, strict=False):
        if number > 0x7F:
            return None
        raw[place] = number
    text = firmware_text(template, bytes(raw))
    return bytes(raw) if version_of(text) == version_of(wanted) else None


def _read_off(parts: list[_Piece], text: str) -> bytes | None:
    """The revision bytes that read exactly so, None where that cannot be told."""
    raw, rest = bytearray(4), text
    for index, piece in enumerate(parts):
        if piece.byte < 0:
            if not rest.startswith(piece.text):
                return None
            rest = rest[len(piece.text) :]
            continue
        if piece.form in {"char", "hex", "02", "03"}:
            size = {"char": 1, "hex": 2, "02": 2, "03": 3}[piece.form]
        else:
            after = next((one.text for one in parts[index + 1 :] if one.text), "")
            size = next((place for place, letter in enumerate(rest) if not letter.isdigit()), len(rest))
            if after and rest[size : size + len(after)] != after:
                return None
        digits, rest = rest[:size], rest[size:]
        if len(digits) < max(size, 1) or not digits.isascii():
            return None
        try:
            number = ord(digits) if piece.form == "char" else int(digits, 16 if piece.form == "hex" else 10)
        except ValueError:
            return None
        if not 0 <= number <= 0x7F:
            return None
        raw[piece.byte] = number
    return None if rest else bytes(raw)
