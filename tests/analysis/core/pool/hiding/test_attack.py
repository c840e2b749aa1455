"""The attacker against the project's studio and against the plain rule of three: a short seeded share.

All of it, 20 networks of 50 editions: `tests/load/attack_rounds.py`.
"""

from functools import cache

import pytest

from tests.analysis.core.pool.hiding.attacker import attack
from tests.analysis.core.pool.hiding.studios import RuleOfThree, Studio
from tests.analysis.core.pool.hiding.world import TAU_M2, world

EDITIONS = 10
HALF_A_STEP_M2 = 0.00005


def attacked(kind, seed, *, enough=0.0):
    studies = world(seed, riders=22, editions=EDITIONS)
    studio = kind(studies)

    def ask_at(edition):
        studio.make(edition)
        return studio.ask

    return attack(studies, ask_at, EDITIONS, tau_m2=TAU_M2, enough=enough)


@cache
def ours():
    return attacked(Studio, 3)


def test_half_of_everybody_stays_hidden():
    assert ours().figures > 10
    assert ours().least >= 0.50


def test_the_attacker_reads_every_figure_rightly():
    """Its own dense weights give the published figures within their rounding: it attacks what is there."""
    assert ours().misread_m2 <= HALF_A_STEP_M2 + 1e-9


def test_the_plain_rule_of_three_gives_riders_away():
    assert attacked(RuleOfThree, 3, enough=0.50).least < 0.10


@pytest.mark.parametrize("seed", [0])
def test_a_hundred_riders_make_it_useful(seed):
    """The contract's measure: 0.90 of products and 0.50 of one-way strata show figures."""
    studio = Studio(world(seed, leavers=0.0))
    studio.make(49)
    products, strata, _ = studio.shown()
    assert products >= 0.90
    assert strata >= 0.50
