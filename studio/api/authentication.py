"""Programs sign in with `Authorization: Bearer`; browsers with their session and CSRF (the framework's own class)."""

from __future__ import annotations

from collections.abc import Collection

from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from studio.records.models import ApiToken, TokenKind, User
from studio.records.services.tokens import token_in_force

REFUSED = "The token is not valid here: unknown, expired or revoked. POST to tokens/ for a new one."


class BearerAuthentication(BaseAuthentication):
    """Finds the account behind a token; the same words whatever is wrong with it."""

    kinds: Collection[str] = (TokenKind.API,)

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        scheme, _, clear = get_authorization_header(request).partition(b" ")
        if scheme.lower() != b"bearer":
            return None
        try:
            token = token_in_force(clear.strip().decode("ascii"), kinds=self.kinds)
        except UnicodeDecodeError:
            token = None
        if token is None:
            raise AuthenticationFailed(REFUSED)
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="studio"'
