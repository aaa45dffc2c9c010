"""A search for a plan that cannot end before it is stopped, however fast the computer."""

import threading
import time
from collections.abc import Callable
from typing import Any

import pytest

from quailwright.exchange import plan_page


def endless_searches(monkeypatch: pytest.MonkeyPatch) -> threading.Event:
    """Searches of the pages that have told of a plan go on until they are stopped.

    Those that tell after the event is set end by themselves.
    """
    really_made, may_end = plan_page.made, threading.Event()

    def goes_on(asked: Any, stands: Any, tell: Callable[[str, float], None]) -> Any:
        def told(words: str, part: float) -> None:
            tell(words, part)
            while words.startswith("best so far") and part < 1.0 and not may_end.is_set():
                time.sleep(0.02)
                tell(words, part)  # raises once the search was stopped

        return really_made(asked, stands, told)

    monkeypatch.setattr(plan_page, "made", goes_on)
    return may_end
