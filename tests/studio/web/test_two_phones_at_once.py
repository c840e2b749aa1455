"""Two fitters send their forms at the same moment: one is written, the other is told, nothing is lost."""

import threading

import pytest
from django.db import connection

from studio.records.models import Correction, Role, Run
from studio.records.services.events import chain_faults
from tests.factories import MembershipFactory, RiderFactory
from tests.studio.web.days import day

pytestmark = [pytest.mark.server, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def _several_writers():
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL (DATABASE_URL): the test's SQLite lies in memory and takes one writer")


def at_once(*posts):
    """Send each from a thread of its own; their statuses in the order of the posts."""
    together, told = threading.Barrier(len(posts)), {}

    def send(at, client, address, body):
        together.wait(timeout=10)
        try:
            told[at] = client.post(address, body).status_code
        finally:
            connection.close()

    senders = [threading.Thread(target=send, args=(at, *post)) for at, post in enumerate(posts)]
    for sender in senders:
        sender.start()
    for sender in senders:
        sender.join(timeout=60)
    return [told.get(at) for at in range(len(posts))]


@pytest.fixture
def session(db):
    return day(RiderFactory())


@pytest.fixture
def phones(session, browser):
    people = [MembershipFactory(studio=session.studio, role=Role.FITTER).user for _ in range(2)]
    return [browser(person) for person in people]


def test_one_run_left_out_for_two_reasons(session, phones):
    run = session.runs.get(number=2)
    body = {"act": "leave-out", "version": run.version}
    posts = [(phone, f"/runs/{run.pk}/", body | {"left_out": f"reason {at}"}) for at, phone in enumerate(phones)]
    told = at_once(*posts)
    assert sorted(told) == [302, 412]
    assert Run.objects.get(pk=run.pk).left_out == f"reason {told.index(302)}"
    assert Correction.objects.count() == 1
    assert chain_faults(session.studio) == []


def test_one_setup_mended_to_two_masses(session, phones):
    setup = session.setup_links.get(setup__label="A").setup
    runs = session.runs.filter(setup=setup).order_by("number")
    form = {
        "act": "mend",
        "seen": " ".join(f"{run.number}.{run.version}" for run in runs),
        "runs": [run.number for run in runs],
        "label": "A",
        "reason": "weighed again",
        "pressure_front": "520",
        "position": setup.position_id,
        "slot_wheels": setup.slots.get().item_id,
    }
    address = f"/sessions/{session.pk}/setups/{setup.pk}/mend/"
    masses = (83.0, 84.0)
    told = at_once(*((phone, address, form | {"system_mass_kg": kg}) for phone, kg in zip(phones, masses, strict=True)))
    assert sorted(told) == [302, 412]
    now = session.setup_links.get(setup__label="A").setup
    assert now.system_mass_kg == masses[told.index(302)]
    assert set(session.runs.filter(setup=now).values_list("number", flat=True)) == {1, 4, 5, 8}
    assert chain_faults(session.studio) == []


def test_an_undoing_and_a_new_reason(session, phones):
    """Whoever comes second is refused: the undoing by what is on record, the reason by its version."""
    run = session.runs.get(number=2)
    phones[0].post(f"/runs/{run.pk}/", {"act": "leave-out", "version": run.version, "left_out": "a gust"})
    mark = Correction.objects.get()
    newer = {"act": "leave-out", "version": run.version + 1, "left_out": "a van passed"}
    told = at_once((phones[0], f"/corrections/{mark.pk}/undo/", {}), (phones[1], f"/runs/{run.pk}/", newer))
    assert told in ([302, 412], [409, 302])
    assert Run.objects.get(pk=run.pk).left_out == ("" if told[0] == 302 else "a van passed")
