"""Two runs of the same samples, or of the same minutes: one ride is one piece of evidence."""

from datetime import timedelta

import pytest

from analysis.readers.bundle import core_session
from analysis.readers.faults import Refused
from analysis.readers.recording import read_recording
from tests.analysis.readers.bundles import START, csv_bytes, document

SECONDS = b"time,power_w,speed_mps\n" + b"".join(b"%d,%d,10\n" % (at, 250 + at % 7) for at in range(30))


def session_of(contents, *runs):
    doc = document()
    doc["runs"] = [{"number": at + 1, "setup": "A", **run} for at, run in enumerate(runs)]
    return core_session(doc, {name: read_recording(name, data) for name, data in contents.items()})


def part(start_s, end_s, **more):
    ends = {"from": START + timedelta(seconds=start_s), "to": START + timedelta(seconds=end_s)}
    return {"recording": "day.csv", **{key: moment.isoformat() for key, moment in ends.items()}, **more}


@pytest.mark.parametrize("second", [{"recording": "day.csv"}, part(50, 150)], ids=["whole", "overlapping part"])
def test_the_same_samples_are_no_second_run(second):
    with pytest.raises(Refused, match=r"runs\[1\]: found the samples of run 1 again, from 'day.csv'; allowed: a part"):
        session_of({"day.csv": csv_bytes(200)}, part(0, 100), second)


def test_parts_that_touch_or_are_left_out_may_be_there():
    runs = part(0, 100), part(95, 195), part(0, 100, left_out="traffic")
    session = session_of({"day.csv": csv_bytes(200)}, *runs)
    assert len(session.runs) == 3
    assert session.notes == ()


@pytest.mark.parametrize("content", [csv_bytes(60), SECONDS], ids=["with a clock", "seconds"])
def test_a_copy_under_another_name_is_no_second_run(content):
    with pytest.raises(Refused, match=r"runs\[1\]: found the samples of run 1 again, from 'b.csv'"):
        session_of({"a.csv": content, "b.csv": content}, {"recording": "a.csv"}, {"recording": "b.csv"})


def test_another_ride_of_the_same_minutes_is_told():
    other = csv_bytes(60).replace(b",250,", b",240,")
    session = session_of({"a.csv": csv_bytes(60), "b.csv": other}, {"recording": "a.csv"}, {"recording": "b.csv"})
    assert [(note.code, note.level, note.where) for note in session.notes] == [("clock_offset", "caution", "run 2")]
