"""The JSON API of breeding: kinship and lines, matings, whom to keep, colours."""

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from quailwright.guide.round import day_at
from quailwright.web.api import On, Told, as_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.openapi import says

router = APIRouter(prefix="/api/breeding", default_response_class=Response)


@router.get("/cross", responses=says("CrossShape", "Refusal"))
def breeding_cross(
    home: AtHome,
    who: Reader,
    on: On = None,
    cock: Annotated[str, Query(description="Its ring, colour or genes.", max_length=200)] = "",
    hen: Annotated[str, Query(description="Her ring, colour or genes.", max_length=200)] = "",
    carriers: Annotated[str, Query(description="Share that hides something.")] = "",
    recombination: Annotated[str, Query(description="Between AL and BR, in cocks.")] = "",
) -> Response:
    """Odds of a cross, as `breeding cross --json`."""
    from quailwright.exchange.cross_parents import asked
    from quailwright.exchange.cross_shape import cross_shape
    from quailwright.exchange.cross_told import cross_told

    typed = {"cock": cock, "hen": hen, "carriers": carriers, "recombination": recombination}
    return Told(cross_shape(cross_told(as_of(home, on)[0], asked(typed))))


@router.get("/hidden", responses=says("HiddenShape", "Refusal"))
def breeding_hidden(
    home: AtHome,
    who: Reader,
    on: On = None,
    cock: Annotated[str, Query(description="Its ring, colour or genes.", max_length=200)] = "",
    hen: Annotated[str, Query(description="Her ring, colour or genes.", max_length=200)] = "",
    count: Annotated[
        list[str] | None, Query(max_length=40, description="Chicks by colour: silver=5.")
    ] = None,
    carriers: Annotated[str, Query(description="Share that hides something.")] = "",
    recombination: Annotated[str, Query(description="Between AL and BR, in cocks.")] = "",
) -> Response:
    """What parents hide, as `breeding hidden --json`."""
    from quailwright.exchange.cross_parents import asked
    from quailwright.exchange.cross_shape import hidden_shape
    from quailwright.exchange.hidden_told import counts_of, hidden_told

    typed = {"cock": cock, "hen": hen, "carriers": carriers, "recombination": recombination}
    told = hidden_told(as_of(home, on)[0], asked(typed), counts_of(count or []))
    return Told(hidden_shape(told))


@router.get("/colours", responses=says("ColoursShape", "Refusal"))
def breeding_colours(home: AtHome, who: Reader, on: On = None) -> Response:
    """The table of colours, as `breeding colours --json`."""
    from quailwright.exchange.colours_told import colours_told
    from quailwright.exchange.cross_shape import colours_shape
    from quailwright.exchange.cross_told import sexable

    return Told(colours_shape(colours_told(), sexable(as_of(home, on)[0])))


@router.get("/keep", responses=says("KeepShape", "Refusal"))
def breeding_keep(
    home: AtHome,
    who: Reader,
    on: On = None,
    of: Annotated[
        str, Query(alias="from", description="Only of this hatch; all when left out.")
    ] = "",
    cocks: Annotated[str, Query(description="Cocks to keep.")] = "",
    hens: Annotated[str, Query(description="Hens to keep.")] = "",
    weight: Annotated[str, Query(description="How much weight counts, 0 to 10.")] = "",
    eggs: Annotated[str, Query(description="How much the number of eggs counts.")] = "",
    egg_weight: Annotated[str, Query(description="How much the weight of eggs counts.")] = "",
) -> Response:
    """Whom to keep for breeding, as `breeding keep --json`."""
    from quailwright.exchange.keep_page import asked, keep_page
    from quailwright.exchange.keep_shape import keep_shape

    flock, moment = as_of(home, on)
    typed = {
        "from": of, "cocks": cocks, "hens": hens, "weight": weight, "eggs": eggs,
        "egg_weight": egg_weight,
    }  # fmt: skip
    return Told(keep_shape(*keep_page(flock, day_at(flock, moment), asked(typed))))


@router.get("/gain", responses=says("GainShape", "Refusal"))
def breeding_gain(
    home: AtHome,
    who: Reader,
    on: On = None,
    by: Annotated[str, Query(description="weight, eggs or egg_weight.")] = "",
    cocks: Annotated[str, Query(description="Cocks kept each generation.")] = "",
    of_cocks: Annotated[str, Query(description="Cocks to choose from.")] = "",
    hens: Annotated[str, Query(description="Hens kept each generation.")] = "",
    of_hens: Annotated[str, Query(description="Hens to choose from.")] = "",
    generations: Annotated[str, Query(description="1 to 10; 5 when left out.")] = "",
    seed: Annotated[str, Query(description="Of the chance; 1 when left out.")] = "",
) -> Response:
    """What choosing brings over generations, as `breeding gain --json`."""
    from quailwright.exchange.gain_page import gain_asked, gain_page
    from quailwright.exchange.keep_shape import gain_shape

    flock, moment = as_of(home, on)
    typed = {
        "by": by, "cocks": cocks, "of_cocks": of_cocks, "hens": hens, "of_hens": of_hens,
        "generations": generations, "seed": seed,
    }  # fmt: skip
    return Told(gain_shape(*gain_page(flock, day_at(flock, moment), gain_asked(typed))))


