"""A ration in words: for the terminal, the page and the JSON alike."""

from collections.abc import Iterator, Sequence

from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.husbandry import facts
from quailwright.husbandry.energy import intake_with_g_per_day
from quailwright.husbandry.nutrients import NUTRIENTS, amount_said
from quailwright.husbandry.requirements import BASE, beside
from quailwright.journal.findings import BadInput
from quailwright.language import figure, mark, say, say_many
from quailwright.planning.ration import Ration, answer
from quailwright.planning.ration_brief import RationAsked, read_ration
from quailwright.planning.ration_mix import Check, Choice, Demand, Need, Question, checks, holds
from quailwright.planning.ration_worth import NeedPrice, Worth

FROM_PAPER = ("published", "label", "laboratory")
"""How figures are known that somebody measured or answers for."""


def ration_asked(name: str, data: bytes, flock: Flock) -> RationAsked:
    """What a brief asks. Raises BadInput with every problem of it."""
    asked, findings = read_ration(data, flock)
    if asked is None:
        raise BadInput(say("{file} cannot be used as it is.", file=name), tuple(findings))
    return asked


def ration_of(asked: RationAsked) -> Ration:
    """The ration that was asked for."""
    return answer(asked.question)


def mixed(ration: Ration) -> list[tuple[Choice, float, float]]:
    """What is in the mix: each choice with its kilograms and its share (0 to 1), the most first."""
    if ration.mix is None:
        return []
    rows = zip(
        ration.question.choices,
        ration.kilograms.tolist(),
        ration.mix.shares.tolist(),
        strict=True,
    )
    return sorted((row for row in rows if row[2] > 1e-7), key=lambda row: -row[1])


def name_of(choice: Choice) -> str:
    """A choice by its name: the table's in the reader's language, else the keeper's own."""
    return say(choice.told)


def status_words(ration: Ration) -> str:
    """Whether every need is met, in a sentence."""
    question = ration.question
    if ration.status == "infeasible" and ration.feasible_on_mean:
        return say(
            "No: no mix of these ingredients meets every need with a chance of {certainty:.0%}. On "
            "the mean one does: ask with a lower certainty, or have the ingredients analysed.",
            certainty=question.certainty,
        )
    if ration.status == "infeasible":
        return say("No: no mix of these ingredients meets every need.")
    if question.z > 0:
        return say(
            "This mix meets every need that can be checked; protein and amino acids each with a "
            "chance of {certainty:.0%}, as lots of an ingredient differ.",
            certainty=question.certainty,
        )
    return say("This mix meets every need that can be checked, on the mean of its ingredients.")


def said(asked: RationAsked, ration: Ration) -> list[str]:
    """What is to be known of the answer, the weightiest first."""
    return [
        *_rests_on(asked, ration),
        say(
            "The safe base is a balanced feed bought for quail or game birds of this age: mix your "
            "own only when you can weigh, mix and check it well."
        ),
        *_not_covered(asked, ration),
        *asked.doubts,
        *_costs(ration),
        *_eaten(ration),
    ]


def _rests_on(asked: RationAsked, ration: Ration) -> Iterator[str]:
    used = [choice for choice, _, _ in mixed(ration)] or list(asked.question.choices)
    doubtful = [choice for choice in used if choice.certainty not in FROM_PAPER]
    needs = [need for need in asked.question.needs if need.least_from is not None]
    remembered = [
        need
        for need in needs
        if need.least_from is not None and need.least_from.certainty != "published"
    ]
    if doubtful:
        yield say(
            "This rests on figures that were not read again but kept from memory or inferred: for "
            "{ingredients} of {all_ingredients} ingredients and {needs} of {all_needs} needs. Put "
            "the figures of labels or a laboratory into the brief first (contains).",
            ingredients=len(doubtful),
            all_ingredients=len(used),
            needs=len(remembered),
            all_needs=len(needs),
        )
    elif remembered:
        yield say(
            "{needs} of {all_needs} needs are from memory of a published table, not read again.",
            needs=len(remembered),
            all_needs=len(needs),
        )


def _not_covered(asked: RationAsked, ration: Ration) -> Iterator[str]:
    vitamins = [c for c in asked.unchecked if NUTRIENTS[c].kind in ("vitamin", "mineral")]
    others = [c for c in asked.unchecked if c not in vitamins]
    if vitamins:
        if any(choice.category == "premix" for choice, _, _ in mixed(ration)):
            yield say(
                "Not checked: vitamins and trace minerals. They are what the premix's label says: "
                "keep to its dose and its date."
            )
        else:
            yield say(
                "Not checked: vitamins and trace minerals, and no premix is in the mix. Without "
                "one this is no complete feed."
            )
    if others:
        yield say(
            "Not checked, as the ingredients do not tell it: {nutrients}.",
            nutrients=", ".join(say(NUTRIENTS[code].name) for code in others),
        )
    yield say(
        "Not covered: moulds and their poisons, the size of the grain (fine for chicks), how well "
        "it is mixed, and how long it keeps. Never feed what is mouldy, nor thin it with good feed."
    )
    for name, codes in asked.untold.items():
        yield say(
            "{ingredient} does not tell {nutrients}: it counts as holding none.",
            ingredient=name,
            nutrients=", ".join(say(NUTRIENTS[code].name) for code in codes),
        )


