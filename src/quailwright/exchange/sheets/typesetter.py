"""Sets one sheet in a process of its own, and ends.

It is run as a program by `press`. Typst keeps what it worked out for each sheet for as long as its
process lasts, megabytes at a time, and its Python package has no way to let go of it: within the
server every sheet that is printed would cost memory for good.
"""

import json
import sys


def main() -> None:
    """Reads one JSON document (source, data, timestamp) and writes the PDF."""
    import typst

    asked = json.load(sys.stdin.buffer)
    made = typst.compile(
        asked["source"].encode(),
        format="pdf",
        sys_inputs={"data": asked["data"]},
        # Those that typst brings come first; the system's, for letters those lack.
        font_paths=typst.Fonts(),
        timestamp=asked["timestamp"],
    )
    sys.stdout.buffer.write(made)


if __name__ == "__main__":
    main()
