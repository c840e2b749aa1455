"""The FIT library's decoder, made to step over one odd field instead of giving up the file (or misreading it).

Loading this module loads the library: import it where a file is decoded, not at the top.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import IO, Any, Protocol

import fitdecode
from fitdecode.types import BASE_TYPE_BYTE


class _Field(Protocol):
    """What a definition says of one field."""

    size: int
    base_type: Any


class _Definition(Protocol):
    """The layout of the messages that follow."""

    field_defs: list[_Field]
    dev_field_defs: list[_Field]


class _Described(Protocol):
    """A message that describes a developer's field."""

    def get_raw_value(self, name: str, *, fallback: object) -> object:
        """What the message says of `name`."""


def frames_of(stream: IO[bytes]) -> Iterator[Any]:
    """The frames of one file as the library gives them."""
    options = {"check_crc": fitdecode.CrcCheck.READONLY, "error_handling": fitdecode.ErrorHandling.IGNORE}
    return iter(_Decoder(stream, processor=None, **options))


class _Decoder(fitdecode.FitReader):  # type: ignore[misc]  # the library has no types
    """Fields are found by their sizes alone, so a field that cannot be understood costs nothing but itself."""

    def _read_definition_message(self, header_chunk: bytes, record_header: object) -> _Definition:
        """As the library reads it; fields without a byte are dropped, and sizes that no value fills are bytes.

        The library does the latter for the profile's fields. A developer's it would read a few bytes short, and take
        the rest for the next message.
        """
        definition: _Definition = super()._read_definition_message(header_chunk, record_header)
        definition.field_defs = [one for one in definition.field_defs if one.size]
        definition.dev_field_defs = [one for one in definition.dev_field_defs if one.size]
        for one in definition.dev_field_defs:
            if one.size % one.base_type.size:
                one.base_type = BASE_TYPE_BYTE
        return definition

    def _add_dev_field_description(self, message: _Described) -> None:
        """As the library does it; a field of a kind or a developer that the file does not know is bytes."""
        index = message.get_raw_value("developer_data_index", fallback=None)
        if index not in self._local_dev_types:
            self._add_dev_data_id_impl(index)
        try:
            super()._add_dev_field_description(message)
        except KeyError:  # no such base type
            number = message.get_raw_value("field_definition_number", fallback=None)
            self._add_dev_field_description_impl(index, number)
