"""Who may open a page, and that nobody keeps a copy of it. Which rows a page shows is `visible_to`'s business."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.cache import patch_cache_control

from studio.records.errors import RecordsError
from studio.records.models import Membership, Role
from studio.records.problems import problem_of
from studio.records.querysets import membership_of
from studio.web.both_values import sentences

Page = Callable[..., HttpResponseBase]

STAFF = (Role.OWNER, Role.FITTER)
READERS = (Role.OWNER, Role.FITTER, Role.CLIENT)


def kept_by_nobody(page: Page) -> Page:
    """Personal pages stay out of every cache, the browser's too: the next person at the desk sees nothing."""

    @wraps(page)
    def answered(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        response = page(request, *args, **kwargs)
        patch_cache_control(response, private=True, no_store=True)
        return response

    return answered


def open_to(*roles: Role) -> Callable[[Page], Page]:
    """Open the page to signed-in accounts of these roles; the others are told why not."""

    def decorate(page: Page) -> Page:
        @wraps(page)
        def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
            role = caller(request).role
            if role not in roles:
                raise PermissionDenied(f"A {role} account may not do that. Use an account whose role may.")
            try:
                return page(request, *args, **kwargs)
            except RecordsError as refusal:  # of a page that has no form to say it at
                status = problem_of(refusal)["status"]
                return render(request, "web/refused.html", {"sentences": sentences(refusal)}, status=status)

        return kept_by_nobody(login_required(guarded))

    return decorate


def caller(request: HttpRequest) -> Membership:
    """The signed-in account's membership.

    Raises
    ------
    PermissionDenied
        When the account belongs to no studio.
    """
    membership = membership_of(request.user)
    if membership is None:
        raise PermissionDenied("This account belongs to no studio. Ask the owner of your studio to add it.")
    return membership


def is_staff(request: HttpRequest) -> bool:
    """Whether the caller runs the studio: owner or fitter."""
    return caller(request).role in STAFF
