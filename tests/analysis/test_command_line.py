"""`python -m analysis`: what is printed, where, with which exit; and how little it loads."""

import json
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import jsonschema
import pytest

from analysis.__main__ import main
from tests.analysis.readers.bundles import START, csv_bytes, document, files, folder, sound_members, zipped

RESULT_SCHEMA = Path(__file__).parents[1] / "references" / "schemas" / "session-result-1.schema.json"


def run(capsys, *arguments):
    status = main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    return status, out, err


def test_density_is_one_json_document(capsys):
    status, out, err = run(capsys, "density", "--temperature-c", 15, "--pressure-hpa", 1013.25, "--humidity-pct", 50)
    assert (status, err) == (0, "")
    # CIPM-2007 evaluated independently to 1e-5: tests/references/air_density_coolprop.csv
    assert json.loads(out) == {"air_density_kg_m3": pytest.approx(1.22163, abs=1e-5)}


def test_watts_are_half_rho_delta_v_cubed(capsys):
    _, out, _ = run(capsys, "watts", "--delta-cda-m2", -0.0015, "--speed-kmh", 40)
    assert json.loads(out) == {"delta_w": pytest.approx(-0.5 * 1.225 * 0.0015 * (40 / 3.6) ** 3)}
    _, out, _ = run(
        capsys, "watts", "--delta-cda-m2", 0.01, "--speed-kmh", 36, "--density-kg-m3", 1.2, "--efficiency", 0.96
    )
    assert json.loads(out) == {"delta_w": pytest.approx(6.25)}  # 0.5 * 1.2 * 0.01 * 1000 / 0.96


def test_a_tracks_bends_slow_the_body(capsys):
    """14 m/s on 250 m with bends of 25 m: tests/references/track_lean.csv and the lap beside it, to print."""
    _, out, _ = run(capsys, "track", "--speed-kmh", 50.4, "--radius-m", 25, "--length-m", 250)
    told = json.loads(out)
    assert (told["lean_deg"], told["tyre_load"], told["lap_s"]) == pytest.approx(
        (37.946859, 1.2681, 17.857143), rel=1e-6
    )
    assert told["centre_of_mass_kmh"] == pytest.approx({"bends": 13.655639 * 3.6, "lap": 13.783632 * 3.6}, rel=1e-6)
    assert told["drag_factor"] == pytest.approx(0.95476644, rel=1e-6)


def test_a_negative_number_may_follow_its_option_however_it_is_written(capsys):
    for number in ("-1e-3", "-.001", "-0.001"):
        _, out, _ = run(capsys, "watts", "--delta-cda-m2", number, "--speed-kmh", 36, "--density-kg-m3", 1.2)
        assert json.loads(out) == {"delta_w": pytest.approx(-0.6)}  # 0.5 * 1.2 * 0.001 * 1000


def test_a_temperature_in_kelvin_is_refused(capsys):
    status, out, err = run(capsys, "density", "--temperature-c", 291, "--pressure-hpa", 1008, "--humidity-pct", 55)
    assert (status, out) == (2, "")
    assert "temperature" in err


@pytest.mark.parametrize(
    "options", ["watts --delta-cda-m2 nan --speed-kmh 40", "watts --delta-cda-m2 0 --speed-kmh 0", ""]
)
def test_wrong_options_end_with_two(capsys, options):
    with pytest.raises(SystemExit, match="2"):
        main(options.split())
    assert capsys.readouterr().out == ""


def test_every_fault_is_on_standard_error_and_nothing_on_standard_output(capsys, tmp_path):
    contents = {"run-01.csv": b"", "run-02.csv": csv_bytes().replace(b"12.25", b"fast", 1)}
    status, out, err = run(capsys, "session", folder(tmp_path / "day", contents=contents))
    assert (status, out) == (2, "")
    assert err.splitlines() == [
        "run-01.csv, file: found an empty file; allowed: a CSV text in UTF-8 or UTF-16, or a FIT, TCX or GPX file, each as it is or packed by gzip.",  # noqa: E501 - the sentence as it is printed
        "run-02.csv, line 2, airspeed_mps: found 'fast'; "
        "allowed: a number with decimal sign '.', or nothing for a gap.",
    ]


