"""Text from people made fit to print: what may not be printed taken out, right-to-left words put in reading order.

Not here: which font has a letter (`fonts.py`), where a line breaks (`lines.py`). This is less than the Unicode
bidirectional algorithm: the page runs from left to right, each stretch of right-to-left words in its own order.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache

_RIGHT = frozenset({"R", "AL"})
_FORMS = range(0xFE70, 0xFEFD)


def clean(text: object) -> str:
    """One printable string: composed letters, no control or direction-changing characters, single spaces."""
    composed = unicodedata.normalize("NFC", str(text))
    kept = (" " if unicodedata.category(c) in {"Cc", "Zl", "Zp"} else c for c in composed)
    visible = (f"U+{ord(c):04X}" if unicodedata.category(c) == "Cs" else c for c in kept)
    return re.sub(r"\s+", _narrowest, "".join(c for c in visible if unicodedata.category(c) != "Cf")).strip(" ")


def _narrowest(spaces: re.Match[str]) -> str:
    return spaces[0] if spaces[0] == "\N{NO-BREAK SPACE}" else " "


def in_reading_order(line: str) -> str:
    """The line as it is drawn from left to right: Arabic letters joined, right-to-left stretches turned round."""
    if not any(unicodedata.bidirectional(c) in _RIGHT for c in line):
        return line
    return "".join(_turned(part) for part in _stretches(_joined(line)))


def _stretches(line: str) -> list[str]:
    """Alternate stretches; a right-to-left one starts and ends with such a letter and keeps what stands between."""
    ends = [i for i, c in enumerate(line) if unicodedata.bidirectional(c) in _RIGHT]
    strong = [i for i, c in enumerate(line) if unicodedata.bidirectional(c) == "L"]
    parts, begin = [], 0
    while ends:
        start = ends[0]
        wall = next((i for i in strong if i > start), len(line))
        last = max(i for i in ends if i < wall)
        while last + 1 < len(line) and unicodedata.bidirectional(line[last + 1]) == "NSM":
            last += 1
        parts += [line[begin:start], line[start : last + 1]]
        begin, ends = last + 1, [i for i in ends if i > last]
    return [*parts, line[begin:]]


def _turned(part: str) -> str:
    """Turn a right-to-left stretch round; figures and other left-to-right groups inside keep their own order."""
    if not part or unicodedata.bidirectional(part[0]) not in _RIGHT:
        return part
    groups = re.findall(r"\d+(?:[.,:/]\d+)*|.", part, flags=re.DOTALL)
    turned = "".join(_mirrored(group) for group in reversed(groups))
    return _marks_after_letters(turned)


def _mirrored(group: str) -> str:
    return group.translate(str.maketrans("()[]{}<>", ")(][}{><")) if len(group) == 1 else group


def _marks_after_letters(turned: str) -> str:
    """Turning puts a mark before its letter; a font expects it behind."""
    out: list[str] = []
    held: list[str] = []
    for c in turned:
        if unicodedata.bidirectional(c) == "NSM":
            held.append(c)
        else:
            out += [c, *reversed(held)]
            held = []
    return "".join(out + held)


@cache
def _forms() -> dict[str, dict[str, str]]:
    """Letter to its drawn forms, from the character database: beh to its initial, medial, final and isolated form."""
    forms: dict[str, dict[str, str]] = {}
    for code in _FORMS:
        kind, _, base = unicodedata.decomposition(chr(code)).partition(" ")
        if kind and " " not in base:
            forms.setdefault(chr(int(base, 16)), {})[kind.strip("<>")] = chr(code)
    return forms


def _joined(line: str) -> str:
    """Each Arabic letter in the form that its neighbours ask for; letters that join on one side only keep to it."""
    forms = _forms()
    letters = [i for i, c in enumerate(line) if unicodedata.bidirectional(c) != "NSM"]
    out = list(line)
    for at, i in enumerate(letters):
        own = forms.get(line[i], {})
        before = forms.get(line[letters[at - 1]], {}) if at else {}
        after = forms.get(line[letters[at + 1]], {}) if at + 1 < len(letters) else {}
        from_before = "initial" in before and "final" in own
        to_after = "initial" in own and "final" in after
        kind = {(True, True): "medial", (True, False): "final", (False, True): "initial"}.get((from_before, to_after))
        out[i] = own.get(kind or "isolated", line[i])
    return "".join(out)
