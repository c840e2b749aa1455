"""Idempotency-Key: the same request under the same key is done once and answered the same.

By draft-ietf-httpapi-idempotency-key-header-07, section 2: 409 while the first runs, 422 for another body, and "the
result of the previously completed operation, success or an error".
"""

from datetime import timedelta

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError

from analysis.results.models import Job
from studio.api.riders import RiderViewSet
from studio.records.models import ApiToken, KeptAnswer, Rider
from studio.records.services.kept_answers import answer_claim, answer_keep, forget_old_answers
from tests.factories import PASSWORD, FieldSessionFactory

RIDERS = "/api/v1/riders/"
BODY = {"code": "R-1", "height_cm": 181}


@pytest.fixture
def bo(api, fitter_bo):
    return api(fitter_bo)


def send(client, body=BODY, key="k-1", path=RIDERS, **options):
    return client.post(path, body, HTTP_IDEMPOTENCY_KEY=key, **options)


def said(answer):
    names = ("Content-Type", "Location", "ETag", "Cache-Control", "Vary", "Allow")
    return answer.status_code, answer.content, {name: answer.get(name) for name in names}


def test_the_same_request_gets_the_same_answer_and_is_done_once(bo):
    first, again = send(bo), send(bo)
    assert first.status_code == 201
    assert said(again) == said(first)
    assert Rider.objects.count() == 1


def test_another_order_of_keys_is_the_same_request(bo):
    assert said(send(bo, {"height_cm": 181, "code": "R-1"})) == said(send(bo, BODY))


def test_a_key_may_be_quoted_as_the_draft_has_it(bo):
    assert said(send(bo, key='"k \\"1"')) == said(send(bo, key='"k \\"1"'))
    assert said(send(bo, {"code": "R-2"}, key="k-2")) == said(send(bo, {"code": "R-2"}, key='"k-2"'))


@pytest.mark.parametrize("key", ["", '""', "a b", '"a', "k\x7f", "k\u00e9", "x" * 256])
def test_what_can_be_no_key_is_400_and_does_nothing(bo, key):
    answer = send(bo, key=key)
    assert (answer.status_code, answer.json()["errors"][0]["key"]) == (400, "Idempotency-Key")
    assert not Rider.objects.exists()


def test_another_body_under_the_key_is_422(bo):
    send(bo)
    answer = send(bo, {"code": "R-2"})
    assert (answer.status_code, answer.json()["errors"][0]["given"]) == (422, "'k-1'")
    assert Rider.objects.count() == 1


def test_a_key_belongs_to_its_user_and_address(bo, api, owner_ada):
    statuses = {
        send(bo).status_code,
        send(api(owner_ada), {"code": "R-2"}).status_code,
        send(bo, {"kind": "lap"}, path="/api/v1/courses/").status_code,
    }
    assert statuses == {201}


def test_a_refusal_is_an_answer_too(bo):
    bo.post(RIDERS, BODY)
    refused = send(bo)
    Rider.objects.all().delete()
    assert (refused.status_code, said(send(bo))) == (409, said(refused))
    assert send(bo, key="k-2").status_code == 201


@pytest.mark.parametrize("fault", [OperationalError("busy"), RuntimeError("broken")])
def test_a_fault_of_ours_is_not_kept_and_leaves_nothing(bo, monkeypatch, fault):
    create = RiderViewSet.record_create

    def made_and_then(**fields):
        create(**fields)
        raise fault

    with monkeypatch.context() as patch:
        patch.setattr(RiderViewSet, "record_create", staticmethod(made_and_then))
        assert send(bo).status_code >= 500
    assert not Rider.objects.exists()
    assert send(bo).status_code == 201


def test_while_the_first_runs_the_second_is_409(bo, fitter_bo, monkeypatch):
    seconds = []

    def meanwhile(**_):
        seconds.append(send(bo))
        raise RuntimeError

    with monkeypatch.context() as patch:
        patch.setattr(RiderViewSet, "record_create", staticmethod(meanwhile))
        send(bo)
    assert [(answer.status_code, answer.json()["type"]) for answer in seconds] == [
        (409, "/api/v1/docs/problems/conflict/")
    ]


def test_a_claim_whose_request_died_lapses_after_a_minute(bo, fitter_bo):
    named = {"user": fitter_bo, "path": RIDERS, "key": "k-1", "request_sha256": "0" * 64}
    with time_machine.travel("2026-05-02T08:00:00Z", tick=False) as clock:
        lost, _ = answer_claim(**named)
        clock.shift(timedelta(seconds=60))
        assert answer_claim(**named) == (lost, False)
        clock.shift(timedelta(seconds=1))
        _, is_first = answer_claim(**named)
    assert is_first
    assert not answer_keep(claim=lost, status=201, headers={}, body="")


def test_a_slow_twin_that_was_overtaken_writes_nothing(bo, monkeypatch):
    create = RiderViewSet.record_create

    def overtaken(**fields):
        KeptAnswer.objects.all().delete()
        return create(**fields)

    monkeypatch.setattr(RiderViewSet, "record_create", staticmethod(overtaken))
    answer = send(bo)
    assert (answer.status_code, answer.json()["detail"][:30]) == (409, "The request took so long that ")
    assert not Rider.objects.exists()


def test_a_key_with_a_token_s_request_keeps_no_secret(api, fitter_bo):
    pair = {"username": "bo", "password": PASSWORD}
    tokens = {send(api(), pair, path="/api/v1/tokens/").json()["token"] for _ in range(2)}
    assert (len(tokens), ApiToken.objects.count()) == (2, 2)
    assert not KeptAnswer.objects.exists()


def test_a_file_is_the_same_request_whatever_the_boundary(bo, studio):
    session = FieldSessionFactory(studio=studio)

    def upload(content):
        file = SimpleUploadedFile("run.csv", content)
        body = {"session": str(session.pk), "file": file}
        return send(bo, body, path="/api/v1/recordings/", format="multipart")

    first = upload(b"time,power_w\n0,200\n")
    assert (first.status_code, said(upload(b"time,power_w\n0,200\n"))) == (201, said(first))
    assert upload(b"time,power_w\n0,201\n").status_code == 422
    assert Job.objects.count() == 1


def test_who_may_not_any_more_gets_no_kept_answer(bo, fitter_bo):
    send(bo)
    fitter_bo.membership.delete()
    assert send(bo).status_code == 403


def test_answers_are_forgotten_after_seven_days(bo, fitter_bo):
    with time_machine.travel("2026-05-02T08:00:00Z", tick=False) as clock:
        claim, _ = answer_claim(user=fitter_bo, path=RIDERS, key="k", request_sha256="0" * 64)
        answer_keep(claim=claim, status=201, headers={}, body="{}")
        clock.shift(timedelta(days=7))
        assert forget_old_answers() == 0
        clock.shift(timedelta(seconds=1))
        assert forget_old_answers() == 1
