"""The command line. Commands import what they need when they run, so that help is instant."""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Any, NoReturn

import pneumo
from pneumo.harmless import harmless

SAFE, NOT_SAFE, BAD_INPUT, UNFINISHED, STOPPED = 0, 1, 2, 3, 130
"""Exit codes. Of two that apply the larger is given: what could not be finished is not known to be
unsafe, and never known to be safe."""

_EXAMPLES = {
    "check": """\
examples:
  pneumo check my_ride.yaml
""",
    "run": """\
examples:
  pneumo run sand_martin --scenario "every zone cycles"
  pneumo run sand_martin --do "at 1 s: close trim" --do "at 5 s: ride stop" --until "10 s"
  pneumo run sand_martin --do "at 1 s: close trim" --fault "trim_hose_2 leak 3 mm at 2 s" \\
      --until "20 s" --csv run.csv
""",
    "verify": """\
examples:
  pneumo verify
  pneumo verify my_ride.yaml --report report.html --json result.json
  pneumo verify my_ride.yaml --zone trim --no-faults
""",
    "dashboard": """\
examples:
  pneumo dashboard
  pneumo dashboard my_ride.yaml --speed 2
  pneumo dashboard drill_3.yaml
  pneumo dashboard my_ride.yaml --host
  pneumo dashboard my_ride.yaml --host 192.0.2.7:8470
  pneumo dashboard drill_1 --class 8 --host 0.0.0.0
""",
    "drill": """\
examples:
  pneumo drill drill_1
  pneumo drill my_drill.yaml --script lines.txt
""",
    "drill-new": """\
examples:
  pneumo drill new my_ride.yaml --level 3 --seed 17 --to drill.yaml
  pneumo drill new sand_martin --level 2 --seed 4 --to drill.yaml --sealed
""",
    "seal": """\
examples:
  pneumo seal my_drill.yaml --to monday.yaml
  pneumo seal monday.yaml --as plain --to my_drill.yaml
""",
    "history": """\
examples:
  pneumo history
  pneumo history "A. Miller" --csv results.csv
  pneumo history "A. Miller" --forget
""",
    "join": """\
examples:
  pneumo join 127.0.0.1
  pneumo join pier.local:8470
""",
    "serve": """\
examples:
  pneumo serve
  pneumo serve my_ride.yaml --port 8080
""",
    "faults": """\
examples:
  pneumo faults sand_martin
  pneumo faults my_ride.yaml --component trim_valve_a
""",
    "diagnosability": """\
examples:
  pneumo diagnosability sand_martin
  pneumo diagnosability my_ride.yaml --json faults.json
""",
    "schema": """\
examples:
  pneumo schema > circuit.schema.json
""",
}


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        """Arguments may be names of files that somebody else chose."""
        super().error(harmless(message))


class _Program(_Parser):
    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """`drill new` is a command of its own, and the name of no file."""
        words = list(sys.argv[1:] if args is None else args)
        first = next((i for i, word in enumerate(words) if not word.startswith("-")), 0)
        if words[first : first + 2] == ["drill", "new"]:
            words[first : first + 2] = ["drill-new"]
        return super().parse_known_args(words, namespace)


