"""From arms to an edition: what is shown, what stays, what a withdrawal takes away; and no value in the ledger."""

import jsonschema
import numpy as np
import pytest

from analysis.core.pool.arms import arms_of
from analysis.core.pool.standings import pool
from analysis.jobs.editions import make_edition
from analysis.results.models import Arm, ContributorKey, CountedGroup, Edition, LedgerEntry, Standings
from analysis.results.services.evidence import evidence_withdraw
from analysis.results.services.jobs import claim_next, job_create
from analysis.results.standings import WITHDRAWN, current_edition, standings_of
from studio.records.models import Consent, Product, Rider
from tests.factories import ArmFactory, ConsentFactory, FieldSessionFactory, ProductFactory, RiderFactory

pytestmark = pytest.mark.django_db
EFFECTS = {"Tarn 40": 0.0, "Tarn 50": -0.004, "Tarn 60": -0.002, "Tarn 80": 0.003}


@pytest.fixture
def wheels(studio):
    return [ProductFactory(studio=studio, name=name) for name in EFFECTS]


@pytest.fixture
def rng():
    return np.random.default_rng(5)


@pytest.fixture
def ride(studio, wheels, rng):
    """Riders who agree, each with a study of three of the wheels."""

    def enter(riders, *, tested=None, band="170-185"):
        made = RiderFactory.create_batch(riders, studio=studio)
        for at, rider in enumerate(made):
            ConsentFactory(rider=rider, purpose="pooled_results")
            session = FieldSessionFactory(rider=rider)
            level = rng.normal(0.25, 0.03)
            for product in tested or [wheels[(at + k) % 4] for k in range(3)]:
                value = level + EFFECTS.get(product.name, 0.001) + rng.normal(0.0, 0.0014)
                ArmFactory(analysis__session=session, product=product, cda_m2=value, height_band=band)
        return made

    return enter


@pytest.fixture
def made(studio):
    def make():
        job_create(kind="make_edition", studio=studio, by=None)
        attempt = claim_next(worker="w")
        return make_edition(attempt)

    return make


def told(studio, **asked):
    return standings_of(current_edition(studio), category="wheels", **asked)


def test_an_edition_shows_what_pooling_says(studio, wheels, ride, made):
    """Effects against the plain computation, within the rounding of figures and of tau."""
    ride(16)
    made()
    shown = told(studio, reference=wheels[0].pk)
    rows = Arm.objects.values_list("session_id", "rider_id", "product_id", "cda_m2", "se_m2")
    study, rider, product, value, error = zip(*rows, strict=True)
    arms = arms_of(*(list(map(str, x)) for x in (study, rider, product)), np.array(value), np.array(error))
    plain = {row.product: row for row in pool(arms, reference=str(wheels[0].pk)).products}
    assert len(shown.products) == 4
    for row in shown.products:
        assert row.effect_m2 == pytest.approx(plain[str(row.product)].effect_m2, abs=2e-4)
        assert row.se_m2 == pytest.approx(plain[str(row.product)].se_m2, rel=0.05)
        assert (row.riders, row.studies) == (plain[str(row.product)].riders, plain[str(row.product)].studies)


def test_figures_are_whole_multiples_of_the_rounding(studio, ride, made):
    ride(16)
    made()
    steps = [row.effect_m2 / 1e-4 for row in told(studio).products]
    assert steps == pytest.approx(np.round(steps), abs=1e-6)


def test_two_riders_are_shown_nothing(studio, ride, made):
    ride(2)
    made()
    assert {row.effect_m2 for row in told(studio).products} == {None}
    assert all("fewer than 3 riders" in row.withheld for row in told(studio).products)


def test_below_ten_riders_nothing_is_said_of_how_they_spread(studio, ride, made):
    ride(9)
    made()
    shown = told(studio)
    figures = [row for row in shown.products if row.withheld is None]
    assert figures
    assert {(row.ci95_m2, row.prediction95_m2, row.p_best, row.score) for row in figures[1:] if row.se_m2} == {
        (None, None, None, None)
    }
    assert (shown.tau_m2, shown.q, shown.i2, shown.inconsistency_p) == (None, None, None, None)


