"""How much the readers accept before they refuse. Settings may hand in others."""

from __future__ import annotations

from dataclasses import dataclass

MIB = 1024 * 1024


@dataclass(frozen=True, slots=True)
class Limits:
    """Caps on what is read; each refusal names the cap it met."""

    max_bytes: int = 64 * MIB  # one recording
    max_samples: int = 2_000_000  # of one recording: three weeks at one a second
    max_members: int = 1_000  # files in a folder or zip
    max_total_bytes: int = 256 * MIB  # all files of a bundle, unpacked
    max_document_bytes: int = 4 * MIB  # session.json
    max_ratio: int = 200  # unpacked to packed, of one member over 1 MiB


USUAL_LIMITS = Limits()
