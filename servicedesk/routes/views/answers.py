"""What a change of a week answers with: the board as it is then, or why not, with what was asked kept."""

import json
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from datetime import date
from hashlib import sha256
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render

from servicedesk.people.access import AuthedRequest
from servicedesk.routes.queries import week as week_queries
from servicedesk.routes.services.versions import RuleBrokenError, StaleWeekError, made_once
from servicedesk.routes.times import Week
from servicedesk.routes.views.week import board_context, part_context

STALE, REFUSED = 409, 422
BESIDES = {"csrfmiddlewaretoken", "token", "version", "span"}


@dataclass(frozen=True, slots=True)
class Again:
    """A change that came too late, to be asked for again with one press."""

    url: str
    label: str
    values: Mapping[str, Any] = field(default_factory=dict)

    @property
    def fields(self) -> list[tuple[str, object]]:
        return [
            (name, value.isoformat() if isinstance(value, date) else value)
            for name, value in self.values.items()
            if value is not None
        ]


def board_answer(request: AuthedRequest, week: Week, *, status: int = 200, **more: object) -> HttpResponse:
    """The board for htmx, the whole page otherwise."""
    if not request.htmx and status == 200:
        return redirect("routes:week", year=week.year, number=week.number)
    template = "routes/parts/board_answer.html" if request.htmx else "routes/week.html"
    response = render(request, template, board_context(request, week, **more), status=status)
    response["HX-Trigger"] = "weekChanged"
    return response


def _part_answer(request: AuthedRequest, week: Week, keys: Collection[tuple[int, date]]) -> HttpResponse | None:
    """Only the cells that changed, with score and tray; None where the page asks or needs the whole board."""
    plan = week_queries.plan_of(week)
    drawn = request.POST.get("span", "")
    if plan is None or not request.htmx or not drawn:
        return None
    part = week_queries.board_part(week, plan, keys)
    if drawn != f"{part.span[0]}.{part.span[1]}":
        return None
    context = part_context(request, week, plan, part.crews)
    response = render(request, "routes/parts/board_part.html", context | {"part": part})
    response["HX-Reswap"] = "none"
    response["HX-Trigger"] = json.dumps({"weekVersion": {"version": plan.version}, "weekChanged": {}})
    return response


def _act_once(request: AuthedRequest, act: Callable[[], Any]) -> None:
    """A form with a token is a dialog's: a double click on its button makes one change and is answered alike."""
    token = request.POST.get("token", "")[:64]
    if not token:
        act()
        return
    said = sorted((name, values) for name, values in request.POST.lists() if name not in BESIDES)
    made_once(token=token, asked=sha256(json.dumps([request.path, said]).encode()).hexdigest(), act=act)


def board_change(
    request: AuthedRequest,
    week: Week,
    act: Callable[[], Any],
    *,
    again: Again | None = None,
    keys: Collection[tuple[int, date]] | None = None,
) -> HttpResponse:
    """Do ``act``; a stale page or a broken rule is told in words above the board, with the change offered again.

    ``keys``: the rounds that it touches, when they are known: the rest of the board need not be drawn anew.
    """
    try:
        _act_once(request, act)
    except StaleWeekError as stale:
        return board_answer(request, week, status=STALE, stale=stale.plan, again=again)
    except RuleBrokenError as refused:
        return board_answer(request, week, status=REFUSED, refused=refused.sentences)
    part = _part_answer(request, week, keys) if keys is not None else None
    return part or board_answer(request, week)