def build_parser() -> argparse.ArgumentParser:
    """The parser of every command."""
    debug = _Parser(add_help=False)
    debug.add_argument(
        "--debug",
        action="store_true",
        default=argparse.SUPPRESS,
        help="show where the program failed, if it fails",
    )
    parser = _Program(
        prog="pneumo",
        parents=[debug],
        description="Simulate compressed-air brake circuits and their zone logic, inject faults, "
        "and verify that every zone reaches its safe state.",
        epilog="exit codes: 0 all safe, 1 something is not safe, 2 bad input, 3 could not be "
        "finished. FILE is a circuit document or the name of one that comes with pneumo "
        "(sand_martin, 01_spring_open_single, ...). pneumo calculates; it never certifies a ride.",
    )
    parser.add_argument("--version", action="version", version=f"pneumo {pneumo.__version__}")
    parser.add_argument(
        "--print-completion",
        choices=("bash", "zsh", "tcsh"),
        metavar="SHELL",
        help="print a completion script for bash, zsh or tcsh and stop",
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=_Parser)

    def add(name: str, text: str) -> argparse.ArgumentParser:
        return commands.add_parser(
            name,
            prog=f"pneumo {name.replace('-', ' ')}",
            help=text,
            description=text[0].upper() + text[1:] + ".",
            epilog=_EXAMPLES[name],
            parents=[debug],
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )

    check = add("check", "check a circuit document and report every finding at once")
    _add_file(check)
    _add_passphrase(check)
    _add_run(add("run", "run a circuit, with a scenario, commands and faults"))
    _add_verify(add("verify", "verify that every zone reaches its safe state in every case"))
    faults = add("faults", "list the faults that can be injected, component by component")
    _add_file(faults)
    faults.add_argument("--component", metavar="NAME", help="only this component")
    _add_diagnosability(
        add("diagnosability", "tell which faults can be told apart, and what would tell more")
    )
    _add_dashboard(add("dashboard", "run a ride on screen and inject faults"))
    _add_drill(add("drill", "practise on a drill in plain lines, from briefing to debrief"))
    _add_new_drill(add("drill-new", "make a drill (drill new): a fault drawn by a seed, its level, "
                       "and what the operator says"))  # fmt: skip
    _add_seal(add("seal", "write a drill anew, encrypted by a passphrase"))
    history = add("history", "show what came of the drills that were finished here")
    history.add_argument("name", nargs="?", metavar="TRAINEE", help="of this trainee only")
    history.add_argument("--csv", metavar="F", help="write the results to a CSV file")
    history.add_argument("--forget", action="store_true",
                         help="delete the results of this trainee")  # fmt: skip
    join = add("join", "join a ride in another terminal, in the trainee's seat")
    join.add_argument("address", metavar="ADDRESS[:PORT]",
                      help="where the trainer's dashboard runs; it asks for the code")  # fmt: skip
    serve = add("serve", "show the dashboard in a browser")
    _add_file(serve, default="sand_martin", text="circuit document or drill")
    serve.add_argument("--host", default="127.0.0.1", metavar="ADDRESS",
                       help="where to listen; default: this machine only")  # fmt: skip
    serve.add_argument("--port", type=int, default=8000, metavar="N")
    _add_passphrase(serve)
    add("schema", "print the JSON Schema of circuit documents, for editor completion")
    return parser


def _add_diagnosability(parser: argparse.ArgumentParser) -> None:
    _add_file(parser, text="circuit document; of a drill its ride")
    parser.add_argument("--json", metavar="F", help="write the result to a JSON file")
    parser.add_argument("--all", action="store_true", dest="everything",
                        help="print every line of every list")  # fmt: skip


def _add_seal(seal: argparse.ArgumentParser) -> None:
    _add_file(seal, text="drill")
    seal.add_argument("--to", metavar="F", required=True, help="file to write")
    seal.add_argument("--as", dest="how", choices=("sealed", "obscured", "plain"),
                      default="sealed",
                      help="encrypted by a passphrase (the default); not readable at a glance; "
                      "in clear, to be edited")  # fmt: skip
    _add_passphrase(seal)


def _add_drill(drill: argparse.ArgumentParser) -> None:
    _add_file(drill, default="drill_1", text="drill")
    drill.add_argument("--continue", dest="run", metavar="RUN",
                       help="go on with a drill that was left or cut off")  # fmt: skip
    drill.add_argument("--no-record", action="store_true",
                       help="do not keep the run in a file")  # fmt: skip
    drill.add_argument("--report", metavar="F.html",
                       help="write the debrief as a page to print")  # fmt: skip
    drill.add_argument("--name", metavar="TRAINEE",
                       help="keep what came of it in the history, under this name")  # fmt: skip
    _add_passphrase(drill)
    drill.add_argument("--script", metavar="LINES",
                       help="take the lines from a file; stop at the first that cannot be "
                       "done")  # fmt: skip