@router.get("/matings", responses=says("MatingsShape", "Refusal"))
def breeding_matings(
    home: AtHome,
    who: Reader,
    on: On = None,
    pens: Annotated[str, Query(description="Pens to fill, one cock each.")] = "",
    hens_per_cock: Annotated[str, Query(description="The most.")] = "",
    cocks: Annotated[str, Query(description="To mate.")] = "",
    hens: Annotated[str, Query(description="To mate.")] = "",
    together: Annotated[str, Query(description="Pairs that must be, as Rex=Ada;Max=Bea.")] = "",
    apart: Annotated[str, Query(description="Pairs that must not be.")] = "",
    leave_out: Annotated[str, Query(description="Birds not to be mated, with ; between.")] = "",
    most: Annotated[str, Query(description="Inbreeding from which no pair is made.")] = "",
    values: Annotated[str, Query(description="Breeding values, as Ada=12.5;Rex=8.")] = "",
    gain: Annotated[str, Query(description="Wanted, in the unit of the values.")] = "",
    by: Annotated[str, Query(description="Of the record: weight, eggs or egg_weight.")] = "",
) -> Response:
    """Who goes with whom, as `breeding matings --json`."""
    from quailwright.exchange.matings_page import asked, matings_page
    from quailwright.exchange.matings_shape import matings_shape

    flock, moment = as_of(home, on)
    typed = {
        "pens": pens, "hens_per_cock": hens_per_cock, "cocks": cocks, "hens": hens,
        "together": together, "apart": apart, "leave_out": leave_out, "most": most,
        "values": values, "gain": gain, "by": by,
    }  # fmt: skip
    return Told(matings_shape(*matings_page(flock, day_at(flock, moment), asked(typed))))


@router.get("/rotation", responses=says("RotationShape", "Refusal"))
def breeding_rotation(
    home: AtHome,
    who: Reader,
    on: On = None,
    pens: Annotated[str, Query(description="Of one cock each, 2 or more.")] = "",
    hens_per_cock: Annotated[str, Query(description="The most.")] = "",
    scheme: Annotated[str, Query(description="circular or cyclic.")] = "",
    generations: Annotated[str, Query(description="How far ahead; 10 when left out.")] = "",
    generation_weeks: Annotated[str, Query(description="From one to the next.")] = "",
    new_cocks: Annotated[str, Query(description="From outside, at a time.")] = "",
    every: Annotated[str, Query(description="Generations between new cocks.")] = "",
    eggs_set: Annotated[str, Query(description="In a generation; 100 when left out.")] = "",
    cock_price: Annotated[str, Query(description="What a new cock costs.")] = "",
    chick_price: Annotated[str, Query(description="What a chick is worth.")] = "",
) -> Response:
    """Sons move on, daughters stay, as `breeding rotation --json`."""
    from quailwright.exchange.rotation_page import asked, rotation_page
    from quailwright.exchange.rotation_shape import rotation_shape

    flock, moment = as_of(home, on)
    typed = {
        "pens": pens, "hens_per_cock": hens_per_cock, "scheme": scheme,
        "generations": generations, "generation_weeks": generation_weeks, "new_cocks": new_cocks,
        "every": every, "eggs_set": eggs_set, "cock_price": cock_price, "chick_price": chick_price,
    }  # fmt: skip
    return Told(rotation_shape(*rotation_page(flock, day_at(flock, moment), asked(typed))))


@router.get("/inbreeding", responses=says("Inbreedings", "Refusal"))
def breeding_inbreeding(home: AtHome, who: Reader, on: On = None) -> Response:
    """How inbred each ringed bird is, as `breeding inbreeding --json`."""
    from quailwright.exchange.lines_page import inbred_rows
    from quailwright.exchange.lines_shape import inbreeding_shape

    return Told(inbreeding_shape(inbred_rows(as_of(home, on)[0])))


@router.get("/kinship", responses=says("Kinships", "Refusal"))
def breeding_kinship(
    home: AtHome,
    who: Reader,
    on: On = None,
    bird: Annotated[
        list[str] | None, Query(description="A ring: of one its kin, of several all pairs.")
    ] = None,
) -> Response:
    """How related ringed birds are, as `breeding kinship --json`."""
    from quailwright.exchange.lines_shape import kinship_shape
    from quailwright.flock.breeding import kinships

    return Told(kinship_shape(kinships(as_of(home, on)[0], bird or [])))


@router.get("/lines", responses=says("LinesShape", "Refusal"))
def breeding_lines(home: AtHome, who: Reader, on: On = None) -> Response:
    """Who breeds and what that brings, as `breeding lines --json`."""
    from quailwright.exchange.lines_page import lines_page
    from quailwright.exchange.lines_shape import lines_shape

    flock, moment = as_of(home, on)
    return Told(lines_shape(*lines_page(flock, day_at(flock, moment))))


@router.get("/family", responses=says("FamilyShape", "Refusal"))
def breeding_family(
    home: AtHome, who: Reader, bird: Annotated[str, Query(description="Its ring.")], on: On = None
) -> Response:
    """A bird and its family, as `breeding family BIRD --json`."""
    from quailwright.exchange.family_page import family
    from quailwright.exchange.lines_shape import family_shape

    flock, moment = as_of(home, on)
    return Told(family_shape(family(flock, bird, day_at(flock, moment))))
