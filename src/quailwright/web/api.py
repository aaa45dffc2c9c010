"""The JSON API: entries in, and every reading command, in the shapes of docs/contract.md."""

from datetime import date
from http import HTTPStatus
from typing import Annotated, Any

import msgspec
from fastapi import APIRouter, Query, Request
from starlette.exceptions import HTTPException
from starlette.responses import Response

from quailwright.exchange import shapes
from quailwright.exchange.air_seen import air_seen
from quailwright.exchange.record import check, posted_entries
from quailwright.exchange.typed import moment_asked
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.standing import standing
from quailwright.flock.state import Flock
from quailwright.guide.round import day_at, todays_round
from quailwright.guide.rules import all_rules
from quailwright.guide.signs.report import signs_report
from quailwright.journal.entries import as_dict, kind_of
from quailwright.journal.findings import BadInput
from quailwright.journal.jsonl import write_lines
from quailwright.language import said_plainly, say
from quailwright.web.guard import (
    AnyVisitor,
    Keeper,
    Logger,
    OwnBody,
    Reader,
    refused,
    write_token,
)
from quailwright.web.home import AtHome, Home
from quailwright.web.openapi import document, says, takes, tells_text
from quailwright.web.planner import Busy


class Told(Response):
    """An answer in JSON, written as the command line writes it: what has no end is null."""

    media_type = "application/json"

    def render(self, content: Any) -> bytes:
        """The document of a shape."""
        return msgspec.json.encode(content, enc_hook=said_plainly)


router = APIRouter(prefix="/api", default_response_class=Response)

On = Annotated[
    str | None, Query(description="As of a day (2027-05-02) or an instant; now when left out.")
]


def as_of(home: Home, on: str | None) -> tuple[Flock, Any]:
    """What stands as of `on`, and the day or instant that it means."""
    if on is None:
        return home.flock(), home.now()
    entries = home.desk.entries()
    asked = moment_asked(on, home.now(), newest_zone(entries))
    return fold(entries, asked), asked


@router.get("/openapi.json", include_in_schema=False)
def openapi(request: Request, who: AnyVisitor) -> Response:
    """This API as an OpenAPI document; which version of quailwright it is, no stranger is told."""
    state = request.app.state
    if not hasattr(state, "openapi"):  # made once: it takes a third of a second
        state.openapi = document(request.app)
    told = state.openapi
    if who.role is None:
        told = {**told, "info": {**told["info"], "version": "1"}}
    return Told(told)


@router.get("/me", responses=says("Me"))
def me(home: AtHome, who: AnyVisitor) -> Response:
    """Who is signed in here, and the token that a write must carry in `X-Write-Token`."""
    return Told(
        {
            "name": who.name,
            "role": who.role,
            "may_log": who.may_log,
            "flock": home.desk.mark() if who.role is not None else "",
            "token": write_token(home, who),
        }
    )


@router.post("/entries", responses=says("Written", "Refusal"), openapi_extra=takes("Entries"))
def post_entries(home: AtHome, who: Logger, body: OwnBody) -> Response:
    """Writes one entry, or a list of them, all or none. A repeat changes nothing."""
    posted = posted_entries(body)
    sentence = refused(home, who, *posted)
    if sentence:  # Not 403: the phone then keeps this entry as refused, and sends the next.
        raise BadInput(sentence)
    recorded = home.record(*posted)
    return Told({"written": len(recorded.written), "already": recorded.already})


@router.get("/entries", responses=says("EntryList", "Refusal"))
def entries(
    home: AtHome,
    who: Reader,
    kind: Annotated[str, Query(description="Only of this kind.")] = "",
    since: Annotated[date | None, Query(description="Only from this day on.")] = None,
    limit: Annotated[int, Query(ge=1, le=1000)] = 100,
) -> Response:
    """Entries as they were written, the newest first."""
    first = since.isoformat() if since is not None else ""
    fitting = (
        line.entry
        for line in home.desk.lines()
        if line.day >= first and not line.corrects and kind in ("", kind_of(line.entry))
    )
    return Told([as_dict(one) for one, _ in zip(fitting, range(limit), strict=False)])


@router.get("/today", responses=says("TodayShape", "Refusal"))
def today(home: AtHome, who: Reader, on: On = None) -> Response:
    """The round of a day, as `today --json`."""
    flock, asked = as_of(home, on)
    day = day_at(flock, asked)
    if on is None:
        return Told(shapes.round_shape(home.round(flock, day)))
    todays = todays_round(flock, day, air_seen(home.desk.store, flock, asked))
    return Told(shapes.round_shape(todays))


@router.get("/signs", responses=says("SignsShape", "Refusal"))
def signs(home: AtHome, who: Reader, on: On = None) -> Response:
    """What looks wrong and what is watched, as `signs --json`."""
    flock, asked = as_of(home, on)
    air = air_seen(home.desk.store, flock, asked)
    return Told(shapes.signs_shape(signs_report(flock, day_at(flock, asked), air)))


