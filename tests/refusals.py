"""How tests say that an entry is refused and that nothing of it is stored."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.apps import apps

from nursery.core.errors import Refused, Trouble

Rows = dict[str, list[tuple[Any, ...]]]


def everything_stored() -> Rows:
    """Every row of every table of this project, by the model's label."""
    return {
        model._meta.label: list(model._base_manager.order_by("pk").values_list())
        for app in apps.get_app_configs()
        if app.name.startswith("nursery.")
        for model in app.get_models(include_auto_created=True)
    }


@contextmanager
def refused(
    *codes: str, by: type[Trouble] = Refused, pointer: str | None = None
) -> Iterator[pytest.ExceptionInfo[Trouble]]:
    """The block is refused with exactly these codes, in order, and leaves every table as it was.

    `by` is the kind of refusal; `pointer` is where the first problem lies in the input.
    """
    before = everything_stored()
    with pytest.raises(Trouble) as caught:
        yield caught
    assert isinstance(caught.value, by), caught.value
    assert [problem.code for problem in caught.value.problems] == list(codes), caught.value
    for problem in caught.value.problems:
        assert problem.message.strip()
    if pointer is not None:
        assert caught.value.problems[0].pointer == pointer
    assert everything_stored() == before
