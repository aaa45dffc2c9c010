"""Blends of bought feeds: worked Pearson squares, those printed wrong too, and what birds stand."""

from datetime import date

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from tests.makers import made

from quailwright.exchange.blend_told import said
from quailwright.flock.fold import fold
from quailwright.husbandry.feeding import Stage
from quailwright.husbandry.ingredients import is_medicine
from quailwright.planning.blend import Blend, BlendAsked, ShelfFeed, blended, square
from quailwright.planning.blend_brief import read_blend, stages_of

NOBODY = fold([], date(2027, 5, 2))
ON = date(2027, 5, 2)


def shelf(*protein: float) -> tuple[ShelfFeed, ...]:
    """Feeds by what protein they hold, each named by it."""
    return tuple(ShelfFeed(f"{held:g}", {"protein": held}) for held in protein)


def percent(blend: Blend) -> list[float]:
    """Of each feed."""
    return [100 * kg / blend.total_kg for kg in blend.kilograms.tolist()]


@pytest.mark.parametrize(
    ("low", "high", "target", "parts", "shares"),
    [
        # askfilo, Pearson square: maize 8, soya 44, target 20: parts 24 to 12, 66.7 and 33.3 %.
        (8, 44, 20, (24, 12), (66.6667, 33.3333)),
        # askfilo: maize 8.8, supplement 38, target 14: parts 24 to 5.2, 82.19 and 17.81 %.
        (8.8, 38, 14, (24, 5.2), (82.1918, 17.8082)),
        # Praxis, agriculture, practice question: 8.9, 45.8, target 15: parts 30.8 to 6.1.
        (8.9, 45.8, 15, (30.8, 6.1), (83.4688, 16.5312)),
        # qammunity 18681112: beet pulp 8.19 and gluten meal 61.38 as fed, target 15: parts 46.38 to
        # 6.81. The page calls 87.2 % gluten meal; it is beet pulp.
        (8.19, 61.38, 15, (46.38, 6.81), (87.1968, 12.8032)),
    ],
)
def test_published_pearson_squares(
    low: float,
    high: float,
    target: float,
    parts: tuple[float, float],
    shares: tuple[float, float],
) -> None:
    found = blended(BlendAsked(shelf(low, high), {"protein": target}))
    assert found.status == "met"
    assert percent(found) == pytest.approx(shares, abs=5e-5)
    assert found.square is not None
    assert found.square.parts == pytest.approx(parts)


@pytest.mark.parametrize(
    ("low", "high", "target", "total", "amounts"),
    [
        # Chicago High School for Agricultural Sciences, worksheet (answers computed).
        (9, 44, 21, 500, (328.571, 171.429)),
        (3, 49, 28, 450, (205.435, 244.565)),
        (12, 46, 35, 900, (291.176, 608.824)),
        # qammunity 18890640 prints "1200 + 800" for 18 % of 2000 lb, which holds 23.1 %.
        (8.9, 44.4, 18, 2000, (1487.324, 512.676)),
    ],
)
def test_squares_of_a_whole(
    low: float, high: float, target: float, total: float, amounts: tuple[float, float]
) -> None:
    found = blended(BlendAsked(shelf(low, high), {"protein": target}, batch_kg=total))
    assert found.kilograms == pytest.approx(amounts, abs=5e-4)


def test_a_square_printed_wrong_is_off_its_target() -> None:
    """qammunity 18890640: 1200 maize of 8.9 % and 800 soya of 44.4 % hold 23.1 %, not 18 %."""
    asked = BlendAsked(shelf(8.9, 44.4), {"protein": 18.0}, batch_kg=2000)
    printed = Blend(asked, "met", np.array([1200.0, 800.0]), {}, {}, None, None)
    assert printed.holds("protein") == pytest.approx(23.1)
    assert blended(asked).holds("protein") == pytest.approx(18.0)


def test_square_with_a_fixed_part() -> None:
    """Feed Strategy, article on the Pearson square: 5 % of a supplement without protein, maize 9
    and soya 44 to 18 %: 68.0, 27.0 and 5.0 % (answer computed)."""
    feeds = (*shelf(9, 44), ShelfFeed("supplement", {"protein": 0.0}, share=0.05))
    found = blended(BlendAsked(feeds, {"protein": 18.0}))
    assert percent(found) == pytest.approx([68.0, 27.0, 5.0])
    assert found.square is None


