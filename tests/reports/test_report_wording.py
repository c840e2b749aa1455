"""Sentences and numerals by themselves."""

import pytest

from reports import wording
from reports.changes import change_rows
from reports.numerals import difference, interval, plain, rounded, span, two_digits
from tests.reports import stored


def said(text):
    return text.replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("value", "printed"),
    [(-0.00618, "−0.0062"), (0.00512, "+0.0051"), (-0.00004, "0.0000"), (0.0, "0.0000"), (None, "not known")],
)
def test_a_difference_carries_its_sign_and_zero_none(value, printed):
    assert difference(value, "m2") == printed


@pytest.mark.parametrize(("value", "printed"), [(0.00153, "0.0015"), (0.0996, "0.10"), (12.4, "12"), (0.31, "0.31")])
def test_a_standard_uncertainty_has_two_significant_digits(value, printed):
    """JCGM 100:2008, 7.2.6: at most two significant digits."""
    assert two_digits(value) == printed


def test_an_interval_of_differences_is_signed_at_both_ends():
    assert interval([-0.0043, 0.0009], "m2") == "−0.0043 to +0.0009"


def test_a_span_that_prints_alike_is_one_number():
    assert span([1.21301, 1.21339], "kg/m3") == "1.213"
    assert span([1.21, 1.22], "kg/m3") == "1.210 to 1.220"


@pytest.mark.parametrize(
    ("value", "printed"), [(610.0, "610"), (-3.5, "−3.5"), (0.0042, "0.0042"), (True, "True"), ("x", "x")]
)
def test_an_entered_number_is_printed_as_it_was_entered(value, printed):
    assert plain(value) == printed


def test_minus_zero_has_no_sign():
    assert rounded(-0.04, 1) == "0.0"


@pytest.mark.parametrize(
    ("ends", "words"),
    [
        ([-7.65, -3.07], "3.1 to 7.7 W less"),
        ([3.07, 7.65], "3.1 to 7.7 W more"),
        ([-3.7, 0.8], "3.7 W less to 0.8 W more"),
    ],
)
def test_an_interval_in_words_needs_no_signs(ends, words):
    assert said(wording.reach(ends, "W")) == words


def test_the_answer_is_one_sentence_with_all_three_intervals():
    result = stored.result("faster")
    assert said(wording.answer(result, result["comparisons"][0])) == (
        "Setup B is faster than setup A: 0.0062 m² less drag area (95 % interval 0.0035 to 0.0088 m² less), which is "
        "5.4 W less at 40 km/h (3.1 to 7.7 W less) and 29.0 s less over 40 km at 250 W (16.6 to 41.5 s less)."
    )


def test_an_equal_answer_names_the_interval_that_decided():
    result = stored.result("equivalent")
    text = said(wording.answer(result, result["comparisons"][0]))
    assert "smaller than the 0.0020 m² that matter here" in text
    assert "90 % interval 0.0014 m² less to 0.0008 m² more" in text
    assert "(95 %: 1.4 W less to 0.9 W more)" in text


def test_an_undecided_answer_never_says_faster_of_one():
    result = stored.result("undecided")
    text = wording.answer(result, result["comparisons"][0])
    assert "is faster than" not in said(text)
    assert "does not tell" in text


def test_an_undecided_answer_that_no_day_can_settle_says_so():
    result = stored.result("undecided", comparisons=[stored.comparison("undecided", more_runs_needed=None)])
    assert "further days" in wording.what_next(result, result["comparisons"][0])


def test_a_tiny_p_value_is_not_spelled_out():
    assert "p < 0.0001" in said(wording.uncertainty(stored.comparison("faster", p_value=1.4e-9)))


def test_the_heaviest_lines_of_the_budget_are_told_heaviest_first():
    assert wording.heaviest(stored.result()) == (
        "What weighs most (standard uncertainty, m²) on a difference: rider from run to run 0.00091, power meter gain "
        "0.000030; on a drag area itself: power meter gain 0.0037, rider from run to run 0.00065."
    )
    assert wording.heaviest(stored.result(budget=[])) == ""


def test_nothing_worked_out_is_said_so():
    nothing = stored.comparison("undecided", ridden_delta_m2=None)
    assert "no difference could be worked out" in wording.answer(stored.result(comparisons=[nothing]), nothing)


def test_long_labels_are_quoted():
    assert said(wording.setup_name("B")) == "setup B"
    assert wording.setup_name("lower pads") == "setup “lower pads”"


def test_a_package_of_changes_is_called_one():
    change = {"factor": "clothing", "from": "a", "to": "b"}
    both = stored.comparison("faster", changes=[stored.WHEELS, change])
    result = stored.result(comparisons=[both], warnings=[stored.warning("confounded", where="setup B")])
    assert "for all of them together" in wording.what_next(result, both)


def test_a_warning_says_where_what_and_what_to_do():
    assert wording.warning_sentence(stored.warning()) == "Runs 5-8: The mount sagged. Look at the mount."
    assert wording.warning_sentence(stored.warning(where="session", do="")) == "The mount sagged."


def test_a_warning_that_begins_with_its_place_says_it_once():
    found = stored.warning("run_unusable", where="run 3", what="Run 3 was left out: no power.", do="Ride it again.")
    assert wording.warning_sentence(found) == "Run 3 was left out: no power. Ride it again."


def test_a_position_is_told_by_the_coordinates_that_differ():
    before, after = (
        {"pad_stack_mm": 610.0, "pad_reach_mm": 480},
        {"pad_stack_mm": 600, "pad_reach_mm": 480, "crank_length_mm": 165},
    )
    rows = change_rows({"factor": "position", "from": before, "to": after})
    assert rows == [("crank length", "none stated", "165 mm"), ("pad stack", "610 mm", "600 mm")]


def test_pressures_are_told_wheel_by_wheel():
    rows = change_rows(
        {"factor": "tyre_pressure_kpa", "from": {"front": 520, "rear": 540}, "to": {"front": 480, "rear": 540}}
    )
    assert rows == [("front tyre pressure", "520 kPa", "480 kPa")]


def test_an_item_that_one_setup_does_not_state_is_said_so():
    assert change_rows({"factor": "items.front_wheel", "from": None, "to": "Tarn 50"}) == [
        ("front wheel", "none stated", "Tarn 50")
    ]
