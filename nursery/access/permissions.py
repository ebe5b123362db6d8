"""Who may use the API at all; the actions decide about each act."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from nursery.access.actors import actor_of
from nursery.core.actor import require_read, require_write

if TYPE_CHECKING:
    # The framework's views import this module, as the settings say.
    from rest_framework.views import APIView


class HasRole(BasePermission):
    """Lets in whoever has a role.

    Nobody logged in: 401. No role: 403 `no_role`. A reading token that writes: 403 `read_only`.
    """

    def has_permission(self, request: Request, view: APIView) -> bool:
        if not request.user.is_authenticated:
            return False
        actor = actor_of(request)
        require_read(actor)
        if request.method not in SAFE_METHODS:
            require_write(actor)
        return True
