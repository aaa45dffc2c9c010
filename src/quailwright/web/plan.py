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
from quailwright.language import mark, say
from quailwright.web.guard import Logger, OwnForm, Reader, Visitor, keeper, new_token
from quailwright.web.home import AtHome, Home
from quailwright.web.planner import Busy, Job
from quailwright.web.view import page

if TYPE_CHECKING:
    from quailwright.exchange.plan_page import Made, PlanPage
    from quailwright.exchange.plan_told import Beside, PlanAsked

router = APIRouter(default_response_class=Response, include_in_schema=False)

_GONE = mark("That plan is no longer kept: only the last few are. Make it again.")
_STOPS_WITHIN_S = 20
_WHAT_IF = ("goal.eggs_per_week", "limits.max_birds", "limits.lamp", "goal.certainty")


@dataclass(frozen=True, slots=True)
class About:
    """What a job was asked, on which day.

    Attributes:
        earlier: the plan that it is laid beside: its name and figures.
        beside: the id of that plan's job.
    """

    asked: "PlanAsked"
    brief: bytes
    day: date
    earlier: "tuple[str, Beside] | None" = None
    beside: str = ""


def begin(
    home: Home,
    who: Visitor,
    asked: "PlanAsked",
    earlier: "tuple[str, Beside] | None" = None,
    beside: Job | None = None,
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
    about = About(
        asked, brief_of(asked, flock), day, earlier, beside.id if beside is not None else ""
    )
    job = Job(new_token(home)[:24], who.name, about)
    return home.planner.begin(job, lambda tell: made(asked, stands, tell), beside)


def take_on(home: Home, who: Visitor, job: Job, choice: str) -> int:
    """Takes a plan on, once, and gives the number of its entries. Raises BadInput and its kin."""
    from quailwright.exchange import plan_told

    answers = job.made.answers if job.made is not None else {}
    if choice not in answers:
        raise BadInput(say("That plan is not there. Open it, and accept it from its page."))
    with home.planner.taking(job) as already:
        if already:
            return 0
        flock, now = home.flock(), home.now()
        if job.about.day != day_at(flock, now):
            raise BadInput(say("This plan was made on another day. Make it again, then accept it."))
        taken = plan_told.take_on(
            home.desk.store, answers[choice], job.about.brief, flock, now, now, home.fresh_id,
            who.name,
        )  # fmt: skip
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
    """The questions, whether or not a plan was accepted; with days away that the address names."""
    flock = home.flock()
    away = {
        f"limits.absences 1, {end}": request.query_params.get(f"away_{end}", "")
        for end in ("from", "until")
    }
    return _questions_page(request, home, who, flock, away=away if all(away.values()) else None)


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
    return _begun(home, who, PlanAsked(mark("What you asked"), brief, anew=bool(form.get("anew"))))


@router.get("/plan/offers")
def offers(request: Request, home: AtHome, who: Reader) -> Response:
    """Sellers' offers compared; what was typed is in the address, and nothing is written."""
    from quailwright.exchange.offers_page import names, offers_page

    flock = home.flock()
    query = request.query_params
    typed = {name: query.get(name, "").strip() for name in names()}
    told = offers_page(flock, day_at(flock, home.now()), typed)
    status = HTTPStatus.UNPROCESSABLE_ENTITY if told.elsewhere else HTTPStatus.OK
    return page(request, who, "plan_offers.html", status=status, told=told)


@router.get("/plan/made/{made}")
def show(
    request: Request, home: AtHome, who: Reader, made: str, choice: str = "", busy: str = ""
) -> Response:
    """A plan: the best so far while it is made, then all of it."""
    job = home.planner.job(made)
    if job is None:
        return page(request, who, "plan_refused.html", sentence=say(_GONE), findings=())
    if job.runs:
        return page(request, who, "plan_making.html", job=job, busy=bool(busy))
    if "HX-Request" in request.headers:
        return Response(headers={"HX-Refresh": "true"})
    if job.refused is not None or job.made is None:
        return _refused_page(request, who, job)
    return _made_page(request, who, job, _shown(job, choice))


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
        case "slide":
            return _slide(request, home, who, job, form, choice)
        case "accept":
            take_on(home, keeper(who), job, choice)
            return RedirectResponse("/plan", HTTPStatus.SEE_OTHER)
    raise BadInput(say("Nothing was asked for. Press one of the buttons."))


def _others(home: Home, who: Visitor, job: Job) -> Response:
    from quailwright.exchange.plan_told import PlanAsked

    asked = job.about.asked
    name = asked.name or mark("The accepted brief")
    return _begun(
        home, who, PlanAsked(name, job.about.brief, asked.seed, with_choices=True, anew=asked.anew)
    )


def _what_if(
    request: Request, home: Home, who: Visitor, job: Job, form: FormData, choice: str
) -> Response:
    shown = _shown(job, choice)
    typed = _typed(form, _WHAT_IF)
    try:
        asked = _otherwise(home, job, typed)
    except BadInput as error:
        return _made_page(request, who, job, shown, typed, error)
    return _begun(home, who, asked, (shown.name, shown.figures), job)


def _slide(
    request: Request, home: Home, who: Visitor, job: Job, form: FormData, choice: str
) -> Response:
    """A plan as the sliders stand, beside theirs; an earlier try is stopped."""
    from quailwright.exchange.sliders import slid

    shown = _shown(job, choice)
    try:
        typed = _typed(form, [one.name for one in shown.sliders])
        asked = _otherwise(home, job, *slid(shown.sliders, shown.limits, typed))
    except BadInput as error:
        if _is_script(request):
            return _beside_part(request, who, None, said=error)
        return _made_page(request, who, job, shown, None, error)
    running = home.planner.running()
    if running is not None and running.about.beside == job.id and running.by == who.name:
        running.stop()
        running.wait(_STOPS_WITHIN_S)
    try:
        tried = begin(home, who, asked, (shown.name, shown.figures), job)
    except Busy as busy:
        if _is_script(request):
            return _beside_part(request, who, None, busy=busy.job)
        return RedirectResponse(f"/plan/made/{busy.job.id}?busy=yes", HTTPStatus.SEE_OTHER)
    return _beside_part(request, who, tried) if _is_script(request) else _to(tried)


@router.get("/plan/made/{made}/beside")
def beside(request: Request, home: AtHome, who: Reader, made: str) -> Response:
    """A part of a page: a plan beside the one that it was asked from, or how far it is."""
    job = home.planner.job(made)
    if job is None or job.about.earlier is None:
        return _beside_part(request, who, None, said=BadInput(say(_GONE)))
    return _beside_part(request, who, job)


def _beside_part(
    request: Request,
    who: Visitor,
    tried: Job | None,
    busy: Job | None = None,
    said: QuailwrightError | None = None,
) -> Response:
    now = None
    if tried is not None and not tried.runs:
        if tried.made is None:
            said = said or tried.refused or BadInput(_fault(tried))
        else:
            now = _shown(tried, "")
    return page(
        request, who, "plan_beside.html", tried=tried, now=now, busy=busy, said=said,
    )  # fmt: skip


def _fault(job: Job) -> str:
    return say("A fault of quailwright's own ({fault}). Nothing was kept.", fault=job.broke)


def _is_script(request: Request) -> bool:
    return "HX-Request" in request.headers


def _shown(job: Job, choice: str) -> "PlanPage":
    pages = _made(job).pages
    return pages.get(choice) or next(iter(pages.values()))


def _otherwise(
    home: Home, job: Job, typed: Mapping[str, str], machine_eggs: str = ""
) -> "PlanAsked":
    """What a plan was asked, with some answers changed. Raises BadInput."""
    from quailwright.exchange.plan_asked import changed, check
    from quailwright.exchange.plan_told import PlanAsked

    whole = next(iter(_made(job).answers.values())).posed.brief
    flock = home.flock()
    brief = changed(job.about.brief, whole, typed, machine_eggs)
    check(brief, flock, day_at(flock, home.now()))
    earlier = job.about.asked
    return PlanAsked(mark("What you asked"), brief, earlier.seed, anew=earlier.anew)


def _begun(
    home: Home,
    who: Visitor,
    asked: "PlanAsked",
    earlier: "tuple[str, Beside] | None" = None,
    beside: Job | None = None,
) -> Response:
    try:
        return _to(begin(home, who, asked, earlier, beside))
    except Busy as busy:
        return RedirectResponse(f"/plan/made/{busy.job.id}?busy=yes", HTTPStatus.SEE_OTHER)


def _to(job: Job) -> Response:
    return RedirectResponse(f"/plan/made/{job.id}", HTTPStatus.SEE_OTHER)


def _job(home: Home, job_id: str) -> Job:
    job = home.planner.job(job_id)
    if job is None:
        raise BadInput(say(_GONE))
    return job


def _made(job: Job) -> "Made":
    if job.made is None:
        raise BadInput(say("That plan is not made yet."))
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
    away: Mapping[str, str] | None = None,
) -> Response:
    from quailwright.exchange.plan_asked import questions

    said = _said(error)
    asked = questions(flock, day_at(flock, home.now()), typed, said, away)
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
    return page(
        request,
        who,
        "plan_refused.html",
        sentence=job.refused.sentence if job.refused is not None else _fault(job),
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
        said=_said(error), earlier=job.about.earlier, beside=job.about.beside,
        brief=job.about.brief.decode(), **extra,
    )  # fmt: skip
