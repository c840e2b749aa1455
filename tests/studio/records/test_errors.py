"""Every error that a service may raise, made and printed: its words must reach a fitter."""

import inspect

import pytest

from analysis.readers.faults import Fault, Refused
from studio.records import errors, store
from studio.records.errors import RecordsError, fault, sentence
from studio.records.problems import KINDS, problem_of

FOUND = fault("mass_kg", -1, "above 0")
ERRORS = [kind for _, kind in inspect.getmembers(errors, inspect.isclass) if issubclass(kind, RecordsError)]
STATUS = {"Unusable": 422, "Conflict": 409, "StaleVersion": 412, "TooLarge": 413, "RecordsError": 422}


def test_no_error_is_forgotten():
    assert {kind.__name__ for kind in ERRORS} == set(STATUS)


@pytest.mark.parametrize("kind", ERRORS, ids=lambda kind: kind.__name__)
def test_error_says_what_to_do(kind):
    error = kind("The bike cannot be kept.", faults=(FOUND,))
    assert str(error) == error.message == "The bike cannot be kept."
    assert error.faults == (FOUND,)


@pytest.mark.parametrize("kind", ERRORS, ids=lambda kind: kind.__name__)
def test_error_becomes_a_problem(kind):
    document = problem_of(kind("The bike cannot be kept.", faults=(FOUND,)))
    assert (document["status"], document["detail"]) == (STATUS[kind.__name__], "The bike cannot be kept.")
    assert document["errors"] == [{"file": None, "line": None, "key": "mass_kg", "given": "-1", "allowed": "above 0"}]


def test_refusal_of_a_reader_becomes_a_problem():
    refusal = Refused([Fault("run.csv", "power_w", "'many'", "a number", line=3)])
    document = problem_of(refusal)
    assert (document["status"], document["errors"][0]["line"]) == (422, 3)
    assert "run.csv, line 3, power_w: found 'many'; allowed: a number." in document["detail"]


def test_file_too_large_is_a_sentence():
    assert str(store.FileTooLarge("more than 3 bytes")) == "more than 3 bytes"


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.slug)
def test_every_kind_of_problem_says_what_to_do(kind):
    assert kind.type == f"/api/v1/docs/problems/{kind.slug}/"
    assert kind.title.strip()
    assert kind.remedy.endswith(".")


def test_faults_make_one_sentence():
    assert sentence("It cannot be kept", [FOUND, FOUND]) == (
        "It cannot be kept: mass_kg is -1, allowed: above 0; mass_kg is -1, allowed: above 0"
    )
