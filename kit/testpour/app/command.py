"""The `testpour` command: make a study folder, open it, check it, write its findings, back it up, share and pool logs.

Each verb is a function of the parsed arguments; `_parser` says which there are. It returns the exit status.
"""

import argparse
import signal
import sys
import webbrowser
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from testpour.common.files import free_for
from testpour.common.problems import Problems
from testpour.exchange.folder import FolderProblem, StudyFolder, make_folder
from testpour.study.study import StudyProblems
from testpour.study.study_file import read_study

FIRST = "0-start-here.ipynb"
CAUTION = (
    "Caution: listening at {ip}, so anyone on that network who has the address and its token can run code here. "
    "The traffic is not encrypted: others on the network can read it, token, log and notes included. "
    "Use it in a class room you trust, and stop it after the class."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the `testpour` command; 0 if all went well, 1 if something was refused or needs attention."""
    asked = _parser().parse_args(arguments)
    try:
        return asked.do(asked)
    except Problems as problem:
        where = asked.folder / problem.where if isinstance(problem, StudyProblems) and "folder" in asked else problem.where
        said = [f"{where}: {text}" for text in problem.problems]
    except KeyboardInterrupt:
        said = ["Stopped."]
    except (OSError, ValueError, RuntimeError) as problem:
        said = [_sentence(problem)]
    print("\n".join(said), file=sys.stderr)
    return 1


def _sentence(problem):
    """What went wrong, on one line."""
    if isinstance(problem, OSError) and problem.strerror:
        return f"{problem.filename or 'The system'}: {problem.strerror}."
    return " ".join(str(problem).split()) or type(problem).__name__


def _parser():
    parser = argparse.ArgumentParser(prog="testpour", description="Test pours of casting resin, in notebooks.")
    verbs = parser.add_subparsers(required=True, metavar="start|new|check|page|backup|package|pool")
    made = {}
    for name, do, words in (
        ("start", start, "make a folder with the demo study, or open a study, in JupyterLab"),
        ("new", new, "make a study folder with an empty log and a study file to fill in"),
        ("check", check, "read study and log, and say what is there and what is wrong"),
        ("page", page, "write the findings page: one file that opens anywhere"),
        ("backup", backup, "copy the log, with the date in its name, and reopen the copy"),
        ("package", package, "write the log as an open Data Package, to share or to keep"),
    ):
        made[name] = verbs.add_parser(name, help=words, description=words.capitalize() + ".")
        made[name].add_argument("folder", type=Path, nargs="?", default=Path(), metavar="FOLDER", help="the study folder; the one you are in if not given")
        made[name].set_defaults(do=do)
    made["start"].add_argument("--no-browser", action="store_true", help="print the address and open nothing")
    made["start"].add_argument("--port", type=int, metavar="N", help="port to use; the first free one from 8888")
    made["start"].add_argument("--ip", default="127.0.0.1", help="for a class server; this machine only if not given")
    made["page"].add_argument("--room", help='room the advice is for, such as "18 degC"; those of the log if not given')
    made["page"].add_argument("--to", type=Path, help="file to write; findings.html in the study folder if not given")
    made["backup"].add_argument("to", type=Path, nargs="?", metavar="TO", help="file to write; beside the log if not given")
    made["package"].add_argument("to", type=Path, nargs="?", metavar="TO", help="new folder or .zip; package.zip in FOLDER if not given")
    made["package"].add_argument("--licence", default="CC0-1.0", help="what others may do with it; CC0-1.0 (anything) if not given")
    made["package"].add_argument("--names", action="store_true", help="with initials, notes, corrections and photographs")
    _add_pool(verbs)
    return parser


def _add_pool(verbs):
    """The verb that takes several folders."""
    verb = verbs.add_parser("pool", help="join the logs of several benches and write what they found", description="Join logs.")
    verb.add_argument("benches", type=Path, nargs="+", metavar="BENCH", help="a study folder or a Data Package each")
    verb.add_argument("--to", type=Path, default=Path("pool.html"), help="page to write; pool.html here if not given")
    verb.add_argument("--beliefs", type=Path, metavar="FILE", help="write what they know as beliefs for a new bench")
    verb.add_argument("--leave-out", action="store_true", help="join what can be joined, and name the rest")
    verb.set_defaults(do=pool)


def start(asked: argparse.Namespace) -> int:
    """Make or find the study folder and open JupyterLab on its first notebook, until Ctrl-C."""
    from testpour.app.claim import HERE, claimed, free_port, running

    if address := running(asked.folder):
        return _already(asked, address)
    port = free_port(asked.port, asked.ip)
    folder = make_folder(asked.folder)
    print(folder.sentence())
    if asked.ip not in (HERE, "localhost"):
        print(CAUTION.format(ip=asked.ip), file=sys.stderr)
    _handle_signals()
    try:
        with claimed(folder.path, waits=lambda: print("Another start is opening it; waiting for that one.", flush=True)) as address:
            return _already(asked, address) if address else _serve(asked, folder, port)
    except KeyboardInterrupt:
        print("\nStopped. Everything logged is kept.")
        return 0


def _serve(asked, folder, port):
    """Run JupyterLab on the folder until it ends; at another port if another start took `port` first."""
    from testpour.app.claim import PortLost, free_port
    from testpour.app.lab import Lab, serving

    notebook = FIRST if FIRST in folder.notebooks else next(iter(folder.notebooks), "")
    lab = Lab(folder.path, notebook, port, asked.ip)
    try:
        with serving(lab, browser=not asked.no_browser) as server:
            print(f"Open {lab.address}\nStop with Ctrl-C.", flush=True)
            return 1 if server.wait() else 0
    except PortLost:
        return _serve(asked, folder, free_port(asked.port, asked.ip))


def _already(asked, address):
    """Say where the study is open already; two servers on one study would save over each other's notebooks."""
    print(f"{asked.folder} is open in JupyterLab already, so no second one was started.\nOpen {address}")
    if not asked.no_browser:
        webbrowser.open(address)
    return 0


def _handle_signals():
    """Let a closed terminal or a plain `kill` end the server the way Ctrl-C does."""
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.default_int_handler)