@pytest.mark.parametrize(("base", "soya"), [(18, 4.545), (17, 5.682), (16, 6.818)])
def test_soya_to_add_to_a_bag(base: float, soya: float) -> None:
    """A quail-rearing text (actualizandocambios.blogspot) says that 4 to 4.5 kg of soya raise 25 kg
    of hen feed of 16 to 18 % to 22 %: that holds of the 18 % feed alone."""
    bag, added = shelf(base, 44)
    asked = BlendAsked(
        (ShelfFeed(bag.name, bag.contents, exactly_kg=25.0), added), {"protein": 22.0}, None
    )
    assert blended(asked).kilograms == pytest.approx([25.0, soya], abs=5e-4)


def test_the_square_and_the_programme_agree() -> None:
    """Two ways to one blend: parts of the square, and the least-cost programme."""
    found = blended(BlendAsked(shelf(8.5, 28), {"protein": 20.0}))
    assert found.square is not None
    first, second = found.square.parts
    assert percent(found) == pytest.approx(
        [100 * first / (first + second), 100 * second / (first + second)]
    )


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(5, 50), min_size=2, max_size=5),
    st.floats(0, 1),
    st.floats(0.5, 500),
    st.lists(st.floats(0.1, 3), min_size=5, max_size=5),
)
def test_a_target_between_the_feeds_is_reached(
    protein: list[float], part: float, batch: float, prices: list[float]
) -> None:
    low, high = min(protein), max(protein)
    assume(high - low > 0.5)
    target = low + part * (high - low)
    feeds = tuple(ShelfFeed(str(n), {"protein": held}, prices[n]) for n, held in enumerate(protein))
    found = blended(BlendAsked(feeds, {"protein": target}, batch))
    assert found.status == "met"
    assert found.total_kg == pytest.approx(batch)
    assert found.holds("protein") == pytest.approx(target, abs=1e-5)


@pytest.mark.parametrize(("target", "nearest"), [(50.0, 28.0), (5.0, 8.5)])
def test_a_target_out_of_reach_gives_the_nearest(target: float, nearest: float) -> None:
    found = blended(BlendAsked(shelf(8.5, 28), {"protein": target}))
    assert found.status == "infeasible"
    assert found.holds("protein") == pytest.approx(nearest)
    assert square(("a", 8.5), ("b", 28.0), target) is None


def test_more_feeds_take_the_cheapest_way() -> None:
    """Of three ways to 20 % the cheapest, counted out by hand: maize with starter 0.83 a kg, maize
    with soya 0.395."""
    feeds = (
        ShelfFeed("maize", {"protein": 8.0}, 0.30),
        ShelfFeed("starter", {"protein": 28.0}, 1.20),
        ShelfFeed("soya", {"protein": 44.0}, 0.60),
    )
    found = blended(BlendAsked(feeds, {"protein": 20.0}, 1.0))
    assert found.kilograms == pytest.approx([2 / 3, 0, 1 / 3])
    assert found.cost == pytest.approx(0.2 + 0.2)


def test_protein_and_calcium_together() -> None:
    feeds = (
        ShelfFeed("starter", {"protein": 28.0, "calcium": 1.1}, 1.2),
        ShelfFeed("layer", {"protein": 16.0, "calcium": 3.8}, 0.6),
        ShelfFeed("maize", {"protein": 8.5, "calcium": 0.02}, 0.3),
        ShelfFeed("limestone", {"protein": 0.0, "calcium": 38.0}, 0.2),
    )
    found = blended(BlendAsked(feeds, {"protein": 20.0, "calcium": 2.85}, 10.0))
    assert found.status == "met"
    assert found.holds("protein") == pytest.approx(20.0)
    assert found.holds("calcium") == pytest.approx(2.85)


# What birds stand.

STARTER = ShelfFeed("starter", {"protein": 24.0, "calcium": 1.1}, 1.0)
LAYER = ShelfFeed("layer", {"protein": 18.0, "calcium": 3.8}, 0.6, layer=True)


