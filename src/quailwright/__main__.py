"""Run the command line: `python -m quailwright`."""

import sys

if __name__ == "__main__":
    try:
        from quailwright.cli.main import run

        run()
    except KeyboardInterrupt:  # Ctrl+C while the program itself is still being read
        sys.exit(130)
