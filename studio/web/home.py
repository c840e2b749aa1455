"""The first page, by role."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect

from studio.records.models import Role
from studio.web.access import caller


@login_required
def home(request: HttpRequest) -> HttpResponse:
    """To the standings for a shop, to the sessions for everybody else."""
    return redirect("web:standings" if caller(request).role == Role.SHOP else "web:sessions")
