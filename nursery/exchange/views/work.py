"""Pages of long work: ask for it, leave, and look again how far it is."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.translation import gettext as _

from nursery.core.actor import require
from nursery.core.errors import Problem, Trouble, Unknown
from nursery.core.views.base import Page
from nursery.exchange import progress
from nursery.exchange.models import Task
from nursery.exchange.tasks import ACT, ask_for, folder_of

MOST_SHOWN = 20


class WorkPage(Page):
    """What a lead may start that takes long, and what was started lately."""

    http_method_names = ["get", "head", "post"]
    template_name = "exchange/work.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, act=ACT)
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        require(self.actor, act=ACT)
        kind = request.POST.get("kind", "")
        if kind not in (Task.Kind.LOAD, Task.Kind.TRY, Task.Kind.VERIFY):
            raise Unknown(Problem("unknown_kind", _("There is no such work.")))
        files = {file.name or "": file.chunks() for file in request.FILES.getlist("files")}
        try:
            task = ask_for(self.actor, Task.Kind(kind), files)
        except Trouble as trouble:
            context = self.get_context_data(problems=trouble.problems)
            return self.render_to_response(context, status=trouble.status)
        return HttpResponseRedirect(reverse("task", args=[task.uid]))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        tasks: QuerySet[Task] = Task.objects.select_related("by").order_by("-asked_at")
        return super().get_context_data(tasks=tasks[:MOST_SHOWN], kinds=Task.Kind, **kwargs)


class TaskPage(Page):
    """How far one piece of work is, or what came of it; asks again by itself while it runs."""

    def get_template_names(self) -> list[str]:
        part = getattr(self.request, "htmx", False)
        return ["exchange/task_state.html" if part else "exchange/task.html"]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        require(self.actor, act=ACT)
        try:
            uid = uuid.UUID(str(self.kwargs["uid"]))
        except ValueError:
            uid = None
        task = Task.objects.select_related("by").filter(uid=uid).first() if uid else None
        if task is None:
            raise Unknown(Problem("unknown_task", _("There is no such work.")))
        state = progress.read(folder_of(task))
        return super().get_context_data(
            task=task,
            state=state,
            broken_off=task.ended_at is None and state.silent,
            **kwargs,
        )