def new(asked: argparse.Namespace) -> int:
    """Make a study folder without demo data."""
    folder = make_folder(asked.folder, demo=False)
    print(folder.sentence())
    if folder.fresh:
        print(f"Next: testpour start {folder.path}. Its first notebook asks you for the study; your answers are kept in its study.toml.")
    return 0


def check(asked: argparse.Namespace) -> int:
    """Say what is in the study folder, and what is wrong with it."""
    from testpour.app.checkup import examine

    study = _study(asked.folder)
    there, problems = examine(study)
    print(study.sentence(), StudyFolder(study.folder).contents(), *there, sep="\n")
    if problems:
        print(*problems, sep="\n", file=sys.stderr)
    return 1 if problems else 0


def page(asked: argparse.Namespace) -> int:
    """Write the findings page of the study."""
    from testpour.logbook.book import Logbook
    from testpour.models.fits import fit_castings
    from testpour.report.page import PAGE, findings_page

    study = _study(asked.folder)
    to = free_for(asked.to or asked.folder / "findings.html", PAGE.of(study.name))
    with closing(Logbook(study)) as log:
        fits, photos = fit_castings(log.castings()), log.photos()
    print(findings_page(fits, to, room=asked.room, photos=photos).sentence())
    return 0


def backup(asked: argparse.Namespace) -> int:
    """Copy the log and verify the copy."""
    from testpour.logbook.backup import back_up

    print(back_up(_study(asked.folder), asked.to).sentence())
    return 0


def package(asked: argparse.Namespace) -> int:
    """Write the log as a Data Package."""
    from testpour.exchange.package import write_package
    from testpour.logbook.book import Logbook

    with closing(Logbook(_study(asked.folder))) as log:
        made = write_package(log, asked.to or asked.folder / "package.zip", asked.licence, asked.names)
    print(f"Written and read again. {made.sentence()}")
    return 0


def pool(asked: argparse.Namespace) -> int:
    """Join the logs of several benches."""
    from testpour.pooling import belief_file
    from testpour.pooling.pool import PAGE
    from testpour.pooling.pool import pool as join

    free_for(asked.to, PAGE)
    if asked.beliefs:
        free_for(asked.beliefs, belief_file.FILE)
    print(*(f"Bench {number} is {path}." for number, path in enumerate(asked.benches, 1)), sep="\n")
    found = join(asked.benches, leave_out=asked.leave_out)
    print(found.sentence(), found.page(asked.to), sep="\n")
    if asked.beliefs:
        print(found.beliefs(asked.beliefs))
    return 0


def _study(folder):
    if not folder.is_dir():
        raise FolderProblem(f"{folder} is not a folder. Make a study folder with: testpour new {folder}")
    return read_study(folder)


if __name__ == "__main__":
    sys.exit(main())
