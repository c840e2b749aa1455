"""Runs proposed out of one day: simulated days whose runs are known, whatever channels and pauses they have."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.simulate import World
from analysis.readers.proposals import proposed_runs
from tests.analysis.readers.days import one_day

OUT = World(order="ABBA", start_scatter_sd_m=4.0, turn_scatter_sd_m=4.0, pause_s=120)
LAPS = World(order="ABBA", kind="lap", length_m=800, laps=3, pause_s=120)
LATE_S = 4.0  # a run's ends are found by standing and by places some metres apart


def by_paths(recording, *course):
    return [proposal for proposal in proposed_runs(recording, *course) if proposal.by == "paths"]


def without(recording, *channels):
    columns = {name: values for name, values in recording.columns.items() if name not in channels}
    return replace(recording, columns=columns)


def found(proposals, spans):
    ends = [(proposal.start_s, proposal.end_s) for proposal in proposals]
    return ends == [pytest.approx(span, abs=LATE_S) for span in spans]


@pytest.fixture(scope="module")
def out_day():
    return one_day(OUT)


@pytest.fixture(scope="module")
def lap_day():
    return one_day(LAPS)


@pytest.mark.parametrize("course", [(), ("out_and_back", 1500.0)], ids=["unknown", "known"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_out_and_backs_are_found_by_their_places(seed, course):
    recording, spans = one_day(OUT, seed)
    proposals = by_paths(recording, *course)
    assert found(proposals, spans)
    assert [proposal.paths for proposal in proposals] == [1] * 4


@pytest.mark.parametrize("course", [(), ("lap", 800.0)], ids=["unknown", "known"])
def test_rounds_are_counted(lap_day, course):
    recording, spans = lap_day
    proposals = by_paths(recording, *course)
    assert found(proposals, spans)
    assert [proposal.paths for proposal in proposals] == [3] * 4


@pytest.mark.parametrize(
    "missing",
    [("speed_mps",), ("speed_mps", "distance_m"), ("distance_m",), ("latitude_deg",), ("latitude_deg", "speed_mps")],
)
@pytest.mark.parametrize("course", [(), ("out_and_back", 1500.0)], ids=["unknown", "known"])
def test_whatever_channels_there_are(out_day, missing, course):
    recording, spans = out_day
    assert found(by_paths(without(recording, *missing), *course), spans)


def test_a_device_that_stops_when_the_rider_stands(out_day):
    recording, spans = out_day
    moving = recording.columns["speed_mps"] > 0
    columns = {name: values[moving] for name, values in recording.columns.items()}
    paused = replace(recording, time_s=recording.time_s[moving], columns=columns)
    assert found(by_paths(paused), spans)


def test_lost_samples_within_a_run_do_not_cut_it(out_day):
    recording, spans = out_day
    kept = ~((recording.time_s > spans[1][0] + 40) & (recording.time_s < spans[1][0] + 70))
    columns = {name: values[kept] for name, values in recording.columns.items()}
    assert found(by_paths(replace(recording, time_s=recording.time_s[kept], columns=columns)), spans)


def test_the_way_there_is_no_run(out_day):
    recording, spans = out_day
    late = recording.time_s >= spans[0][0] + 150  # the first run begins on its way: what is left does not close
    columns = {name: values[late] for name, values in recording.columns.items()}
    cut = replace(recording, time_s=recording.time_s[late], columns=columns)
    assert found(by_paths(cut, "out_and_back", 1500.0), spans[1:])


def test_a_path_of_another_length_is_no_run(out_day):
    assert by_paths(out_day[0], "out_and_back", 1000.0) == []


def test_laps_are_proposed_beside_the_paths(out_day):
    recording, spans = out_day
    proposals = [proposal for proposal in proposed_runs(recording) if proposal.by == "laps"]
    assert [proposal.lap for proposal in proposals] == [1, 2, 3, 4]
    assert [proposal.distance_m for proposal in proposals] == [pytest.approx(3000, abs=60)] * 4
    assert found(proposals, spans)


def test_one_lap_over_everything_proposes_nothing(out_day):
    recording = replace(out_day[0], laps=out_day[0].laps[:1])
    assert {proposal.by for proposal in proposed_runs(recording)} == {"paths"}


@pytest.mark.parametrize("samples", [1, 2, 3, 5, 6, 30])
def test_few_samples_or_no_channel_propose_nothing(out_day, samples):
    recording = out_day[0]
    columns = {name: values[:samples] for name, values in recording.columns.items()}
    few = replace(recording, time_s=recording.time_s[:samples], columns=columns, laps=())
    assert proposed_runs(few) == ()
    assert proposed_runs(replace(recording, columns={}, laps=())) == ()
    blank = {name: np.full(values.size, np.nan) for name, values in recording.columns.items()}
    assert proposed_runs(replace(recording, columns=blank, laps=())) == ()


def test_a_proposal_says_its_times_as_a_bundle_does(out_day):
    recording, _ = out_day
    plain = proposed_runs(recording)[0].document(recording)
    assert plain["from"].startswith("2026-05-09T08:00:0")
    assert plain["to"].endswith("Z")
    assert plain["lap"] == 1
