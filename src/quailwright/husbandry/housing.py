"""Room for birds: what each standard asks, and how many birds a floor has room for."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal, get_args

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK, week_of_life
from quailwright.language import mark

StandardKey = Literal["default", "wire", "solid", "trade", "laboratory", "swiss", "austrian"]
"""Standards of room that a keeper may keep to: those of which a figure for the floor is known."""
HeightClass = Literal["low", "between", "high"]
Birds = Iterable[tuple[float | None, int]]
"""Birds by age [d] from hatch; None for birds of unknown age, which are taken as grown."""

_ADULT_FROM_D = 365
_TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Standard:
    """A standard of room.

    Attributes:
        key: what the journal calls it.
        name: in words, to be said.
        asks: what it asks for besides floor and height, to be said.
    """

    key: str
    name: str
    asks: tuple[str, ...]

    @property
    def has_floor(self) -> bool:
        """Whether a figure for the floor of a grown bird is known of it."""
        return self.key in get_args(StandardKey)


STANDARDS: Final = {
    one.key: one
    for one in (
        Standard(
            "trade",
            mark("trade cages, an economic bound"),
            (mark("Bare cages on wire. What pays, not what birds want."),),
        ),
        Standard(
            "austrian",
            mark("Austrian rule for farms"),
            (
                mark("No cages."),
                mark("A dust bath, shelter, something to peck at, and a quiet place to lay."),
            ),
        ),
        Standard("wire", mark("hobby, on wire"), (mark("A solid place to rest on."),)),
        Standard(
            "swiss",
            mark("Swiss rule"),
            (
                mark("Two birds at least, never one alone."),
                mark("A dust bath, a place to hide, and a quiet place to lay."),
            ),
        ),
        Standard(
            "default",
            mark("quailwright's own default"),
            (mark("A dust bath, cover, and a solid dry place to rest on."),),
        ),
        Standard("solid", mark("hobby, on solid floor"), (mark("Dry litter, and a dust bath."),)),
        Standard(
            "laboratory",
            mark("European rule for laboratory birds"),
            (mark("Litter on solid floor, a dust bath, and cover."),),
        ),
        Standard(
            "advice",
            mark("advice of the European Food Safety Authority, 2023"),
            (
                mark("No cages: more room, and a height that lets people in and birds fly up."),
                mark("Litter, a dust bath, nests and cover. Only its plain-language summary was "
                     "read, which gives no figure for the floor."),
            ),
        ),
    )
}  # fmt: skip
"""Every standard that is shown, the least floor for a grown bird first, by its key."""

_WEEKS = ((1, "floor_week_1"), (3, "floor_week_2_3"), (6, "floor_week_4_6"))
AGE_CLASSES_D: Final = tuple(week * DAYS_A_WEEK for week, _ in _WEEKS)
"""Age [d] at which each class of growing birds ends; after the last they count as grown."""


def floor_m2_per_bird(age_d: float) -> facts.Figure:
    """Floor area that a bird of this age needs, with its source; see `facts.rows` for the others.

    Args:
        age_d: age [d] from hatch, 0 or more.

    Returns:
        The default figure [m²]. Sources disagree two- to threefold for chicks and tenfold for
        adults; ``housing.floor_m2_adult_minimum`` is the least.

    Raises:
        ValueError: age below 0.

    Source: as each row says. Certainty: inferred, between cage trials and welfare advice.
    """
    week = week_of_life(age_d)
    if week == 1:
        return facts.figure("brooding.floor_week_1")
    if week <= 3:
        return facts.figure("brooding.floor_week_2_3")
    if week <= 6:
        return facts.figure("brooding.floor_week_4_6")
    return facts.figure("housing.floor_m2_adult")


def floor_by_standard(age_d: float, standard: str) -> facts.Figure:
    """Floor that a standard asks for a bird of this age, the first birds and the whole pen apart.

    Args:
        age_d: age [d] from hatch, 0 or more.
        standard: one of `StandardKey`.

    Returns:
        The figure [m²]; that of quailwright's own default where the standard has none for birds
        so young.

    Raises:
        ValueError: age below 0.
        facts.UnknownFigure: no such standard.

    Source and certainty: as each row of ``facts/standards.csv`` says.
    """
    week = week_of_life(age_d)
    name = next((key for last, key in _WEEKS if week <= last), "floor_adult")
    own = f"standards.{standard}_{name}"
    if name == "floor_adult" or own in facts.keys("standards"):
        return facts.figure(own)
    return facts.figure(f"standards.default_{name}")


def floor_to_plan_m2(age_d: float, standard: str | None) -> float:
    """Floor to reckon with for one more bird of this age [m²], the first birds of a pen aside.

    Args:
        age_d: age [d] from hatch, 0 or more.
        standard: one of `StandardKey`, never below the least; None for quailwright's own default.

    Raises:
        ValueError: age below 0.
        facts.UnknownFigure: no such standard.
    """
    if standard is None:
        return floor_m2_per_bird(age_d).value or 0.0
    return max(floor_by_standard(age_d, standard).value or 0.0, least_m2([(age_d, 1)]))


def least_m2(birds: Birds) -> float:
    """The least floor that quailwright lets pass for these birds [m²], whatever the standard.

    Grown birds by ``housing.floor_m2_adult_minimum``, younger ones by `floor_m2_per_bird`.

    Raises:
        ValueError: an age below 0.
    """
    needed = 0.0
    for age_d, number in birds:
        figure = floor_m2_per_bird(_ADULT_FROM_D if age_d is None else age_d)
        if figure.key == "housing.floor_m2_adult":
            figure = facts.figure("housing.floor_m2_adult_minimum")
        needed += (figure.value or 0.0) * number
    return needed


def asked_m2(birds: Birds, standard: str) -> float:
    """The floor that a standard asks for these birds together in one pen [m²].

    Args:
        birds: as `Birds`.
        standard: one of `StandardKey`.

    Returns:
        Floor [m²]. The first grown birds, further ones and the least pen count as the standard
        has them; birds still growing add their own floor.

    Raises:
        ValueError: an age below 0.
        facts.UnknownFigure: no such standard.

    Source and certainty: as each row of ``facts/standards.csv`` says.
    """
    grown, young_m2 = 0, 0.0
    for age_d, number in birds:
        figure = floor_by_standard(_ADULT_FROM_D if age_d is None else age_d, standard)
        if figure.key.endswith("_floor_adult"):
            grown += number
        else:
            young_m2 += (figure.value or 0.0) * number
    if not grown:
        return young_m2
    each = facts.value(f"standards.{standard}_floor_adult")
    first = _or_none(standard, "first_birds")
    floor = grown * each
    if first:
        first_m2 = _or_none(standard, "first_floor")
        floor = first_m2 * min(grown, first) / first + max(0.0, grown - first) * each
    return max(_or_none(standard, "enclosure"), floor) + young_m2


def _or_none(standard: str, what: str) -> float:
    """A figure of a standard; 0 where it has none."""
    key = f"standards.{standard}_{what}"
    return facts.value(key) if key in facts.keys("standards") else 0.0


def needed_m2(birds: Birds, standard: str | None) -> float:
    """The floor that these birds need in one pen [m²]: by the standard, and never below the least.

    Args:
        birds: as `Birds`.
        standard: one of `StandardKey`, or None for the least alone.

    Raises:
        ValueError: an age below 0.
        facts.UnknownFigure: no such standard.
    """
    there = list(birds)
    least = least_m2(there)
    return least if standard is None else max(least, asked_m2(there, standard))


def further_birds(
    floor_m2: float,
    standard: str | None,
    there: Birds = (),
    age_d: float | None = None,
    bounded: bool = True,
) -> int:
    """How many birds of this age a pen has room for, besides those that are there.

    Args:
        floor_m2: floor of the pen [m²], 0 or more.
        standard: one of `StandardKey`, or None for the least that quailwright lets pass.
        there: as `Birds`.
        age_d: age of the further birds [d]; None for grown ones.
        bounded: whether the least holds too; False shows a standard as it is.

    Returns:
        Birds, 0 or more; 0 also where those that are there have too little already.

    Raises:
        ValueError: an age below 0.
        facts.UnknownFigure: no such standard.
    """
    before = list(there)

    def fits(number: int) -> bool:
        together = [*before, (age_d, number)]
        if standard is not None and not bounded:
            return asked_m2(together, standard) <= floor_m2 + _TINY
        return needed_m2(together, standard) <= floor_m2 + _TINY

    low, high = 0, 1
    if not fits(1):
        return 0
    while fits(high):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def height_class(height_m: float) -> HeightClass:
    """Whether a pen is low, tall, or of a height in which birds that fly up hurt their heads.

    Args:
        height_m: inside [m].

    Returns:
        "low" up to the highest of ``housing.height_low_m``, "high" from the least of
        ``housing.height_high_m``, else "between".

    Source: keepers, for both. Certainty: common practice, no source; Swiss and Austrian rules ask
    for 0.5 and 0.4 m at least, which is between.
    """
    low, high = facts.figure("housing.height_low_m").high, facts.figure("housing.height_high_m").low
    if low is not None and height_m <= low + _TINY:
        return "low"
    return "between" if high is not None and height_m < high else "high"


def height_asked(height_m: float, standard: str | None) -> bool:
    """Whether a pen between low and tall is as high as this standard itself asks for.

    Args:
        height_m: inside [m].
        standard: one of `StandardKey`, or None.

    Source: as each row of ``facts/standards.csv`` says.
    """
    asked = None if standard is None else _height(standard)
    if asked is None or asked.low is None or asked.value is None:
        return False
    return height_class(asked.value) == "between" and height_m >= asked.low - _TINY


def _height(standard: str) -> facts.Figure | None:
    """The height that a standard asks for, or None."""
    key = f"standards.{standard}_height"
    return facts.figure(key) if key in facts.keys("standards") else None
