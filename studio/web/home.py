"""The first page, by role."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from studio.records.models import Role
from studio.web.access import caller, open_to


@login_required
def home(request: HttpRequest) -> HttpResponse:
    """To the standings for a shop, to the sessions for everybody else."""
    return redirect("web:standings" if caller(request).role == Role.SHOP else "web:sessions")


@open_to(Role.SHOP)
def standings(request: HttpRequest) -> HttpResponse:
    """No figures before the rule of who may see what is built."""
    return render(request, "web/standings.html")