def test_a_product_of_two_riders_is_withheld_beside_those_shown(studio, wheels, ride, made):
    rare = ProductFactory(studio=studio, name="Tarn 99")
    ride(16)
    ride(2, tested=[wheels[0], rare])
    made()
    rows = {row.product: row for row in told(studio).products}
    assert (rows[rare.pk].effect_m2, rows[rare.pk].riders) == (None, None)
    assert "fewer than 3 riders" in rows[rare.pk].withheld
    assert rows[wheels[1].pk].effect_m2 is not None


def test_nothing_changed_makes_no_new_edition(studio, ride, made):
    ride(16)
    assert made() == made()
    assert Edition.objects.count() == 1


def test_one_more_rider_changes_no_figure(studio, ride, made):
    ride(16)
    made()
    before = told(studio)
    ride(1)
    made()
    assert Edition.objects.count() == 2
    assert told(studio).products == before.products


def test_twice_the_riders_make_the_figures_anew(studio, ride, made):
    ride(16)
    made()
    before = {row.product: row.riders for row in told(studio).products}
    ride(20)
    made()
    assert all(row.riders > before[row.product] for row in told(studio).products if row.withheld is None)


def test_a_withdrawal_is_seen_at_once_and_the_next_edition_has_no_such_rider(studio, ride, made):
    rider = ride(16)[0]
    made()
    Consent.objects.filter(rider=rider).update(withdrawn_at="2026-06-01T00:00:00Z")
    assert {row.withheld for row in told(studio).products} == {WITHDRAWN}
    evidence_withdraw(rider=rider)
    made()
    key = ContributorKey.objects.get(rider=rider).key
    assert all(key not in np.frombuffer(row.contributors, np.int64) for row in Standings.objects.all())


def test_the_difference_of_two_editions_gives_no_leaver_away(studio, ride, made):
    """Without newcomers to hide among, nothing may return: old less new would be the leaver's own."""
    rider = ride(16)[0]
    made()
    Consent.objects.filter(rider=rider).update(withdrawn_at="2026-06-01T00:00:00Z")
    evidence_withdraw(rider=rider)
    made()
    tested = set(Product.objects.order_by("pk").values_list("pk", flat=True))
    shown = {row.product for row in told(studio).products if row.withheld is None}
    assert len(shown) < len(tested)


def test_the_ledger_holds_keys_and_weights_and_no_value(studio, ride, made):
    ride(16)
    made()
    entry = LedgerEntry.objects.first()
    keys = set(np.frombuffer(entry.unknowns, np.int64).reshape(-1, 3)[:, 0])
    assert keys == set(ContributorKey.objects.values_list("key", flat=True))
    weights = np.frombuffer(entry.weights, np.float32).reshape(entry.figures, -1)
    assert weights.sum(axis=1) == pytest.approx(0.0, abs=1e-5)
    values = np.array(Arm.objects.values_list("cda_m2", flat=True), np.float32)
    assert not np.isin(values, weights).any()


def test_the_same_test_keeps_its_key_through_withdrawal_and_consent(studio, ride, made):
    """What was told of it before is not forgotten."""
    rider = ride(16)[0]
    made()
    lines = LedgerEntry.objects.count()
    ContributorKey.objects.get(rider=rider)
    Consent.objects.filter(rider=rider).update(withdrawn_at="2026-06-01T00:00:00Z")
    made()
    ConsentFactory(rider=rider, purpose="pooled_results")
    made()
    table = [np.frombuffer(e.unknowns, np.int64).reshape(-1, 3) for e in LedgerEntry.objects.all()]
    assert len({arm for rows in table for arm in rows[:, 1]}) == Arm.objects.count()
    assert LedgerEntry.objects.count() >= lines


def test_erasing_a_rider_cuts_the_key_from_the_person(studio, rider_cy):
    key = ContributorKey.objects.create(studio=studio, rider=rider_cy)
    Rider.objects.filter(pk=rider_cy.pk).delete()
    key.refresh_from_db()
    assert key.rider is None


def test_strata_are_shown_by_their_own_riders(studio, ride, made):
    ride(30)
    ride(30, band="over-185")
    made()
    tall, all_of_them = told(studio, height="over-185"), told(studio)
    shown = [row for row in tall.products if row.withheld is None]
    whole = {row.product: row.riders for row in all_of_them.products}
    assert shown
    assert all(row.riders < whole[row.product] for row in shown)


