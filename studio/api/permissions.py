"""The one permission table: which role may use which route with which method.

Which *rows* a role sees is not here but in `objects.visible_to(user)`. A route that the table does not name is
nobody's. A method that the table allows and the view does not have is answered 405 by the framework.
"""

from __future__ import annotations

from collections.abc import Mapping

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from studio.records.models import ApiToken, Role, TokenScope
from studio.records.querysets import membership_of

Methods = frozenset[str]
NONE: Methods = frozenset()
READ: Methods = frozenset({"GET", "HEAD"})
SEND: Methods = frozenset({"POST"})
ALL: Methods = frozenset({"GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE", "TRACE"})

ANONYMOUS = "anonymous"
"""Nobody signed in; also an account without a role."""

RECORDS: Mapping[str, Methods] = {Role.OWNER: ALL, Role.FITTER: ALL, Role.CLIENT: READ}
OWN: Mapping[str, Methods] = {Role.OWNER: ALL, Role.FITTER: ALL, Role.CLIENT: ALL, Role.SHOP: ALL, ANONYMOUS: SEND}
OPEN: Mapping[str, Methods] = {Role.OWNER: ALL, Role.FITTER: ALL, Role.CLIENT: ALL, Role.SHOP: ALL, ANONYMOUS: ALL}

MEMBERS: Mapping[str, Methods] = {Role.OWNER: ALL, Role.FITTER: ALL, Role.CLIENT: ALL, Role.SHOP: ALL}
OWNERS: Mapping[str, Methods] = {Role.OWNER: ALL}

TABLE: Mapping[str, Mapping[str, Methods]] = {
    "tokens": OWN,
    "users": MEMBERS,
    "memberships": OWNERS,
    "invitations": OWNERS,
    "join": OWN,
    "consents": {**RECORDS, Role.CLIENT: READ | SEND},
    "erasures": {Role.OWNER: ALL, Role.CLIENT: SEND},
    "riders": RECORDS,
    "bikes": RECORDS,
    "products": RECORDS,
    "equipment-items": RECORDS,
    "mountings": RECORDS,
    "positions": RECORDS,
    "setups": RECORDS,
    "courses": RECORDS,
    "instruments": RECORDS,
    "mappings": RECORDS,
    "calibrations": RECORDS,
    "corrections": RECORDS,
    "sessions": RECORDS,
    "runs": RECORDS,
    "recordings": RECORDS,
    "bundles": {Role.OWNER: ALL, Role.FITTER: ALL},
    "jobs": RECORDS,
    "analyses": RECORDS,
    "reports": RECORDS,
    "stock": {Role.OWNER: ALL, Role.FITTER: ALL, Role.SHOP: READ},
    "standings": {Role.OWNER: ALL, Role.FITTER: ALL, Role.SHOP: ALL},
    "transfers": {Role.OWNER: ALL, Role.FITTER: ALL},
    "schema": OPEN,
    "docs": OPEN,
    "nowhere": OPEN,
}


class RolePermission(BasePermission):
    """Looks the caller's role and the view's `route` up in the table, then asks the token's scopes."""

    message = "This account's role may not use this address in this way."

    def has_permission(self, request: Request, view: object) -> bool:
        membership = membership_of(request.user)
        role = ANONYMOUS if membership is None else membership.role
        route = getattr(view, "route", "")
        allowed = TABLE.get(route, {})
        if request.method not in allowed.get(role, NONE):
            return False
        if request.method in allowed.get(ANONYMOUS, NONE) or not isinstance(request.auth, ApiToken):
            return True
        needed = scopes_for(route, str(request.method))
        if needed.isdisjoint(request.auth.scopes):
            held = ", ".join(request.auth.scopes)
            self.message = f"This token's scope is {held}; here it needs {' or '.join(sorted(needed))}."
            return False
        return True


def scopes_for(route: str, method: str) -> set[str]:
    """Any one of these lets a token use the method at the route."""
    if method not in READ:
        return {TokenScope.WRITE}
    return {TokenScope.READ, TokenScope.REPORTS} if route == "reports" else {TokenScope.READ}