def test_a_track_is_refused_with_a_sentence(capsys, tmp_path):
    status, out, err = run(capsys, "session", folder(tmp_path / "day", document(course={"kind": "track"})))
    assert (status, out) == (2, "")
    assert "track" in err


@pytest.fixture
def poor_session(tmp_path):
    """Twenty seconds a run on a straight road: a result, but no verdict."""
    return folder(tmp_path / "day")


def test_a_session_without_a_verdict_is_a_result_too(capsys, poor_session):
    status, out, _ = run(capsys, "session", poor_session, "--speed-kmh", 35, "--speed-kmh", 45)
    result = json.loads(out)
    assert status == 0
    jsonschema.validate(result, json.loads(RESULT_SCHEMA.read_text("utf-8")))
    assert [run["number"] for run in result["runs"]] == [1, 2]
    assert result["comparisons"][0]["verdict"] in {"invalid", "undecided"}


def test_repeatability_is_what_a_bundle_takes(capsys, tmp_path):
    """Two runs a setup, of which the second pushes a little more: the SD of a pair is its difference over sqrt 2."""
    runs = [{"number": n, "setup": s, "recording": f"run-0{n}.csv"} for n, s in enumerate("ABBA", 1)]
    contents = {
        f"run-0{n}.csv": csv_bytes(241, START + timedelta(minutes=10 * n)).replace(b",250,", b",%d," % (250 + 8 * n))
        for n in range(1, 5)
    }
    course = {"kind": "lap", "length_m": 600}
    day = folder(tmp_path / "day", document(runs=runs, course=course), contents)
    areas = {r["number"]: r["cda_m2"] for r in json.loads(run(capsys, "session", day)[1])["runs"]}
    status, out, _ = run(capsys, "repeatability", day)
    told = json.loads(out)["repeatability"]
    pairs = (areas[4] - areas[1]) ** 2 / 2, (areas[3] - areas[2]) ** 2 / 2
    assert status == 0
    assert told == {"sd_m2": pytest.approx(((pairs[0] + pairs[1]) / 2) ** 0.5, rel=1e-6), "df": 2}
    assert set(json.loads(out)["most_scattered"]) == {"bundle", "setup", "cochran_c", "critical_1_pct"}


def test_a_zip_gives_what_its_folder_gives(capsys, poor_session, tmp_path):
    path = zipped(tmp_path / "day.zip", sound_members())
    assert run(capsys, "session", path) == run(capsys, "session", poor_session)


def test_notes_of_the_readers_are_in_the_result(capsys, tmp_path):
    path = folder(tmp_path / "day", document(colour="red"), {**files(), "spare.txt": b"x"})
    warnings = json.loads(run(capsys, "session", path)[1])["warnings"]
    found = [warning["what"] for warning in warnings if warning["code"] == "unknown_key"]
    assert len(found) == 2
    assert "colour" in found[0]
    assert "'spare.txt'" in found[1]


LOADED = """
import sys
from analysis.__main__ import main
status = main(sys.argv[1:])
tops = {name.split(".")[0] for name in sys.modules} - set(sys.stdlib_module_names)
rooms = {name.split(".")[1] for name in sys.modules if name.startswith("scipy.")}
print(*(name for name in tops | rooms if not name.startswith("_")), file=sys.stderr)
sys.exit(status)
"""


def test_a_csv_session_loads_nothing_heavy(poor_session):
    done = subprocess.run([sys.executable, "-c", LOADED, "session", poor_session], capture_output=True, text=True)
    assert done.returncode == 0
    loaded = set(done.stderr.split()) - {"cython_runtime", "charset_normalizer", "version"}  # what numpy and scipy load
    assert {"analysis", "numpy"} <= loaded <= {"analysis", "numpy", "scipy", "linalg", "special"}


def test_it_runs_as_a_module(poor_session):
    done = subprocess.run(
        [sys.executable, "-m", "analysis", "session", poor_session], capture_output=True, text=True, check=True
    )
    assert json.loads(done.stdout)["schema"] == "session-result/1"


def test_a_reader_who_has_seen_enough_is_no_fault():
    command = [sys.executable, "-m", "analysis", "watts", "--delta-cda-m2", "-0.0015", "--speed-kmh", "40"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        process.stdout.close()  # before anything was written
        assert process.stderr.read() == ""
        assert process.wait(60) == 0
