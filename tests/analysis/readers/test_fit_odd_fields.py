"""FIT fields that nobody can read (odd sizes, unknown kinds, no developer) cost nothing but themselves.

The bytes are laid out by hand after the open FIT protocol (definition and data messages, developer fields: message 207
developer_data_id, 206 field_description), from memory: no encoder writes such files.
"""

import struct

import numpy as np
import pytest

from analysis.readers.recording import read_recording

SAMPLES, FIRST, RECORD, DEVELOPER, DESCRIPTION = 20, 1_147_248_000, 20, 207, 206
FLOAT32, UINT8, UINT16, UINT32, TEXT, BYTES = 0x88, 0x02, 0x84, 0x86, 0x07, 0x0D
TIMESTAMP, POWER = (253, 4, UINT32), (7, 2, UINT16)


def definition(number, *fields, developer=()):
    flag = 0x60 if developer else 0x40
    counted = bytes([len(developer)]) + b"".join(map(bytes, developer)) if developer else b""
    return struct.pack("<BxBHB", flag, 0, number, len(fields)) + b"".join(map(bytes, fields)) + counted


def crc16(data):
    """CRC-16/ARC: the checksum that FIT uses (polynomial 0x8005, reflected)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


def fit_with(value, *, base_type=FLOAT32, announced=True):
    """A ride of 20 seconds whose records end in a developer field that holds the bytes `value`."""
    body = b""
    if announced:
        body += definition(DEVELOPER, (1, 16, BYTES), (3, 1, UINT8)) + b"\0" + bytes(16) + b"\0"
    body += definition(DESCRIPTION, (0, 1, UINT8), (1, 1, UINT8), (2, 1, UINT8), (3, 8, TEXT))
    body += b"\0" + bytes([0, 0, base_type]) + b"odd".ljust(8, b"\0")
    body += definition(RECORD, TIMESTAMP, POWER, developer=[(0, len(value), 0)])
    for second in range(SAMPLES):
        body += b"\0" + struct.pack("<IH", FIRST + second, 200 + second) + value
    head = struct.pack("<BBHI4s", 12, 0x20, 2100, len(body), b".FIT")
    return head + body + struct.pack("<H", crc16(head + body))


@pytest.mark.parametrize("size", [0, 1, 3, 5, 6, 255])
def test_a_developer_field_that_no_value_fills_does_not_cost_the_ride(size):
    recording = read_recording("day.fit", fit_with(b"\x41" * size))
    assert recording.columns["power_w"].tolist() == [200 + second for second in range(SAMPLES)]
    assert recording.time_s.tolist() == list(range(SAMPLES))
    assert not recording.notes


def test_a_developer_field_of_a_kind_that_does_not_exist_does_not_cost_the_ride():
    recording = read_recording("day.fit", fit_with(b"\x41" * 4, base_type=0x55))
    assert recording.columns["power_w"].size == SAMPLES


def test_a_developer_field_of_a_developer_who_is_not_named_is_read():
    recording = read_recording("day.fit", fit_with(struct.pack("<f", 12.5), announced=False))
    assert recording.extra["developer0.odd"].tolist() == [12.5] * SAMPLES


def test_a_developer_field_of_several_values_is_left_unread_and_the_ride_stays():
    recording = read_recording("day.fit", fit_with(struct.pack("<2f", 12.5, 13.5)))
    assert np.isfinite(recording.columns["power_w"]).all()
    assert "developer0.odd" in recording.device["unread_fields"]
