"""Figures and their standard errors, the answer by hand, and a short share of the yardstick itself."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.core.session import estimate
from analysis.core.simulate import SCENARIOS, World, simulate_session
from analysis.core.types import SessionRefused
from analysis.core.yardstick.by_hand import by_hand_m2
from analysis.core.yardstick.score import Compared, Score, play, score, true_difference_m2
from analysis.core.yardstick.table import figures, heading, mean, ratio, root_mean_square, row, shares


def made(index=0, error=0.001, bound=0.0008, **changes):
    compared = Compared(error, bound, 0.004, 0.003, True, "undecided")
    return replace(
        Score(index, (compared,), True, (True, False), ("traffic",), True, None, None, None, None), **changes
    )


@pytest.fixture(scope="module")
def eight():
    """Eight sessions with the short order, as the command would play them."""
    return [score(play(SCENARIOS["four-runs"], 1, index), index, estimate) for index in range(8)]


def test_standard_errors_are_those_of_repeated_samples():
    rng = np.random.default_rng(2)
    samples = rng.normal(0, 2.0, (2000, 60))
    said = [root_mean_square(sample) for sample in samples]
    assert np.std([f.value for f in said]) == pytest.approx(np.mean([f.se for f in said]), rel=0.06)
    shares = [mean(list(sample > 0)) for sample in samples]
    assert np.std([f.value for f in shares]) == pytest.approx(np.mean([f.se for f in shares]), rel=0.06)


def test_the_ratio_knows_that_harder_sessions_have_larger_errors():
    rng = np.random.default_rng(3)
    bounds = rng.uniform(0.5, 2.0, (2000, 100))
    said = [ratio(b * rng.normal(size=100), b) for b in bounds]
    assert np.mean([f.value for f in said]) == pytest.approx(1.0, abs=0.01)
    assert np.std([f.value for f in said]) == pytest.approx(np.mean([f.se for f in said]), rel=0.08)


def test_every_column_is_counted_from_the_scores():
    f = figures([made(0), made(1, -0.001, alarm=False, onset_error=1, warnings=())])
    assert f["rmse"].value == pytest.approx(0.001)
    assert f["ratio"].value == pytest.approx(1.25)
    assert f["bias"].value == pytest.approx(0.0)
    assert [f[c].value for c in ("alarm", "absolute", "undecided", "onset_within_one")] == [0.5, 0.5, 1.0, 0.5]


def test_a_session_without_an_answer_is_counted_and_spoils_no_mean():
    nothing = Compared(None, 0.001, 0.004, None, None, "invalid")
    f = figures([made(), made(1, compared=(nothing,)), made(2, compared=(), refused="no power")])
    assert f["rmse"].value == pytest.approx(0.001)
    assert [f[c].value for c in ("invalid", "refused")] == pytest.approx([1 / 2, 1 / 3])


def test_the_lines_carry_a_standard_error_beside_every_figure():
    scores = [made(k, 0.001 * (k - 1)) for k in range(4)]
    assert row("wheels", scores).count("±") == 8
    assert row("wheels", scores).count("|") == heading()[1].count("|")
    assert "traffic 1.000 ±0.000" in "\n".join(shares("wheels", scores))


def test_by_hand_is_exact_on_a_calm_flat_day_but_for_what_it_neglects():
    # No wind: mean power against mean speed finds a difference of 0.0100 m2 to a few parts in a hundred.
    world = World(wind_mps=0.0, gust_intensity=0.0, wind_wander_mps=0.0, undulation_m=0.0, run_scatter_sd_m2=0.0)
    world = replace(world, delta_cda_m2=(0.0100,), power_noise=0.0, order="ABBA", effort_sd=0.0)
    session, _ = simulate_session(world, np.random.default_rng(1))
    assert by_hand_m2(session, "B") == pytest.approx(0.0100, rel=0.06)


def test_tyres_at_one_speed_are_judged_by_all_resistance_and_at_two_by_drag():
    one, two = (play(SCENARIOS[name], 1, 0) for name in ("tyres", "tyres-two-speeds"))
    rolling = (one.truth.crr_by_setup["B"] - one.truth.crr) * one.bound.rolling_m2
    assert true_difference_m2(one, "B", of_runs=True) == pytest.approx(one.truth.run_delta_m2["B"] + rolling)
    assert true_difference_m2(two, "B", of_runs=True) == two.truth.run_delta_m2["B"]


def test_history_gives_the_session_a_repeatability():
    played = play(SCENARIOS["history"], 1, 0)
    assert played.session.repeatability.df == 30
    assert 0.0005 < played.session.repeatability.sd_m2 < 0.005


def test_the_same_seed_and_number_give_the_same_session():
    one, two = (play(SCENARIOS["four-runs"], 4, 2) for _ in range(2))
    assert np.array_equal(one.session.runs[0].channels.power_w, two.session.runs[0].channels.power_w)


def test_a_refused_session_is_a_score_and_no_crash():
    def refuses(session):
        raise SessionRefused("No run has power.")

    said = score(play(SCENARIOS["four-runs"], 1, 0), 0, refuses)
    assert (said.refused, said.compared) == ("No run has power.", ())


def test_looks_see_a_verdict_that_the_end_no_longer_has():
    played = play(SCENARIOS["null-wheels"], 1, 0)

    def hasty(session):
        result = estimate(session)
        verdict = "faster" if len(session.runs) == 5 else "undecided"
        return replace(result, comparisons=tuple(replace(c, verdict=verdict) for c in result.comparisons))

    said = score(played, 0, hasty, look=True)
    assert said.looked_different
    assert said.compared[0].verdict == "undecided"


def test_no_estimator_beats_the_bound_beyond_its_standard_error(eight):
    f = figures(eight)
    assert f["ratio"].value > 1 - 3.5 * max(f["ratio"].se, 0.25)  # 0.25: of 8 sessions, whatever their spread says


def test_the_estimator_beats_the_hand(eight):
    f = figures(eight)
    assert f["rmse"].value < 0.5 * f["by_hand"].value


def test_most_intervals_hold_the_setups_difference(eight):
    assert sum(s.compared[0].covered for s in eight) >= 6  # at 95 % fewer happen in 0.6 % of such batches
