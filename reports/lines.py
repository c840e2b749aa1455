"""Where a line of text breaks. Which font has a letter is `fonts.py`'s matter, where a line stands `layout.py`'s."""

from __future__ import annotations

import re

from reports import fonts
from reports.scripts import clean, in_reading_order

# Han, kana and Hangul may break after every letter; all else breaks at spaces.
_WORDS = re.compile(
    r"[\u1100-\u11ff\u2e80-\u30ff\u3100-\u9fff\uac00-\ud7ff\uf900-\ufaff\uff00-\uffef]"
    r"|[^ \u1100-\u11ff\u2e80-\u30ff\u3100-\u9fff\uac00-\ud7ff\uf900-\ufaff\uff00-\uffef]+| +"
)


def width(text: str, size: float, *, bold: bool = False) -> float:
    """How wide the line is when drawn, in points."""
    return fonts.width(in_reading_order(text), size, bold=bold)


def wrap(text: object, size: float, room: float, *, bold: bool = False) -> list[str]:
    """The text in lines no wider than `room` points; a word that fits no line is cut between letters."""
    done: list[str] = []
    line = ""
    for word in _WORDS.findall(fonts.spelled(clean(text))):
        if width(line + word.rstrip(" "), size, bold=bold) <= room:
            line += word
            continue
        if line.strip(" "):
            done.append(line.rstrip(" "))
        *full, line = _cut(word.lstrip(" "), size, room, bold=bold)
        done += full
    return [*done, line.rstrip(" ")] if line.strip(" ") or not done else done


def _cut(word: str, size: float, room: float, *, bold: bool) -> list[str]:
    parts, part = [], ""
    for letter in word:
        if part and width(part + letter, size, bold=bold) > room:
            parts.append(part)
            part = ""
        part += letter
    return [*parts, part]


def shortened(text: object, size: float, room: float, *, bold: bool = False) -> str:
    """The text on one line; what does not fit ends in an ellipsis."""
    lines = wrap(text, size, room, bold=bold)
    if len(lines) == 1:
        return lines[0]
    line = lines[0]
    while line and width(line + "\N{HORIZONTAL ELLIPSIS}", size, bold=bold) > room:
        line = line[:-1]
    return line.rstrip(" ") + "\N{HORIZONTAL ELLIPSIS}"
