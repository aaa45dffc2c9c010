"""What is said of one hatch, from small journals and the air that was logged."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.guide.hatch.air import Air, Span
from quailwright.guide.hatch.report import HatchReport, hatch_report, step_times
from quailwright.journal.entries import Entry

SET_AT = datetime(2027, 5, 2, 19, tzinfo=UTC)


def at(day: float) -> datetime:
    return SET_AT + timedelta(days=day)


def home(**about: Any) -> list[Entry]:
    return [
        made("holding", "2027-01-01", **({"timezone": "Europe/Lisbon"} | about)),
        made("source", "2027-01-01", source="post", route="shipped"),
    ]


def setting(day: float = 0.0, name: str = "may", **about: Any) -> Entry:
    fields = {"hatch": name, "eggs": 24, "place": "box", "source": "post"} | about
    return made("eggs_set", at(day), **fields)


def weighed(day: float, grams: float, eggs: int = 24, name: str = "may") -> Entry:
    return made("eggs_weighed", at(day), hatch=name, eggs=eggs, total_g=grams)


def air(shown: float | None = 45.0, celsius: float = 37.5, until: float = 14.0) -> Air:
    return Air([Span(step / 8, (step + 1) / 8, celsius, shown) for step in range(int(until * 8))])


def report(
    entries: list[Entry], day: float, airs: dict[str, Air] | None = None, name: str = "may"
) -> HatchReport:
    moment = at(day)
    flock = fold(entries, moment)
    return hatch_report(flock, flock.hatches[name], airs or {}, moment)


def said(told: HatchReport, word: str) -> str:
    """The one sentence with that word."""
    (sentence,) = (sentence for sentence in told.said if word in sentence)
    return sentence


LOW: list[Entry] = [*home(), setting(), weighed(0, 264), weighed(13.9, 264 * (1 - 0.0645))]


def test_a_hygrometer_that_reads_low_is_named_with_its_doubt_and_the_test_that_settles_it() -> None:
    """6.5 % in 14 days while the display read 45 %: by Ar et al. 1974 the air was near 65 %."""
    told = report(LOW, 13.95, {"may": air()})
    sentence = said(told, "By the weighings")
    assert "reads low by about" in sentence
    assert "when it shows 45 %, the air is nearer 6" in sentence
    assert "salt" not in sentence
    settled = said(told, "not settled")
    assert "dense shells would look the same" in settled
    assert "Salt test".lower() in settled.lower()
    assert 'log instrument instrument="own hygrometer" place="box"' in settled


def test_a_bad_hatch_after_it_is_not_simply_blamed_on_the_post() -> None:
    over = [
        *LOW,
        made("chicks_hatched", at(17.5), hatch="may", chicks=6),
        made("eggs_opened", at(20), hatch="may", infertile=4, early=2, late=10, pipped=2),
        made("hatch_closed", at(20.1), hatch="may"),
    ]
    judged = report(over, 21, {"may": air()}).post_mortem
    assert judged is not None
    assert judged.blames
    causes = [cause.cause for cause in judged.causes]
    assert causes[:2] == ["weight loss too low (too humid)", "instrument error (hygrometer)"]
    weights = {cause.cause: cause.weight for cause in judged.causes}
    assert weights.get("shipping", 0.0) < 0.5 * weights[causes[1]]


def test_the_hatcher_is_not_called_dry_by_a_hygrometer_that_reads_low() -> None:
    told = report(LOW, 20, {"may": air(until=19)})
    offset = told.case.humidity_offset_pct
    assert offset is not None
    humidity = told.case.hatcher_humidity_pct
    assert humidity is not None
    assert (humidity.mean, humidity.sd) == pytest.approx((45 - offset.mean, offset.sd))
    assert told.case.hatcher_known_by == "the weighings"


def test_a_tested_hygrometer_is_not_asked_to_be_tested_again() -> None:
    tested = Air(air().spans, humidity_offset_pct=-18.0)
    told = report(LOW, 13.95, {"may": tested})
    assert told.weight.offset_pct.mean == pytest.approx(-18, abs=2)
    assert not [sentence for sentence in told.said if "settled" in sentence]


def test_what_advice_says_agrees_with_what_is_said_of_the_hygrometer() -> None:
    told = report(
        [*home(), setting(), weighed(0, 264), weighed(5, 257)], 5.1, {"may": air(until=5)}
    )
    advice = told.weight.advice
    assert advice is not None
    assert not advice.leave_it
    assert advice.true_pct == pytest.approx(advice.shown_pct - told.weight.offset_pct.mean)
    assert told.how[0].startswith("A wet-bulb thermometer shows ")
    assert told.how[0].endswith(" °C then.")


def test_fahrenheit_for_who_wants_it() -> None:
    entries = [
        *home(units="us"), setting(storage_c=15, laid_from="2027-04-20", laid_to="2027-04-26"),
        weighed(0, 264), weighed(5, 257),
        made("outage", at(6), place="box", minutes=24 * 60, lowest_c=13),
    ]  # fmt: skip
    told = report(entries, 7.5, {"may": air(until=6)})
    text = " ".join([*told.how, *told.said])
    assert "°C" not in text
    assert "down to 55.4 °F" in text
    assert "at 59 °F" in text


def test_nothing_is_to_be_set_once_turning_stopped_or_the_hatch_is_over() -> None:
    stopped = [*LOW[:4], made("turning_stopped", at(13), hatch="may")]
    assert report(stopped, 13.5, {"may": air()}).weight.advice is None
    closed = [*LOW[:4], made("hatch_closed", at(8), hatch="may")]
    assert report(closed, 9, {"may": air()}).weight.advice is None
    assert report(LOW[:4], 14.5, {"may": air()}).weight.advice is None
    assert report(LOW[:4], 13.5, {"may": air()}).weight.advice is not None


def test_a_mean_weight_given_at_setting_is_the_first_weighing() -> None:
    told = report([*home(), setting(mean_egg_g=11.0), weighed(10, 244)], 10.1)
    assert [(point.day, point.eggs) for point in told.weight.points] == [(0.0, 24), (10.0, 24)]
    assert told.weight.points[1].loss_pct == pytest.approx(100 * (1 - 244 / 264))


def test_a_first_weighing_after_setting_starts_from_the_loss_that_is_reckoned() -> None:
    told = report([*home(), setting(), weighed(5, 255), weighed(10, 244)], 10.1, {"may": air()})
    first, second = told.weight.points
    assert 2.0 < first.loss_pct < 5.0
    assert second.loss_pct - first.loss_pct == pytest.approx(100 * (1 - 244 / 255), abs=0.3)


def test_earlier_hatches_of_the_source_in_the_machine_are_learnt_from() -> None:
    entries, airs = home(), {}
    for number in range(3):
        name, day = f"h{number}", 30.0 * (number - 4)
        entries += [
            setting(day, name),
            weighed(day + 0.1, 264, name=name),
            weighed(day + 13.9, 264 * (1 - 0.065), name=name),
            made("hatch_closed", at(day + 20), hatch=name),
        ]
        airs[name] = air()
    airs["may"] = air(until=1)
    alone = report([*home(), setting(), weighed(0, 264)], 1, {"may": airs["may"]})
    told = report([*entries, setting(), weighed(0, 264)], 1, airs)
    width = {
        key: each.weight.loss_at_stop_pct["q90"] - each.weight.loss_at_stop_pct["q10"]
        for key, each in (("alone", alone), ("told", told))
    }
    assert told.weight.loss_at_stop_pct["q50"] == pytest.approx(6.6, abs=0.5)
    assert width["told"] < 0.5 * width["alone"]


def test_weights_that_no_shell_loses_are_doubted_and_common_ones_are_not() -> None:
    tray = report([*home(), setting(), weighed(0, 364), weighed(5, 254)], 5.1)
    assert "no shell loses" in tray.weight.doubt
    assert "Was a tray weighed with them once" in tray.weight.doubt
    sound = report([*home(), setting(), weighed(0, 264), weighed(5, 250)], 5.1)
    few = report([*home(), setting(), weighed(0, 264), weighed(5, 51, 5)], 5.1)
    for told in (sound, few):
        assert told.weight.doubt == ""


@pytest.mark.parametrize(
    ("day", "grams", "eggs", "doubted"),
    [
        (5, 264, 24, True),  # typed twice
        (3, 264, 24, True),
        (1, 264, 24, False),  # a day's loss of some 2 g may be rounded away
        (10, 262, 24, True),  # 0.8 % in ten days: no machine is as damp as that
        (5, 259, 24, False),  # 1.9 % in five days: damp, and it happens
        (5, 11, 1, False),  # one egg on a 1 g scale
    ],
)
def test_eggs_that_lose_next_to_nothing_for_days_are_doubted(
    day: float, grams: float, eggs: int, doubted: bool
) -> None:
    """Romao et al. 2009, LRRD 21(3): at 76 % they still lost 4.89 % in 15 days, a third of a per
    cent a day."""
    entries = [
        *home(),
        setting(eggs=eggs),
        weighed(0, 11.0 * eggs, eggs),
        weighed(day, grams, eggs),
    ]
    told = report(entries, day + 0.1)
    assert bool(told.weight.doubt) is doubted
    assert (told.weight.advice is None) is doubted


def test_doubtful_weights_teach_no_later_hatch_and_blame_nothing() -> None:
    typed_twice = [
        setting(-40, "wrong"),
        weighed(-40, 264, name="wrong"),
        weighed(-27, 264, name="wrong"),
        made("hatch_closed", at(-19), hatch="wrong"),
    ]
    airs = {"wrong": air(), "may": air(until=1)}
    entries = [*home(), setting(), weighed(0, 264)]
    assert report([*typed_twice, *entries], 1, airs).weight == report(entries, 1, airs).weight
    assert report([*home(), *typed_twice], 1, airs, "wrong").case.loss_at_stop_pct is None


def test_an_outage_moves_the_window_and_is_told_while_it_matters() -> None:
    """Wentworth, Cigan and Schaaf 2009, Poultry Science: 24 h at 13 °C on day 6, 24 h late."""
    entries = [*home(), setting()]
    outage = made("outage", at(6), place="box", minutes=24 * 60, lowest_c=13)
    before, after = report(entries, 8), report([*entries, outage], 8)
    late = after.window.mean_at - before.window.mean_at
    assert late / timedelta(hours=1) == pytest.approx(24, abs=1)
    sentence = said(after, "Outage")
    assert "Outage of 24 h on day 6 down to 13 °C: chicks come about 24 h later." in sentence
    assert "58 against 81 % hatched" in sentence
    assert "Do not throw eggs out yet" in sentence
    assert "Do not throw" not in said(report([*entries, outage], 14), "Outage")
    closed = [*entries, outage, made("hatch_closed", at(20), hatch="may")]
    assert not [each for each in report(closed, 21).said if "Outage" in each]


def test_a_short_or_mild_outage_is_no_alarm() -> None:
    blink = made("outage", at(6), place="box", minutes=20, lowest_c=30)
    assert not report([*home(), setting(), blink], 8).said[1:]
    mild = made("outage", at(9), place="box", minutes=6 * 60, lowest_c=35)
    assert "Little harm is to be feared" in said(report([*home(), setting(), mild], 10), "Outage")
    elsewhere = made("outage", at(6), place="pen", minutes=24 * 60, lowest_c=5)
    assert (
        report([*home(), setting(), elsewhere], 8).window == report([*home(), setting()], 8).window
    )


def test_a_gap_is_told_and_widens_and_no_gap_is_not() -> None:
    whole = air(until=8)
    gappy = Air([span for span in whole.spans if not 4 <= span.day_from < 5])
    told = report([*home(), setting()], 8, {"may": gappy})
    assert "No temperature was read for 24 h on end" in said(told, "on end")
    sound = report([*home(), setting()], 8, {"may": whole})
    assert not [sentence for sentence in sound.said if "on end" in sentence]
    assert told.window.mean_sd_h > sound.window.mean_sd_h
    assert told.window.mean_at > sound.window.mean_at


def early_hatches(count: int, hours: float) -> tuple[list[Entry], dict[str, Air]]:
    entries, airs = home(), {}
    for number in range(count):
        name, day = f"h{number}", 30.0 * (number - count)
        entries += [
            setting(day, name),
            made("chicks_hatched", at(day + 17 - hours / 24), hatch=name, chicks=16),
            made("hatch_closed", at(day + 20), hatch=name),
        ]
        airs[name] = air(until=17)
    return [*entries, setting()], airs


def test_a_machine_that_is_always_early_is_said_to_run_hot() -> None:
    entries, airs = early_hatches(4, 20)
    told = report(entries, 3, airs)
    assert "early in 4 hatches" in said(told, "box has hatched")
    assert "runs hot and its thermometer reads low" in said(told, "box has hatched")
    assert told.window.mean_at < at(17) - timedelta(hours=10)
    entries, airs = early_hatches(4, 3)
    assert not [each for each in report(entries, 3, airs).said if "has hatched" in each]


@pytest.mark.parametrize("mistyped", [8, 45])
def test_chicks_logged_when_none_can_come_are_told_of_and_teach_nothing(mistyped: int) -> None:
    """390 to 441 h, days 16 to 19: Selcuk J Agric Food Sci; SAJAS 2005, 35(2):135."""
    entries, airs = early_hatches(2, 3)
    wrong = [
        setting(-90, "wrong"),
        made("chicks_hatched", at(-90 + mistyped), hatch="wrong", chicks=16),
    ]
    with_it = report([*entries, *wrong], 3, airs)
    assert with_it.window == report(entries, 3, airs).window
    sentence = said(report([*entries, *wrong], -90 + mistyped, airs, "wrong"), "mend the date")
    assert sentence.startswith(
        f"Chicks logged on day {mistyped} of wrong; Coturnix hatch on day 16 to 19: mend the date."
    )


def test_chicks_further_off_their_log_than_any_habit_are_doubted_aloud() -> None:
    wrong = [*home(), setting(), made("chicks_hatched", at(20.5), hatch="may", chicks=16)]
    told = report(wrong, 20.6, {"may": air(until=20.5)})
    assert "84 h late against what was read" in said(told, "any machine's habit")
    cool = report(wrong, 20.6, {"may": air(celsius=35.2, until=20.5)})
    assert not [each for each in cool.said if "any machine's habit" in each]


def test_days_are_counted_through_a_change_of_clocks() -> None:
    """Set on 26 March 2027 at 20:00 in Lisbon; from the 28th on clocks are an hour ahead."""
    entries = [
        *home(),
        made(
            "eggs_set", "2027-03-26T20:00+00:00", hatch="may", eggs=24, place="box", source="post"
        ),
        made("eggs_weighed", "2027-03-31T21:00+01:00", hatch="may", eggs=24, total_g=250),
    ]
    moment = datetime(2027, 3, 31, 20, 30, tzinfo=UTC)
    flock = fold(entries, moment)
    told = hatch_report(flock, flock.hatches["may"], {}, moment)
    assert told.weight.points[0].day == 5.0
    dates = step_times(told)
    assert dates["stop_turning"].astimezone(UTC) == datetime(2027, 4, 9, 20, tzinfo=UTC)
    assert dates["first_chick"] - dates["first_pip"] == timedelta(hours=10)


def test_chicks_to_expect_do_not_shrink_to_the_first_one_out() -> None:
    entries = [*home(), setting(), made("eggs_candled", at(7), hatch="may", clear=4, dead=0)]
    waiting = report(entries, 16).likely_chicks
    first = report([*entries, made("chicks_hatched", at(16.8), hatch="may", chicks=1)], 17)
    assert first.likely_chicks == pytest.approx(waiting)
    closed = [*entries, made("hatch_closed", at(20), hatch="may")]
    assert report(closed, 21).likely_chicks == 0


def test_dates_stand_in_their_order() -> None:
    dates = list(step_times(report([*home(), setting()], 1)).values())
    assert dates == sorted(dates)


def test_a_hatch_never_closed_says_that_the_wait_is_over_and_what_to_log() -> None:
    entries = [*home(), setting(), made("chicks_hatched", at(17.5), hatch="may", chicks=15)]
    waiting = report(entries, 19)
    assert not waiting.wait_is_over
    told = report(entries, 59)
    assert told.wait_is_over
    sentence = said(told, "The wait was over")
    assert "open the 9 eggs that did not hatch and log eggs_opened, then log hatch_closed" in (
        sentence
    )
    assert told.likely_chicks == 15
    assert told.result is not None
    assert not [each for each in told.result.says if "may still hatch" in each]
    opened = [*entries, made("eggs_opened", at(58), hatch="may", late=9)]
    assert said(report(opened, 59), "wait was over").endswith("Now log hatch_closed.")
    closed = [*opened, made("hatch_closed", at(58.5), hatch="may")]
    assert not report(closed, 59).wait_is_over


@pytest.mark.parametrize("celsius", [35.5, 37.5, 39.0])
def test_the_wait_ends_when_the_eggs_are_to_be_opened_to_the_minute(celsius: float) -> None:
    setting_on = made("eggs_set", SET_AT + timedelta(seconds=7), hatch="may", eggs=24, place="box",
                      source="post")  # fmt: skip
    told = report([*home(), setting_on], 12, {"may": air(celsius=celsius, until=12)})
    dates = step_times(told)
    (opening,) = (step for step in told.steps if step.rule == "open_eggs")
    assert dates["stop_waiting"] == opening.at
    # The rule of care has them opened from day 20; a cool machine is given longer.
    assert opening.at >= at(20)
    assert (opening.at > at(21)) is (celsius < 36)
    late = [each for each in told.said if "wait with opening the eggs until" in each]
    assert bool(late) is (celsius < 36)
    for moment in dates.values():
        assert (moment.second, moment.microsecond) == (0, 0)


def test_storage_before_setting_is_told_apart() -> None:
    """Garip and Dere 2011, JAVA 10(18):2363: 3.1 % in 10 days at 21 °C."""
    stored = setting(storage_c=21, laid_from="2027-04-22", laid_to="2027-04-22")
    sentence = said(report([*home(), stored], 1), "storage")
    assert "10 days of storage at 21 °C they had lost some 3." in sentence


def test_altitude_dries_posted_eggs_and_hardly_those_laid_there() -> None:
    def expected(source: str, **holding: Any) -> float:
        entries = [
            *home(**holding), made("source", "2027-01-01", source="own", route="own"),
            setting(source=source),
        ]  # fmt: skip
        return report(entries, 0.5).weight.loss_at_stop_pct["q50"]

    low, posted, own = (
        expected("post"),
        expected("post", altitude_m=2000),
        expected("own", altitude_m=2000),
    )
    # Tullett 2013: 27 % faster at 2,000 m.
    assert posted / low == pytest.approx(1.27, abs=0.03)
    assert low < own < low * 1.08


def test_a_poor_hatch_of_brothers_with_sisters_says_so() -> None:
    born = at(-120)
    entries = [
        *home(),
        made("group", at(-200), group="first", place="pen", hens=1, cocks=1),
        made("eggs_set", at(-137), hatch="march", eggs=20, place="box", group="first"),
        made("chicks_hatched", born, hatch="march", chicks=12),
        made("group", born + timedelta(hours=1), group="march", place="loft", hatch="march"),
        made("birds_sexed", at(-60), group="march", hens=8, cocks=4),
        setting(source=None, group="march"),
        made("eggs_candled", at(8), hatch="may", clear=3, dead=7),
        made("chicks_hatched", at(17), hatch="may", chicks=6),
        made("eggs_opened", at(19), hatch="may", early=1, middle=3, late=4),
        made("hatch_closed", at(19), hatch="may"),
    ]
    told = report(entries, 20)
    assert told.case.parents_related == pytest.approx(0.25)
    assert told.post_mortem is not None
    kin = next(each for each in told.post_mortem.causes if each.cause == "inbreeding")
    assert "expected inbreeding of the chicks 25 %" in " ".join(kin.because)
