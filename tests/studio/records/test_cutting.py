"""One recording cut into runs: each part once, each with its setup, all or none."""

from datetime import timedelta

import numpy as np
import pytest

from analysis.readers.parquet import recording_to_parquet
from analysis.readers.samples import Lap, Recording
from studio.records.errors import Conflict, Unusable
from studio.records.models import RecordingState, Run
from studio.records.services.cutting import recording_cut
from studio.records.services.recordings import recording_read
from studio.records.store import keep_file
from tests.factories import NOON, FieldSessionFactory, RecordingFactory, RunFactory, SetupFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _own_files(settings, tmp_path):
    settings.FILES_FOLDER = tmp_path / "files"


@pytest.fixture
def session():
    return FieldSessionFactory()


@pytest.fixture
def setups(session):
    return [SetupFactory(bike=session.bike, label=label) for label in "AB"]


LAPS = (Lap(1, 0.0, 100.0), Lap(2, 100.0, 200.0), Lap(3, 200.0, np.inf))


def day(session, *, start=NOON):
    """A recording of five minutes that was read."""
    reading = Recording("fit", start, np.arange(300.0), {"power_w": np.full(300, 250.0)}, laps=LAPS)
    stored = keep_file(studio_id=session.studio_id, chunks=[recording_to_parquet(reading)])
    recording = RecordingFactory(session=session, filename="day.fit")
    return recording_read(recording=recording, reading=reading, channels_sha256=stored.sha256)


def at(seconds):
    return NOON + timedelta(seconds=seconds)


def part(setup, start_s, end_s, **more):
    return {"setup": setup, "started_at": at(start_s), "ended_at": at(end_s), **more}


def test_laps_become_runs_with_the_setups_chosen(session, setups):
    a, b = setups
    cuts = [{"setup": a, "lap": 1}, {"setup": b, "lap": 2}, {"setup": b, "lap": 3, "left_out": "a gate"}]
    runs = recording_cut(recording=day(session), cuts=cuts, by=None)
    assert [(run.number, run.setup, run.lap, run.left_out) for run in runs] == [
        (1, a, 1, ""), (2, b, 2, ""), (3, b, 3, "a gate"),
    ]  # fmt: skip
    assert [link.setup for link in session.setup_links.all()] == [a, b]


def test_times_become_runs_after_those_that_are_there(session, setups):
    RunFactory(session=session, number=7, setup=setups[0], recording=None)
    cuts = [part(setups[0], 0, 100), part(setups[1], 100, 250)]
    assert [run.number for run in recording_cut(recording=day(session), cuts=cuts, by=None)] == [8, 9]


def test_the_whole_of_it_can_be_one_run(session, setups):
    (run,) = recording_cut(recording=day(session), cuts=[{"setup": setups[0]}], by=None)
    assert (run.lap, run.started_at, run.recording.filename) == (None, None, "day.fit")


def refused(session, cuts, match, **facts):
    with pytest.raises(Unusable, match=match) as refusal:
        recording_cut(recording=day(session, **facts), cuts=cuts, by=None)
    assert not Run.objects.filter(recording__filename="day.fit").exists()
    return [fault.key for fault in refusal.value.faults]


def test_every_fault_is_told_and_no_run_is_made(session, setups):
    cuts = [{"setup": setups[0], "lap": 9}, {"setup": setups[0], "lap": 1}, part(setups[1], 900, 950)]
    assert refused(session, cuts, "a lap of the recording: 1, 2, 3") == ["runs.0.lap", "runs.2.from"]


def test_a_part_is_given_out_once(session, setups):
    cuts = [{"setup": setups[0], "lap": 1}, part(setups[1], 90, 150), part(setups[1], 150, 160)]
    assert refused(session, cuts, "a part that run 1 has too") == ["runs.1.from"]


def test_a_part_of_an_earlier_run_is_not_given_out_again(session, setups):
    recording = day(session)
    recording_cut(recording=recording, cuts=[part(setups[0], 0, 100)], by=None)
    with pytest.raises(Unusable, match="a part that run 1 has too"):
        recording_cut(recording=recording, cuts=[{"setup": setups[1]}], by=None)


def test_what_is_left_out_takes_nothing_away(session, setups):
    recording = day(session)
    recording_cut(recording=recording, cuts=[{"setup": setups[0], "lap": 1, "left_out": "wrong tyre"}], by=None)
    assert recording_cut(recording=recording, cuts=[{"setup": setups[1], "lap": 1}], by=None)


def test_seconds_without_a_clock_are_cut_by_lap_only(session, setups):
    assert refused(session, [part(setups[0], 0, 50)], "seconds and no clock, allowed: a lap", start=None) == [
        "runs.0.from"
    ]


def test_a_lap_of_seconds_without_a_clock(session, setups):
    (run,) = recording_cut(recording=day(session, start=None), cuts=[{"setup": setups[0], "lap": 2}], by=None)
    assert run.lap == 2


def test_a_setup_of_another_bike_is_refused(session):
    assert refused(session, [{"setup": SetupFactory(bike__rider=session.rider), "lap": 1}], "of another bike") == [
        "runs.0.setup"
    ]


def test_what_is_not_read_cannot_be_cut(session, setups):
    recording = RecordingFactory(session=session, state=RecordingState.STORED)
    with pytest.raises(Conflict, match="is not read: wait for its job"):
        recording_cut(recording=recording, cuts=[{"setup": setups[0]}], by=None)
