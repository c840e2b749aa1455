"""The fonts that go into a report, and which of them writes which letter.

The library falls back for no glyph, so text is cut into pieces by the first font that has the letter. The two large
fonts (Han and kana, Hangul) are read only when a text needs them. Order of letters is `scripts.py`'s matter.
"""

from __future__ import annotations

from functools import cache
from itertools import groupby
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

FOLDER = Path(__file__).parent / "fonts"
REGULAR, BOLD = "NotoSans-Regular", "NotoSans-Bold"
SPARE = ("DejaVuSans", "NotoSansSC-Regular", "NotoSansKR-Regular")


@cache
def _font(name: str) -> TTFont:
    font = TTFont(name, str(FOLDER / f"{name}.ttf"))
    pdfmetrics.registerFont(font)
    return font


def load_main_fonts() -> None:
    """Register the two that every report uses."""
    _font(REGULAR)
    _font(BOLD)


@cache
def _writer(letter: str, bold: bool) -> str | None:
    """The first font that has the letter; None when no font has it.

    Letters beyond U+FFFF count as not there: the library writes a broken way back from glyph to letter for them.
    """
    if ord(letter) > 0xFFFF:
        return None
    names = (BOLD if bold else REGULAR, *SPARE)
    return next((name for name in names if ord(letter) in _font(name).face.charToGlyph), None)


def spelled(text: str) -> str:
    """The text with every letter that no font has written as its code point, so that nothing is lost."""
    return "".join(letter if _writer(letter, bold=False) else f"U+{ord(letter):04X}" for letter in text)


def pieces(text: str, *, bold: bool) -> list[tuple[str, str]]:
    """The text cut into (font, piece), in order."""
    ready = spelled(text)
    return [
        (name or REGULAR, "".join(letters))
        for name, letters in groupby(ready, key=lambda letter: _writer(letter, bold=bold))
    ]


def width(text: str, size: float, *, bold: bool = False) -> float:
    """How wide the text will be, in points."""
    return float(sum(_font(name).stringWidth(piece, size) for name, piece in pieces(text, bold=bold)))
