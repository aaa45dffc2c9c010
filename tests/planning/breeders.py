"""A flock with families: ringed parents, a hatch of ringed chicks, weights and eggs."""

from collections.abc import Iterator
from datetime import date, timedelta

import numpy as np
from tests.makers import made

from quailwright.journal.entries import Entry

HATCHED = date(2027, 3, 1)
ON = HATCHED + timedelta(days=75)


def breeders(
    seed: int = 4, chicks: int = 8, sires: int = 3, weigh: bool = True, ring: bool = True
) -> Iterator[Entry]:
    """Cocks `s0`.., each with three hens in a pen of his own, and `chicks` of each hen.

    Weights go by a model with heritability 0.4, so that the best are known: the true breeding
    value of each chick stands in its ring's note.
    """
    rng = np.random.default_rng(seed)
    yield made("holding", "2026-11-01", timezone="UTC", name="Home")
    for n in range(sires):
        yield made("place", "2026-11-01", place=f"pen {n}", role="pen")
        yield made(
            "group", "2026-11-01", group=f"family {n}", place=f"pen {n}", hens=3, cocks=1,
            hatched_on="2026-08-01",
        )  # fmt: skip
        yield made("bird", "2026-11-01", bird=f"s{n}", sex="cock", group=f"family {n}")
        for k in range(3):
            yield made("bird", "2026-11-01", bird=f"d{n}{k}", sex="hen", group=f"family {n}")
    yield made("place", "2026-11-01", place="box", role="incubator", capacity_eggs=200)
    yield made("place", "2026-11-01", place="yard", role="pen")
    set_on = HATCHED - timedelta(days=17)
    for n in range(sires):
        yield made(
            "eggs_set", f"{set_on}T20:00:00Z", hatch="march", eggs=3 * chicks, place="box",
            group=f"family {n}",
        )  # fmt: skip
    total = 3 * sires * chicks
    yield made("chicks_hatched", f"{HATCHED}T12:00:00Z", hatch="march", chicks=total)
    yield made("hatch_closed", f"{HATCHED}T13:00:00Z", hatch="march")
    yield made("group", str(HATCHED), group="young", place="yard", hatch="march", chicks=total)
    weighed = HATCHED + timedelta(days=28)
    yield made("birds_sexed", str(weighed), group="young", hens=total // 2, cocks=total // 2)
    if not ring:
        return
    of_sires, of_dams = rng.normal(0, 12, sires), rng.normal(0, 12, (sires, 3))
    for n in range(sires):
        for k in range(3):
            for c in range(chicks):
                value = (of_sires[n] + of_dams[n, k]) / 2 + rng.normal(0, 9)
                name, sex = f"c{n}{k}{c}", "cock" if c % 2 else "hen"
                yield made(
                    "bird", str(weighed), bird=name, sex=sex, group="young", hatch="march",
                    sire=f"s{n}", dam=f"d{n}{k}", note=f"{value:.2f}",
                )  # fmt: skip
                if weigh:
                    mass = 150 + 5 * (sex == "hen") + value + rng.normal(0, 14)
                    yield made(
                        "bird_weighed", str(weighed), bird=name, mass_g=round(float(mass), 1)
                    )
    tested = ON - timedelta(days=2)
    for n in range(sires):
        for k in range(3):
            eggs = int(rng.binomial(5, 0.85))
            yield made(
                "hen_laid", str(tested), bird=f"d{n}{k}", eggs=eggs, days=5,
                total_g=round(eggs * float(rng.normal(11, 0.8)), 1),
            )  # fmt: skip