def test_layer_feed_is_kept_from_birds_not_in_lay() -> None:
    """More than 1.2 % calcium is for hens in lay alone (kidney damage in growing birds, Wideman
    1985)."""
    asked = BlendAsked((STARTER, LAYER), {"protein": 21.0}, birds=frozenset({"grower", "layer"}))
    found = blended(asked)
    assert found.status == "infeasible"
    assert found.holds("calcium") <= 1.2 + 1e-9
    hens = blended(BlendAsked((STARTER, LAYER), {"protein": 21.0}, birds=frozenset({"layer"})))
    assert hens.status == "met"
    assert hens.holds("calcium") == pytest.approx((1.1 + 3.8) / 2)


def test_oyster_shell_stands_beside_for_hens_and_never_for_chicks() -> None:
    maize = ShelfFeed("maize", {"protein": 8.5, "calcium": 0.02}, 0.3)
    feeds, target = (STARTER, maize), {"protein": 20.0}
    of_hens = blended(BlendAsked(feeds, target, birds=frozenset({"layer"})))
    assert of_hens.shell_g is not None
    # What lacks of 2.85 % in 23.24 g a day, of shell with 38 % calcium.
    lacking = 23.24 * (2.85 - of_hens.holds("calcium")) / 38
    assert of_hens.shell_g == pytest.approx(lacking)
    for birds in ({"starter"}, {"grower"}, {"starter", "layer"}, set()):
        assert blended(BlendAsked(feeds, target, birds=frozenset(birds))).shell_g is None  # type: ignore[arg-type]


def test_no_square_is_drawn_where_the_answer_is_no() -> None:
    """Its parts would hold 2.9 % calcium, where growers stand 1.2 % (Wideman 1985)."""
    crumbs = ShelfFeed("crumbs", {"protein": 28.0, "calcium": 1.1})
    pellets = ShelfFeed("pellets", {"protein": 16.0, "calcium": 3.8})
    asked = BlendAsked((pellets, crumbs), {"protein": 20.0}, birds=frozenset({"grower", "layer"}))
    found = blended(asked)
    assert (found.status, found.square) == ("infeasible", None)


def test_oyster_shell_is_not_mixed_in_for_birds_that_do_not_lay() -> None:
    """Not even in the nearest blend; shelled maize is no shell."""
    shell = ShelfFeed("oyster shell", {"protein": 0.0, "calcium": 38.0})
    soya = ShelfFeed("sbm48", {"protein": 48.5, "calcium": 0.27})
    maize = ShelfFeed("shelled corn", {"protein": 8.5, "calcium": 0.02})
    chicks: frozenset[Stage] = frozenset({"starter"})
    found = blended(BlendAsked((shell, soya), {"protein": 24.0}, birds=chicks))
    assert (found.left_out, found.square) == ({"oyster shell": "shell"}, None)
    assert found.kilograms[0] == 0
    assert blended(BlendAsked((maize, soya), {"protein": 24.0}, birds=chicks)).status == "met"


def test_no_shell_is_proposed_beside_unknown_calcium() -> None:
    pellets = ShelfFeed("hen pellets", {"protein": 16.0})
    asked = BlendAsked((pellets, STARTER), {"protein": 20.0}, birds=frozenset({"layer"}))
    found = blended(asked)
    assert (found.status, found.shell_g) == ("met", None)
    assert found.untold("calcium") == ["hen pellets"]
    assert any("How much calcium it holds is not known" in one for one in said(found))


def of_brief(birds: str, target: float, *feeds: str) -> Blend:
    """The blend of a brief of feeds, each the fields of its table."""
    text = f"birds = {birds}\n[target]\nprotein_pct = {target}\n"
    asked, findings = read_blend(
        (text + "".join(f"[[feed]]\n{one}\n" for one in feeds)).encode(), NOBODY, ON
    )
    assert findings == []
    assert asked is not None
    return blended(asked)


