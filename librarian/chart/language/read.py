"""From a file or a text to TOML values with places: size, UTF-8, syntax. Nothing is interpreted here."""

from __future__ import annotations

import re
import stat
import tomllib
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

from librarian.chart.faults import ChartFaults, Fault
from librarian.chart.language.places import Places
from librarian.errors import BadInput, OutsideProblem

MOST_BYTES = 4 * 1024 * 1024
_MOST_SYNTAX_FAULTS = 20
_MOST_DOTS = 32
_WHERE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_REMEDIES = {
    "Cannot overwrite a value": "The key or table is written twice: keep one of them.",
    "Cannot declare": "The table is written twice: keep one, or use [[…]] for each entry of a list.",
    "Invalid value": "Texts stand in quotes, numbers and true or false do not.",
    "Invalid statement": "A line is a key = value, a [table], a [[list entry]] or a # comment.",
    "Unclosed array": "Close it with ].",
    "Expected '=' after a key": "Write key = value.",
    "Expected newline or end of document after a statement": "Put each key on a line of its own.",
    "Illegal character '\\n'": "Close the text with its quote on the same line.",
    "Unterminated string": "Close the text with its quote.",
}


@dataclass(frozen=True, slots=True)
class TomlText:
    """A TOML text that could be read: its values, and where each key stands."""

    source: str
    text: str
    data: dict[str, Any]
    places: Places


def read_file(path: FilePath) -> str:
    """The text of a chart file. Raises OutsideProblem (unreadable), BadInput (too large), ChartFaults (no UTF-8)."""
    try:
        if path.is_dir():
            raise BadInput(f"{path} is a folder, not a chart file.", "Name a .toml file.")
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):  # reading a pipe or a device may never end
            raise BadInput(f"{path} is no ordinary file.", "Name a .toml file.")
        size = about.st_size
        if size > MOST_BYTES:
            raise BadInput(
                f"{path} has {size:,} bytes; a chart has at most {MOST_BYTES:,}.", "Check that this is a chart file."
            )
        with path.open("rb") as file:  # a file may grow between the two: never read more than is allowed
            raw = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise OutsideProblem(f"There is no chart file {path}.", "Check its name and folder.") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise OutsideProblem(f"The chart file {path} cannot be read: {reason}.", "Check its rights.") from None
    return decode(raw, path.name)


def decode(raw: bytes, source: str) -> str:
    """UTF-8 bytes to text; a byte order mark is dropped. Raises ChartFaults with the place of the first wrong byte."""
    if len(raw) > MOST_BYTES:
        raise BadInput(f"{source} is larger than {MOST_BYTES:,} bytes, the most a chart may have.")
    try:
        return raw.removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        line = before.count(b"\n") + 1
        column = len(before[before.rfind(b"\n") + 1 :].decode("utf-8", "replace")) + 1
        sentence = f"The byte {raw[error.start]:02X} is not UTF-8 text."
        raise ChartFaults((Fault(line, column, "", sentence, "Save the file as UTF-8.", source),)) from None


def parse(text: str, source: str) -> TomlText:
    """TOML text to values with places. Raises ChartFaults with every syntax fault that can be told apart."""
    if len(text) > MOST_BYTES:
        raise BadInput(f"{source} is larger than {MOST_BYTES:,} characters, the most a chart may have.")
    text = text.replace("\r\n", "\n")
    long_key = _too_many_dots(text)
    if long_key:
        raise ChartFaults((Fault(long_key, 1, "", "This key has too many parts.", "A chart has no such key.", source),))
    faults: list[Fault] = []
    rest = text
    while True:
        try:
            data = tomllib.loads(rest)
            break
        except tomllib.TOMLDecodeError as error:
            fault = _syntax_fault(error, source)
            faults.append(fault)
            following = _without_line(rest, fault.line)
            if following is None or len(faults) >= _MOST_SYNTAX_FAULTS:
                raise ChartFaults(tuple(faults)) from None
            rest = following
        except RecursionError:
            faults.append(Fault(0, 0, "", "Arrays or tables are nested too deeply.", "A chart needs 6 levels.", source))
            raise ChartFaults(tuple(faults)) from None
        except ValueError as error:  # a number of thousands of digits, a date that does not exist
            faults.append(Fault(0, 0, "", f"A value cannot be read: {error}.", "Correct it.", source))
            raise ChartFaults(tuple(faults)) from None
    if faults:
        raise ChartFaults(tuple(faults))
    return TomlText(source, text, data, Places(text))


def _too_many_dots(text: str) -> int:
    """Number of the first line whose key has more parts than any chart needs (such keys cost quadratic time), or 0."""
    if text.count(".") <= _MOST_DOTS:
        return 0
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") > _MOST_DOTS:
            key = line.lstrip().lstrip("[{").split("=", 1)[0]
            if key.count(".") > _MOST_DOTS and not key.lstrip().startswith(("#",)):
                return number
            if line.count("=") and max(part.count(".") for part in re.split(r"[,{]", line)) > _MOST_DOTS * 8:
                return number
    return 0


def _syntax_fault(error: tomllib.TOMLDecodeError, source: str) -> Fault:
    message = str(error)
    match = _WHERE.search(message)
    said = message[: match.start()] if match else message
    line, column = (int(match.group(1)), int(match.group(2))) if match and match.group(1) else (0, 0)
    remedy = next((text for start, text in _REMEDIES.items() if said.startswith(start)), "Correct the line.")
    end = "" if line else " at the end of the file"
    return Fault(line, column, "", f"This is not TOML: {said[:1].lower()}{said[1:]}{end}.", remedy, source)


def _without_line(text: str, line: int) -> str | None:
    """The text with one line blanked, to find further faults; None where going on would only produce echoes."""
    lines = text.split("\n")
    if not 1 <= line <= len(lines) or len(text) > 200_000:
        return None
    wrong = lines[line - 1].strip()
    if not wrong or wrong.startswith("[") or '"""' in wrong or "'''" in wrong or _opens(wrong):
        return None
    lines[line - 1] = ""
    return "\n".join(lines)


def _opens(line: str) -> bool:
    """True where a line opens or closes an array or table that goes on elsewhere."""
    return line.count("[") != line.count("]") or line.count("{") != line.count("}") or "=" not in line
