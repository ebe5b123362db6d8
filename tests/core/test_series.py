"""Codes out of their series."""

from __future__ import annotations

import pytest
from django.db import transaction

from nursery.core.codes import MAX_NUMBER, make_code, next_codes
from nursery.core.errors import Refused
from nursery.core.models import CodeSeries
from nursery.core.series import known_series, pass_codes, take_codes
from tests.together import at_once

pytestmark = pytest.mark.django_db


@pytest.fixture
def series() -> CodeSeries:
    return CodeSeries.objects.create(prefix="QA")


def next_number(series: CodeSeries) -> int:
    return CodeSeries.objects.get(pk=series.pk).next_number


def test_codes_are_taken_one_after_the_other(series: CodeSeries) -> None:
    first, second = take_codes("QA", 3), take_codes("QA", 40)
    codes, following = next_codes("QA", 1, 43)
    assert first + second == codes
    assert next_number(series) == following


def test_taking_no_codes_takes_none(series: CodeSeries) -> None:
    assert take_codes("QA", 0) == []
    assert next_number(series) == 1


def test_a_series_that_is_not_there_is_refused() -> None:
    with pytest.raises(Refused) as caught:
        take_codes("QA", 1)
    assert caught.value.code == "unknown_series"


def test_a_series_that_runs_out_is_refused(series: CodeSeries) -> None:
    CodeSeries.objects.update(next_number=MAX_NUMBER)
    with pytest.raises(Refused) as caught:
        take_codes("QA", 2)
    assert caught.value.code == "series_used_up"
    assert next_number(series) == MAX_NUMBER


def test_codes_that_stand_are_not_given_again_after_a_refused_action(series: CodeSeries) -> None:
    taken = take_codes("QA", 2)
    with transaction.atomic():
        take_codes("QA", 5)
        transaction.set_rollback(True)
    after = take_codes("QA", 2)
    assert not set(taken) & set(after)


def test_codes_from_outside_are_passed(series: CodeSeries) -> None:
    code = next_codes("QA", 500, 1)[0][0]
    pass_codes([make_code("QA", 2), code])
    assert take_codes("QA", 1)[0] > code


def test_codes_that_were_passed_already_change_nothing(series: CodeSeries) -> None:
    CodeSeries.objects.update(next_number=900)
    pass_codes([make_code("QA", 2)])
    assert next_number(series) == 900


def test_passing_codes_of_a_series_that_is_not_there_makes_none(series: CodeSeries) -> None:
    pass_codes([make_code("QB", 1)])
    assert list(CodeSeries.objects.all()) == [series]
    assert known_series([make_code("QB", 1), make_code("QA", 1)]) == {"QA"}


@pytest.mark.django_db(transaction=True)
def test_ten_at_once_take_ten_times_other_codes() -> None:
    CodeSeries.objects.create(prefix="QA")

    def take() -> list[str]:
        with transaction.atomic():
            return take_codes("QA", 25)

    for _ in range(5):
        answers = at_once([take] * 10)
        assert all(isinstance(answer, list) for answer in answers)
    taken = CodeSeries.objects.get().next_number
    codes, following = next_codes("QA", 1, 10 * 25 * 5)
    assert taken == following
    assert len(set(codes)) == 1250
