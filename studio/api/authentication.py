"""Programs sign in with `Authorization: Bearer`; browsers with their session and CSRF (the framework's own class)."""

from __future__ import annotations

from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from studio.records.models import User
from studio.records.services.tokens import token_user

REFUSED = "The token is not valid here: unknown, expired or revoked. POST to tokens/ for a new one."


class BearerAuthentication(BaseAuthentication):
    """Finds the account behind a token; the same words whatever is wrong with it."""

    def authenticate(self, request: Request) -> tuple[User, str] | None:
        scheme, _, clear = get_authorization_header(request).partition(b" ")
        if scheme.lower() != b"bearer":
            return None
        try:
            user = token_user(clear.strip().decode("ascii"))
        except UnicodeDecodeError:
            user = None
        if user is None:
            raise AuthenticationFailed(REFUSED)
        return user, "bearer"

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="studio"'
