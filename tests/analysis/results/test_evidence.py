"""What enters the evidence: clean arms of accepted analyses, of riders who agree, and nothing else."""

from datetime import UTC, datetime

import pytest
from django.utils import timezone

from analysis.results.models import Acceptance, Arm, Job
from analysis.results.offers import ANOTHER_SLOT, GONE, INVALID, NO_CONSENT, NO_ERROR, NOTHING, TWICE, offers_of
from analysis.results.services.evidence import (
    analysis_accept,
    evidence_enter_again,
    evidence_follow,
    evidence_withdraw,
)
from studio.records.errors import Conflict
from studio.records.models import Consent, Event
from studio.records.services.mending import setup_mend
from studio.records.services.sessions import session_delete
from tests.factories import (
    AnalysisFactory,
    ConsentFactory,
    EquipmentItemFactory,
    FieldSessionFactory,
    ProductFactory,
    RunFactory,
    SessionSetupFactory,
    SetupItemFactory,
)
from tests.reports.stored import comparison, run, setup

pytestmark = pytest.mark.django_db


def change(slot="wheels", before="Tarn 40", after="Tarn 50"):
    return {"factor": f"items.{slot}", "from": before, "to": after}


@pytest.fixture
def session(studio):
    return FieldSessionFactory(rider__studio=studio, rider__height_cm=185.0, bike__kind="Time trial")


@pytest.fixture
def agreed(session):
    return ConsentFactory(rider=session.rider, purpose="pooled_results")


@pytest.fixture
def shelf(studio):
    """Products by name, made once."""
    made = {}

    def product(name, category="wheels"):
        if (category, name) not in made:
            made[category, name] = ProductFactory(studio=studio, category=category, name=name)
        return made[category, name]

    return product


@pytest.fixture
def tested(session, shelf):
    """Setups A, B ... of the session with a product in a slot each."""

    def lay(names, slot="wheels"):
        for label, name in zip("ABCD", names, strict=False):
            link = session.setup_links.filter(setup__label=label).first() or SessionSetupFactory(
                session=session, setup__label=label, setup__bike=session.bike, order="ABCD".index(label)
            )
            item = EquipmentItemFactory(product=shelf(name, slot))
            SetupItemFactory(setup=link.setup, slot=slot, item=item)

    return lay


def analysed(session, *comparisons, number=1, runs=4):
    labels = dict.fromkeys(name for c in comparisons for name in (c["reference"], c["changed"]))
    result = {
        "setups": [setup(label, 0.24, runs=runs) for label in labels],
        "runs": [run(at, label) for at, label in enumerate(labels, 1)],
        "comparisons": list(comparisons),
    }
    return AnalysisFactory(session=session, number=number, result=result)


def wheels(changed="B", verdict="faster", u_m2=0.0009, **other):
    changes = other.pop("changes", [change()])
    return comparison(verdict, changed=changed, changes=changes, ridden_u_m2=u_m2, **other)


def test_a_product_that_was_mended_since_does_not_take_the_figures_of_the_old_one(session, agreed, tested, shelf):
    tested(["Tarn 40", "Tarn 50"])
    analysis = analysed(session, wheels())
    worn = session.setup_links.get(setup__label="B").setup
    right = EquipmentItemFactory(product=shelf("Tarn 60"))
    RunFactory(session=session, setup=worn)
    setup_mend(session=session, setup=worn, by=None, changes={"items": {"wheels": right}}, reason="misread")
    analysis_accept(analysis=analysis, by=None)
    assert offers_of(analysis)[0].excluded == GONE
    assert not Arm.objects.exists()


def test_a_session_with_evidence_is_never_deleted(session, agreed, tested):
    """So no edition is due for a deleted one: what feeds it hangs on an analysis, and that keeps its session."""
    tested(["Tarn 40", "Tarn 50"])
    analysis_accept(analysis=analysed(session, wheels()), by=None)
    jobs = Job.objects.count()
    with pytest.raises(Conflict, match="in use by analyses"):
        session_delete(record=session, by=None, version=session.version)
    assert (Arm.objects.count(), Acceptance.objects.count(), Job.objects.count()) == (2, 1, jobs)


