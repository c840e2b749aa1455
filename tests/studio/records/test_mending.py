"""A wrong mass or tyre: a new setup takes the runs of the old one, which stays as it was ridden."""

import pytest

from studio.records.errors import Conflict, Unusable
from studio.records.models import Correction, Event, Run, Setup
from studio.records.selectors.bundles import session_document
from studio.records.services.corrections import links_of
from studio.records.services.mending import setup_mend
from studio.records.services.undoing import correction_undo
from tests.factories import (
    EquipmentItemFactory,
    FieldSessionFactory,
    RunFactory,
    SessionSetupFactory,
    SetupFactory,
    SetupItemFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def session(studio):
    return FieldSessionFactory(rider__studio=studio)


@pytest.fixture
def setups(session):
    """A, the reference, with tyres and 82 kg; B, also 82 kg; ridden A B B A."""
    made = {label: SetupFactory(bike=session.bike, label=label, system_mass_kg=82.0, bottles=1) for label in "AB"}
    for order, (label, setup) in enumerate(made.items()):
        SetupItemFactory(setup=setup, slot="tyres")
        SessionSetupFactory(session=session, setup=setup, order=order, reference=label == "A")
    for number, label in enumerate("ABBA", 1):
        RunFactory(session=session, setup=made[label], number=number)
    return made


def mend(session, setup, reason="the scale stood on gravel", **more):
    changes = more.pop("changes", {"system_mass_kg": 83.4})
    return setup_mend(session=session, setup=setup, by=None, changes=changes, reason=reason, **more)


def ridden(session):
    return [run.setup for run in session.runs.order_by("number")]


def test_all_runs_move_and_the_new_setup_takes_the_place(session, setups):
    mended = mend(session, setups["A"])
    assert ridden(session) == [mended, setups["B"], setups["B"], mended]
    assert links_of(session) == [[str(mended.pk), True], [str(setups["B"].pk), False]]
    assert (mended.label, mended.system_mass_kg, mended.bottles) == ("A", 83.4, 1)
    assert mended.slots.get().item == setups["A"].slots.get().item


def test_the_old_setup_stays_as_it_was(session, setups):
    mend(session, setups["A"])
    assert Setup.objects.get(pk=setups["A"].pk).system_mass_kg == 82.0


def test_the_document_of_the_session_speaks_of_the_mended_one(session, setups):
    mend(session, setups["B"])
    masses = {entry["label"]: entry["system_mass_kg"] for entry in session_document(session)["setups"]}
    assert masses == {"A": 82.0, "B": 83.4}


def test_a_wrong_tyre_is_another_item_in_its_slot(session, setups):
    tyre = EquipmentItemFactory(product__studio=session.studio)
    mended = mend(session, setups["A"], changes={"items": {"tyres": tyre}})
    assert [(slot.slot, slot.item) for slot in mended.slots.all()] == [("tyres", tyre)]
    emptied = mend(session, mended, changes={"items": {"tyres": None}})
    assert not emptied.slots.exists()


def test_some_runs_move_under_a_label_of_their_own(session, setups):
    with pytest.raises(Unusable, match="label is a second setup A"):
        mend(session, setups["A"], numbers=[4])
    mended = mend(session, setups["A"], numbers=[4], changes={"label": "A2", "system_mass_kg": 83.4})
    assert ridden(session) == [setups["A"], setups["B"], setups["B"], mended]
    assert [reference for _, reference in links_of(session)] == [True, False, False]


@pytest.mark.parametrize("numbers", [[2], [9], []])
def test_only_runs_of_the_setup_move(session, setups, numbers):
    with pytest.raises(Unusable, match="These runs cannot move"):
        mend(session, setups["A"], numbers=numbers)
    assert Setup.objects.count() == 2


def test_a_second_fitter_is_told_that_it_is_mended(session, setups):
    mend(session, setups["A"])
    with pytest.raises(Conflict, match="No run of this session uses setup A; somebody may have mended it already"):
        mend(session, setups["A"], changes={"system_mass_kg": 84.0})


@pytest.mark.parametrize("changes", [{}, {"label": "A3"}, {"system_mass_kg": 82.0}])
def test_mending_nothing_is_refused(session, setups, changes):
    with pytest.raises(Unusable, match="Nothing is put right"):
        mend(session, setups["A"], changes=changes)


def test_both_setups_and_the_reason_are_kept(session, setups):
    mended = mend(session, setups["A"])
    kept = Correction.objects.get()
    assert (kept.kind, kept.reason) == ("mended", "the scale stood on gravel")
    assert [step["number"] for step in kept.changes["runs"]] == [1, 4]
    assert kept.changes["runs"][0]["before"] == {"setup": str(setups["A"].pk)}
    assert kept.changes["links"]["after"][0] == [str(mended.pk), True]
    assert [event.verb for event in Event.objects.order_by("number")] == ["made", "reassigned", "reassigned", "mended"]


def test_undoing_puts_runs_places_and_reference_back(session, setups):
    before = links_of(session)
    mend(session, setups["A"])
    correction_undo(correction=Correction.objects.get(), by=None)
    assert ridden(session) == [setups["A"], setups["B"], setups["B"], setups["A"]]
    assert links_of(session) == before


def test_undoing_waits_where_a_later_run_uses_the_new_setup(session, setups):
    mended = mend(session, setups["A"])
    RunFactory(session=session, setup=mended, number=5)
    with pytest.raises(Conflict, match="run 5 is setup A, allowed: runs of the setups before"):
        correction_undo(correction=Correction.objects.get(), by=None)
    assert Run.objects.get(number=1).setup == mended


def test_mending_makes_old_entity_tags_of_the_session_stale(session, setups):
    mend(session, setups["A"])
    assert type(session).objects.get().version > 1