def _costs(ration: Ration) -> Iterator[str]:
    question = ration.question
    rounding, margin = ration.rounding_cost, ration.margin_cost
    if rounding is not None and ration.exact is not None:
        yield say(
            "Whole scoops cost {cost} a batch more than the exact mix ({share:.1%}).",
            cost=_money(rounding * question.batch_kg, question),
            share=rounding / ration.exact.cost if ration.exact.cost > 0 else 0.0,
        )
    if ration.status == "met" and not ration.whole and _scooped(question):
        if ration.finer_kg is not None:
            yield say(
                "No whole scoops meet every need, so the exact mix is shown: weigh it, or take "
                "scoops of {scoop:g} kg and less in proportion.",
                scoop=ration.finer_kg,
            )
        else:
            yield say(
                "No whole scoops meet every need, nor finer ones: weigh out the exact mix shown."
            )
    if margin is not None and question.z > 0:
        yield say(
            "The margin for lots that differ costs {cost} a batch.",
            cost=_money(margin * question.batch_kg, question),
        )


def _scooped(question: Question) -> bool:
    return all(choice.scoop_kg > 0 for choice in question.choices)


def _eaten(ration: Ration) -> Iterator[str]:
    if ration.mix is None or ration.question.stage != "layer":
        return
    energy = holds(ration.question.choices, ration.mix.shares, "energy")
    if energy <= 0:
        return
    low, high = facts.spread("feeding.intake_adult_g_d")
    usual = intake_with_g_per_day(energy, facts.value("feeding.intake_adult_g_d"))
    yield say(
        "By its energy a hen in lay eats about {grams:.0f} g of it a day; trials measured "
        "{low:.0f} to {high:.0f} g of their feeds.",
        grams=usual,
        low=low,
        high=high,
    )


def _money(amount: float, question: Question) -> str:
    return wording.money(amount, question.currency)


def price_said(one: NeedPrice, question: Question) -> str:
    """`Another 0.1 % methionine would cost 0.10 EUR a batch.`"""
    nutrient = NUTRIENTS[one.need.nutrient]
    more = {"amount": f"{figure(one.step, 'g')} {nutrient.unit}", "nutrient": say(nutrient.name)}
    if one.step_cost is None:
        return say("Another {amount} of {nutrient} cannot be had from these.", **more)
    worth = abs(one.step_cost) * question.batch_kg
    if one.what == "least" and round(worth, 2) == 0:
        return say("Another {amount} of {nutrient} would cost next to nothing.", **more)
    cost = _money(worth, question)
    if one.what == "least":
        return say("Another {amount} of {nutrient} would cost {cost} a batch.", **more, cost=cost)
    return say(
        "If {amount} more of {nutrient} were allowed, a batch would cost {cost} less.",
        **more,
        cost=cost,
    )


def worth_said(one: Worth, question: Question) -> str:
    """`Peas are worth buying below 0.33 EUR a kg.`"""
    name = name_of(one.choice)
    price = wording.money(max(0.0, one.below), question.currency)
    if one.why == "unused":
        if one.below <= 0:
            return say("{ingredient} would not help at any price.", ingredient=name)
        return say("{ingredient} is worth buying below {price} a kg.", ingredient=name, price=price)
    if one.why == "stock":
        return say(
            "Each further kg of {ingredient} would be worth up to {price}.",
            ingredient=name,
            price=price,
        )
    return say(
        "{ingredient} stands at its limit; each kg beyond it would be worth {price}.",
        ingredient=name,
        price=price,
    )


def need_said(need: Need) -> str:
    """`methionine at least 0.45 %`."""
    name = say(NUTRIENTS[need.nutrient].name)
    if need.least is None:
        assert need.most is not None
        return say(
            "{nutrient} at most {amount}",
            nutrient=name,
            amount=amount_said(need.nutrient, need.most),
        )
    return say(
        "{nutrient} at least {amount}", nutrient=name, amount=amount_said(need.nutrient, need.least)
    )


