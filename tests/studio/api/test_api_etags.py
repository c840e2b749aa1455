"""Conditions on requests (RFC 9110): a change needs the tag that was read, a read may ask for news only."""

import pytest

from studio.records.models import Rider
from tests.factories import RiderFactory
from tests.studio.api.rows import RECORDS, make_rows


@pytest.fixture
def rider(studio):
    return RiderFactory(studio=studio)


@pytest.fixture
def path(rider):
    return f"/api/v1/riders/{rider.pk}/"


@pytest.fixture
def bo(api, fitter_bo):
    return api(fitter_bo)


@pytest.mark.parametrize("route", [*RECORDS, "recordings"])
def test_a_change_without_if_match_is_428_and_changes_nothing(bo, studio, route):
    row = make_rows(studio, None)[route]
    path = f"/api/v1/{route}/{row.pk}/"
    methods = (bo.delete,) if route == "recordings" else (bo.put, bo.patch, bo.delete)
    assert {method(path).status_code for method in methods} == {428}
    row.refresh_from_db()
    assert row.version == 1


@pytest.mark.parametrize("coding", ["", "-gzip", "-br"])
def test_the_tag_of_any_coding_of_the_current_version_is_taken(bo, rider, path, coding):
    answer = bo.patch(path, {"contact": "by post"}, HTTP_IF_MATCH=f'"{rider.pk}.1{coding}"')
    assert (answer.status_code, answer["ETag"]) == (200, f'"{rider.pk}.2"')


def test_a_stale_tag_is_412_and_changes_nothing(bo, rider, path):
    tag = bo.get(path)["ETag"]
    bo.patch(path, {"contact": "by post"}, HTTP_IF_MATCH=tag)
    late = bo.patch(path, {"contact": "by bell"}, HTTP_IF_MATCH=tag)
    assert (late.status_code, late.json()["type"]) == (412, "/api/v1/docs/problems/stale/")
    assert bo.delete(path, HTTP_IF_MATCH=tag).status_code == 412
    rider.refresh_from_db()
    assert rider.contact == "by post"


@pytest.mark.parametrize("tag", ["W/", "x", '"', '"another.1"', ""])
def test_a_weak_or_foreign_tag_matches_nothing(bo, rider, path, tag):
    sent = f'W/"{rider.pk}.1"' if tag == "W/" else tag
    assert bo.patch(path, {"contact": "by post"}, HTTP_IF_MATCH=sent).status_code == 412


@pytest.mark.parametrize("sent", ["*", '"other.7", "{tag}"'])
def test_a_star_or_a_list_with_the_tag_matches(bo, rider, path, sent):
    header = sent.replace("{tag}", f"{rider.pk}.1")
    assert bo.patch(path, {"contact": "by post"}, HTTP_IF_MATCH=header).status_code == 200


@pytest.mark.parametrize("prefix", ["", "W/"])
def test_a_read_that_has_the_version_is_304_without_a_body(bo, path, prefix):
    tag = bo.get(path)["ETag"]
    answer = bo.get(path, HTTP_IF_NONE_MATCH=prefix + tag)
    assert (answer.status_code, answer.content, answer["ETag"]) == (304, b"", tag)
    assert answer["Cache-Control"] == "private, no-store"


def test_a_read_that_has_an_older_version_gets_the_row(bo, path):
    tag = bo.get(path)["ETag"]
    bo.patch(path, {"contact": "by post"}, HTTP_IF_MATCH=tag)
    assert bo.get(path, HTTP_IF_NONE_MATCH=tag).json()["contact"] == "by post"


def test_a_change_between_the_check_and_the_write_is_412_too(bo, rider, path, monkeypatch):
    def somebody_was_quicker(request, record):
        Rider.objects.filter(pk=record.pk).update(version=9)

    monkeypatch.setattr("studio.api.base.require_match", somebody_was_quicker)
    assert bo.patch(path, {"contact": "by post"}, HTTP_IF_MATCH="*").status_code == 412


def test_a_row_that_is_not_yours_is_404_before_any_condition(api, outsider_eve, path):
    assert api(outsider_eve).patch(path, {}).status_code == 404
