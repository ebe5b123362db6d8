"""`manage.py verify_records` prints each difference on a line, then counts, and ends with 1."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from nursery.lineage.models import Ramet
from nursery.lineage.words import Life
from nursery.outplanting.management.commands import verify_records
from nursery.outplanting.verify import RULES, Difference
from tests import factories as f
from tests.verified import nothing_wrong
from tests.verify.season import Season

pytestmark = pytest.mark.django_db


def lines_of(*words: str) -> tuple[list[str], str]:
    """The lines that the command prints, and how it ended."""
    out, ended = StringIO(), ""
    try:
        call_command("verify_records", *words, stdout=out, stderr=StringIO())
    except CommandError as error:
        ended = f"{error} [{error.returncode}]"
    return out.getvalue().splitlines(), ended


def test_a_record_that_agrees_is_said_to_and_ends_well(whole: Season) -> None:
    lines, ended = lines_of()
    assert ended == ""
    assert len(lines) == 1
    assert lines[0].startswith("No differences. Looked at ")
    assert f"{Ramet.everything.count()} ramets" in lines[0]


def test_each_difference_is_a_line_with_its_rule_then_come_the_counts(whole: Season) -> None:
    ramets = Ramet.objects.filter(pk__in=[whole.mother.pk, whole.legacy.pk])
    ramets.update(life=Life.DISCARDED)
    lines, ended = lines_of()
    assert lines[0] == (
        f"[ramet_life] ramet {whole.mother.code}: "
        "life is discarded, and from the rest of the record living."
    )
    assert lines[1].startswith(f"[ramet_life] ramet {whole.legacy.code}: ")
    assert lines[2].startswith("Looked at ")
    assert lines[3:] == ["2 ramet_life"]
    assert ended == "2 differences. [1]"


def test_only_the_families_that_are_asked_for_are_looked_at(whole: Season) -> None:
    Ramet.objects.filter(pk=whole.mother.pk).update(life=Life.DISCARDED)
    assert lines_of("--only", "codes", "--only", "tags")[1] == ""
    assert lines_of("--only", "histories")[1] == "1 difference. [1]"


def test_an_unknown_family_is_refused_with_those_that_there_are() -> None:
    with pytest.raises(CommandError, match=r"invalid choice: 'corals'.*histories"):
        call_command("verify_records", "--only", "corals")


def test_progress_is_told_beside_the_differences(
    whole: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(verify_records, "EVERY", 0.0)
    err = StringIO()
    call_command("verify_records", stdout=StringIO(), stderr=err)
    assert f"ramets: {Ramet.everything.count()}" in err.getvalue().splitlines()


def test_what_is_looked_at_is_not_changed_and_takes_as_many_queries_for_more_ramets(
    programme: f.Programme,
) -> None:
    mother = programme.mother()

    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as asked:
            nothing_wrong()
        assert not [q for q in asked if not q["sql"].lstrip().startswith("SELECT")]
        return len(asked)

    f.cut(programme.lead, [mother], 2, into=programme.plate)
    few = queries()
    f.cut(programme.lead, [mother], 60, into=programme.plate)
    assert queries() == few


def test_a_difference_names_a_rule_that_is_told_of() -> None:
    with pytest.raises(ValueError, match="no rule"):
        Difference("no_such_rule", "ramet", "", "", "")
    assert all(text and not text.endswith(".") for text in RULES.values())
