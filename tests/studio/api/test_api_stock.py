"""The stock file over HTTP: taken by GET, looked at and brought in by POST."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from studio.records.models import Product
from tests.factories import ProductFactory

ADDRESS = "/api/v1/stock/"
GOOD = b"category,name,list_price,currency\nhelmet,Orlo,289.00,EUR\n"
BAD = b"category,name,list_price,currency\nhelmet,Orlo,-1,EUR\n"


@pytest.fixture
def send(api, fitter_bo):
    client = api(fitter_bo)

    def sent(content, **fields):
        return client.post(ADDRESS, {"file": SimpleUploadedFile("s.csv", content), **fields}, format="multipart")

    return sent


def test_a_dry_run_shows_and_its_import_does_the_same(send):
    shown = send(GOOD, dry_run="true").json()
    assert not Product.objects.exists()
    assert shown["lines"][0]["changes"][0] == {"key": "list_price", "before": "", "after": "289.00"}
    done = send(GOOD, seen=shown["seen"]).json()
    assert done == shown | {"dry_run": False}
    assert Product.objects.get().name == "Orlo"


def test_refused_lines_are_named_by_both(send):
    error = {"file": "s.csv", "line": 2, "key": "list_price", "given": "-1", "allowed": "A list price is 0 or more."}
    shown = send(BAD, dry_run="true")
    assert (shown.status_code, shown.json()["errors"]) == (200, [error])
    refused = send(BAD)
    assert (refused.status_code, refused.json()["errors"]) == (422, [error])


def test_an_import_of_an_older_dry_run_is_a_conflict(send, studio):
    seen = send(GOOD, dry_run="true").json()["seen"]
    ProductFactory(studio=studio, category="helmet", name="Orlo", list_price=None, currency="")
    assert send(GOOD, seen=seen).status_code == 409


@pytest.mark.parametrize(("content", "status"), [(b"", 422), (b"\xff", 422), (b"x" * (512 * 1024 + 1), 413)])
def test_files_that_cannot_be_read_are_refused_dry_run_or_not(content, status, send):
    assert [send(content, dry_run=dry).status_code for dry in ("true", "false")] == [status, status]


def test_a_body_without_a_file_is_malformed(api, fitter_bo):
    assert api(fitter_bo).post(ADDRESS, {"dry_run": "true"}, format="multipart").status_code == 400


def test_the_shop_takes_the_file_and_brings_none_in(api, shop_dee, studio):
    ProductFactory(studio=studio, category="helmet", name="=Orlo")
    answer = api(shop_dee).get(ADDRESS, HTTP_ACCEPT="text/csv")
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert '"helmet","\'=Orlo"' in answer.content.decode()
    assert api(shop_dee).post(ADDRESS, {}, format="multipart").status_code == 403