def _add_new_drill(new: argparse.ArgumentParser) -> None:
    _add_file(new)
    new.add_argument("--level", type=int, choices=range(1, 6), required=True,
                     help="1 the easiest, 5 the hardest: how many tests and minutes the best "
                     "strategy takes, among how many the fault hides, what misleads")  # fmt: skip
    new.add_argument("--seed", type=int, metavar="N", required=True,
                     help="the same number gives the same drill")  # fmt: skip
    new.add_argument("--to", metavar="F", required=True, help="file to write")
    new.add_argument("--sealed", action="store_true",
                     help="encrypted by a passphrase; else not readable at a glance")  # fmt: skip
    _add_passphrase(new)


def _add_run(run: argparse.ArgumentParser) -> None:
    _add_file(run)
    run.add_argument("--scenario", metavar="NAME", help="a scenario of the document")
    run.add_argument("--until", metavar="TIME", help='how long, e.g. "20 s"')
    run.add_argument(
        "--fault",
        action="append",
        default=[],
        metavar="FAULT",
        help='"COMPONENT MODE [SEVERITY] [at TIME] [over TIME | every TIME for TIME]"; repeatable',
    )
    run.add_argument(
        "--do",
        action="append",
        default=[],
        metavar="EVENT",
        help='"at TIME: SENTENCE", as in the scenarios of a document; repeatable',
    )
    run.add_argument("--csv", metavar="F", help="write every signal to a CSV file")
    run.add_argument("--json", metavar="F", help="write signals and events to a JSON file")
    run.add_argument("--step", metavar="TIME", help="time step of the written signals")


def _add_verify(verify: argparse.ArgumentParser) -> None:
    _add_file(verify, default="sand_martin")
    verify.add_argument("--json", metavar="F", help="write the result to a JSON file")
    verify.add_argument("--report", metavar="F.html", help="write a self-contained HTML report")
    verify.add_argument("--diagnosability", action="store_true",
                        help="tell in the report which faults can be told apart")  # fmt: skip
    verify.add_argument("--zone", action="append", metavar="ZONE",
                        help="only faults of this zone and what it shares; repeatable")  # fmt: skip
    verify.add_argument("--no-faults", action="store_true",
                        help="only the losses of air and power")  # fmt: skip
    verify.add_argument("--workers", type=int, metavar="N",
                        help="processes to use; default: one per processor")  # fmt: skip
    verify.add_argument("--progress", action="store_true",
                        help="write a line \"progress DONE TOTAL\" to standard error after each "
                        "case, for other programs")  # fmt: skip
    verify.add_argument("--all", action="store_true", dest="everything",
                        help="also show the rows in which every zone is safe")  # fmt: skip


def _add_dashboard(dashboard: argparse.ArgumentParser) -> None:
    _add_file(dashboard, default="sand_martin", text="circuit document or drill")
    dashboard.add_argument("--drill", action="store_true",
                           help="take the trainee's seat: only what instruments show; the "
                           "default for a drill, unless a trainee joins")  # fmt: skip
    dashboard.add_argument("--host", nargs="?", const="", metavar="ADDRESS:PORT",
                           help="let a trainee join from another terminal; without an address "
                           "only from this machine")  # fmt: skip
    dashboard.add_argument("--class", dest="size", type=int, metavar="N",
                           help="a drill for a class: up to N trainees (8 at most) join by name, "
                           "each at a ride of their own, and the trainer has a board of "
                           "them")  # fmt: skip
    dashboard.add_argument("--speed", type=float, metavar="N",
                           help="speed, 0.1 to 50 times real time")  # fmt: skip
    dashboard.add_argument("--continue", dest="run", metavar="RUN",
                           help="continue a recorded run, or a class")  # fmt: skip
    dashboard.add_argument("--name", metavar="TRAINEE",
                           help="keep what came of a drill in the history, under this "
                           "name")  # fmt: skip
    _add_passphrase(dashboard)
    dashboard.add_argument("--no-record", action="store_true",
                           help="do not keep the run in a file")  # fmt: skip


