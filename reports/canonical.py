"""One text for one JSON document, so that equal facts are equal bytes and have one fingerprint."""

from __future__ import annotations

import hashlib
import json


def canonical(document: object) -> bytes:
    """Keys in order, numbers as stored, UTF-8; refuses what JSON has no word for (NaN)."""
    text = json.dumps(document, sort_keys=True, ensure_ascii=False, indent=1, allow_nan=False)
    return text.encode("utf-8", "backslashreplace")  # a lone surrogate becomes the escape that JSON has for it


def fingerprint(document: object) -> str:
    """SHA-256 of the canonical text."""
    return hashlib.sha256(canonical(document)).hexdigest()
