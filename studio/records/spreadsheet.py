"""Text that goes into a CSV file for spreadsheets: none of it runs there, and it is the same when it comes back."""

from __future__ import annotations

import re

# What a spreadsheet would run (OWASP, CSV injection, with the full-width signs; from memory).
FULL_WIDTH = "\N{FULLWIDTH EQUALS SIGN}\N{FULLWIDTH PLUS SIGN}\N{FULLWIDTH HYPHEN-MINUS}\N{FULLWIDTH COMMERCIAL AT}"
FORMULA = f"[=+\\-@\t\r\n{FULL_WIDTH}]"
WOULD_RUN = re.compile(f"'*{FORMULA}")
WAS_MADE_HARMLESS = re.compile(f"'+{FORMULA}")


def harmless(text: str) -> str:
    """The text behind an apostrophe where a spreadsheet would run it, or where it looks like one made so."""
    return f"'{text}" if WOULD_RUN.match(text) else text


def as_written(text: str) -> str:
    """The text before `harmless`."""
    return text[1:] if WAS_MADE_HARMLESS.match(text) else text
