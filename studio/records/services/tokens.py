"""Bearer tokens: `wl_<kind>_` + 30 base-62 characters + a CRC-32; only their SHA-256 is kept."""

from __future__ import annotations

import hashlib
import re
import secrets
import string
import zlib
from collections.abc import Collection, Sequence
from contextlib import suppress
from datetime import datetime, timedelta

from django.db import OperationalError, transaction
from django.db.models import Q
from django.utils import timezone

from studio.records.errors import Unusable, fault
from studio.records.models import ApiToken, TokenKind, TokenScope, User
from studio.records.models.token import usual_scopes
from studio.records.services.events import note_event, turn

ALPHABET = string.digits + string.ascii_uppercase + string.ascii_lowercase
SHAPE = re.compile(r"(?P<secret>wl_(?P<kind>[a-z]{1,20})_[0-9A-Za-z]{30})(?P<crc>[0-9a-f]{8})", re.ASCII)
NOTE_USE_EVERY = timedelta(minutes=1)


def token_create(
    *,
    user: User,
    name: str = "",
    kind: str = TokenKind.API,
    scopes: Sequence[str] | None = None,
    lifetime: timedelta = timedelta(days=90),
) -> tuple[ApiToken, str]:
    """Make a token; its clear text is given back once and kept nowhere."""
    secret = f"wl_{kind}_" + "".join(secrets.choice(ALPHABET) for _ in range(30))
    clear = secret + _crc(secret)
    token = ApiToken(
        user=user,
        name=name,
        kind=kind,
        scopes=_scopes_of(kind, scopes),
        sha256=_sha256(clear),
        expires_at=timezone.now() + lifetime,
    )
    token.clean_fields()
    studio = user.membership.studio
    with turn(studio):
        token.save(force_insert=True)
        note_event(studio=studio, by=user, verb="made", record=token)
    return token, clear


def _scopes_of(kind: str, given: Sequence[str] | None) -> list[str]:
    """The scopes, each once and in the order of the list; a kind that opens one address has none."""
    if kind != TokenKind.API:
        if given:
            refusal = fault("scopes", ", ".join(given), f"none for a token of the kind {kind}")
            raise Unusable("Only tokens for the API have scopes.", faults=(refusal,))
        return []
    return usual_scopes() if given is None else [scope for scope in TokenScope.values if scope in given]


def token_in_force(clear: str, *, kinds: Collection[str] = (TokenKind.API,)) -> ApiToken | None:
    """The token with this clear text, if it opens something now; a mistyped one costs no query."""
    shape = SHAPE.fullmatch(clear)
    if shape is None or shape["crc"] != _crc(shape["secret"]) or shape["kind"] not in kinds:
        return None
    now = timezone.now()
    with suppress(ApiToken.DoesNotExist):
        token = ApiToken.objects.select_related("user__membership__studio").get(sha256=_sha256(clear))
        if token.revoked_at is None and token.expires_at > now and token.user.is_active:
            if token.last_used_at is None or token.last_used_at < now - NOTE_USE_EVERY:
                _note_use(token, now)
            return token
    return None


def is_in_force(token: ApiToken) -> bool:
    """Whether a token that was let in is still neither revoked nor expired, nor its account closed."""
    rows = ApiToken.objects.filter(revoked_at__isnull=True, expires_at__gt=timezone.now(), user__is_active=True)
    return rows.filter(pk=token.pk).exists()


def _note_use(token: ApiToken, now: datetime) -> None:
    """Write down that the token was used; a busy or full database must not refuse a read because of it."""
    due = Q(last_used_at__isnull=True) | Q(last_used_at__lt=now - NOTE_USE_EVERY)  # several callers may see it due
    with suppress(OperationalError), transaction.atomic():
        ApiToken.objects.filter(due, pk=token.pk).update(last_used_at=now)


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