@router.get("/flock", responses=says("Standing", "Refusal"))
def flock(home: AtHome, who: Reader, on: On = None) -> Response:
    """What stands, as `flock --json`."""
    stands, asked = as_of(home, on)
    return Told(shapes.standing_shape(standing(stands, day_at(stands, asked))))


@router.get("/eggs", responses=says("EggStore", "Refusal"))
def eggs(
    home: AtHome,
    who: Reader,
    on: On = None,
    of: Annotated[str, Query(description="Only who received eggs of such.", max_length=80)] = "",
) -> Response:
    """The egg store, as `eggs --json`."""
    from quailwright.exchange.store_told import order_chances, store_told

    stands, asked = as_of(home, on)
    chances = None
    if any(order.left for order in stands.orders.values()):
        from quailwright.exchange.outlook_page import as_asked

        ahead = as_asked(home.desk.store, stands, asked)
        chances = order_chances(stands, day_at(stands, asked), ahead)
    return Told(store_told(stands, day_at(stands, asked), home.desk.entries(), chances, of).shape)


@router.get("/hatches", responses=says("Names", "Refusal"))
def hatches(home: AtHome, who: Reader, on: On = None) -> Response:
    """The names of the hatches, as `hatch --json`."""
    return Told(list(as_of(home, on)[0].hatches))


@router.get("/hatches/{name:path}", responses=says("HatchShape", "Refusal"))
def hatch(home: AtHome, who: Reader, name: str, on: On = None) -> Response:
    """One hatch, as `hatch NAME --json`."""
    from quailwright.exchange.hatch_shape import hatch_shape
    from quailwright.exchange.hatch_told import hatch_told

    stands, asked = as_of(home, on)
    return Told(hatch_shape(hatch_told(home.desk.store, stands, name, asked)))


@router.get("/outlook", responses=says("OutlookShape", "Refusal"))
def outlook(
    home: AtHome,
    who: Reader,
    on: On = None,
    weeks: Annotated[int, Query(ge=1, le=104)] = 26,
    draws: Annotated[int, Query(ge=1, le=4000)] = 4000,
    seed: Annotated[int, Query(ge=0, le=2**31)] = 1,
    planned: Annotated[bool, Query(description="Whether what is planned counts.")] = True,
    lamp: Annotated[
        float | None, Query(gt=0, le=24, description="If a lamp made each day so many hours long.")
    ] = None,
    fewer_cocks: Annotated[int, Query(ge=0, le=100_000, description="If so many went.")] = 0,
    fewer_hens: Annotated[int, Query(ge=0, le=100_000, description="If so many went.")] = 0,
    no_hatches: Annotated[bool, Query(description="If nothing more hatched.")] = False,
    further: Annotated[
        list[str] | None,
        Query(alias="set", max_length=10, description="If so many eggs were set: DAY EGGS SOURCE."),
    ] = None,
) -> Response:
    """The weeks ahead, as `outlook --json`, with the rates that they stand on."""
    from quailwright.exchange import outlook_told
    from quailwright.exchange.outlook_shape import outlook_shape
    from quailwright.outlook.forecast import Question

    flock, asked = as_of(home, on)
    known = outlook_told.believed(home.desk.store, flock, asked)
    stands = outlook_told.as_it_stands(known, weeks, with_planned=planned)
    sets = tuple(outlook_told.asked_set("set", text, known.day, weeks) for text in further or ())
    question = Question(lamp, fewer_cocks, fewer_hens, no_hatches, sets, planned=stands.planned)
    ahead = outlook_told.ahead(known, weeks, draws, seed, question)
    table, said = outlook_told.rests_on(known, ahead, seed)
    return Told(outlook_shape(ahead, flock, seed, table, said))


@router.get("/feed", responses=says("FeedShape", "Refusal"))
def feed(
    home: AtHome,
    who: Reader,
    on: On = None,
    weeks: Annotated[int, Query(ge=1, le=104)] = 26,
    draws: Annotated[int, Query(ge=1, le=4000)] = 4000,
    seed: Annotated[int, Query(ge=0, le=2**31)] = 1,
    planned: Annotated[bool, Query(description="Whether what is planned counts.")] = True,
) -> Response:
    """Feed of the weeks ahead, and when each bag runs out, as `outlook --feed --json`."""
    from quailwright.exchange import outlook_told
    from quailwright.exchange.feed_shape import feed_shape
    from quailwright.outlook.feed_ahead import feed_ahead

    flock, asked = as_of(home, on)
    known = outlook_told.believed(home.desk.store, flock, asked)
    stands = outlook_told.as_it_stands(known, weeks, with_planned=planned)
    ahead = outlook_told.ahead(known, weeks, draws, seed, stands)
    return Told(feed_shape(feed_ahead(ahead, flock), ahead.draws, seed))


