"""The studio's own server with two bare views as yardsticks: rows by `values()`, an upload that is hashed.

Only `doors_benchmark.py` serves this: gunicorn -c python:studio.config.web_server tests.load.bare_doors
"""

import hashlib
from importlib import import_module

from django.apps import apps
from django.http import JsonResponse
from django.urls import path
from django.views.decorators.csrf import csrf_exempt

from studio.config.wsgi import application

__all__ = ["application"]

ROWS = 50
LEFT_OUT = {"pdf", "facts", "result", "payload", "traceback"}  # what the API's own lists leave out, too


def rows(request, label, model):
    """The newest rows, every column, without a question who asks."""
    kind = apps.get_model(label, model)
    columns = [field.attname for field in kind._meta.concrete_fields if field.attname not in LEFT_OUT]
    return JsonResponse({"results": list(kind.objects.order_by("-id").values(*columns)[:ROWS])})


@csrf_exempt
def hashed(request):
    """The SHA-256 of an uploaded file, which is kept nowhere."""
    digest = hashlib.sha256()
    for chunk in request.FILES["file"].chunks():
        digest.update(chunk)
    return JsonResponse({"sha256": digest.hexdigest()}, status=201)


import_module("studio.config.urls").urlpatterns[:0] = [  # once the server's own module has loaded the rooms
    path("bare/hash/", hashed),
    path("bare/<str:label>/<str:model>/", rows),
]