def test_no_blend_goes_past_what_birds_may_have_of_an_ingredient() -> None:
    """Salt at 0.4 % and limestone at 9 % (the table's limits) leave crumbs too rich; cottonseed
    meal (gossypol) is not for chicks; the square still stands where a limit is far off."""
    crumbs = "feed = 'crumbs'\nprotein_pct = 28\ncalcium_pct = 1.1"
    found = of_brief('["layer"]', 20, crumbs, "feed = 'salt'", "feed = 'limestone'")
    assert found.status == "infeasible"
    assert percent(found) == pytest.approx([90.6, 0.4, 9.0])
    chicks = of_brief('["starter"]', 28, crumbs, "feed = 'cottonseed_meal'", "feed = 'maize'")
    assert chicks.left_out == {"cottonseed_meal": "limit"}
    assert of_brief('["layer"]', 20, crumbs, "feed = 'maize'").square is not None
    assert of_brief('["layer"]', 10, crumbs, "feed = 'maize'").status == "infeasible"


@pytest.mark.parametrize(
    ("feed", "says"),
    [
        ("feed = 'l_lys'", "l_lys is no feed to blend: it is dosed in a whole ration."),
        ("feed = 'premix'", "premix is no feed to blend"),
        ("feed = 'salt'\nshare_pct = 3", "these birds may have 0.4 % of salt in their feed"),
    ],
)
def test_what_is_dosed_is_no_feed_to_blend(feed: str, says: str) -> None:
    text = f"birds = ['layer']\n[[feed]]\nfeed = 'maize'\n[[feed]]\n{feed}\n"
    assert any(says in sentence for sentence in sentences(text)), sentences(text)


@pytest.mark.parametrize("name", ["layer pellets", "hen pellets", "ração de postura"])
def test_layer_feed_that_tells_no_calcium_is_kept_from_chicks_by_its_name(name: str) -> None:
    crumbs = "feed = 'crumbs'\nprotein_pct = 28\ncalcium_pct = 1.1"
    found = of_brief('["starter"]', 24, crumbs, f"feed = '{name}'\nprotein_pct = 18")
    assert found.left_out == {name: "layer feed"}
    hens = of_brief('["layer"]', 24, crumbs, f"feed = '{name}'\nprotein_pct = 18")
    assert hens.status == "met"


@pytest.mark.parametrize(
    ("name", "medicine"),
    [
        ("medicated chick crumbs", True),
        ("ração medicada", True),
        ("chick crumbs with a coccidiostat", True),
        ("anticoccidial crumbs", True),
        ("sulfadimethoxine premix", True),
        ("medicated grower, copper sulfate", True),
        ("copper sulfate", False),
        ("unmedicated chick crumbs", False),
        ("non-medicated starter", False),
        ("ração sem coccidiostático", False),
    ],
)
def test_medicine_is_known_by_the_name_of_a_feed(name: str, medicine: bool) -> None:
    assert is_medicine(name) is medicine
    crumbs = f"feed = '{name}'\nprotein_pct = 28\ncalcium_pct = 1.1"
    found = of_brief('["layer"]', 20, crumbs, "feed = 'maize'")
    assert (name in found.left_out) is medicine


def test_medicated_feed_is_left_out_for_hens_in_lay() -> None:
    medicated = ShelfFeed("starter", {"protein": 28.0}, 1.0, medicated=True)
    maize = ShelfFeed("maize", {"protein": 8.5}, 0.3)
    asked = BlendAsked((medicated, maize), {"protein": 20.0}, birds=frozenset({"layer"}))
    found = blended(asked)
    assert (found.status, found.left_out) == ("infeasible", {"starter": "medicated"})
    chicks = blended(
        BlendAsked((medicated, maize), {"protein": 20.0}, birds=frozenset({"starter"}))
    )
    assert (chicks.status, chicks.left_out) == ("met", {})


# Reading.


