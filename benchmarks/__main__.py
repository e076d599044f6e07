"""Command line: ``python -m benchmarks textbook [--json F]``, ``python -m benchmarks speed [--json F]``."""

import argparse
import importlib
import sys

#: Benchmarks by name: what each shows. A name is a module here with a function ``main(args) -> int | None``.
BENCHMARKS = {
    "textbook": "values of the verification cases beside their references",
    "speed": "time of a step against other solvers, cost growth, ensembles",
    "coupling": "partitioned integration: orders, differences, gaps, interface energy",
    "robust": "random frames and motions: how each run ends",
    "fitting": "laws fitted to virtual tests: speed beside scipy, errors, coverage of the intervals",
    "deadline": "steps of a hybrid test against the clock, and against SIGKILL",
    "sweeps": "incremental runs on threads and processes, storing and resuming",
    "rehearsal": "200 virtual tests of the demo split at the rig's controller rate",
}


def main(arguments: list[str] | None = None) -> int:
    """Parse the command line and run one benchmark; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    commands = parser.add_subparsers(dest="benchmark", required=True, metavar="NAME")
    for name, what in BENCHMARKS.items():
        command = commands.add_parser(name, help=what, description=what)
        command.add_argument("--json", metavar="F", help="also write the figures to this file")
        if name == "deadline":
            command.add_argument("--seconds", type=float, default=60.0, help="length of each paced loop (60)")
            command.add_argument(
                "--kills", type=int, default=50, help="SIGKILLs of either process (50; 0: none)"
            )
            command.add_argument("--full", action="store_true", help="500 kills")
            command.add_argument(
                "--part", choices=("demo", "tall"), help="one computed part alone (default: both)"
            )
        if name == "rehearsal":
            command.add_argument("--runs", type=int, default=200, help="virtual tests of each kind (200)")
        if name == "textbook":
            command.add_argument("cases", nargs="*", metavar="CASE", help="cases such as LS-1 (default: all)")
    args = parser.parse_args(arguments)
    return int(importlib.import_module(f"benchmarks.{args.benchmark}").main(args) or 0)


if __name__ == "__main__":
    sys.exit(main())
