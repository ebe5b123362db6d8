"""Long work: asked for on a page, done by a process of its own, looked at again whenever one likes.

The page starts `manage.py run_task UID` and is free. That process may take minutes; closing the
browser does not end it.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import uuid
from collections import Counter
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext as _

from nursery.access.actors import actor_for
from nursery.core.actor import Actor, require, require_read
from nursery.core.errors import Problem, Refused, Trouble, Unknown
from nursery.core.inputs import read
from nursery.diversity.proposing import named, propose, takes_long
from nursery.diversity.proposing_answers import kept
from nursery.diversity.proposing_inputs import ProposalIn
from nursery.exchange import progress
from nursery.exchange.loading import load
from nursery.exchange.loading.files import STEMS
from nursery.exchange.models import Task
from nursery.outplanting.verify import RULES, verify

ACT = "start long work"
MOST_BYTES = 200 * 1024 * 1024
"""The most that the files of one load may hold together."""
MOST_DIFFERENCES = 500
_FILES = "files"


def folder_of(task: Task) -> Path:
    """Where a task keeps its files and how far it is."""
    return Path(settings.TASKS_ROOT) / str(task.uid)


def ask_for(actor: Actor, kind: Task.Kind, files: Mapping[str, Iterable[bytes]]) -> Task:
    """Write down what is asked for and start it. `files` holds each file's name and its pieces.

    Raises NotAllowed; Refused (`no_files`, `unknown_file`, `too_large`) with nothing kept.
    """
    require(actor, act=ACT)
    problems = [
        Problem(
            "unknown_file",
            f"{name} is none of the files that can be loaded. Their names stand in the list of "
            "columns.",
            ("files",),
        )
        for name in files
        if Path(name).name != name or Path(name).suffix != ".csv" or Path(name).stem not in STEMS
    ]
    if kind in (Task.Kind.LOAD, Task.Kind.TRY) and not files:
        problems.append(Problem("no_files", "Choose the CSV files to load.", ("files",)))
    if problems:
        raise Refused(problems)
    task = Task(kind=kind, by_id=actor.user_id)
    folder = folder_of(task)
    (folder / _FILES).mkdir(parents=True)
    try:
        _store(files, folder / _FILES)
    except Refused:
        shutil.rmtree(folder)
        raise
    task.save(force_insert=True)
    progress.write(folder, progress.Progress(sign=timezone.now().timestamp()))
    start(task)
    return task


def ask_to_propose(actor: Actor, given: ProposalIn) -> Task:
    """Write down a proposal that is asked for; work it out at once, or start it where that takes
    long.

    Raises NotAllowed; Refused where something is named that there is not, and whatever `propose`
    refuses with where it is worked out at once. Nothing is kept of what is refused.
    """
    require(actor, act=ACT)
    said = given.model_dump(mode="json")
    task = Task(kind=Task.Kind.PROPOSE, by_id=actor.user_id, outcome={"asked": said})
    if takes_long(given):
        named(given)
        folder = folder_of(task)
        folder.mkdir(parents=True)
        task.save(force_insert=True)
        progress.write(folder, progress.Progress(sign=timezone.now().timestamp()))
        start(task)
        return task
    task.outcome = _proposed(actor, said)
    task.ended_at = timezone.now()
    task.save(force_insert=True)
    return task


def proposal_of(actor: Actor, uid: str, *, found: bool = False) -> Task:
    """The work of this uid that is to propose something; with `found`, that has done so.

    Raises NotAllowed, Unknown (`unknown_proposal`).
    """
    require_read(actor)
    try:
        key = uuid.UUID(uid)
    except ValueError:
        key = uuid.UUID(int=0)
    task = Task.objects.select_related("by").filter(uid=key, kind=Task.Kind.PROPOSE).first()
    if task is None or (found and "proposal" not in task.outcome):
        raise Unknown(Problem("unknown_proposal", "There is no such proposal."))
    return task


def _store(files: Mapping[str, Iterable[bytes]], folder: Path) -> None:
    size = 0
    for name, pieces in files.items():
        with (folder / name).open("wb") as file:
            for piece in pieces:
                size += len(piece)
                if size > MOST_BYTES:
                    raise Refused(
                        Problem(
                            "too_large",
                            f"These files hold more than {MOST_BYTES // 1024 // 1024} MB. Load "
                            "them on the server with `manage.py load_records`.",
                            ("files",),
                        )
                    )
                file.write(piece)


def start(task: Task) -> None:
    """Start the process that does it; it lives on when this one ends."""
    with (folder_of(task) / "log.txt").open("ab") as log:
        command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "run_task", str(task.uid)]
        subprocess.Popen(  # noqa: S603 - this project's own command, with a uid of ours
            command,
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            cwd=settings.BASE_DIR,
            start_new_session=True,
        )


def run(uid: str) -> Task:
    """Do the work of a task and keep what came of it. Raises Unknown (`unknown_task`)."""
    task = Task.objects.select_related("by").filter(uid=uid).first()
    if task is None:
        raise Unknown(Problem("unknown_task", "There is no such work."))
    try:
        with progress.kept(folder_of(task)) as tell:
            task.failed, task.outcome = _work(task, tell)
    except Trouble as trouble:
        task.failed = True
        says = " ".join(problem.message for problem in trouble.problems)
        task.outcome = {**task.outcome, "says": says}
    except Exception:
        task.failed = True
        says = _("It broke off by a fault of this program; the log says more.")
        task.outcome = {**task.outcome, "says": says}
        raise
    finally:
        task.ended_at = timezone.now()
        task.save(update_fields=["failed", "outcome", "ended_at"])
        shutil.rmtree(folder_of(task) / _FILES, ignore_errors=True)
    return task


def _work(task: Task, tell: Any) -> tuple[bool, dict[str, Any]]:
    """Whether it failed, and what came of it."""
    if task.kind == Task.Kind.VERIFY:
        return _verify(tell)
    if task.kind == Task.Kind.PROPOSE:
        return False, _proposed(actor_for(task.by), task.outcome["asked"])
    check = task.kind == Task.Kind.TRY
    report = load(
        folder_of(task) / _FILES,
        actor_for(task.by),
        check=check,
        progress=lambda done, known: tell(_("rows"), done, known),
    )
    if report.refused or report.leaning_count:
        says = _("Nothing was stored: %(n)d to be mended.") % {"n": report.refused}
        return True, {"says": says, "more": list(report.lines())}
    rows = [
        [stem.replace("_", " "), tally.new, tally.unchanged, tally.edited]
        for stem, tally in sorted(report.tallies.items())
    ]
    says = _("These files would load; nothing was stored.") if check else _("Everything is loaded.")
    return False, {
        "says": says,
        "heads": [_("file"), _("new"), _("unchanged"), _("edited")],
        "rows": rows,
    }


def _proposed(actor: Actor, asked: Any) -> dict[str, Any]:
    """What was asked for, and what is proposed."""
    proposal = propose(actor, read(ProposalIn, asked))
    says = _("%(given)d of %(asked)d plugs have a place.") % {
        "given": proposal.given,
        "asked": proposal.asked,
    }
    return {"says": says, "asked": asked, "proposal": kept(proposal)}


def _verify(tell: Any) -> tuple[bool, dict[str, Any]]:
    found: Counter[str] = Counter()
    lines: list[str] = []
    for difference in verify((), lambda things, number: tell(things, number, None)):
        found[difference.rule] += 1
        if len(lines) < MOST_DIFFERENCES:
            lines.append(str(difference))
    if not found:
        return False, {"says": _("The record agrees with itself: no difference was found.")}
    says = _("The record does not agree with itself in %(n)d places.") % {"n": found.total()}
    rows = [[RULES[rule], number] for rule, number in found.most_common()]
    return True, {"says": says, "heads": [_("rule"), _("broken")], "rows": rows, "more": lines}
