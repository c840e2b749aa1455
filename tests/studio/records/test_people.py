"""Studios, accounts, riders, consents."""

from datetime import timedelta

import pytest

from studio.records.errors import Conflict, Unusable
from studio.records.models import Consent, ConsentPurpose, Role, User
from studio.records.services.consents import consent_give, consent_withdraw
from studio.records.services.people import account_create, rider_create, rider_update, studio_create
from tests.factories import NOON, PASSWORD, RiderFactory

pytestmark = pytest.mark.django_db


def test_studio_needs_a_known_zone():
    with pytest.raises(Unusable, match="an IANA time zone"):
        studio_create(name="Leeward", timezone="Azores")
    assert studio_create(name="Leeward", timezone="Atlantic/Azores").pk is not None


def test_account_has_its_one_role(studio):
    user = account_create(studio=studio, username="fay", password=PASSWORD, role=Role.FITTER)
    assert user.check_password(PASSWORD)
    assert (user.membership.studio, user.membership.role) == (studio, Role.FITTER)


def test_account_name_is_used_once(studio, fitter_bo):
    with pytest.raises(Conflict, match="username is 'bo'"):
        account_create(studio=studio, username="bo", password=PASSWORD, role=Role.CLIENT)


@pytest.mark.parametrize("password", ["short", "passwordpassword1"[:8], "bartholomew"])
def test_easy_password_is_refused(studio, password):
    with pytest.raises(Unusable, match="password is one that is too easy"):
        account_create(studio=studio, username="bartholomew", password=password, role=Role.CLIENT)
    assert not User.objects.exists()


def test_password_is_not_repeated_in_the_refusal(studio):
    with pytest.raises(Unusable, match="too easy") as refusal:
        account_create(studio=studio, username="fay", password="hush", role=Role.CLIENT)
    assert "hush" not in str(refusal.value)


def test_unknown_role_is_refused_whole(studio):
    with pytest.raises(Unusable, match="one of: owner, fitter, client, shop"):
        account_create(studio=studio, username="fay", password=PASSWORD, role="king")
    assert not User.objects.exists()


def test_rider_code_is_used_once_in_a_studio(studio):
    RiderFactory(code="R-1")
    rider_create(studio=studio, by=None, code="R-1")
    with pytest.raises(Conflict, match="A rider's code is used once in a studio"):
        rider_create(studio=studio, by=None, code="R-1")


def test_rider_account_is_a_client(studio, fitter_bo, client_cy):
    rider = RiderFactory(studio=studio)
    with pytest.raises(Unusable, match="allowed: an account whose role is client"):
        rider_update(record=rider, by=None, version=1, changes={"user": fitter_bo})
    assert rider_update(record=rider, by=None, version=1, changes={"user": client_cy}).user == client_cy


def test_consent_is_given_once_until_it_is_withdrawn(rider_cy, client_cy):
    asked = {"rider": rider_cy, "purpose": ConsentPurpose.RECORDS, "wording_version": "2026-01", "by": client_cy}
    consent = consent_give(**asked, given_at=NOON)
    with pytest.raises(Conflict, match="withdraw the open consent first"):
        consent_give(**asked, given_at=NOON)
    consent_withdraw(record=consent, by=client_cy, version=1, withdrawn_at=NOON + timedelta(days=1))
    consent_give(**asked, given_at=NOON + timedelta(days=2))
    assert Consent.objects.filter(withdrawn_at__isnull=True).count() == 1
