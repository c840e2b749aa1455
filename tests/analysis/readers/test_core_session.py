"""From document and recordings to the estimator's terms: cuts, units, notes. Conversions are SI by definition."""

import math

import numpy as np
import pytest

from analysis.core.types import Questions
from analysis.readers.bundle import core_session
from analysis.readers.faults import Refused
from analysis.readers.recording import read_recording
from tests.analysis.readers.bundles import START, csv_bytes, document, files
from tests.analysis.readers.fit_files import fit_file


def session_of(doc, contents=None, **options):
    contents = files() if contents is None else contents
    recordings = {name: read_recording(name, data, zone="Atlantic/Azores") for name, data in contents.items()}
    return core_session(doc, recordings, **options)


def one_run(**cut):
    return document(runs=[{"number": 1, "setup": "A", "recording": "day.csv", **cut}])


def test_the_facts_of_the_document_reach_the_estimator():
    session = session_of(document(smallest_difference_m2=0.003, repeatability={"sd_m2": 0.0012, "df": 30}))
    assert (session.reference, session.system_mass_kg, session.rider_mass_kg) == ("A", 82.0, 72.4)
    assert (session.bike.mass_kg, session.bike.wheel_circumference_m) == (8.9, 2.0986)
    assert (session.crr, session.drivetrain_efficiency, session.smallest_difference_m2) == (0.004, 0.975, 0.003)
    assert (session.repeatability.sd_m2, session.repeatability.df) == (0.0012, 30)
    assert (session.course.kind, session.course.length_m) == ("out_and_back", 1500)
    assert session.course.bearing_rad == pytest.approx(math.pi / 2)
    assert session.notes == ()


def test_units_are_si_and_radians():
    channels = session_of(document()).runs[0].channels
    assert channels.latitude_rad[0] == pytest.approx(math.radians(52.31))
    assert channels.yaw_rad[0] == pytest.approx(math.radians(-4.5))
    assert channels.pressure_pa[0] == pytest.approx(100850)
    assert channels.humidity[0] == pytest.approx(0.55)
    assert channels.temperature_k is None
    weather = session_of(document()).weather[0]
    assert (weather.temperature_k, weather.pressure_pa, weather.humidity) == pytest.approx((291.15, 100800, 0.55))


def test_time_counts_from_the_first_sample_of_the_session():
    doc = document()
    doc["runs"].reverse()
    session = session_of(doc)
    assert [run.number for run in session.runs] == [1, 2]
    assert session.runs[0].channels.time_s[:2].tolist() == [0, 1]
    assert session.runs[1].channels.time_s[0] == 600


def test_factors_are_the_comparable_facts():
    first, second = session_of(document()).setups
    assert first.factors == {"items.helmet": "Orlo Vent", "position": {"pad_stack_mm": 610}}
    assert second.factors == {"items.helmet": "Orlo Smooth", "tyre_pressure_kpa": {"front": 520, "rear": 540}}


def test_from_is_inside_and_to_is_not():
    session = session_of(
        one_run(**{"from": "2026-05-09T08:00:05Z", "to": "2026-05-09T09:00:10+01:00"}), {"day.csv": csv_bytes()}
    )
    assert session.runs[0].channels.distance_m.tolist() == [50, 60, 70, 80, 90]
    assert session.runs[0].channels.time_s[0] == 0


def test_one_recording_serves_several_runs():
    doc = document()
    doc["runs"] = [
        {"number": 1, "setup": "A", "recording": "day.csv", "to": "2026-05-09T08:00:10Z"},
        {"number": 2, "setup": "B", "recording": "day.csv", "from": "2026-05-09T08:00:10Z", "left_out": "a gate"},
    ]
    runs = session_of(doc, {"day.csv": csv_bytes()}).runs
    assert [run.channels.time_s.size for run in runs] == [10, 10]
    assert runs[1].channels.time_s[0] == 10
    assert [run.left_out for run in runs] == [None, "a gate"]


def laps(count=20):
    lines = csv_bytes(count).decode().splitlines()
    return "\n".join([lines[0] + ",lap", *(f"{line},{1 + at // 8}" for at, line in enumerate(lines[1:]))]).encode()


def test_a_lap_cuts_its_recording():
    channels = session_of(one_run(lap=2), {"day.csv": laps()}).runs[0].channels
    assert channels.distance_m.tolist() == [80 + 10 * at for at in range(8)]


