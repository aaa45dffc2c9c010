"""Plans: plain questions, the search with its best so far, the plan, and taking it on."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from quailwright.flock.standing import standing
from quailwright.flock.state import Flock
from quailwright.guide.round import day_at
from quailwright.journal.findings import BadInput, QuailwrightError
from quailwright.web.guard import Logger, OwnForm, Reader, Visitor, keeper, new_token
from quailwright.web.home import AtHome, Home
from quailwright.web.planner import Busy, Job
from quailwright.web.view import page

if TYPE_CHECKING:
    from quailwright.exchange.plan_page import Made, PlanPage
    from quailwright.exchange.plan_told import Beside, PlanAsked

router = APIRouter(default_response_class=Response, include_in_schema=False)

_GONE = "That plan is no longer kept: only the last few are. Make it again."
_WHAT_IF = ("goal.eggs_per_week", "limits.max_birds", "limits.lamp", "goal.certainty")


@dataclass(frozen=True, slots=True)
class About:
    """What a job was asked, on which day; `earlier` is the plan that it is laid beside."""

    asked: "PlanAsked"
    brief: bytes
    day: date
    earlier: "tuple[str, Beside] | None" = None


def begin(
    home: Home,
    who: Visitor,
    asked: "PlanAsked",
    earlier: "tuple[str, Beside] | None" = None,
) -> Job:
    """Begins to plan, from what stands now. Raises BadInput, or Busy."""
    from quailwright.exchange.hatch_times import hatch_times
    from quailwright.exchange.plan_page import made
    from quailwright.exchange.plan_told import PlanFrom, brief_of
    from quailwright.outlook.forecast import evening

    flock = home.flock()
    day = day_at(flock, home.now())
    times = hatch_times(home.desk.store, flock, evening(flock, day))
    stands = PlanFrom(home.desk.entries(), flock, day, times)
    about = About(asked, brief_of(asked, flock), day, earlier)
    job = Job(new_token(home)[:24], who.name, about)
    return home.planner.begin(job, lambda tell: made(asked, stands, tell))


def take_on(home: Home, who: Visitor, job: Job, choice: str) -> int:
    """Takes a plan on, once, and gives the number of its entries. Raises BadInput and its kin."""
    from quailwright.exchange import plan_told

    answers = job.made.answers if job.made is not None else {}
    if choice not in answers:
        raise BadInput("That plan is not there. Open it, and accept it from its page.")
    with job.taking:
        if job.taken:
            return 0
        flock, now = home.flock(), home.now()
        if job.about.day != day_at(flock, now):
            raise BadInput("This plan was made on another day. Make it again, then accept it.")
        taken = plan_told.take_on(
            home.desk.store, answers[choice], job.about.brief, flock, now, now, home.fresh_id,
            who.name,
        )  # fmt: skip
        job.taken = True
    return len(taken.written)


@router.get("/plan")
def plan(request: Request, home: AtHome, who: Reader) -> Response:
    """How far the accepted plan has come; without one, the questions."""
    flock = home.flock()
    if flock.plan is None:
        return _questions_page(request, home, who, flock)
    on = day_at(flock, home.now())
    stands = standing(flock, on)
    return page(
        request, who, "plan.html", stands=stands, on=on, plan=flock.plan,
        running=home.planner.running(), newest=home.planner.newest(),
    )  # fmt: skip


@router.get("/plan/ask")
def ask(request: Request, home: AtHome, who: Reader) -> Response:
    """The questions, whether or not a plan was accepted."""
    return _questions_page(request, home, who, home.flock())


@router.post("/plan")
def begin_plan(request: Request, home: AtHome, who: Logger, form: OwnForm) -> Response:
    """Begins to plan what was asked, or with `do=again` the accepted plan once more."""
    from quailwright.exchange.plan_asked import brief_of, check, questions
    from quailwright.exchange.plan_told import PlanAsked

    flock = home.flock()
    if form.get("do") == "again":
        return _begun(home, who, PlanAsked(None))
    on = day_at(flock, home.now())
    typed = _typed(form, [each.name for each in questions(flock, on)])
    try:
        brief = brief_of(typed, flock.plan.brief.encode() if flock.plan is not None else b"")
        check(brief, flock, on)
    except BadInput as error:
        return _questions_page(request, home, who, flock, typed, error)
    return _begun(home, who, PlanAsked("What you asked", brief, anew=bool(form.get("anew"))))


@router.get("/plan/made/{made}")
def show(
    request: Request, home: AtHome, who: Reader, made: str, choice: str = "", busy: str = ""
) -> Response:
    """A plan: the best so far while it is made, then all of it."""
    job = home.planner.job(made)
    if job is None:
        return page(request, who, "plan_refused.html", sentence=_GONE, findings=())
    if job.runs:
        return page(request, who, "plan_making.html", job=job, busy=bool(busy))
    if "HX-Request" in request.headers:
        return Response(headers={"HX-Refresh": "true"})
    if job.refused is not None or job.made is None:
        return _refused_page(request, who, job)
    pages = job.made.pages
    shown = pages.get(choice) or next(iter(pages.values()))
    return _made_page(request, who, job, shown)


@router.post("/plan/made/{made}")
def change(request: Request, home: AtHome, who: Logger, made: str, form: OwnForm) -> Response:
    """Stops the search, tries something else, or takes the plan on, as the button says."""
    job = _job(home, made)
    choice = str(form.get("choice", ""))
    match form.get("do"):
        case "stop":
            job.stop()
            return _to(job)
        case "others":
            return _others(home, who, job)
        case "what-if":
            return _what_if(request, home, who, job, form, choice)
        case "accept":
            take_on(home, keeper(who), job, choice)
            return RedirectResponse("/plan", HTTPStatus.SEE_OTHER)
    raise BadInput("Nothing was asked for. Press one of the buttons.")


def _others(home: Home, who: Visitor, job: Job) -> Response:
    from quailwright.exchange.plan_told import PlanAsked

    asked = job.about.asked
    name = asked.name or "The accepted brief"
    return _begun(
        home, who, PlanAsked(name, job.about.brief, asked.seed, with_choices=True, anew=asked.anew)
    )


def _what_if(
    request: Request, home: Home, who: Visitor, job: Job, form: FormData, choice: str
) -> Response:
    from quailwright.exchange.plan_asked import changed, check
    from quailwright.exchange.plan_told import PlanAsked

    made = _made(job)
    shown = made.pages.get(choice) or next(iter(made.pages.values()))
    typed = _typed(form, _WHAT_IF)
    whole = next(iter(made.answers.values())).posed.brief
    flock = home.flock()
    try:
        brief = changed(job.about.brief, whole, typed)
        check(brief, flock, day_at(flock, home.now()))
    except BadInput as error:
        return _made_page(request, who, job, shown, typed, error)
    asked = PlanAsked("What you asked", brief, job.about.asked.seed, anew=job.about.asked.anew)
    return _begun(home, who, asked, (shown.name, shown.figures))


def _begun(
    home: Home, who: Visitor, asked: "PlanAsked", earlier: "tuple[str, Beside] | None" = None
) -> Response:
    try:
        return _to(begin(home, who, asked, earlier))
    except Busy as busy:
        return RedirectResponse(f"/plan/made/{busy.job.id}?busy=yes", HTTPStatus.SEE_OTHER)


def _to(job: Job) -> Response:
    return RedirectResponse(f"/plan/made/{job.id}", HTTPStatus.SEE_OTHER)


def _job(home: Home, job_id: str) -> Job:
    job = home.planner.job(job_id)
    if job is None:
        raise BadInput(_GONE)
    return job


def _made(job: Job) -> "Made":
    if job.made is None:
        raise BadInput("That plan is not made yet.")
    made: Made = job.made
    return made


def _typed(form: FormData, names: "list[str] | tuple[str, ...]") -> dict[str, str]:
    return {name: str(form.get(name, "")).strip() for name in names}


def _said(error: QuailwrightError | None) -> dict[str, tuple[str, ...]]:
    said: dict[str, tuple[str, ...]] = {}
    for finding in error.findings if error is not None else ():
        said[finding.field] = (*said.get(finding.field, ()), f"{finding.what} {finding.mend}")
    return said


def _questions_page(
    request: Request,
    home: Home,
    who: Visitor,
    flock: Flock,
    typed: Mapping[str, str] | None = None,
    error: BadInput | None = None,
) -> Response:
    from quailwright.exchange.plan_asked import questions

    said = _said(error)
    asked = questions(flock, day_at(flock, home.now()), typed, said)
    names = {each.name for each in asked}
    return page(
        request, who, "plan_ask.html", status=_status(error), error=error, asked=asked,
        elsewhere=[one for name in said if name not in names for one in said[name]],
        accepted=flock.plan is not None,
        running=home.planner.running(), newest=home.planner.newest(),
    )  # fmt: skip


def _status(error: QuailwrightError | None) -> int:
    return HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY


def _refused_page(request: Request, who: Visitor, job: Job) -> Response:
    fault = f"A fault of quailwright's own ({job.broke}). Nothing was kept."
    return page(
        request,
        who,
        "plan_refused.html",
        sentence=job.refused.sentence if job.refused is not None else fault,
        findings=job.refused.findings if job.refused is not None else (),
    )


def _made_page(
    request: Request,
    who: Visitor,
    job: Job,
    shown: "PlanPage",
    typed: Mapping[str, str] | None = None,
    error: BadInput | None = None,
) -> Response:
    extra: dict[str, Any] = {"what_if": typed or shown.limits, "error": error}
    return page(
        request, who, "plan_made.html", status=_status(error), job=job, plan=shown,
        said=_said(error), earlier=job.about.earlier, brief=job.about.brief.decode(), **extra,
    )  # fmt: skip