@router.get("/away", responses=says("SitterShape", "Refusal"))
def away(
    home: AtHome,
    who: Reader,
    on: On = None,
    first: Annotated[
        str, Query(alias="from", description="The first day away; else tomorrow.")
    ] = "",
    until: Annotated[str, Query(description="The last day away; else a week in all.")] = "",
    morning: Annotated[str, Query(description="Clock time of the first round.")] = "",
    midday: Annotated[str, Query(description="Clock time of the round at midday.")] = "",
    evening: Annotated[str, Query(description="Clock time of the last round.")] = "",
    scoop: Annotated[str, Query(description="What a scoop weighs, in grams or ounces.")] = "",
) -> Response:
    """A sitter's sheet, as `away --json`."""
    from quailwright.exchange.sitter import sitter_asked, sitter_sheet
    from quailwright.exchange.sitter_shape import sitter_shape

    flock, asked = as_of(home, on)
    day = day_at(flock, asked)
    wanted = sitter_asked(flock, day, first, until, morning, midday, evening, scoop)
    return Told(sitter_shape(sitter_sheet(flock, day, wanted)))


@router.get("/costs", responses=says("CostsShape", "Refusal"))
def costs(
    home: AtHome,
    who: Reader,
    on: On = None,
    from_: Annotated[
        date | None, Query(alias="from", description="First day; a year back when left out.")
    ] = None,
    until: Annotated[
        date | None, Query(description="Last day; that of `on` when left out.")
    ] = None,
    minute: Annotated[
        float, Query(ge=0, le=1_000_000, description="What a minute of the keeper's is worth.")
    ] = 0.0,
) -> Response:
    """What it costs, as `costs --json`."""
    from quailwright.exchange.costs_page import Asked, taken
    from quailwright.web.costs import reckoned

    flock, asked = as_of(home, on)
    day = day_at(flock, asked)
    days = Asked(from_, until, minute)
    if on is None:
        return Told(reckoned(home, flock, day, days).shape)
    return Told(taken(home.desk.entries(), flock, day, days).shape)


@router.get("/housing", responses=says("HousingShape", "Refusal"))
def housing(
    home: AtHome,
    who: Reader,
    on: On = None,
    standard: Annotated[
        str, Query(description="By this standard; the keeper's own when left out.")
    ] = "",
) -> Response:
    """Room by pen and the standards side by side, as `housing --json`."""
    from quailwright.exchange.housing_told import housing_shape, housing_told

    flock, asked = as_of(home, on)
    return Told(housing_shape(housing_told(flock, day_at(flock, asked), standard)))


@router.get("/manure", responses=says("ManureShape", "Refusal"))
def manure(
    home: AtHome,
    who: Reader,
    on: On = None,
    bedding: Annotated[str, Query(description="What is strewn; shavings when left out.")] = "",
) -> Response:
    """Droppings, bedding and compost, as `manure --json`."""
    from quailwright.exchange.manure_told import manure_shape, manure_told

    flock, asked = as_of(home, on)
    return Told(manure_shape(manure_told(flock, day_at(flock, asked), bedding)))


@router.get("/light", responses=says("LightShape", "Refusal"))
def light(
    home: AtHome,
    who: Reader,
    on: On = None,
    hours: Annotated[str, Query(description="Hours of light aimed for; else as told.")] = "",
    until: Annotated[str, Query(description="Last day; a year on when left out.")] = "",
    end: Annotated[str, Query(description="morning, evening or both.")] = "",
    watts: Annotated[str, Query(description="Of the lamp.")] = "",
    price: Annotated[str, Query(description="Of a kilowatt hour.")] = "",
) -> Response:
    """Day length and lamp, as `light --json`."""
    from quailwright.exchange.light_page import asked, light_page
    from quailwright.exchange.light_shape import light_shape

    flock, moment = as_of(home, on)
    typed = {"hours": hours, "until": until, "end": end, "watts": watts, "price": price}
    return Told(light_shape(*light_page(flock, day_at(flock, moment), asked(typed))))


@router.get("/outlook/past", responses=says("Scores", "Refusal"))
def past(
    home: AtHome, who: Reader, on: On = None, seed: Annotated[int, Query(ge=0, le=2**31)] = 1
) -> Response:
    """How forecasts of the past did, as `outlook --past --json`: it may take a minute."""
    import numpy as np

    from quailwright.exchange.outlook_shape import scores_shape
    from quailwright.outlook.scores import past_scores

    flock, asked = as_of(home, on)
    entries = home.desk.entries()
    scores = past_scores(entries, day_at(flock, asked), np.random.default_rng(seed))
    return Told(scores_shape(scores))


