"""The pages of notices: what is wrong heads the round; secrets come back nowhere."""

from datetime import timedelta

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.web.conftest import NOW, Enter, token_of

from quailwright.exchange.notice_watch import NoticeWatch
from quailwright.guide.notices.words import Letter
from quailwright.journal.readings import to_ms

pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")
SECRET = "plum-tree-9"
PAGE = "/settings/notices"


def post(client: TestClient, where: str = PAGE, **typed: str) -> tuple[int, str]:
    answer = client.post(where, data={"token": token_of(client), **typed})
    return answer.status_code, answer.text


def cold(app: FastAPI) -> None:
    """The machine with eggs has been cold for twenty minutes, and watch is kept."""
    desk = app.state.home.desk
    at = [to_ms(NOW - timedelta(minutes=minute)) for minute in range(20, -1, -1)]
    with desk.store.writing() as writer:
        writer.append_readings("box", "probe", at, [30.0] * len(at), [None] * len(at))
    NoticeWatch().watch(desk, NOW)


def test_what_is_wrong_heads_the_round_and_somebody_sees_to_it(app: FastAPI, enter: Enter) -> None:
    keeper, helper, viewer = (enter(role) for role in ("keeper", "helper", "viewer"))
    assert "Notices are off" in keeper.get(PAGE).text
    assert post(keeper, do="on")[0] == 303
    cold(app)
    page = keeper.get("/").text
    assert "box: 30 °C, below 36 °C since" in page
    assert "an electrician" in page
    assert "I see to it" not in viewer.get("/").text
    assert post(viewer, "/notices/see", number="1")[0] == 403
    assert post(helper, "/notices/see", number="1", back="/")[0] == 303
    assert "helper</span> sees to it" in keeper.get("/").text
    assert post(helper, "/notices/see", number="x")[0] == 422
    told = keeper.get("/api/notices").json()
    assert [(each["rule"], each["seen_by"]) for each in told["open"]] == [
        ("machine_cold", "helper")
    ]


def test_secrets_come_back_nowhere(app: FastAPI, enter: Enter, tmp_path: object) -> None:
    keeper = enter("keeper")
    mail = {
        "name": "my mail", "to": "shed@example.org", "server": "127.0.0.1", "port": "1",
        "security": "insecure", "user": "keeper@example.org", "password": SECRET,
        "language": "en",
    }  # fmt: skip
    status, text = post(keeper, do="mail", **{**mail, "to": "nobody"})
    assert status == 422
    assert "keeper@example.org" in text  # What is no secret need not be typed again.
    assert SECRET not in text
    assert post(keeper, do="mail", **mail)[0] == 303
    pasted = f"jsons://{SECRET}.example.org/{SECRET}"
    assert post(keeper, do="paste", name="hook", address=pasted, language="pt")[0] == 303
    status, text = post(keeper, do="paste", name="hook", address=pasted, language="pt")
    assert status == 422
    for shown in (
        text,
        keeper.get(PAGE).text,
        keeper.get("/api/notices").text,
        keeper.get("/api/journal").text,
        post(keeper, do="test", number="1")[1],
        keeper.get(PAGE).text,
    ):
        assert SECRET not in shown
    assert "mail to s…@example.org" in keeper.get(PAGE).text
    assert "the test did not go" in post(keeper, do="test", number="1")[1]


def test_a_test_says_in_a_sentence_whether_it_went(
    enter: Enter, monkeypatch: pytest.MonkeyPatch
) -> None:
    from quailwright.exchange import notice_watch
    from quailwright.exchange.notice_send import Sent

    letters: list[Letter] = []

    def post_box(_: str, letter: Letter) -> Sent:
        letters.append(letter)
        return Sent(True, "It was taken by the server.")

    monkeypatch.setattr(notice_watch.send_test, "__defaults__", (post_box,))
    keeper = enter("keeper")
    post(keeper, do="paste", name="hook", address="json://127.0.0.1/quail", language="en")
    assert "hook: the test went." in post(keeper, do="test", number="1")[1]
    assert letters[0].title == "Test: notices of the quail"


@pytest.mark.parametrize(
    "typed",
    [
        {"do": ""}, {"do": "rule", "rule": "x"}, {"do": "test", "number": "99"},
        {"do": "remove", "number": "-1"}, {"do": "channel", "number": "7", "language": "en"},
        {"do": "hours", "quiet_from": "99:99"}, {"do": "own", "place": "<b>"},
        {"do": "paste", "name": "a"},
    ],
)  # fmt: skip
def test_nonsense_ends_in_a_sentence(keeper: TestClient, typed: dict[str, str]) -> None:
    status, text = post(keeper, **typed)
    assert status == 422
    assert "Nothing was changed" in text


def test_only_keepers_change_settings(enter: Enter) -> None:
    for role in ("helper", "viewer"):
        client = enter(role)
        assert post(client, do="on")[0] == 403
        assert "Switch notices on" not in client.get(PAGE).text
