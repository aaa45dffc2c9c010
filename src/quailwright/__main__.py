"""Run the command line: `python -m quailwright`."""

from quailwright.cli.main import run

if __name__ == "__main__":
    run()
