"""What an edition shows against any reference, and that consent is asked at the moment of reading."""

from datetime import UTC, datetime
from uuid import UUID

import numpy as np
import pytest
from scipy import stats

from analysis.results.standings import WITHDRAWN, categories_of, current_edition, standings_of
from tests.factories import ConsentFactory, ContributorKeyFactory, EditionFactory, ProductFactory, StandingsFactory
from tests.standing_figures import FIGURES

pytestmark = pytest.mark.django_db
EFFECTS = (0.0, -0.0021, 0.0008)
COVARIANCE = 1e-6 * np.array([[0.0, 0.0, 0.0], [0.0, 1.0, 0.4], [0.0, 0.4, 2.0]])
OWN_FIGURES = FIGURES | {"quantile": 2.2}


@pytest.fixture
def contributor(studio):
    consent = ConsentFactory(rider__studio=studio, purpose="pooled_results")
    return ContributorKeyFactory(rider=consent.rider)


@pytest.fixture
def row(studio, contributor):
    products = [
        {
            "product": str(ProductFactory(studio=studio).pk),
            "effect_m2": effect,
            "p_best": 0.3,
            "score": 0.5,
            "riders": 12,
            "studies": 14,
            "component": 1,
            "median_cda_m2": 0.24,
            "withheld": None,
        }
        for effect in EFFECTS
    ]
    products.append({"product": str(ProductFactory(studio=studio).pk), "withheld": "two riders tested it"})
    return StandingsFactory(
        edition__studio=studio,
        category="wheels",
        figures=OWN_FIGURES,
        products=products,
        covariance=COVARIANCE[np.tril_indices(3)].tobytes(),
        contributors=np.array([contributor.key], np.int64).tobytes(),
    )


def told(row, **asked):
    return standings_of(row.edition, category="wheels", **asked)


def test_the_newest_edition_counts(studio, row):
    EditionFactory(studio=studio, number=row.edition.number + 1)
    assert current_edition(studio).number == row.edition.number + 1
    assert categories_of(row.edition) == ("wheels",)


def test_fastest_comes_first_and_withheld_last(row):
    shown = told(row)
    assert [each.effect_m2 for each in shown.products] == [-0.0021, 0.0, 0.0008, None]
    assert shown.products[-1].withheld == "two riders tested it"


def test_the_reference_row_is_zero(row):
    shown = told(row)
    own = next(each for each in shown.products if each.product == shown.reference)
    assert (own.effect_m2, own.se_m2, own.ci95_m2, own.prediction95_m2) == (0.0, 0.0, (0.0, 0.0), (0.0, 0.0))


def test_another_reference_is_the_same_evidence(row):
    """Variance of a difference from the joint covariance: 1 + 2 - 2 x 0.4 (x 1e-6)."""
    second, third = (each["product"] for each in row.products[1:3])
    shown = {str(each.product): each for each in told(row, reference=UUID(second)).products}
    assert shown[third].effect_m2 == pytest.approx(0.0029)
    assert shown[third].se_m2 == pytest.approx((2.2e-6) ** 0.5)
    half = stats.t(8).ppf(0.975) * (2.2e-6 + 1e-6) ** 0.5
    assert shown[third].prediction95_m2 == pytest.approx((0.0029 - half, 0.0029 + half))
    assert shown[third].ci95_m2 == pytest.approx((0.0029 - 2.2 * 2.2e-6**0.5, 0.0029 + 2.2 * 2.2e-6**0.5))


def test_a_withheld_reference_shows_nothing(row):
    shown = told(row, reference=UUID(row.products[-1]["product"]))
    assert all(each.effect_m2 is None and each.withheld for each in shown.products)


def test_a_withdrawal_takes_every_figure_away_at_once(row, contributor):
    contributor.rider.consents.update(withdrawn_at=datetime.now(UTC))
    assert {each.withheld for each in told(row).products} == {WITHDRAWN}


def test_so_does_erasure(row, contributor):
    contributor.rider = None
    contributor.save()
    assert {each.withheld for each in told(row).products} == {WITHDRAWN}


def test_whoever_is_not_behind_the_figures_takes_nothing_away(row, studio):
    ContributorKeyFactory(rider__studio=studio)
    assert told(row).products[0].effect_m2 is not None


def test_a_stratum_without_a_row_has_no_products(row):
    assert told(row, yaw="5-10").products == ()


@pytest.mark.parametrize("asked", [{}, {"reference": "second"}])
def test_reading_costs_three_queries_and_a_second_time_two(row, asked, django_assert_num_queries):
    reference = UUID(row.products[1]["product"]) if asked else None
    for queries in (3, 2):  # the row itself is kept
        with django_assert_num_queries(queries):
            told(row, reference=reference)
