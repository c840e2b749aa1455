"""Damaged FIT files: what is sound is read, what was lost is said, or the file is refused; never an accident."""

import random
from datetime import UTC, datetime

import numpy as np
import pytest

from analysis.readers.faults import Refused
from analysis.readers.recording import read_recording
from tests.analysis.readers.fit_files import fit_file

START = datetime(2026, 5, 9, 8, tzinfo=UTC)


@pytest.fixture(scope="module")
def whole():
    samples = [{"power": 200 + second, "speed": 10.0, "distance": 10.0 * second} for second in range(60)]
    return fit_file(START, samples, laps=((0, 30), (30, 60)))


def damage(recording):
    return [note.what for note in recording.notes if note.code == "file_damaged"]


def test_a_cut_file_gives_its_samples_and_says_how_much_is_lost(whole):
    half = len(whole) // 2
    recording = read_recording("day.fit", whole[:half])
    power = recording.columns["power_w"]
    assert 20 < power.size < 40
    assert power.tolist() == [200 + second for second in range(power.size)]
    (what,) = damage(recording)
    stopped, lost = (int(word) for word in what.replace(";", " ").split() if word.isdigit())
    assert stopped <= half
    assert stopped + lost == len(whole)


def test_a_flipped_bit_is_found_by_the_checksum(whole):
    broken = bytearray(whole)
    broken[-3] ^= 1
    recording = read_recording("day.fit", bytes(broken))
    assert recording.time_s.size == 60
    assert "checksum" in damage(recording)[0]


def test_a_broken_first_part_does_not_hide_the_second(whole):
    later = fit_file(START.replace(hour=9), [{"power": 300}] * 5)
    recording = read_recording("day.fit", whole[: len(whole) // 2] + later)
    assert recording.columns["power_w"][-5:].tolist() == [300] * 5
    assert any("reading stopped" in what for what in damage(recording))


def test_a_device_that_never_closed_its_file_loses_nothing_written(whole):
    unclosed = whole[:4] + bytes(4) + whole[8:-2]
    recording = read_recording("day.fit", unclosed)
    assert recording.time_s.size == 60
    assert "did not close the file" in damage(recording)[0]


def test_zeros_behind_the_end_are_no_damage_and_anything_else_is(whole):
    assert damage(read_recording("day.fit", whole + bytes(64))) == []
    assert "100 bytes from there on are lost" in damage(read_recording("day.fit", whole + b"\1" * 100))[0]
    assert damage(read_recording("day.fit", whole[:-40] + bytes(40)))


def test_a_file_cut_before_its_first_sample_is_refused_with_the_reason(whole):
    with pytest.raises(Refused, match=r"day.fit, samples: found no record with a time; reading stopped at byte"):
        read_recording("day.fit", whole[:40])


def test_no_mutation_breaks_the_reader(whole):
    rng = random.Random(20260509)
    read = 0
    for _ in range(150):
        broken = bytearray(whole)
        for _ in range(rng.randint(1, 8)):
            broken[rng.randrange(12, len(broken))] = rng.randrange(256)
        cut = rng.choice([len(broken), rng.randrange(20, len(broken))])
        try:
            recording = read_recording("day.fit", bytes(broken[:cut]))
        except Refused:
            continue
        read += 1
        assert (np.diff(recording.time_s) > 0).all()
        assert all(values.size == recording.time_s.size for values in recording.columns.values())
    assert read > 50