@router.get("/rules", responses=says("Rules", "Refusal"))
def rules(home: AtHome, who: Reader, on: On = None) -> Response:
    """The rules of care as they hold here, as `rules --json`."""
    return Told([shapes.rule_shape(one) for one in all_rules(as_of(home, on)[0].care_rules)])


@router.get("/rules/{name}", responses=says("Rules", "Refusal"))
def rule(home: AtHome, who: Reader, name: str, on: On = None) -> Response:
    """One rule of care, as `rules NAME --json`: also as it holds at single places."""
    shown = [one for one in all_rules(as_of(home, on)[0].care_rules) if one.rule.rule == name]
    if not shown:
        raise BadInput(say("There is no rule {name}.", name=repr(name)))
    return Told([shapes.rule_shape(one) for one in shown])


@router.get("/journal", responses=tells_text("application/jsonl", "Refusal"))
def journal(home: AtHome, who: Reader) -> Response:
    """The whole journal as JSON Lines, as `journal export`."""
    lines = b"".join(write_lines(home.desk.store.entries()))
    return Response(lines, media_type="application/jsonl")


@router.get("/journal/check", responses=says("JournalCheck", "Refusal"))
def journal_check(home: AtHome, who: Reader) -> Response:
    """Damage, impossible counts and things never logged, as `journal check --json`."""
    return Told(shapes.check_shape(check(home.desk.store)))


@router.post(
    "/offers", responses=says("OffersShape", "Refusal"), openapi_extra=takes("OffersRequest")
)
def offers(home: AtHome, who: Logger, body: OwnBody) -> Response:
    """Hatching-egg offers compared for this flock today, as `offers --json`. It writes nothing."""
    import numpy as np

    from quailwright.exchange.offers_shape import offers_requested, offers_shape
    from quailwright.planning.offers import answer

    asked = offers_requested(body)
    flock = home.flock()
    day = day_at(flock, home.now())
    try:
        found = answer(asked, flock, day, np.random.default_rng(1))
    except ValueError as error:
        raise BadInput(str(error)) from None
    return Told(offers_shape(found, day))


@router.post(
    "/ration", responses=says("RationShape", "Refusal"), openapi_extra=takes("FeedRequest")
)
def ration(home: AtHome, who: Logger, body: OwnBody) -> Response:
    """The cheapest mix that meets the needs of a stage, as `ration --json`. It writes nothing.

    Whole scoops of many ingredients may take half a minute.
    """
    from quailwright.exchange.feed_requested import feed_requested
    from quailwright.exchange.ration_shape import ration_shape
    from quailwright.exchange.ration_told import ration_asked, ration_of

    asked = ration_asked(say("The brief"), feed_requested(body), home.flock())
    return Told(ration_shape(asked, ration_of(asked)))


@router.post("/blend", responses=says("BlendShape", "Refusal"), openapi_extra=takes("FeedRequest"))
def blend(home: AtHome, who: Logger, body: OwnBody) -> Response:
    """Bought feeds blended to a target, as `blend --json` of today. It writes nothing."""
    from quailwright.exchange.blend_told import blend_of, blend_shape
    from quailwright.exchange.feed_requested import feed_requested

    flock = home.flock()
    brief = feed_requested(body)
    return Told(blend_shape(blend_of(say("The brief"), brief, flock, day_at(flock, home.now()))))


@router.post("/plan", responses=says("PlanShape", "Refusal"), openapi_extra=takes("PlanRequest"))
def plan(home: AtHome, who: Logger, body: OwnBody) -> Response:
    """A plan for a brief, as `plan --json`, when it is made: it may take a minute.

    `plan` in the answer names it for `/api/plan/accept`. One is made at a time: 409 while another
    is.
    """
    from quailwright.exchange.plan_told import plan_requested
    from quailwright.web.plan import begin

    try:
        job = begin(home, who, plan_requested(body))
    except Busy:
        raise HTTPException(
            HTTPStatus.CONFLICT, say("Another plan is being made. Wait for it.")
        ) from None
    job.wait()
    if job.refused is not None:
        raise job.refused
    return Told({**job.made.shape, "plan": job.id})


@router.post(
    "/plan/accept", responses=says("Written", "Refusal"), openapi_extra=takes("PlanAcceptance")
)
def accept_plan(home: AtHome, who: Keeper, body: OwnBody) -> Response:
    """Takes on a plan that was made: its entries go into the journal. A repeat changes nothing."""
    from quailwright.exchange.plan_told import acceptance_requested
    from quailwright.web.plan import take_on

    asked = acceptance_requested(body)
    job = home.planner.job(asked.plan)
    if job is None or job.made is None:
        raise BadInput(say("No plan of that name is kept. Make it again, then accept it."))
    written = take_on(home, who, job, asked.choice or next(iter(job.made.answers)))
    return Told({"written": written, "already": 0 if written else 1})
