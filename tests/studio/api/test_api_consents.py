"""Consents by API: by the rider, by a guardian, from paper; each purpose by itself, in words with a version."""

import hashlib
from datetime import UTC, date, datetime, timedelta

import pytest
from django.utils import timezone

from studio.records.models import Consent, ConsentPurpose, Event, Rider
from studio.records.services.consents import is_under_age
from studio.records.services.events import chain_faults
from studio.records.wordings import WORDINGS
from tests.factories import ConsentFactory, RiderFactory

CONSENTS = "/api/v1/consents/"
POOLED = {"purpose": "pooled_results", "wording_version": "2026-01"}
CHILD = {"birth_year": timezone.now().year - 15}
GUARDED = {"guardian_name": "Gil Orlo", "guardian_agreed_on": date(2026, 5, 1)}

pytestmark = pytest.mark.django_db


@pytest.fixture
def cy(api, rider_cy):
    return api(rider_cy.user)


def grown(rider, **facts):
    Rider.objects.filter(pk=rider.pk).update(**facts)


def refused_key(answer):
    assert answer.status_code == 422, answer.content
    return answer.json()["errors"][0]["key"]


def test_a_client_reads_the_words_gives_and_withdraws(cy, rider_cy):
    words = {one["purpose"]: one for one in cy.get(f"{CONSENTS}wordings/").json()}
    assert set(words) == set(ConsentPurpose.values)
    body = {"purpose": "contact", "wording_version": words["contact"]["version"]}
    made = cy.post(CONSENTS, body)
    assert (made.status_code, made.json()["rider"], made.json()["withdrawn_at"]) == (201, str(rider_cy.pk), None)
    ended = cy.post(f"{made['Location']}withdraw/")
    assert (ended.status_code, ended.json()["withdrawn_at"] is not None) == (200, True)
    assert cy.post(f"{made['Location']}withdraw/").status_code == 409


def test_each_purpose_is_given_by_itself(cy):
    cy.post(CONSENTS, POOLED)
    cy.post(CONSENTS, POOLED | {"purpose": "contact"})
    given = {row["purpose"]: row["id"] for row in cy.get(CONSENTS).json()["results"]}
    cy.post(f"{CONSENTS}{given['contact']}/withdraw/")
    open_ones = Consent.objects.filter(withdrawn_at=None).values_list("purpose", flat=True)
    assert list(open_ones) == ["pooled_results"]
    assert cy.post(CONSENTS, POOLED).status_code == 409
    assert cy.post(CONSENTS, POOLED | {"purpose": "contact"}).status_code == 201


def test_only_words_in_force_are_agreed_to(cy):
    assert refused_key(cy.post(CONSENTS, POOLED | {"wording_version": "1999-01"})) == "wording_version"


def test_what_somebody_may_have_agreed_to_is_never_edited():
    """Another text needs another version: the hash of each text that was ever in force."""
    texts = {
        (one.purpose.value, one.version): hashlib.sha256(f"{one.title}\n{one.asked}\n{one.withdrawing}".encode())
        for one in WORDINGS
    }
    assert {key: sha256.hexdigest()[:12] for key, sha256 in texts.items()} == {
        ("records", "2026-01"): "29e264541d6e",
        ("pooled_results", "2026-01"): "7969979e7c85",
        ("contact", "2026-01"): "44b73d2208cc",
        ("health_notes", "2026-01"): "c6321ee07b2e",
    }


def test_nobody_agrees_for_a_rider_but_on_paper(api, fitter_bo, rider_cy):
    bo, body = api(fitter_bo), POOLED | {"rider": str(rider_cy.pk)}
    assert refused_key(bo.post(CONSENTS, body)) == "from_paper"
    signed = {"from_paper": True, "given_at": "2026-05-01T09:00:00Z"}
    made = bo.post(CONSENTS, body | signed).json()
    assert (made["from_paper"], made["given_at"], made["entered_by"]) == (
        True,
        "2026-05-01T09:00:00Z",
        str(fitter_bo.pk),
    )
    assert bo.post(f"{CONSENTS}{made['id']}/withdraw/").status_code == 200


def test_paper_has_known_words_and_a_date_that_has_been(api, fitter_bo, rider_cy):
    bo, body = api(fitter_bo), POOLED | {"rider": str(rider_cy.pk), "from_paper": True}
    assert refused_key(bo.post(CONSENTS, body | {"wording_version": "1999-01"})) == "wording_version"
    tomorrow = (timezone.now() + timedelta(days=1)).isoformat()
    assert refused_key(bo.post(CONSENTS, body | {"given_at": tomorrow})) == "given_at"


def test_a_client_neither_backdates_nor_calls_it_paper(cy):
    assert cy.post(CONSENTS, POOLED | {"given_at": "2026-05-01T09:00:00Z"}).status_code == 422
    assert refused_key(cy.post(CONSENTS, POOLED | {"from_paper": True})) == "from_paper"