def _add_passphrase(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--passphrase-file", metavar="F",
                        help="the passphrase of a sealed drill is the first line of this file; "
                        "default: the variable PNEUMO_PASSPHRASE, or it is asked for")  # fmt: skip


def _add_file(
    parser: argparse.ArgumentParser, default: str | None = None, text: str = "circuit document"
) -> None:
    optional = {} if default is None else {"nargs": "?", "default": default}
    action = parser.add_argument("file", metavar="FILE", help=text, **optional)  # type: ignore[arg-type]
    action.complete = {"bash": "_shtab_compgen_files", "zsh": "_files"}  # type: ignore[attr-defined]


def program() -> NoReturn:
    """Entry point of the program: `main` in a process of its own, which may be set up for it."""
    # linear algebra is done by our own kernels; a pool of threads for it would only take time
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # what is imported stays: looking through it for garbage, now or at the end, is wasted
    gc.disable()
    from pneumo.commands.streams import fill_closed_descriptors

    fill_closed_descriptors()
    code = main()
    gc.freeze()
    sys.exit(code)


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command; returns its exit code."""
    from pneumo.commands.streams import kept_streams

    leaving: SystemExit | None = None
    with kept_streams() as results:
        try:
            code = _main(arguments)
        except SystemExit as error:  # argparse: help, version, or arguments that make no sense
            leaving = error
        results.flush()
        if results.failure is not None:
            reason = results.failure.strerror
            print(f"pneumo: the result could not be printed ({reason}).", file=sys.stderr)
            return UNFINISHED
    if leaving is not None:
        raise leaving
    return code


def _carried_out(options: argparse.Namespace) -> int:
    from pneumo.commands import starting

    opens = {"dashboard": "run", "join": "address", "serve": "file"}.get(options.command)
    if opens is not None:
        name = getattr(options, opens) or getattr(options, "file", "")
        starting.say(f"pneumo: {name or 'the ride'}: loading the program")
    try:
        code: int = _command(options.command).main(options)
        return code
    finally:
        starting.done()


def _command(name: str) -> Any:
    """The module of a command."""
    return import_module(f"pneumo.commands.{name.replace('-', '_')}")


def _main(arguments: Sequence[str] | None) -> int:
    parser = build_parser()
    options = parser.parse_args(arguments)
    if options.print_completion:
        import shtab

        print(shtab.complete(parser, options.print_completion))
        return SAFE
    if options.command is None:
        if not (sys.stdin.isatty() and sys.stdout.isatty()):
            parser.print_help()
            return SAFE
        options = parser.parse_args(["dashboard"])
    # not at the top: help does not wait for it
    from pneumo.errors import DocumentError, InputError, UnfinishedError

    options.debug = getattr(options, "debug", False)
    try:
        code = _carried_out(options)
    except DocumentError as error:
        from pneumo.commands.console import error_console
        from pneumo.report.text import print_findings

        print_findings(error_console(), error.findings)
        return BAD_INPUT
    except UnfinishedError as error:
        print(f"pneumo: {error}", file=sys.stderr)
        return _unfinished(options)
    except InputError as error:
        print(f"pneumo: {error}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print("pneumo: stopped; nothing half-written was left behind.", file=sys.stderr)
        return STOPPED
    except Exception as error:
        print(f"pneumo: {_failure(error)}", file=sys.stderr)
        return _unfinished(options)
    return code


def _unfinished(options: argparse.Namespace) -> int:
    if options.debug:
        import traceback

        traceback.print_exc()
    return UNFINISHED


def _failure(error: Exception) -> str:
    """An error that nobody foresaw, in a sentence."""
    text = harmless(" ".join(str(error).split()))
    if isinstance(error, OSError) and error.strerror:
        where = f"{harmless(str(error.filename))}: " if error.filename else ""
        return f"this could not be finished: {where}{error.strerror}. --debug shows where."
    if isinstance(error, MemoryError):
        return "this could not be finished: there is not enough memory. --debug shows where."
    told = f"{type(error).__name__}: {text}" if text else type(error).__name__
    return (
        f"this could not be finished: the program failed ({told}). Run it again with --debug and "
        "report what it says."
    )
