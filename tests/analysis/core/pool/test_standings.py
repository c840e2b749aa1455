"""What may change the standings and what may not; nulls where nothing can be said."""

import json
from contextlib import nullcontext, suppress
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.core.pool.arms import Arms, PoolRefused, arms_of
from analysis.core.pool.standings import pool, standings_document
from tests.analysis.core.pool.networks import relabelled, senn, shuffled, simulated

SCHEMA = Path(__file__).parents[3] / "references" / "schemas" / "standings-1.schema.json"
FIGURES = ("effect_m2", "se_m2", "p_best", "score", "riders", "studies")

seeds = st.integers(0, 2**32 - 1)
networks = st.builds(
    simulated,
    seeds,
    riders=st.integers(4, 9),
    sessions=st.integers(1, 3),
    products=st.integers(3, 5),
    own=st.sampled_from([None, 3]),
    tau=st.sampled_from([0.0, 1.0]),
)


def figures(standings):
    return {row.product: [getattr(row, name) for name in FIGURES] for row in standings.products}


def same(one, other, **tolerance):
    assert one.keys() == other.keys()
    for product, expected in one.items():
        assert [x is None for x in other[product]] == [x is None for x in expected]
        got = [x for x in other[product] if x is not None]
        assert got == pytest.approx([x for x in expected if x is not None], rel=1e-5, **tolerance)


@settings(max_examples=30, deadline=None)
@given(networks, seeds)
def test_neither_order_nor_names_of_rows_matter(arms, seed):
    rng = np.random.default_rng(seed)
    one = pool(arms, reference="product 0")
    for other in (shuffled(arms, rng), relabelled(arms, rng)):
        found = pool(other, reference="product 0")
        same(figures(one), figures(found), abs=2e-4)
        for name, nothing in (("q", 0.0), ("q_within", 1e-9)):
            mine, expected = getattr(found, name), getattr(one, name)
            assert (mine is None) == (expected is None)  # where nothing was tested against the reference
            assert (mine or 0.0) == pytest.approx(expected or 0.0, rel=1e-9, abs=nothing)


@settings(max_examples=30, deadline=None)
@given(networks)
def test_another_reference_only_shifts_the_effects(arms):
    one, other = pool(arms, reference="product 0"), pool(arms, reference="product 1")
    mine, theirs = ({r.product: r for r in s.products} for s in (one, other))
    if mine["product 1"].effect_m2 is None:
        return
    shift = mine["product 1"].effect_m2
    for product, row in mine.items():
        if row.effect_m2 is not None:
            assert theirs[product].effect_m2 == pytest.approx(row.effect_m2 - shift, abs=1e-5)
            assert (theirs[product].score, theirs[product].p_best) == pytest.approx((row.score, row.p_best), abs=2e-4)
    assert other.tau_m2 == pytest.approx(one.tau_m2, rel=1e-5, abs=1e-6)


@settings(max_examples=20, deadline=None)
@given(networks, st.sampled_from([1e-6, 1e6]))
def test_units_and_levels_do_not_matter(arms, unit):
    moved = replace(arms, value_m2=unit * (arms.value_m2 + 1000.0 * arms.study), se_m2=unit * arms.se_m2)
    one, other = (figures(pool(a, reference="product 0")) for a in (arms, moved))
    for row in other.values():
        row[:2] = [None if x is None else x / unit for x in row[:2]]
    same(one, other, abs=2e-4)


def test_a_study_of_huge_error_moves_nothing():
    arms = simulated(6)
    more = Arms(
        *(np.r_[codes, [codes.max() + 1] * 2] for codes in (arms.study, arms.rider)),
        np.r_[arms.product, [0, 3]],
        np.r_[arms.value_m2, [0.0, 1e3]],
        np.r_[arms.se_m2, [1e9, 1e9]],
        arms.products,
    )
    one, other = pool(arms, reference="product 0"), pool(more, reference="product 0")
    for a, b in zip(one.products, other.products, strict=True):
        assert (b.effect_m2, b.se_m2, b.score) == pytest.approx((a.effect_m2, a.se_m2, a.score), abs=1e-6)


def with_a_vague_product(arms, error):
    """One more product, tested once against product 0 and with this error."""
    return Arms(
        *(np.r_[codes, [codes.max() + 1] * 2] for codes in (arms.study, arms.rider)),
        np.r_[arms.product, [0, len(arms.products)]],
        np.r_[arms.value_m2, [0.0, 1.0]],
        np.r_[arms.se_m2, [error, error]],
        (*arms.products, "vague"),
    )


@pytest.mark.parametrize("error", [1e4, 1e6, 1e9])
@pytest.mark.parametrize("reference", ["product 0", "vague"])
def test_a_product_of_which_nothing_is_known_is_the_fastest_half_of_the_time(error, reference):
    # beyond all others on either side, it leaves half of each one's chance and is halfway in the ranks
    arms = simulated(6)
    one, other = (
        {row.product: row for row in pool(a, reference=to).products}
        for a, to in ((arms, "product 0"), (with_a_vague_product(arms, error), reference))
    )
    assert (other["vague"].p_best, other["vague"].score) == pytest.approx((0.5, 0.5), abs=1e-3)
    for product, row in one.items():
        assert other[product].p_best == pytest.approx(row.p_best / 2, abs=1e-3)
        assert other[product].score == pytest.approx(row.score * 4 / 5 + 0.5 / 5, abs=1e-3)