def test_arms_of_a_rider_who_never_agreed_are_in_no_edition(studio, wheels, ride, made):
    ride(16)
    Consent.objects.all().delete()
    made()
    assert current_edition(studio).arms == 0
    assert not Standings.objects.exists()


@pytest.fixture
def pairs(studio, wheels, rng):
    """Riders who tested the first two wheels; taller ones gain more."""

    def enter(riders, *, faster=None):
        made = RiderFactory.create_batch(riders, studio=studio)
        for at, rider in enumerate(made):
            ConsentFactory(rider=rider, purpose="pooled_results")
            session, height_cm = FieldSessionFactory(rider=rider), rng.normal(176.0, 9.0)
            gain = -0.001 if faster is None or at < faster else 0.001
            gain += rng.normal(0.0, 0.0014) if faster is None else -0.00001 * (height_cm - 176.0)
            for product, value in zip(wheels[:2], (0.25, 0.25 + gain), strict=True):
                ArmFactory(analysis__session=session, product=product, cda_m2=value, height_cm=height_cm)
        return made

    return enter


def counts(studio):
    return {(row.faster_riders, row.counted_riders) for row in told(studio).products} - {(None, None)}


def test_an_edition_counts_the_riders_on_whom_a_product_was_faster(studio, pairs, made):
    pairs(40, faster=28)
    made()
    first = told(studio).products[0]
    assert counts(studio) == {(28 if first.effect_m2 < 0 else 12, 40)}
    assert CountedGroup.objects.count() == 1


@pytest.mark.parametrize(("riders", "faster"), [(9, 5), (40, 40), (40, 0), (40, 39)])
def test_few_riders_or_nearly_all_of_one_mind_are_not_counted(studio, pairs, made, riders, faster):
    pairs(riders, faster=faster)
    made()
    assert not counts(studio)


def test_one_more_rider_and_a_new_edition_change_no_count(studio, pairs, made):
    pairs(40, faster=28)
    made()
    before = counts(studio)
    pairs(1, faster=1)
    made()
    assert (counts(studio), Edition.objects.count()) == (before, 2)


def test_twice_the_riders_are_the_old_group_and_the_new_one(studio, pairs, made):
    pairs(40, faster=28)
    made()
    pairs(50, faster=20)
    made()
    sizes = sorted(len(group.riders) // 8 for group in CountedGroup.objects.all())
    assert sizes == [40, 50]
    assert {pair[1] for pair in counts(studio)} == {90}


def test_with_one_of_a_group_gone_its_count_is_gone(studio, pairs, made):
    rider = pairs(40, faster=28)[0]
    made()
    Consent.objects.filter(rider=rider).update(withdrawn_at="2026-06-01T00:00:00Z")
    assert not counts(studio)
    evidence_withdraw(rider=rider)
    pairs(60, faster=30)
    made()
    assert {pair[1] for pair in counts(studio)} <= {60}


def test_a_slope_over_height_is_told_and_counts_in_the_ledger(studio, pairs, made, monkeypatch):
    monkeypatch.setattr("analysis.core.pool.extras.SPEND", 0.20)  # 80 riders instead of some hundred
    pairs(80)
    made()
    slopes = [slope for row in told(studio).products for slope in row.slopes]
    height = next(slope for slope in slopes if slope["moderator"] == "height")
    assert height["ci95_m2"][0] < height["slope_m2"] < height["ci95_m2"][1]
    assert height["riders"] == 80
    assert {slope["moderator"] for slope in slopes if slope["withheld"]} == {"speed", "yaw"}
    figures = sum(entry.figures for entry in LedgerEntry.objects.all())
    tables = sum(
        sum(not each["withheld"] for each in row.products) - 1 for row in Standings.objects.all() if row.covariance
    )
    assert figures == tables + 1 + CountedGroup.objects.count()


def test_an_edition_is_progress_and_an_event(studio, ride, made, django_assert_max_num_queries):
    ride(16)
    with django_assert_max_num_queries(60):
        made()
    jsonschema.validate(Standings.objects.first().figures, {"required": ["tau_m2", "q", "df", "i2", "as_of"]})