def demand_said(demand: Demand, question: Question) -> str:
    """One thing that the mix must keep to, without a full stop."""
    if demand.what in ("least", "most"):
        need = question.needs[demand.number]
        only = (
            Need(need.nutrient, need.least)
            if demand.what == "least"
            else Need(need.nutrient, most=need.most)
        )
        return need_said(only)
    choice = question.choices[demand.number]
    name = name_of(choice)
    if demand.what == "limit":
        return say(
            "no more than {share:.1%} of {ingredient}",
            share=min(choice.limit, choice.most),
            ingredient=name,
        )
    if demand.what == "stock":
        return say(
            "only {kg:g} kg of {ingredient} there", kg=choice.stock_kg or 0.0, ingredient=name
        )
    return say("at least {share:.1%} of {ingredient}", share=choice.least, ingredient=name)


def clash_said(clash: Sequence[Demand], question: Question) -> str:
    """Why there is no mix: demands that cannot all be kept."""
    needs = [question.needs[d.number] for d in clash if d.what in ("least", "most")]
    if len(clash) == 1 and needs:
        return say(
            "No mix of these ingredients reaches this: {demand}.",
            demand=demand_said(clash[0], question),
        )
    if not needs and all(one.what != "share" for one in clash):
        return say(
            "Limits and stock leave no room for a batch: {demands}.",
            demands="; ".join(demand_said(one, question) for one in clash),
        )
    return say(
        "These cannot all be kept, though all but any one of them can: {demands}.",
        demands="; ".join(demand_said(one, question) for one in clash),
    )


def short_said(ration: Ration) -> list[str]:
    """Where the nearest mix falls short."""
    if ration.status == "met" or ration.mix is None:
        return []
    return [_short(check) for check in checks(ration.question, ration.mix.shares) if not check.met]


def _short(check: Check) -> str:
    code = check.need.nutrient
    bound = check.least if check.least is not None and check.surely < check.least else check.most
    assert bound is not None
    return say(
        "{nutrient}: {holds} where {bound} is asked.",
        nutrient=say(NUTRIENTS[code].name),
        holds=amount_said(code, check.surely if bound == check.least else check.holds),
        bound=amount_said(code, bound),
    )


def others_said(need: Need, question: Question) -> str:
    """What others than the base table found that birds of this stage need: `2.50 to 3.80 %`."""
    rows = [row for row in beside(need.nutrient, question.stage) if row.amino_acids != "digestible"]
    numbers = [n for row in rows for n in (row.least, row.low, row.high) if n is not None]
    if not numbers:
        return ""
    low, high = (amount_said(need.nutrient, n) for n in (min(numbers), max(numbers)))
    return low if low == high else say("{low} to {high}", low=low, high=high)


def source_said(need: Need) -> str:
    """Where a need is from: `NRC 1994, from memory`."""
    if need.least_from is None and need.most_from is None:
        return say("as you ask")
    row = need.least_from or need.most_from
    assert row is not None
    if row.use == "base":
        return say("{table}, {certainty}", table=BASE, certainty=say(_SURE[row.certainty]))
    return say(_SURE[row.certainty])


_SURE = {
    "published": mark("published"),
    "from memory": mark("from memory"),
    "inferred": mark("inferred"),
    "common practice, no source": mark("common practice, no source"),
    "label": mark("label"),
    "laboratory": mark("laboratory"),
}
_SURE_WITH_OWN = {
    "published": mark("published, with your own figures"),
    "from memory": mark("from memory, with your own figures"),
    "inferred": mark("inferred, with your own figures"),
}


def sure_said(choice: Choice) -> str:
    """How well an ingredient's figures are known."""
    word = choice.certainty.removesuffix(", with your own figures")
    return say(_SURE[word] if word == choice.certainty else _SURE_WITH_OWN[word])


def cautions(ration: Ration) -> list[tuple[str, str]]:
    """The caution of each ingredient of the mix, by its name."""
    return [
        (name_of(choice), say(choice.caution)) for choice, _, _ in mixed(ration) if choice.caution
    ]


def heading(ration: Ration) -> str:
    """`Layer ration, 20 kg: 8.75 EUR`."""
    question = ration.question
    title = say(_TITLES[question.stage])
    cost = "" if ration.mix is None else _money(ration.mix.cost * question.batch_kg, question)
    if ration.mix is None:
        return say("{title}, {kg:g} kg", title=title, kg=question.batch_kg)
    return say("{title}, {kg:g} kg: {cost}", title=title, kg=question.batch_kg, cost=cost)


_TITLES = {
    "starter": mark("Starter ration"),
    "grower": mark("Grower ration"),
    "layer": mark("Layer ration"),
}


_GRAM_SCALE_KG = 0.01
"""Measures below this are read off a scale, not scooped."""


def scoops_said(choice: Choice, kilograms: float) -> str:
    """`26 scoops`, or `66 g` of what is weighed on a gram scale."""
    if choice.scoop_kg < _GRAM_SCALE_KG:
        return say("{grams:.0f} g", grams=1000 * kilograms)
    return say_many("{n} scoop", "{n} scoops", round(kilograms / choice.scoop_kg))
