"""Readings that arrive change the round at once, on the page and in the API, and no past day."""

from collections.abc import Callable

from starlette.testclient import TestClient
from tests.web.conftest import token_of

HOT = "".join(
    f"2027-05-03T{6 + n // 12:02d}:{n % 12 * 5:02d}:00+01:00,{39 + n % 5 / 10}\n" for n in range(24)
)


def signs(keeper: TestClient, on: str = "") -> list[tuple[str, str]]:
    found = keeper.get(f"/api/today{on and f'?on={on}'}").json()["signs"]
    return [(sign["sign"], sign["where"]) for sign in found]


def test_a_pen_too_hot_is_told_when_its_readings_arrive(
    enter: Callable[[str], TestClient],
) -> None:
    """Lay is kept to 33 °C (UNESP cyclic heat study of Japanese quail)."""
    keeper = enter("keeper")
    too_hot = ("pen too hot", "pen")
    assert too_hot not in signs(keeper)
    assert "39.4 °C (Mon 3 May)" not in keeper.get("/").text
    sent = keeper.post(
        "/api/readings?place=pen",
        content="time,temperature_c\n" + HOT,
        headers={"X-Write-Token": token_of(keeper), "Content-Type": "text/csv"},
    )
    assert sent.status_code == 200, sent.text
    assert too_hot in signs(keeper)
    assert too_hot in signs(keeper, "2027-05-03")
    assert too_hot not in signs(keeper, "2027-05-02")
    assert "39.4 °C (Mon 3 May)" in keeper.get("/").text