def test_a_clean_comparison_enters_as_two_arms(session, agreed, tested):
    tested(["Tarn 40", "Tarn 50"])
    analysis_accept(analysis=analysed(session, wheels()), by=None)
    first, second = Arm.objects.order_by("product__name")
    assert second.cda_m2 - first.cda_m2 == pytest.approx(-0.00618)
    assert first.se_m2**2 + second.se_m2**2 == pytest.approx(0.0009**2)
    assert (first.category, first.rider, first.session) == ("wheels", session.rider, session)
    assert (first.bike_kind, first.height_band, first.yaw_band) == ("time trial", "over-185", "5-10")


def test_several_setups_keep_the_variance_of_every_difference(session, agreed, tested):
    tested(["Tarn 40", "Tarn 50", "Tarn 60"])
    third = wheels("C", u_m2=0.0014, changes=[change(after="Tarn 60")])
    analysis_accept(analysis=analysed(session, wheels(), third), by=None)
    base, one, other = (arm.se_m2**2 for arm in Arm.objects.order_by("product__name"))
    assert [base + one, base + other] == pytest.approx([0.0009**2, 0.0014**2])


def test_two_categories_of_a_session_are_two_studies(session, agreed, tested):
    tested(["Tarn 40", "Tarn 50", "Tarn 40"])
    tested(["Orlo 1", "Orlo 1", "Orlo 2"], slot="helmet")
    helmets = wheels("C", changes=[change("helmet", "Orlo 1", "Orlo 2")])
    analysis_accept(analysis=analysed(session, wheels(), helmets), by=None)
    assert sorted(Arm.objects.values_list("category", flat=True)) == ["helmet", "helmet", "wheels", "wheels"]


def test_tyres_carry_all_resistance_as_ridden(session, agreed, tested):
    tested(["Mire 25", "Mire 28"], slot="tyres")
    tyres = wheels(changes=[change("tyres", "Mire 25", "Mire 28")], ridden_delta_m2=-0.0031, delta_cda_m2=0.0011)
    analysis_accept(analysis=analysed(session, tyres), by=None)
    first, second = Arm.objects.order_by("product__name")
    assert second.cda_m2 - first.cda_m2 == pytest.approx(-0.0031)


@pytest.mark.parametrize(
    ("told", "why"),
    [
        (wheels(changes=[]), NOTHING),
        (wheels(changes=[change(), change("helmet")]), "2 factors changed (items.wheels, items.helmet)"),
        (
            wheels(changes=[{"factor": "position", "from": {}, "to": {}}]),
            "What changed is position",
        ),
        (wheels(verdict="invalid"), INVALID),
        (wheels(u_m2=None), NO_ERROR),
        (wheels(changes=[change("helmet")]), GONE),
    ],
)
def test_what_does_not_enter_says_why(session, agreed, tested, told, why):
    tested(["Tarn 40", "Tarn 50"])
    analysis = analysed(session, told)
    analysis_accept(analysis=analysis, by=None)
    assert offers_of(analysis)[0].excluded.startswith(why)
    assert not Arm.objects.exists()


def test_the_same_product_twice_counts_once(session, agreed, tested):
    tested(["Tarn 40", "Tarn 50", "Tarn 50"])
    first, second = offers_of(analysed(session, wheels(), wheels("C")))
    assert (first.excluded, second.excluded) == (None, TWICE)


def test_wheels_of_two_slots_are_not_told_against_each_others_reference(session, agreed, shelf):
    """Front Tarn 40 to 60 and rear Tarn 50 to 80 are one category; nobody rode 80 against 40."""
    for at, (front, rear) in enumerate([("Tarn 40", "Tarn 50"), ("Tarn 60", "Tarn 50"), ("Tarn 40", "Tarn 80")]):
        link = SessionSetupFactory(session=session, setup__label="ABC"[at], setup__bike=session.bike, order=at)
        for slot, name in (("front_wheel", front), ("rear_wheel", rear)):
            SetupItemFactory(setup=link.setup, slot=slot, item=EquipmentItemFactory(product=shelf(name)))
    one = wheels(changes=[change("front_wheel", "Tarn 40", "Tarn 60")])
    other = wheels("C", changes=[change("rear_wheel", "Tarn 50", "Tarn 80")])
    analysis = analysed(session, one, other)
    analysis_accept(analysis=analysis, by=None)
    assert [offer.excluded for offer in offers_of(analysis)] == [None, ANOTHER_SLOT]
    assert set(Arm.objects.values_list("product__name", flat=True)) == {"Tarn 40", "Tarn 60"}


