"""`manage.py load_records` as people run it."""

from __future__ import annotations

from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from nursery.core.actor import Role
from nursery.core.models import Event
from nursery.donors.models import Taxon
from nursery.exchange.loading.columns import page
from nursery.exchange.management.commands import load_records
from tests import factories as f
from tests.exchange.conftest import Folder


def run(folder: Folder, **options: Any) -> tuple[str, str]:
    """What it says, and what it complains of."""
    out, err = StringIO(), StringIO()
    try:
        call_command("load_records", str(folder.path), stdout=out, stderr=err, **options)
    except CommandError as error:
        err.write(f"\n{error}")
    return out.getvalue(), err.getvalue()


def test_it_says_what_is_new(folder: Folder) -> None:
    folder.put_small()
    out, err = run(folder)
    assert err == ""
    assert ["colonies", "2", "0", "0"] in [line.split() for line in out.splitlines()]
    assert ["stock", "entries", "1", "0", "0"] in [line.split() for line in out.splitlines()]
    assert out.endswith("Loaded.\n")
    assert Event.objects.exists()


def test_a_second_load_says_what_is_unchanged(folder: Folder) -> None:
    folder.put_small()
    run(folder)
    out, _ = run(folder)
    assert ["colonies", "0", "2", "0"] in [line.split() for line in out.splitlines()]


def test_a_check_says_so_and_stores_nothing(folder: Folder) -> None:
    folder.put_small()
    out, _ = run(folder, check=True)
    assert "nothing was stored" in out
    assert not Event.objects.exists()


def test_faults_are_told_line_by_line(folder: Folder) -> None:
    folder.put("taxa", "code,name,group\nPAP,Papilio,fish\n")
    out, err = run(folder)
    assert out == ""
    first = err.splitlines()[0]
    assert first.startswith("taxa.csv, row 2, group “fish”: not_a_choice: ")
    assert "Nothing was loaded: 1 is to be mended" in err


def test_without_a_name_the_only_lead_enters_it(folder: Folder) -> None:
    folder.put_small("taxa")
    run(folder)
    assert Taxon.objects.count() == 1


def test_with_several_leads_one_has_to_be_named(folder: Folder) -> None:
    folder.put_small("taxa")
    f.person(Role.LEAD, name="second")
    _, err = run(folder)
    assert "several leads" in err
    assert not Taxon.objects.exists()
    _, err = run(folder, username="second")
    assert err == ""


@pytest.mark.django_db
def test_without_any_lead_somebody_has_to_be_named() -> None:
    with pytest.raises(CommandError, match="Nobody leads"):
        call_command("load_records", "anywhere")


def test_an_unknown_name_is_refused(folder: Folder) -> None:
    _, err = run(folder, username="nobody")
    assert "no active log-in 'nobody'" in err


def test_field_staff_may_load_what_they_may_enter(folder: Folder) -> None:
    folder.put_small("reefs", "taxa")
    run(folder)
    f.person(Role.FIELD, name="diver")
    for path in folder.path.iterdir():
        path.unlink()
    folder.put("collections", "event,when,reef,taxon,count\nC,2022-01-05,GULL,PAP,1\n")
    assert run(folder, username="diver")[1] == ""
    folder.put_small("plots")
    assert "not_allowed" in run(folder, username="diver")[1]


def test_an_interruption_is_said_to_have_loaded_nothing(
    folder: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupt(*args: Any, **options: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(load_records, "load", interrupt)
    with pytest.raises(CommandError, match="Nothing was loaded") as stopped:
        call_command("load_records", str(folder.path))
    assert stopped.value.returncode == 130


def test_a_long_load_says_how_far_it_is(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(load_records, "_EVERY_S", 0.0)
    folder.put_small("reefs", "taxa")
    out, _ = run(folder)
    assert "1 of 2 rows" in out
    assert "2 of 2 rows" in out


def test_it_prints_which_columns_there_are() -> None:
    out = StringIO()
    call_command("load_records", columns=True, stdout=out)
    assert out.getvalue() == page()


def test_a_folder_has_to_be_named() -> None:
    with pytest.raises(CommandError, match="Name the folder"):
        call_command("load_records")
