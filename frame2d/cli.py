"""Command line: `frame2d demo`, `frame2d report`, `frame2d journal`, `frame2d specimen`."""

import argparse
import os
import sys
from collections.abc import Sequence

from frame2d import __version__
from frame2d.errors import Frame2dError, InputError


def parser() -> argparse.ArgumentParser:
    """All commands and their options."""
    top = argparse.ArgumentParser(
        prog="frame2d",
        description="Plane steel frames with replaceable devices: model, analyse, test, compare, report.",
        epilog="CAUTION: results support, and never replace, design to the local code by licensed engineers. A rig needs "
        "hardware interlocks of its own; software limits are the second line, never the first. People stay clear of a "
        "loaded frame.",
    )
    top.add_argument("--version", action="version", version=__version__)
    commands = top.add_subparsers(dest="command", required=True)
    demo = commands.add_parser("demo", help="run the invented five-storey frame from gravity to animation")
    demo.add_argument("--out", default="out", help="folder for results (default: out)")
    demo.add_argument("--quick", action="store_true", help="shorter motion, no video")
    report = commands.add_parser("report", help="build report.html again from the stored results of a folder")
    report.add_argument("folder", help="folder with summary.json and results")
    report.add_argument("--to", help="page to write (default: report.html in the folder)")
    journal = commands.add_parser("journal", help="look into the journal of a hybrid test")
    journal.add_argument("action", choices=("list", "verify", "export"), help="what to do with it")
    journal.add_argument("file", help="journal file")
    journal.add_argument("--to", help="file to export to, .h5 or .csv")
    specimen = commands.add_parser(
        "specimen",
        help="serve a simulated rig to a hybrid test in another process",
        description="Serve a specimen behind its guard. The shared secret is read from FRAME2D_SECRET; without one "
        "only loopback is allowed. CAUTION: a rig needs hardware interlocks of its own, independent of this program; "
        "software limits are the second line, never the first. People stay clear of a loaded frame.",
    )
    specimen.add_argument("--host", default="127.0.0.1", help="address to listen on (default: loopback)")
    specimen.add_argument("--port", type=int, default=0, help="port (default: any free one)")
    specimen.add_argument(
        "--ready", metavar="FILE", help="write the address to FILE, as JSON, once it listens"
    )
    specimen.add_argument(
        "--memory", metavar="FILE", help="journal from which a killed specimen is brought back"
    )
    specimen.add_argument(
        "--silence",
        type=float,
        default=30.0,
        metavar="SECONDS",
        help="time without a word from the solver after which the guard acts (default: 30)",
    )
    specimen.add_argument(
        "--maker",
        default="frame2d.demo.laboratory:served_rig",
        metavar="MODULE:FUNCTION",
        help="function that returns (specimen, limits, table) (default: the demo's simulated rig, invented)",
    )
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; returns the exit status."""
    chosen = parser().parse_args(arguments)
    try:
        if chosen.command == "demo":
            from frame2d.demo import run_demo

            run_demo(chosen.out, quick=chosen.quick)
        elif chosen.command == "report":
            from frame2d.report import build_report

            print(f"written to {build_report(chosen.folder, chosen.to)}")
        elif chosen.command == "journal":
            return journal(chosen.action, chosen.file, chosen.to)
        elif chosen.command == "specimen":
            from frame2d.hybrid.command import run

            return run(chosen.maker, chosen.host, chosen.port, chosen.ready, chosen.memory, chosen.silence)
    except Frame2dError as error:
        print(f"frame2d: {error}", file=sys.stderr)
        return 1
    except BrokenPipeError:
        # Whoever reads what is printed (head, a pager) has seen enough; nothing more may be flushed at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        print("frame2d: interrupted", file=sys.stderr)
        return 130
    return 0


def journal(action: str, file: str, to: str | None) -> int:
    """List, verify or export a journal; returns 1 when it does not verify."""
    from frame2d.hybrid import journal as journals

    if action == "list":
        found = journals.rows(file)
        if not found:
            raise InputError(f"{file} holds no sound row of a journal. Likely mistake: another file")
        for row in found:
            print(f"{row.number:6d}  step {row.step:6d}  {row.kind:10s} {row.body}")
        return 0
    if action == "export":
        if to is None:
            raise InputError("journal export needs --to; allowed: a file that ends in .h5 or .csv")
        print(f"written to {journals.export(file, to)}")
        return 0
    verdict = journals.verify(file)
    print(verdict.text())
    return 0 if verdict.intact and verdict.sound == verdict.present else 1


if __name__ == "__main__":
    sys.exit(main())