def test_nothing_enters_without_consent_and_it_enters_with_it(session, tested):
    tested(["Tarn 40", "Tarn 50"])
    analysis = analysed(session, wheels())
    analysis_accept(analysis=analysis, by=None)
    assert (offers_of(analysis)[0].excluded, Arm.objects.count()) == (NO_CONSENT, 0)
    ConsentFactory(rider=session.rider, purpose="pooled_results")
    evidence_enter_again(rider=session.rider)
    assert Arm.objects.count() == 2


def test_consent_to_keep_records_is_no_consent_to_pool(session, tested):
    tested(["Tarn 40", "Tarn 50"])
    ConsentFactory(rider=session.rider, purpose="records")
    analysis_accept(analysis=analysed(session, wheels()), by=None)
    assert not Arm.objects.exists()


def test_arms_follow_what_the_rider_agrees_to(session, agreed, tested):
    tested(["Tarn 40", "Tarn 50"])
    analysis_accept(analysis=analysed(session, wheels()), by=None)
    counted = []
    for withdrawn_at in (datetime.now(UTC), None):
        Consent.objects.update(withdrawn_at=withdrawn_at)
        evidence_follow(rider=session.rider)
        counted.append(Arm.objects.count())
    assert counted == [0, 2]


def test_a_withdrawal_takes_the_arms_out_and_asks_for_an_edition(session, agreed, tested):
    tested(["Tarn 40", "Tarn 50"])
    analysis_accept(analysis=analysed(session, wheels()), by=None)
    Job.objects.all().delete()
    Consent.objects.update(withdrawn_at=datetime.now(UTC))
    evidence_withdraw(rider=session.rider)
    assert not Arm.objects.exists()
    assert Job.objects.get().kind == "make_edition"


def test_erasing_the_rider_takes_the_arms_along(session, agreed, tested):
    tested(["Tarn 40", "Tarn 50"])
    analysis = analysed(session, wheels())
    analysis_accept(analysis=analysis, by=None)
    analysis.delete()
    session.delete()
    assert not Arm.objects.exists()
    assert not Acceptance.objects.exists()


def test_accepting_twice_is_accepting_once(session, agreed, tested, fitter_bo):
    tested(["Tarn 40", "Tarn 50"])
    analysis = analysed(session, wheels())
    ids = [analysis_accept(analysis=analysis, by=fitter_bo).pk for _ in range(2)]
    assert ids[0] == ids[1]
    assert (Arm.objects.count(), Event.objects.filter(verb="accepted").count(), Job.objects.count()) == (2, 1, 1)


def test_a_newer_accepted_analysis_replaces_the_older(session, agreed, tested):
    tested(["Tarn 40", "Tarn 50"])
    old, new = analysed(session, wheels()), analysed(session, wheels(u_m2=0.0005), number=2)
    kept = {analysis_accept(analysis=old, by=None).analysis_id: set(Arm.objects.values_list("pk", flat=True))}
    analysis_accept(analysis=new, by=None)
    assert {arm.analysis_id for arm in Arm.objects.all()} == {new.pk}
    assert set(Arm.objects.values_list("pk", flat=True)) == kept[old.pk]
    assert sum(arm.se_m2**2 for arm in Arm.objects.all()) == pytest.approx(0.0005**2)


def test_arms_that_the_newer_does_not_have_go(session, agreed, tested):
    tested(["Tarn 40", "Tarn 50", "Tarn 60"])
    analysis_accept(analysis=analysed(session, wheels(), wheels("C")), by=None)
    analysis_accept(analysis=analysed(session, wheels(), wheels("C", verdict="invalid"), number=2), by=None)
    assert sorted(Arm.objects.values_list("product__name", flat=True)) == ["Tarn 40", "Tarn 50"]


def test_an_older_analysis_is_not_accepted_over_a_newer(session):
    old, new = analysed(session), analysed(session, number=2)
    analysis_accept(analysis=new, by=None)
    with pytest.raises(Conflict, match="accept the newest"):
        analysis_accept(analysis=old, by=None)
    assert Acceptance.objects.get().accepted_at <= timezone.now()