def test_no_figure_of_the_whole_hangs_on_the_reference():
    arms = with_a_vague_product(simulated(6), 1e9)
    one, other = (pool(arms, reference=reference) for reference in ("product 0", "vague"))
    assert (other.q, other.tau_m2) == pytest.approx((one.q, one.tau_m2), rel=1e-9)


def test_islands_that_only_a_hopeless_study_joins_are_refused_in_a_sentence():
    rows = [("1", "A", 0.1), ("1", "B", 0.1), ("2", "C", 0.1), ("2", "D", 0.1), ("3", "B", 1e9), ("3", "C", 1e9)]
    study, product, error = zip(*rows, strict=True)
    with pytest.raises(PoolRefused, match="Errors differ by so much"):
        pool(arms_of(study, study, product, np.arange(6.0), np.array(error)), reference="A")


@settings(max_examples=60, deadline=None)
@given(networks, seeds, st.integers(0, 30))
def test_whatever_the_errors_there_are_numbers_or_a_sentence(arms, seed, decades):
    rng = np.random.default_rng(seed)
    error = 10.0 ** rng.uniform(-decades, decades, arms.se_m2.size)
    value = rng.choice([0.0, 1.0, 1e30], error.size) + error
    given = replace(arms, value_m2=value, se_m2=error)
    document = {"products": given.products}
    # errors within 1e4 of each other: no bridge between products is too weak to tell them apart
    with nullcontext() if decades <= 2 else suppress(PoolRefused):
        document = json.loads(json.dumps(standings_document(pool(given, reference="product 0")), allow_nan=False))
    assert len(document["products"]) == len(given.products)


def test_the_document_is_of_its_schema():
    document = json.loads(json.dumps(standings_document(pool(senn(), reference="placebo")), allow_nan=False))
    jsonschema.validate(document, json.loads(SCHEMA.read_text(encoding="utf-8")))


def islands():
    """Two networks without a bridge, and a product that was only ever tested alone."""
    rows = [("1", "A", 0.0), ("1", "B", 1.0), ("2", "A", 0.0), ("2", "B", 1.4), ("3", "C", 0.0), ("3", "D", 5.0)]
    rows += [("4", "E", 9.0), ("5", "A", 2.0)]
    study, product, value = zip(*rows, strict=True)
    return arms_of(study, study, product, np.array(value), np.full(len(rows), 0.1))


def test_what_nothing_connects_is_told_apart_and_never_ranked():
    found = pool(islands(), reference="A")
    rows = {row.product: row for row in found.products}
    assert [row.product for row in found.products] == ["A", "B", "C", "D", "E"]
    assert [rows[name].component for name in "ABCDE"] == [1, 1, 2, 2, 3]
    assert {rows[name].effect_m2 for name in "CDE"} == {None}
    assert {rows[name].score for name in "CDE"} == {None}
    assert [(rows[name].riders, rows[name].studies) for name in "ABCDE"] == [(2, 2), (2, 2), (1, 1), (1, 1), (0, 0)]
    assert rows["B"].effect_m2 == pytest.approx(1.2)
    assert (found.q, found.df) == (pytest.approx(0.16 / 0.04, rel=1e-9), 1)


def test_one_study_says_an_effect_and_no_more():
    found = pool(arms_of(["1", "1"], ["r", "r"], ["A", "B"], np.array([0.0, -3.0]), np.ones(2)), reference="A")
    row = found.products[0]
    assert (row.product, row.effect_m2, row.se_m2) == ("B", pytest.approx(-3.0), pytest.approx(2**0.5))
    assert (row.ci95_m2, row.prediction95_m2, row.p_best, row.score) == (None, None, None, None)
    assert (found.tau_m2, found.df, found.i2, found.interval_method) == (None, 0, None, None)


@pytest.mark.parametrize("size", [-3.0, 1e6])
@pytest.mark.parametrize("studies", [1, 2])
def test_a_network_of_pairs_alone_is_its_own_direct_evidence(size, studies):
    names = [str(k) for k in range(studies) for _ in range(2)]
    arms = arms_of(names, names, ["A", "B"] * studies, np.array([0.0, size] * studies), np.ones(2 * studies))
    row = {row.product: row for row in pool(arms, reference="A").products}["B"]
    assert (row.direct_m2, row.direct_se_m2) == pytest.approx((row.effect_m2, row.se_m2))
    assert (row.effect_m2, row.indirect_m2, row.direct_studies) == (pytest.approx(size), None, studies)


def test_from_thirty_riders_intervals_are_normal():
    found = pool(simulated(3, riders=30), reference="product 0")
    row = found.products[-1]
    assert found.interval_method == "normal"
    assert row.ci95_m2[1] - row.effect_m2 == pytest.approx(1.959964 * row.se_m2, rel=1e-6)


def test_an_unknown_reference_names_the_nearest():
    with pytest.raises(PoolRefused, match="'placebos'.*placebo"):
        pool(senn(), reference="placebos")


def test_one_product_is_nothing_to_compare():
    alone = arms_of(["1", "2"], ["1", "2"], ["A", "A"], np.zeros(2), np.ones(2))
    with pytest.raises(PoolRefused, match="only product"):
        pool(alone, reference="A")
