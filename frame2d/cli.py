"""Command line: `frame2d demo`."""

import argparse
import sys
from collections.abc import Sequence

from frame2d import __version__
from frame2d.errors import Frame2dError


def parser() -> argparse.ArgumentParser:
    """All commands and their options."""
    top = argparse.ArgumentParser(
        prog="frame2d",
        description="Plane steel frames with replaceable devices: model, analyse, test, compare, report.",
        epilog="Results support, and never replace, design to the local code by licensed engineers.",
    )
    top.add_argument("--version", action="version", version=__version__)
    commands = top.add_subparsers(dest="command", required=True)
    demo = commands.add_parser("demo", help="run the invented five-storey frame from gravity to animation")
    demo.add_argument("--out", default="out", help="folder for results (default: out)")
    demo.add_argument("--quick", action="store_true", help="shorter motion, no video")
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit status."""
    chosen = parser().parse_args(arguments)
    try:
        if chosen.command == "demo":
            from frame2d.demo import run_demo

            run_demo(chosen.out, quick=chosen.quick)
    except Frame2dError as error:
        print(f"frame2d: {error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("frame2d: interrupted", file=sys.stderr)
        return 130
    return 0


if __name__ == "__main__":
    sys.exit(main())
