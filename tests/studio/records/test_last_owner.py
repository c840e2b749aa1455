"""Two owners at the same moment: whatever they do to each other, the studio keeps one who can sign in."""

import threading

import pytest
from django.db import connection

from studio.records.errors import Conflict, StaleVersion
from studio.records.models import Membership, Role
from studio.records.services.events import chain_faults
from studio.records.services.invitations import invitation_accept, invitation_create
from studio.records.services.members import membership_remove, membership_update
from tests.factories import PASSWORD, MembershipFactory, StudioFactory

pytestmark = [pytest.mark.server, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def _several_writers():
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL (DATABASE_URL): the test's SQLite lies in memory and takes one writer")


def at_once(*acts):
    """Run each in a thread of its own, all released together; gives what each raised or None."""
    gate, ends = threading.Barrier(len(acts)), {}

    def run(number, act):
        try:
            gate.wait(timeout=30)
            act()
            ends[number] = None
        except Exception as error:
            ends[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return [ends[number] for number in range(len(acts))]


def fresh(row):
    return Membership.objects.select_related("user", "studio").get(pk=row.pk)


def removal(row, by):
    return lambda: membership_remove(record=fresh(row), by=by, version=1)


def demotion(row, by):
    return lambda: membership_update(record=fresh(row), by=by, version=1, changes={"role": Role.FITTER})


@pytest.mark.parametrize("acts", [(removal, removal), (demotion, demotion), (removal, demotion)])
def test_two_owners_who_turn_on_each_other_leave_one(acts):
    studio = StudioFactory()
    for _ in range(5):
        Membership.objects.filter(studio=studio).update(role=Role.SHOP)
        one, two = (MembershipFactory(studio=studio, role=Role.OWNER) for _ in range(2))
        ends = at_once(acts[0](one, two.user), acts[1](two, one.user))
        (refused,) = [end for end in ends if end is not None]
        assert isinstance(refused, Conflict)
        assert Membership.objects.filter(studio=studio, role=Role.OWNER, user__is_active=True).count() == 1
    assert chain_faults(studio) == []


def test_of_two_changes_of_one_role_the_second_is_told():
    studio = StudioFactory()
    owner = MembershipFactory(studio=studio, role=Role.OWNER).user
    member = MembershipFactory(studio=studio)
    ends = at_once(*(demotion(member, owner) for _ in range(2)))
    assert [type(end) for end in ends if end is not None] == [StaleVersion]


def test_a_link_that_many_open_at_once_lets_one_in():
    studio = StudioFactory()
    owner = MembershipFactory(studio=studio, role=Role.OWNER).user
    _, key = invitation_create(studio=studio, by=owner, role=Role.FITTER)

    def come_in(name):
        return lambda: invitation_accept(key=key, username=name, password=PASSWORD)

    ends = at_once(*(come_in(f"guest-{number}") for number in range(4)))
    assert ends.count(None) == 1
    assert Membership.objects.filter(studio=studio, role=Role.FITTER).count() == 1
    assert chain_faults(studio) == []
