"""The published document: valid against its schema, in its units, and never a number that is none."""

import json
import math
import re
import tomllib
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from analysis.core.document import ENGINE_VERSION, concerns_run, plain, result_document
from analysis.core.types import (
    BudgetLine,
    Change,
    Comparison,
    Instruments,
    RunResult,
    SessionResult,
    SetupResult,
    TimeAnswer,
    Warning,
    WattsAnswer,
)

TESTS = Path(__file__).parents[2]
SCHEMA = json.loads((TESTS / "references" / "schemas" / "session-result-1.schema.json").read_text())
INTERVAL = (-0.0043, 0.0009)
SAG = Warning("airspeed_drift", "caution", "runs 2-3", "The gain fell by 0.03.", "Fasten the mount.")


def run(number, setup, **changes):
    usual = RunResult(number, setup, 0.2401, 0.0011, 10.3, 1.21, math.radians(2.1), 262.0, 28.0)
    return replace(usual, **changes)


COMPARISON = Comparison(
    reference="A",
    changed="B",
    changes=(Change("position", {"pad_stack_mm": 610}, {"pad_stack_mm": 600}), Change("items.wheels", "Tarn 40", None)),
    delta_cda_m2=-0.0017,
    ci95_m2=INTERVAL,
    ci90_m2=INTERVAL,
    simultaneous_ci95_m2=INTERVAL,
    p_value=0.16,
    df=6.0,
    ridden_delta_m2=-0.0017,
    ridden_ci95_m2=INTERVAL,
    ridden_ci90_m2=INTERVAL,
    ridden_simultaneous_ci95_m2=INTERVAL,
    delta_crr=None,
    ci95_crr=None,
    repeatability_sd_m2=0.0015,
    verdict="undecided",
    watts=(WattsAnswer(40 / 3.6, -1.4, (-3.7, 0.8)),),
    time=(TimeAnswer(40_000.0, 250.0, -7.9, (-20.0, 4.2)),),
    more_runs_needed=12,
)
RESULT = SessionResult(
    runs=(run(3, "B"), run(1, "A"), run(2, "B", cda_m2=None, u_m2=math.nan)),
    setups=(SetupResult("A", 0.2403, (0.2311, 0.2495), (0.2388, 0.2418), 1), SetupResult("B", None, None, None, 0)),
    comparisons=(COMPARISON,),
    instruments=Instruments(0.998, -0.001, {"A": 0.998, "B": None}, 0.0042),
    budget=(BudgetLine("power meter gain", 0.015, 0.0037, 0.00003),),
    warnings=(SAG,),
    assumptions={"crr_sd": np.float64(0.0007), "turns": ("left", "out")},
)


def document(**changes):
    return result_document(replace(RESULT, **changes), engine_version="1.2.3")


@pytest.fixture
def validate():
    validator = jsonschema.Draft202012Validator(SCHEMA)
    return validator.validate


def test_the_document_is_valid_and_pure_json(validate):
    validate(document())
    assert json.loads(json.dumps(document(), allow_nan=False)) == document()


def test_the_schema_refuses_a_document_without_a_key(validate):
    broken = document()
    del broken["comparisons"][0]["ridden_delta_m2"]
    with pytest.raises(jsonschema.ValidationError, match="ridden_delta_m2"):
        validate(broken)


def test_the_keys_stand_in_the_published_order():
    wanted = {
        "runs": "number setup cda_m2 u_m2 mean_speed_mps air_density_kg_m3 mean_abs_yaw_deg used_s left_out_s warnings",
        "setups": "label cda_m2 ci95_m2 ci95_within_m2 runs",
        "comparisons": "reference changed changes delta_cda_m2 ci95_m2 ci90_m2 simultaneous_ci95_m2 p_value df "
        "ridden_delta_m2 ridden_ci95_m2 ridden_ci90_m2 ridden_simultaneous_ci95_m2 delta_crr ci95_crr "
        "repeatability_sd_m2 verdict watts time more_runs_needed ridden_u_m2 coverage_factor",
        "budget": "source u_relative on_cda_m2 on_delta_m2",
        "warnings": "code level where what do",
    }
    made = document()
    assert list(made) == [
        "schema",
        "engine",
        "runs",
        "setups",
        "comparisons",
        "instruments",
        "budget",
        "warnings",
        "assumptions",
    ]
    assert {name: " ".join(made[name][0]) for name in wanted} == wanted


def test_runs_come_by_number_and_repeat_the_warnings_that_name_them():
    runs = document()["runs"]
    assert [r["number"] for r in runs] == [1, 2, 3]
    assert [len(r["warnings"]) for r in runs] == [0, 1, 1]
    assert runs[1]["warnings"] == document()["warnings"]


@pytest.mark.parametrize(
    ("where", "named"),
    [("run 5", [5]), ("runs 5-8", [5, 6, 7, 8]), ("session", []), ("setup B", []), ("setup run 5", []), ("run 15", [])],
)
def test_a_place_names_its_runs(where, named):
    assert [n for n in range(1, 13) if concerns_run(where, n)] == named


def test_units_of_the_document():
    made = document()
    assert made["runs"][0]["mean_abs_yaw_deg"] == pytest.approx(2.1)
    assert made["comparisons"][0]["watts"][0]["speed_kmh"] == 40
    assert made["comparisons"][0]["time"][0]["distance_km"] == 40
    assert made["comparisons"][0]["changes"][1] == {"factor": "items.wheels", "from": "Tarn 40", "to": None}


def test_what_is_no_number_is_null(validate):
    lost = replace(COMPARISON, ci95_m2=(-math.inf, math.inf), p_value=math.nan, more_runs_needed=None)
    made = document(comparisons=(lost,))
    validate(made)
    assert made["comparisons"][0]["ci95_m2"] is None
    assert made["comparisons"][0]["p_value"] is None
    assert made["runs"][1]["u_m2"] is None


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (np.float64(0.1) + 0.2, 0.3),
        (0.240112345678912, 0.2401123457),
        (np.int64(3), 3),
        (True, True),
        (np.array([1.5, np.nan]), [1.5, None]),
        ({"a": (1, "x")}, {"a": [1, "x"]}),
        (Path("x"), "x"),
    ],
)
def test_values_become_plain(value, written):
    assert plain(value) == written
    assert type(plain(value)) is type(written)


def test_the_engine_carries_the_version_of_the_project():
    project = tomllib.loads((TESTS.parent / "pyproject.toml").read_text())["project"]
    assert result_document(RESULT)["engine"] == {"version": project["version"], "method": "joint"}
    assert re.fullmatch(r"\d+\.\d+\.\d+", ENGINE_VERSION)


@pytest.mark.parametrize("name", ["session-result-1", "standings-1"])
def test_the_published_schemas_are_schemas_and_refuse_an_empty_document(name):
    schema = json.loads((TESTS / "references" / "schemas" / f"{name}.schema.json").read_text())
    jsonschema.Draft202012Validator.check_schema(schema)
    with pytest.raises(jsonschema.ValidationError, match="is a required property"):
        jsonschema.validate({}, schema, cls=jsonschema.Draft202012Validator)
