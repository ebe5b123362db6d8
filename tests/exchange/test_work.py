"""Long work: started on a page, left alone, and looked at again."""

import datetime
import io
import time
from pathlib import Path

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from nursery.core.actor import Role
from nursery.core.errors import Refused
from nursery.donors.models import Taxon
from nursery.exchange import progress, tasks
from nursery.exchange.models import Task
from nursery.lineage.models import Ramet
from tests import factories as make
from tests.pages import read, reader, words_of

pytestmark = pytest.mark.django_db

TAXA = b"code,name,group\nACRINV,Acropora invented,stony coral\n"


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of its own for long work, which here waits until it is run by the test."""
    monkeypatch.setattr(settings, "TASKS_ROOT", tmp_path)
    monkeypatch.setattr(tasks, "start", lambda task: None)
    return tmp_path


@pytest.fixture
def client(root: Path) -> Client:
    return reader(Role.LEAD)


def asked(client: Client, kind: str, **files: bytes) -> Task:
    """What a lead asked for on the page."""
    uploads = [SimpleUploadedFile(f"{stem}.csv", text) for stem, text in files.items()]
    answer = client.post("/work/", {"kind": kind, "files": uploads})
    assert answer.status_code == 302, words_of(answer)
    task = Task.objects.get()
    assert answer["Location"] == f"/work/{task.uid}/"
    return task


def test_files_are_loaded_and_counted(client: Client) -> None:
    task = tasks.run(str(asked(client, "load", taxa=TAXA).uid))
    assert Taxon.objects.get().name == "Acropora invented"
    assert not task.failed
    assert task.outcome["rows"] == [["taxa", 1, 0, 0]]
    assert "Everything is loaded." in read(client, f"/work/{task.uid}/")


def test_a_try_stores_nothing(client: Client) -> None:
    task = tasks.run(str(asked(client, "try", taxa=TAXA).uid))
    assert not Taxon.objects.exists()
    assert task.outcome["rows"] == [["taxa", 1, 0, 0]]


def test_refused_rows_are_named_and_nothing_is_stored(client: Client) -> None:
    bad = TAXA + b"POCINV,Pocillopora invented,no such group\n"
    task = tasks.run(str(asked(client, "load", taxa=bad).uid))
    assert task.failed
    assert not Taxon.objects.exists()
    words = read(client, f"/work/{task.uid}/")
    assert "Nothing was stored: 1 to be mended." in words
    assert "taxa.csv, row 3, group" in words


def test_the_whole_record_is_checked(client: Client) -> None:
    begun = make.programme()
    make.mothers(begun.lead, begun.colony, begun.tray)
    task = tasks.run(str(asked(client, "verify").uid))
    assert not task.failed
    assert "The record agrees with itself" in read(client, f"/work/{task.uid}/")


def test_differences_are_listed_by_their_rule(client: Client) -> None:
    begun = make.programme()
    ramet = make.mothers(begun.lead, begun.colony, begun.tray)[0]
    long_ago = datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC)
    Ramet.objects.filter(pk=ramet.pk).update(not_before=long_ago)
    task = tasks.run(str(asked(client, "verify").uid))
    assert task.failed
    words = read(client, f"/work/{task.uid}/")
    assert "does not agree with itself in 1 places" in words
    assert ramet.code in words


def test_work_says_how_far_it_is_of_how_much(client: Client, root: Path) -> None:
    task = asked(client, "load", taxa=TAXA)
    state = progress.Progress("rows", 1200, 4800, time.time())
    progress.write(root / str(task.uid), state)
    assert state.share == 25
    assert "1,200 of 4,800 rows done." in read(client, f"/work/{task.uid}/")
    part = client.get(f"/work/{task.uid}/", headers={"HX-Request": "true"})
    assert b"<html" not in part.content
    assert b'hx-trigger="every 1s"' in part.content


def test_work_that_fell_silent_is_told_as_broken_off(client: Client, root: Path) -> None:
    task = asked(client, "load", taxa=TAXA)
    long_ago = time.time() - progress.SILENT_S - 1
    progress.write(root / str(task.uid), progress.Progress("rows", 1, 2, long_ago))
    assert "no sign of life" in read(client, f"/work/{task.uid}/")


def test_a_long_step_still_gives_signs_of_life(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(progress, "EVERY_S", 0.01)
    with progress.kept(tmp_path) as tell:
        tell("rows", 5, 10)
        first = progress.read(tmp_path).sign
        time.sleep(0.2)
        later = progress.read(tmp_path)
    assert later.sign > first
    assert (later.done, later.known) == (5, 10)


def test_a_fault_of_the_program_ends_the_work_and_is_kept(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    task = asked(client, "load", taxa=TAXA)

    def broken(*args: object, **kwargs: object) -> None:
        raise RuntimeError("broken on purpose")

    monkeypatch.setattr(tasks, "load", broken)
    with pytest.raises(RuntimeError, match="on purpose"):
        tasks.run(str(task.uid))
    task.refresh_from_db()
    assert task.failed
    assert task.ended_at is not None
    assert "broke off" in read(client, f"/work/{task.uid}/")


def test_what_was_uploaded_does_not_stay_behind(client: Client, root: Path) -> None:
    task = asked(client, "load", taxa=TAXA)
    assert (root / str(task.uid) / "files" / "taxa.csv").read_bytes() == TAXA
    tasks.run(str(task.uid))
    assert not (root / str(task.uid) / "files").exists()


@pytest.mark.parametrize(
    ("name", "code"), [("secrets.csv", "unknown_file"), ("taxa.txt", "unknown_file")]
)
def test_other_files_are_refused_by_name(client: Client, root: Path, name: str, code: str) -> None:
    answer = client.post("/work/", {"kind": "load", "files": [SimpleUploadedFile(name, TAXA)]})
    assert answer.status_code == 400
    assert code in words_of(answer)
    assert name in words_of(answer)
    assert not Task.objects.exists()
    assert list(root.iterdir()) == []


def test_a_load_without_files_is_refused(client: Client) -> None:
    answer = client.post("/work/", {"kind": "load"})
    assert "no_files" in words_of(answer)


def test_too_much_is_refused_and_nothing_is_kept(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tasks, "MOST_BYTES", 100)
    pieces = io.BytesIO(b"x" * 101)
    with pytest.raises(Refused) as caught:
        tasks.ask_for(make.lead(), Task.Kind.LOAD, {"taxa.csv": pieces})
    assert caught.value.code == "too_large"
    assert list(root.iterdir()) == []
    assert not Task.objects.exists()


@pytest.mark.parametrize("role", [Role.VIEWER, Role.FIELD])
def test_only_leads_start_or_see_long_work(root: Path, role: Role) -> None:
    client = reader(role)
    assert client.get("/work/").status_code == 403
    assert client.post("/work/", {"kind": "verify"}).status_code == 403
    task = tasks.ask_for(make.lead(), Task.Kind.VERIFY, {})
    assert client.get(f"/work/{task.uid}/").status_code == 403


@pytest.mark.parametrize("uid", ["nonsense", "00000000-0000-4000-8000-000000000000"])
def test_unknown_work_is_told(client: Client, uid: str) -> None:
    assert client.get(f"/work/{uid}/").status_code == 404
