"""Bearer tokens: `wl_<kind>_` + 30 base-62 characters + a CRC-32; only their SHA-256 is kept."""

from __future__ import annotations

import hashlib
import re
import secrets
import string
import zlib
from datetime import timedelta

from django.db.models import Q
from django.utils import timezone

from studio.records.models import ApiToken, User
from studio.records.services.events import note_event, turn

ALPHABET = string.digits + string.ascii_uppercase + string.ascii_lowercase
SHAPE = re.compile(r"(?P<secret>wl_[a-z]{1,20}_[0-9A-Za-z]{30})(?P<crc>[0-9a-f]{8})", re.ASCII)


def token_create(
    *, user: User, name: str = "", kind: str = "api", lifetime: timedelta = timedelta(days=90)
) -> tuple[ApiToken, str]:
    """Make a token; its clear text is given back once and kept nowhere."""
    secret = f"wl_{kind}_" + "".join(secrets.choice(ALPHABET) for _ in range(30))
    clear = secret + _crc(secret)
    token = ApiToken(user=user, name=name, sha256=_sha256(clear), expires_at=timezone.now() + lifetime)
    token.clean_fields()
    studio = user.membership.studio
    with turn(studio):
        token.save(force_insert=True)
        note_event(studio=studio, by=user, verb="made", record=token)
    return token, clear


def token_user(clear: str) -> User | None:
    """Whose token it is, if it is in force; a mistyped one costs no query."""
    shape = SHAPE.fullmatch(clear)
    if shape is None or shape["crc"] != _crc(shape["secret"]):
        return None
    in_force = Q(revoked_at__isnull=True, expires_at__gt=timezone.now(), user__is_active=True)
    tokens = ApiToken.objects.select_related("user__membership__studio")
    token = tokens.filter(in_force, sha256=_sha256(clear)).first()
    return token.user if token else None


def token_revoke(*, token: ApiToken) -> None:
    """End a token; a second time changes nothing."""
    user = token.user
    studio = user.membership.studio
    with turn(studio):
        if ApiToken.objects.filter(pk=token.pk, revoked_at__isnull=True).update(revoked_at=timezone.now()):
            note_event(studio=studio, by=user, verb="revoked", record=token)


def _crc(secret: str) -> str:
    return f"{zlib.crc32(secret.encode()):08x}"


def _sha256(clear: str) -> str:
    return hashlib.sha256(clear.encode()).hexdigest()
