"""How tests look at pages: who looks, what they read, and what it cost."""

from __future__ import annotations

import html
import re

from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext

from nursery.core.actor import Role
from nursery.core.models import User
from nursery.places.models import Nursery
from tests import factories as make


def reader(*roles: Role, at: Nursery | None = None, staff: bool = False) -> Client:
    """A browser in which a person with these roles is logged in."""
    user = make.person(*roles, at=at)
    if staff:
        User.objects.filter(pk=user.pk).update(is_staff=True)
    client = Client()
    client.force_login(user)
    return client


def read(client: Client, address: str, status: int = 200) -> str:
    """The words of a page, as one line; blanks are plain ones."""
    response = client.get(address)
    assert response.status_code == status, (response.status_code, words_of(response))
    return words_of(response)


def words_of(response: HttpResponse) -> str:
    """The words of an answer without its marks, scripts and head."""
    body = re.split(r"<body[^>]*>", response.content.decode(), maxsplit=1)[-1]
    text = html.unescape(re.sub(r"<[^>]+>", "", body))
    return re.sub(r"\s+", " ", text)


def main_of(client: Client, address: str) -> str:
    """The HTML of a page's own part."""
    body = client.get(address).content.decode()
    return body.partition("<main")[2].partition("</main>")[0]


def cost(client: Client, address: str) -> int:
    """How many queries a page takes."""
    with CaptureQueriesContext(connection) as asked:
        response = client.get(address)
    assert response.status_code == 200, response.status_code
    return len(asked)
