"""The work of `scripts/fuzz stateful`: `fuzz_stateful.py SECONDS SEED`.

The machine of tests/web/whole.py, some dozens of runs at a time, until the time is over.
"""

import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from hypothesis import HealthCheck, Phase, seed, settings  # noqa: E402
from hypothesis.stateful import run_state_machine_as_test  # noqa: E402
from tests.web.whole import TALLY, Whole  # noqa: E402

_TOGETHER, _STEPS = 40, 30


def main() -> int:
    """Runs it, and tells how often what was done."""
    seconds, first = int(sys.argv[1]), int(sys.argv[2])
    until, failed = time.monotonic() + seconds, False
    while time.monotonic() < until and not failed:
        told = settings(
            max_examples=_TOGETHER, stateful_step_count=_STEPS, deadline=None, database=None,
            suppress_health_check=list(HealthCheck), phases=(Phase.generate, Phase.shrink),
        )  # fmt: skip
        machine = seed(first + TALLY["runs"])(type("Whole", (Whole,), {}))
        try:
            run_state_machine_as_test(machine, settings=told)
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                break
            failed = True
            print(f"{type(error).__name__}: {error}")
            import traceback

            traceback.print_exc()
    for name, count in sorted(TALLY.items()):
        print(f"{count:9,}  {name}")
    print("It failed: see above." if failed else "The application counted as the model did.")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
