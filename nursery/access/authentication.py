"""Lets programs in: `Authorization: Bearer <key>` (RFC 6750)."""

from __future__ import annotations

from django.utils import timezone
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from nursery.access.actions import digest_of_key
from nursery.access.models import Token
from nursery.access.queries import token_by_digest
from nursery.core.models import User

_SCHEME = b"bearer"
_LONGEST = 200


class TokenAuthentication(BaseAuthentication):
    """A key that is unknown, withdrawn, expired or of a closed log-in is answered 401.

    Codes: `token_malformed`, `token_unknown`, `token_withdrawn`, `token_expired`, `log_in_closed`.
    A request without a Bearer key is left to the next way of authentication.
    """

    def authenticate(self, request: Request) -> tuple[User, Token] | None:
        parts = get_authorization_header(request).split()
        if not parts or parts[0].lower() != _SCHEME:
            return None
        if len(parts) != 2 or len(parts[1]) > _LONGEST or not parts[1].isascii():
            raise AuthenticationFailed(
                "Write the header as: Authorization: Bearer <key>.", code="token_malformed"
            )
        token = token_by_digest(digest_of_key(parts[1].decode("ascii")))
        if token is None:
            raise AuthenticationFailed("There is no such token.", code="token_unknown")
        if token.withdrawn_at is not None:
            raise AuthenticationFailed("This token was withdrawn.", code="token_withdrawn")
        if token.expires_at <= timezone.now():
            raise AuthenticationFailed("This token has expired.", code="token_expired")
        if not token.user.is_active:
            raise AuthenticationFailed("This log-in is closed.", code="log_in_closed")
        _note_use(token)
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="Ramet Register"'


def _note_use(token: Token) -> None:
    """Keep the day of the last use: one write a day at most, so that reading stays reading."""
    today = timezone.now().date()
    if token.last_used_on != today:
        Token.objects.filter(pk=token.pk).update(last_used_on=today)
