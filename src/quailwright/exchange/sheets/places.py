"""Cards to hang at places: name, what is there, and a code that opens the place's page."""

from quailwright.exchange.paper import Card, CardGroup, CardHatch, place_cards
from quailwright.exchange.sheets.press import Press, in_address, pdf
from quailwright.exchange.sheets.round import no_use
from quailwright.guide import wording
from quailwright.journal.findings import BadInput
from quailwright.language import say, say_many


def places_pdf(press: Press) -> bytes:
    """A card for every place in use. Raises BadInput where none is described."""
    cards = place_cards(press.flock, press.on)
    if not cards:
        raise BadInput(
            say("No places are described yet: log a place, as in quailwright log place place=pen.")
        )
    shown = [_card(press, card) for card in cards]
    return pdf(press, "places", say("Place cards"), {"cards": shown})


def _card(press: Press, card: Card) -> dict[str, object]:
    place = card.place
    lines = [_group(press, group) for group in card.groups]
    lines += [_hatch(hatch) for hatch in card.hatches]
    loud = [no_use(held, press.on) for held in card.held]
    if place.quarantined_until is not None:
        day = wording.when(place.quarantined_until, press.on)
        loud.append(say("Quarantine up to and on {day}: nothing moves out.", day=day))
    path = f"/places/{in_address(place.place)}"
    return {
        "name": place.place,
        "lines": lines or [{"name": "", "says": [say("empty")]}],
        "loud": loud,
        "code": press.code(path, say("Opens {place}", place=place.place)),
    }


def _group(press: Press, group: CardGroup) -> dict[str, object]:
    stands = group.standing
    bits = []
    if stands.hens:
        bits.append(say_many("{n} hen", "{n} hens", stands.hens))
    if stands.cocks:
        bits.append(say_many("{n} cock", "{n} cocks", stands.cocks))
    if stands.chicks:
        bits.append(say("{n} not sexed", n=stands.chicks))
    if group.hatched_on is not None:
        bits.append(say("hatched {day}", day=wording.when(group.hatched_on, press.on)))
    return {"name": stands.group, "says": [" · ".join(bits)]}


def _hatch(hatch: CardHatch) -> dict[str, object]:
    bits = [
        say_many("{n} egg", "{n} eggs", hatch.eggs),
        say("set {day}", day=wording.clock(hatch.set_at)),
    ]
    return {
        "name": hatch.hatch,
        "says": [
            " · ".join(bits),
            say("stop turning {day}", day=wording.clock(hatch.stop_turning)),
            say("first chicks about {day}", day=wording.clock(hatch.first_chick)),
        ],
    }
