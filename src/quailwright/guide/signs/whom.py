"""Whom to ring, by the names and numbers that the keeper entered."""

from quailwright.flock.state import Flock
from quailwright.language import say


def whom_to_ring(flock: Flock) -> str:
    """The vets and animal-health lines that the keeper entered, or those words alone."""
    known = [
        say("{name} ({phone})", name=one.contact, phone=one.phone)
        for one in flock.contacts.values()
        if one.role in ("vet", "animal_health") and one.phone
    ]
    if not known:
        return say("a vet or the animal-health line")
    named = known[0]
    for further in known[1:]:
        named = say("{first} or {further}", first=named, further=further)
    return named