def test_a_client_agrees_for_no_other_rider(cy, studio):
    other = ConsentFactory(rider=RiderFactory(studio=studio))
    assert refused_key(cy.post(CONSENTS, POOLED | {"rider": str(other.rider_id)})) == "rider"
    assert cy.post(f"{CONSENTS}{other.pk}/withdraw/").status_code == 404
    assert cy.get(f"{CONSENTS}?rider={other.rider_id}").json()["results"] == []


def test_a_client_without_a_rider_is_told(api, client_cy):
    assert api(client_cy).post(CONSENTS, POOLED).status_code == 422


def test_for_a_child_the_guardian_agrees_whom_the_fitter_has_met(cy, rider_cy):
    grown(rider_cy, **CHILD)
    assert refused_key(cy.post(CONSENTS, POOLED)) == "guardian_name"
    assert refused_key(cy.post(CONSENTS, POOLED | {"guardian_name": "Gil Orlo"})) == "guardian_name"
    grown(rider_cy, **GUARDED)
    assert refused_key(cy.post(CONSENTS, POOLED | {"guardian_name": "A friend"})) == "guardian_name"
    made = cy.post(CONSENTS, POOLED | {"guardian_name": "gil  ORLO"})
    assert (made.status_code, made.json()["guardian_name"]) == (201, "gil ORLO")
    assert cy.post(f"{made['Location']}withdraw/").status_code == 200


def test_on_paper_a_guardian_signs_for_a_child(api, fitter_bo, rider_cy):
    grown(rider_cy, **CHILD)
    bo, body = api(fitter_bo), POOLED | {"rider": str(rider_cy.pk), "from_paper": True}
    assert refused_key(bo.post(CONSENTS, body)) == "guardian_name"
    assert bo.post(CONSENTS, body | {"guardian_name": "Gil Orlo"}).status_code == 201


def test_nobody_agrees_for_a_rider_of_age(cy, rider_cy):
    grown(rider_cy, birth_year=1990, **GUARDED)
    assert refused_key(cy.post(CONSENTS, POOLED | {"guardian_name": "Gil Orlo"})) == "guardian_name"
    assert cy.post(CONSENTS, POOLED).status_code == 201


@pytest.mark.parametrize(("birth_year", "child"), [(2007, False), (2008, True), (2011, True), (None, False)])
def test_the_whole_year_of_the_eighteenth_birthday_is_under_age(birth_year, child):
    """Below eighteen is a child (Convention on the Rights of the Child, article 1), and only the year is known."""
    assert is_under_age(Rider(birth_year=birth_year), datetime(2026, 5, 9, tzinfo=UTC).date()) == child


def test_withdrawing_health_notes_deletes_them(cy, rider_cy):
    grown(rider_cy, health_notes="left knee")
    made = cy.post(CONSENTS, POOLED | {"purpose": "health_notes"})
    cy.post(f"{made['Location']}withdraw/")
    rider_cy.refresh_from_db()
    assert rider_cy.health_notes == ""


def test_health_notes_are_written_only_while_the_rider_agrees_to_them(cy, api, fitter_bo, rider_cy):
    bo, path, notes = api(fitter_bo), f"/api/v1/riders/{rider_cy.pk}/", {"health_notes": "left knee"}

    def note(**changes):
        return bo.patch(path, notes | changes, HTTP_IF_MATCH="*")

    assert refused_key(note()) == "health_notes"
    assert b"left knee" not in note().content
    assert refused_key(bo.post("/api/v1/riders/", notes | {"code": "R-new"})) == "health_notes"
    made = cy.post(CONSENTS, POOLED | {"purpose": "health_notes"})
    assert note().status_code == 200
    cy.post(f"{made['Location']}withdraw/")
    assert refused_key(note()) == "health_notes"
    assert note(health_notes="", contact="by post").status_code == 200


def test_every_act_is_an_event_by_who_did_it(cy, studio, rider_cy):
    made = cy.post(CONSENTS, POOLED)
    cy.post(f"{made['Location']}withdraw/")
    acts = Event.objects.filter(record_id=made.json()["id"]).order_by("number")
    assert [(event.verb, event.actor_id) for event in acts] == [
        ("made", rider_cy.user_id),
        ("changed", rider_cy.user_id),
    ]
    assert chain_faults(studio) == []


def test_the_list_costs_the_same_queries_for_3_rows_and_for_300(cy, rider_cy, django_assert_num_queries):
    cy.get("/api/v1/tokens/")  # the token's first use in a minute is written down
    for more in (3, 297):
        ConsentFactory.create_batch(more, rider=rider_cy, withdrawn_at=timezone.now(), entered_by=rider_cy.user)
        with django_assert_num_queries(2):
            assert len(cy.get(CONSENTS).json()["results"]) in {3, 50}
