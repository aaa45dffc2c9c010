"""`notices` in the terminal."""

from pathlib import Path

import pytest
from tests.cli.conftest import Quail

from quailwright.cli.options import now
from quailwright.exchange import notice_settings
from quailwright.exchange.notice_settings import NoticeSettings
from quailwright.journal.store import open_store

pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")


def test_off_and_without_a_channel(quail: Quail) -> None:
    quail("log", "place", "place=box", "role=incubator")
    told = quail("notices")
    assert told.code == 0
    assert "Notices are off" in told.out
    document = quail("notices", "--json").json
    assert document["on"] is False
    assert document["rules"][0]["rule"] == "machine_cold"
    tried = quail("notices", "test")
    assert (tried.code, tried.out) == (
        1, "There is no channel yet. Set one up at /settings/notices.\n",
    )  # fmt: skip
    assert quail("notices", "test", "nobody").code == 2
    assert quail("notices", "--on", "someday").code == 2


def test_a_channel_that_does_not_go_is_told_without_its_address(
    quail: Quail, tmp_path: Path
) -> None:
    quail("log", "place", "place=box", "role=incubator")
    with open_store(str(tmp_path / "flock.sqlite")) as store:
        notice_settings.keep(store, NoticeSettings(on=True))
        notice_settings.add_channel(
            store, "hook", "json://127.0.0.1:1/a-secret-path", "en", False, now()
        )
    tried = quail("notices", "test", "hook")
    assert tried.code == 1
    assert tried.out.startswith("hook: it did not go. ")
    listed = quail("notices")
    assert "hook: json" in listed.out
    assert listed.out.startswith("Nothing has been watched yet.")
    for told in (tried, listed, quail("notices", "--json"), quail("journal", "export")):
        assert "secret" not in told.out + told.err
