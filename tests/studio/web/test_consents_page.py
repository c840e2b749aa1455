"""Consents in plain words: the client's own page, and the fitter's for what was signed on paper."""

import pytest
from django.utils import timezone

from studio.records.models import Consent, Rider
from tests.factories import RiderFactory


@pytest.fixture
def cy(browser, rider_cy):
    return browser(rider_cy.user)


@pytest.fixture
def address(rider_cy):
    return f"/riders/{rider_cy.pk}/consents/"


def agreed(rider):
    return sorted(Consent.objects.filter(rider=rider, withdrawn_at=None).values_list("purpose", flat=True))


def test_a_client_agrees_to_one_purpose_and_withdraws_it(cy, address, rider_cy, page):
    assert cy.get("/consents/").url == address
    form = {"purpose": "contact", "wording_version": "2026-01"}
    assert cy.post(address, form).url == address
    assert agreed(rider_cy) == ["contact"]
    assert page(rider_cy.user, address).text.count("Not agreed.") == 3
    cy.post(f"/consents/{Consent.objects.get().pk}/withdraw/")
    assert agreed(rider_cy) == []
    assert "Withdrawn last on" in page(rider_cy.user, address).text


def test_nothing_is_agreed_to_beforehand(address, rider_cy, page):
    seen = page(rider_cy.user, address)
    assert "checkbox" not in seen.values("type")
    assert seen.text.count("Not agreed.") == 4


def test_a_fitter_enters_from_paper_with_its_date(browser, fitter_bo, address, rider_cy):
    form = {"purpose": "records", "wording_version": "2026-01", "signed_on": "2026-05-09"}
    assert browser(fitter_bo).post(address, form).url == address
    consent = Consent.objects.get()
    assert (consent.from_paper, consent.entered_by, consent.given_at.date().isoformat()) == (
        True,
        fitter_bo,
        "2026-05-09",
    )


def test_for_a_child_the_guardian_types_their_name(cy, address, rider_cy):
    Rider.objects.update(birth_year=timezone.now().year - 15, guardian_name="Gil Orlo", guardian_agreed_on="2026-05-01")
    form = {"purpose": "records", "wording_version": "2026-01"}
    assert "a guardian agrees for them" in " ".join(cy.get(address).content.decode().split())
    assert cy.post(address, form).status_code == 400
    assert cy.post(address, form | {"guardian_name": "Gil Orlo"}).status_code == 302


def test_a_client_reads_and_changes_no_other_riders(cy, studio):
    other = RiderFactory(studio=studio)
    path = f"/riders/{other.pk}/consents/"
    form = {"purpose": "records", "wording_version": "2026-01"}
    assert [cy.get(path).status_code, cy.post(path, form).status_code] == [404, 404]


def test_a_client_without_a_rider_is_told_whom_to_ask(page, client_cy):
    assert "linked to no rider yet" in page(client_cy, "/consents/").text


def test_the_fitters_list_says_what_each_rider_agreed_to(cy, address, page, fitter_bo):
    cy.post(address, {"purpose": "contact", "wording_version": "2026-01"})
    assert "Agreed to: contact." in page(fitter_bo, "/consents/").text
