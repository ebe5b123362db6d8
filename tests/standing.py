"""One of everything, for tests that are about something else: a folder's conftest takes it in."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.apps import apps
from django.db import transaction
from django.db.models import Model, Q
from pytest_django.plugin import DjangoDbBlocker

from tests import factories as f


@pytest.fixture(scope="module")
def standing(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[f.Programme]:
    """A programme that all tests of a module stand on; each goes back to it when it ends.

    Not for tests that commit: they make a programme of their own.
    """
    with django_db_blocker.unblock(), transaction.atomic():
        yield f.programme()
        transaction.set_rollback(True)


@pytest.fixture
def programme(standing: f.Programme, db: None) -> f.Programme:
    return standing


_WAYS = ("event", "visit__event", "outplanting__event", "fragmentation__event", "during__event")
_APART = {"Change", "CodeSeries", "Correction", "DonorSet", "DonorSetMember", "Event"}
"""What a void leaves: history, code series, donor sets; and the headers of what was voided."""


def live_rows() -> dict[str, list[tuple[object, ...]]]:
    """Every row that stands, by the model's label: of events that happened, of ramets that are."""
    found = {}
    for app in apps.get_app_configs():
        for model in app.get_models(include_auto_created=True):
            if app.name.startswith("nursery.") and model.__name__ not in _APART:
                rows = model._default_manager.order_by("pk")
                found[model._meta.label] = list(rows.filter(_stands(model)).values_list())
    return found


def _stands(model: type[Model]) -> Q:
    names = {field.name for field in model._meta.fields}
    if "live" in names:
        return Q(live=True)
    if model.__name__ == "Ramet":
        return Q()
    way = next((way for way in _WAYS if way.split("__")[0] in names), None)
    return Q(**{f"{way}__live": True}) if way else Q()