@pytest.mark.parametrize(
    ("cut", "sentence"),
    [
        (
            {"from": "2026-05-09T10:00:00Z"},
            r"runs\[0\]: found a run outside its recording; allowed: within day.csv, 2026-05-09T08:00:00Z to",
        ),
        ({"to": "2026-05-09T08:00:00Z"}, r"runs\[0\]: found a run outside its recording"),
        ({"lap": 9}, r"runs\[0\].lap: found 9; allowed: a lap of day.csv: 1, 2, 3"),
    ],
)
def test_a_run_outside_its_recording_is_refused(cut, sentence):
    with pytest.raises(Refused, match=sentence):
        session_of(one_run(**cut), {"day.csv": laps()})


def test_a_lap_of_a_recording_without_laps_is_refused():
    with pytest.raises(Refused, match="a lap of day.csv: none: cut by from and to"):
        session_of(one_run(lap=1), {"day.csv": csv_bytes()})


def test_a_recording_that_was_not_handed_in_is_refused():
    with pytest.raises(Refused, match=r"runs\[1\]\.recording: found run-02\.csv"):
        session_of(document(), {"run-01.csv": csv_bytes()})


def test_a_run_longer_than_its_recording_is_noted():
    session = session_of(one_run(**{"from": "2026-05-09T08:00:00Z", "to": "2026-05-09T08:05:00Z"}), {"day.csv": laps()})
    (note,) = session.notes
    assert (note.code, note.where) == ("gaps", "run 1")
    assert "281 s beyond day.csv" in note.what


def test_a_fit_file_serves_its_laps():
    samples = [{"power": 200 + second, "distance": 10.0 * second} for second in range(30)]
    day = fit_file(START, samples, laps=((0, 12), (12, 24)))
    doc = document()
    doc["runs"] = [{"number": lap, "setup": "A", "recording": "day.fit", "lap": lap} for lap in (1, 2)]
    first, second = session_of(doc, {"day.fit": day}).runs
    assert (first.channels.power_w[-1], second.channels.power_w[0]) == (211, 212)
    assert second.channels.time_s.tolist() == list(range(12, 24))


def seconds_only(count):
    return ("time,power_w\n" + "".join(f"{second},{200 + second}\n" for second in range(count))).encode()


def test_recordings_without_a_clock_follow_each_other_and_that_is_stated():
    session = session_of(document(), {"run-01.csv": seconds_only(10), "run-02.csv": seconds_only(11)})
    assert [run.channels.time_s[0] for run in session.runs] == [0, 69]
    assert session.weather[0].time_s == 0
    assert [note.code for note in session.notes] == ["zone_assumed"]


def test_times_without_a_clock_cannot_cut():
    with pytest.raises(Refused, match=r"runs\[0\]\.from: found day.csv, which has seconds and no clock times"):
        session_of(one_run(**{"from": "2026-05-09T08:00:00Z"}), {"day.csv": seconds_only(10)})


def test_a_readers_note_stands_where_its_runs_are():
    broken = csv_bytes().replace(b",10.5,", b",nan,", 1)
    doc = document()
    doc["runs"] = [
        {"number": number, "setup": "A", "recording": "b.csv" if number in (2, 5, 6, 7) else "a.csv", "left_out": "x"}
        for number in range(1, 9)
    ]
    session = session_of(doc, {"a.csv": csv_bytes(), "b.csv": broken})
    assert [(note.code, note.where) for note in session.notes] == [("gaps", "run 2"), ("gaps", "runs 5-7")]


def test_a_missing_zone_is_noted_for_recordings_and_weather():
    doc = document()
    doc["weather"][0]["time"] = "2026-05-09T08:05:00"
    contents = {name: data.replace(b"Z,", b",") for name, data in files().items()}
    session = session_of(doc, contents)
    assert [(note.code, note.where) for note in session.notes] == [
        ("zone_assumed", "run 1"),
        ("zone_assumed", "run 2"),
        ("zone_assumed", "session"),
    ]
    assert session.weather[0].time_s == 300


def test_missing_masses_stay_missing():
    doc = document(system_mass_kg=None)
    del doc["rider"]["mass_kg"]
    doc["setups"][1]["system_mass_kg"] = 83.0
    doc["runs"][0]["system_mass_kg"] = 84.0
    session = session_of(doc)
    assert (session.system_mass_kg, session.rider_mass_kg) == (None, None)
    assert (session.setups[1].system_mass_kg, session.runs[0].system_mass_kg) == (83.0, 84.0)


def test_a_channel_of_gaps_only_is_absent():
    contents = {name: data.replace(b",10.5,", b",,") for name, data in files().items()}
    channels = session_of(document(), contents).runs[0].channels
    assert channels.speed_mps is None
    assert np.isfinite(channels.power_w).all()


def test_questions_are_passed_on():
    questions = Questions(speeds_mps=(10.0,))
    assert session_of(document(), questions=questions).questions is questions
