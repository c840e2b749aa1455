"""`/metrics/`, read by an independent parser: prometheus_client's for OpenMetrics 1.0."""

from datetime import timedelta

import pytest
from django.utils import timezone
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from studio.records.services.tokens import token_create, token_in_force
from tests.factories import FieldSessionFactory, JobFactory, RecordingFactory


def ask(client, person):
    return client.get("/metrics/", headers={"Authorization": f"Bearer {token_create(user=person)[1]}"})


@pytest.fixture
def measured(client, owner_ada):
    """Value of every sample that the owner's token gives, by name and labels."""

    def read():
        families = text_string_to_metric_families(ask(client, owner_ada).content.decode())
        samples = [sample for family in families for sample in family.samples]
        return {(sample.name, *sorted(sample.labels.values())): sample.value for sample in samples}

    return read


def test_the_format_is_openmetrics(client, owner_ada):
    answer = ask(client, owner_ada)
    assert answer["Content-Type"] == "application/openmetrics-text; version=1.0.0; charset=utf-8"
    assert answer["Cache-Control"] == "no-store"
    kinds = {family.name: family.type for family in text_string_to_metric_families(answer.content.decode())}
    assert kinds.pop("windledger_release") == "info"
    assert set(kinds.values()) == {"gauge"}
    assert {"windledger_jobs", "windledger_disk_free_bytes"} <= kinds.keys()


def test_jobs_are_counted_by_state_and_kind_and_have_an_age(studio, measured):
    JobFactory(studio=studio, kind="analyse_session", created_at=timezone.now() - timedelta(seconds=90))
    JobFactory(studio=studio, kind="analyse_session")
    JobFactory(studio=studio, kind="issue_report", state="done")
    values = measured()
    assert values["windledger_jobs", "analyse_session", "queued"] == 2
    assert values["windledger_jobs", "done", "issue_report"] == 1
    assert values["windledger_jobs", "failed", "issue_report"] == 0
    assert values["windledger_job_oldest_seconds", "analyse_session", "queued"] == pytest.approx(90, abs=20)
    assert values["windledger_job_oldest_seconds", "issue_report", "queued"] == 0


def test_records_of_this_studio_and_no_other(studio, outsider_eve, measured):
    RecordingFactory(session__rider__studio=studio)
    FieldSessionFactory(rider__studio=outsider_eve.membership.studio)
    values = measured()
    assert values["windledger_sessions",] == 1
    assert values["windledger_recordings", "stored"] == 1
    assert values["windledger_disk_free_bytes",] > 0


def test_the_release_is_named(measured, settings):
    assert measured()["windledger_release_info", settings.RELEASE] == 1


@pytest.mark.parametrize("role", ["fitter_bo", "client_cy", "shop_dee"])
def test_no_other_role_reads_them(client, role, request):
    answer = ask(client, request.getfixturevalue(role))
    assert (answer.status_code, answer["Content-Type"]) == (403, "application/problem+json")


def test_neither_nobody_nor_a_browser_reads_them(client, owner_ada):
    client.force_login(owner_ada)
    for headers in ({}, {"Authorization": "Bearer wl_api_wrong"}):
        answer = client.get("/metrics/", headers=headers)
        assert (answer.status_code, answer["WWW-Authenticate"]) == (401, 'Bearer realm="studio"')


def test_the_rows_are_counted_by_the_database_in_three_queries(client, studio, owner_ada, django_assert_num_queries):
    token = token_create(user=owner_ada)[1]
    token_in_force(token)  # the first use in a minute is written down
    JobFactory.create_batch(30, studio=studio)
    with django_assert_num_queries(4):
        client.get("/metrics/", headers={"Authorization": f"Bearer {token}"})
