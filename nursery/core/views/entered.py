"""What was entered last from this session, said on the next page and undone there in one step.

The undoing itself voids the event, and so belongs to the app of corrections.
"""

from __future__ import annotations

import datetime
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _

from nursery.core.recording import Recorded

UNDO_FOR = datetime.timedelta(minutes=10)
_KEY = "entered"


@dataclass(frozen=True, slots=True)
class Entered:
    """The last entry of a session: its uid, what it was, and until when it is undone at once.

    One press may have written several events, which are then undone together, the last one first.
    """

    uids: tuple[uuid.UUID, ...]
    says: str
    until: datetime.datetime


def tell(request: HttpRequest, recorded: Sequence[Recorded], says: str) -> None:
    """Say on the next page what was entered, and offer to undo it for ten minutes.

    `says` is what was entered, such as `117 cut from NR1-A`.
    """
    fresh = [each for each in recorded if each.fresh]
    if not fresh:
        messages.info(request, _("It was entered already, once: %(says)s.") % {"says": says})
        return
    messages.success(request, _("Entered: %(says)s.") % {"says": says})
    request.session[_KEY] = {
        "uids": [str(each.event.uid) for each in fresh],
        "says": says,
        "until": (timezone.now() + UNDO_FOR).isoformat(),
    }


def last_entered(request: HttpRequest) -> Entered | None:
    """What may still be undone in one step, or None."""
    kept = request.session.get(_KEY) if hasattr(request, "session") else None
    if not kept:
        return None
    until = datetime.datetime.fromisoformat(kept["until"])
    if until <= timezone.now():
        return None
    return Entered(tuple(uuid.UUID(uid) for uid in kept["uids"]), kept["says"], until)


def forget(request: HttpRequest) -> None:
    """Offer no more to undo the last entry."""
    request.session.pop(_KEY, None)


def entered_last(request: HttpRequest) -> dict[str, Any]:
    """What every page's frame needs: the entry that one click undoes."""
    return {"undoable": last_entered(request)}
