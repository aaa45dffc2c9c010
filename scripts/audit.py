"""Looks up every pinned package among the published advisories, and says what was not looked up.

The auditor's own "No known vulnerabilities found" is not believed: where a package index knows of
no advisories, it passes over every package and says so all the same.
"""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

LOCKS = ("requirements.lock", "requirements-check.lock")
SERVICES = ("pypi", "osv")
"""Two that publish advisories: where one cannot be reached, the other may."""


def asked(auditor: str, lock: Path, service: str) -> list[dict[str, Any]] | None:
    """What the auditor says of each package of a lock; None where it cannot ask."""
    done = subprocess.run(
        [
            auditor, "--requirement", str(lock), "--no-deps", "--disable-pip",
            "--vulnerability-service", service, "--format", "json", "--progress-spinner", "off",
        ],
        capture_output=True, text=True, check=False, timeout=600,
    )  # fmt: skip
    return told(done.stdout)


def told(answer: str) -> list[dict[str, Any]] | None:
    """The packages of an answer; None where it is none."""
    try:
        found: list[dict[str, Any]] = json.loads(answer)["dependencies"]
    except (ValueError, KeyError, TypeError):
        return None
    return found


def verdict(answers: dict[str, list[dict[str, Any]] | None]) -> tuple[int, list[str]]:
    """The exit code, and lines to print, from what was said by lock."""
    lines, known, unasked = [], 0, 0
    for lock, packages in answers.items():
        if packages is None:
            unasked += 1
            lines.append(f"{lock}: no advisory service could be asked. Nothing was looked up.")
            continue
        skipped = [one["name"] for one in packages if "skip_reason" in one]
        unasked += len(skipped)
        lines.append(f"{lock}: {len(packages) - len(skipped)} of {len(packages)} looked up.")
        if skipped:
            lines.append(f"  Not looked up, and nothing is said of: {', '.join(sorted(skipped))}.")
        for one in packages:
            for fault in one.get("vulns", ()):
                known += 1
                mended = ", ".join(fault.get("fix_versions", ())) or "in no version yet"
                lines.append(f"  {one['name']} {one['version']}: {fault['id']}, mended: {mended}.")
    if known:
        return 1, [*lines, f"{known} known."]
    if unasked:
        return 3, [*lines, "NOT AUDITED: run this where the internet can be reached."]
    return 0, [*lines, "Nothing is known against any of them."]


def main() -> int:
    """Asks for every lock, and prints what came."""
    root = Path(__file__).parent.parent
    answers: dict[str, list[dict[str, Any]] | None] = {}
    for lock in sys.argv[2:] or LOCKS:
        best: list[dict[str, Any]] | None = None
        for service in SERVICES:
            best = asked(sys.argv[1], root / lock, service) or best
            if best and not all("skip_reason" in one for one in best):
                break
        answers[lock] = best
    code, lines = verdict(answers)
    print("\n".join(lines))
    return code


if __name__ == "__main__":
    raise SystemExit(main())
