"""A route that will go says so: Deprecation by RFC 9745 (2.1, a structured date), Sunset by RFC 8594 (an HTTP date).

The time of the first check is RFC 9745's own example: 2023-06-30 23:59:59 UTC is `@1688169599`.
"""

import re
from datetime import UTC, datetime

import pytest
from django.urls import path
from drf_spectacular.generators import SchemaGenerator
from rest_framework.response import Response

from studio.api.base import StudioView
from studio.api.retirement import Retirement

DEPRECATED = datetime(2023, 6, 30, 23, 59, 59, tzinfo=UTC)
SUNSET = datetime(2024, 6, 30, 23, 59, 59, tzinfo=UTC)


class OldView(StudioView):
    route = "standings"
    retirement = Retirement(deprecated=DEPRECATED, sunset=SUNSET, says="/api/v1/docs/#old")

    def get(self, request):
        """A route that has a successor."""
        return Response({"old": True})


class YoungView(OldView):
    retirement = None


urlpatterns = [path("old/", OldView.as_view()), path("young/", YoungView.as_view())]


@pytest.fixture
def old(settings):
    settings.ROOT_URLCONF = __name__


def test_its_answers_say_since_when_until_when_and_where_to_read_on(old, api, fitter_bo):
    answer = api(fitter_bo).get("/old/")
    assert (answer.status_code, answer.json()) == (200, {"old": True})
    assert answer["Deprecation"] == "@1688169599"
    assert answer["Sunset"] == "Sun, 30 Jun 2024 23:59:59 GMT"
    assert re.findall(r'<(\S+)>; rel="(\w+)"', answer["Link"]) == [
        ("/api/v1/docs/#old", "deprecation"),
        ("/api/v1/docs/#old", "sunset"),
    ]


def test_its_refusals_say_so_too(old, api, db):
    answer = api().get("/old/")
    assert (answer.status_code, answer["Deprecation"]) == (401, "@1688169599")


def test_other_answers_say_nothing_of_it(old, api, fitter_bo):
    assert {"Deprecation", "Sunset", "Link"}.isdisjoint(api(fitter_bo).get("/young/").headers)


def test_the_document_marks_it(old):
    paths = SchemaGenerator(urlconf=__name__, patterns=urlpatterns).get_schema(public=True)["paths"]
    assert [paths[f"/{name}/"]["get"].get("deprecated", False) for name in ("old", "young")] == [True, False]


@pytest.mark.parametrize(
    ("deprecated", "sunset", "words"),
    [(SUNSET, DEPRECATED, "must not be before"), (DEPRECATED, datetime(2024, 6, 30), "time zone")],  # noqa: DTZ001
)
def test_what_cannot_be_is_refused_where_it_is_written(deprecated, sunset, words):
    with pytest.raises(ValueError, match=words):
        Retirement(deprecated=deprecated, sunset=sunset, says="/")
