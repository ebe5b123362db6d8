"""What was entered last is undone in one step, for ten minutes."""

import datetime
import uuid

import pytest
from django.test import Client
from django.utils import timezone

from nursery.core.actor import Role
from nursery.core.models import Event
from nursery.core.views import entered
from nursery.lineage.models import Life, Ramet
from nursery.places.models import Nursery
from tests import factories as make
from tests.pages import read, reader, words_of
from tests.verified import nothing_wrong

pytestmark = pytest.mark.django_db


def ended(client: Client, ramet: Ramet) -> Event:
    """A ramet was entered as dead on the plain form."""
    form = {
        "uid": str(uuid.uuid4()),
        "when": "2024-06-01",
        "cause": "disease",
        "fate": "dead",
        "ramets": f"ramet\n{ramet.code}",
        "step": "enter",
    }
    answer = client.post("/enter/ending/", form)
    assert answer.status_code == 302, words_of(answer)
    return Event.objects.get(uid=form["uid"])


@pytest.fixture
def ramet() -> Ramet:
    begun = make.programme()
    return make.mothers(begun.lead, begun.colony, begun.tray)[0]


@pytest.fixture
def client(ramet: Ramet) -> Client:
    assert ramet.structure is not None
    home = ramet.structure.nursery
    assert isinstance(home, Nursery)
    return reader(Role.NURSERY, at=home)


def undo(client: Client, event: Event) -> str:
    answer = client.post("/undo/", {"entry": str(event.uid), "next": "/ramets/"}, follow=True)
    return words_of(answer)


def test_the_last_entry_is_undone_by_one_press(client: Client, ramet: Ramet) -> None:
    event = ended(client, ramet)
    assert "Undo: ending" in read(client, "/")
    assert "Undone: ending." in undo(client, event)
    event.refresh_from_db()
    ramet.refresh_from_db()
    assert not event.live
    assert ramet.life == Life.LIVING
    assert "Undo: ending" not in read(client, "/")
    nothing_wrong()


def test_what_was_undone_once_is_not_undone_again(client: Client, ramet: Ramet) -> None:
    event = ended(client, ramet)
    undo(client, event)
    assert "can no longer be undone in one step" in undo(client, event)


def test_after_ten_minutes_the_step_back_is_not_offered(
    client: Client, ramet: Ramet, monkeypatch: pytest.MonkeyPatch
) -> None:
    event = ended(client, ramet)
    later = timezone.now() + datetime.timedelta(minutes=10, seconds=1)
    monkeypatch.setattr(entered.timezone, "now", lambda: later)
    assert "Undo: ending" not in read(client, "/")
    assert "can no longer be undone in one step" in undo(client, event)
    event.refresh_from_db()
    assert event.live


def test_nobody_undoes_what_another_session_entered(client: Client, ramet: Ramet) -> None:
    event = ended(client, ramet)
    assert "can no longer be undone in one step" in undo(reader(Role.LEAD), event)
    event.refresh_from_db()
    assert event.live


def test_an_undoing_that_is_in_the_way_is_told(client: Client, ramet: Ramet) -> None:
    first = make.cut(make.lead(), [ramet], 1)[0].born
    session = client.session
    session["entered"] = {
        "uids": [str(first.uid)],
        "says": "fragmentation",
        "until": (timezone.now() + entered.UNDO_FOR).isoformat(),
    }
    session.save()
    assert "may not" in undo(client, first)
    first.refresh_from_db()
    assert first.live