def sentences(text: str) -> list[str]:
    """Every problem of a brief."""
    asked, findings = read_blend(text.encode(), NOBODY, ON)
    assert (asked is None) is bool(findings)
    return [finding.sentence for finding in findings]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "target: what is it to hold?"),
        ("[target]\nprotein_pct = 20\n", "a blend needs two feeds or more."),
        (
            "[target]\nprotein_pct = 20\n[[feed]]\nfeed = 'a'\nprotein_pct = 100\n",
            "leaves no room for anything else",
        ),
        (
            "[target]\nprotein_pct = 20\n[[feed]]\nfeed = 'a'\nprice_per_kg = -1\n",
            "Line 5, feed 1, price_per_kg: -1 will not do. Give a number, 0 or more.",
        ),
        (
            "[target]\nprotein_pct = 20\n[[feed]]\nfeed = 'a'\nprotein_pct = 18\nme_kcal_kg = 0\n",
            "Energy of 0 cannot be",
        ),
        (
            "[target]\nprotein_pct = 20\n[[feed]]\nfeed = 'a'\n[[feed]]\nfeed = 'maize'\n",
            "feed 1, protein_pct: a does not tell it. Add it from the label.",
        ),
        (
            "[target]\nprotein_pct = 20\n[[feed]]\nfeed = 'a'\nprotein_pct = 9\n"
            "basis = 'dry matter'\n",
            "figures of dry matter need the dry matter.",
        ),
        ("birds = ['ducks']\n", 'birds: ["ducks"] will not do.'),
        ("target = 20\n", "target: 20 is not a table."),
    ],
)
def test_nonsense_gets_a_sentence(text: str, says: str) -> None:
    assert any(says in sentence for sentence in sentences(text)), sentences(text)


def test_the_journal_tells_feeds_prices_stock_and_birds() -> None:
    flock = fold(
        [
            made("feed", "2027-04-01", feed="crumbs", protein_pct=28, calcium_pct=1.1),
            made("feed_bought", "2027-04-01", feed="crumbs", kg=20, cost=24.0),
            made("feed_given", "2027-04-20", feed="crumbs", kg=8),
            made("feed", "2027-04-01", feed="maize", protein_pct=9, price_per_kg=0.35),
            made("feed", "2027-04-01", feed="grit"),
            made("place", "2027-04-01", place="pen", role="pen"),
            made(
                "group", "2027-04-01", group="hens", place="pen", hens=10,
                hatched_on="2026-10-01",
            ),
        ],
        ON,
    )  # fmt: skip
    asked, findings = read_blend(b"", flock, ON)
    assert findings == []
    assert asked is not None
    crumbs, maize = asked.feeds
    assert (crumbs.price, crumbs.stock_kg, maize.price, maize.stock_kg) == (1.2, 12.0, 0.35, None)
    assert asked.birds == {"layer"}
    assert asked.targets == {"protein": 20.0}
    assert asked.from_need
    assert stages_of(flock, date(2026, 10, 10)) == {"starter"}
    assert stages_of(flock, ON, "brooder") == frozenset()


def test_the_journals_old_feed_is_not_thinned_with_good_feed() -> None:
    """A bag of 90 days' keeping, bought 304 days before, beside one of 20 days before."""
    flock = fold(
        [
            made("feed", "2026-07-01", feed="crumbs", protein_pct=28, keeps_days=90),
            made("feed_bought", "2026-07-01", feed="crumbs", kg=20),
            made("feed_bought", "2027-04-12", feed="crumbs", kg=5),
            made("feed", "2026-07-01", feed="maize", protein_pct=9, keeps_days=90),
            made("feed_bought", "2026-07-01", feed="maize", kg=20),
            made("feed", "2027-04-01", feed="mouldy pellets", protein_pct=17),
        ],
        ON,
    )
    asked, findings = read_blend(b"birds = ['layer']\n", flock, ON)
    assert findings == []
    assert asked is not None
    assert [(feed.stock_kg, feed.old_kg) for feed in asked.feeds] == [(5, 20), (0, 20), (None, 0)]
    found = blended(asked)
    assert found.kilograms[0] <= 5
    assert found.kilograms[1:].tolist() == [0, 0]
    assert found.left_out == {"mouldy pellets": "mouldy"}
    sentences = said(found)
    assert any("20 kg of maize is left out" in one for one in sentences)
    assert "Never feed what is mouldy, nor thin it with good feed." in sentences


def test_cocks_alone_do_not_lay() -> None:
    """Their calcium is that of birds that do not lay."""
    birds = {"hatched_on": "2026-10-01"}
    flock = fold(
        [
            made("place", "2027-04-01", place="pen", role="pen"),
            made("place", "2027-04-01", place="cage", role="pen"),
            made("group", "2027-04-01", group="hens", place="pen", hens=10, cocks=2, **birds),
            made("group", "2027-04-01", group="cocks", place="cage", cocks=4, **birds),
        ],
        ON,
    )
    assert stages_of(flock, ON, "cage") == {"grower"}
    assert stages_of(flock, ON, "pen") == {"layer"}
