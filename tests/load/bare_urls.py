"""The studio's addresses and one more: what a view costs that only asks the database. For `list_benchmark.py`."""

from django.http import HttpRequest, JsonResponse
from django.urls import path

from studio.config.urls import urlpatterns as studio_urls
from studio.records.models import Run

FIELDS = ("id", "session", "number", "setup", "recording", "lap", "system_mass_kg", "left_out", "note")
FIELDS += ("started_at", "ended_at", "created_at", "updated_at")


def bare(request: HttpRequest) -> JsonResponse:
    """The columns that the list of runs shows, as the database gives them; nobody is asked who they are."""
    return JsonResponse({"results": list(Run.objects.order_by("-id").values(*FIELDS)[:50])})


urlpatterns = [path("bare/", bare), *studio_urls]
