"""`systemd/install`: what it takes, what it says, and the one question it asks."""

import argparse
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Final

from etchwarden.installation.advice import boot_advice, font_advice
from etchwarden.installation.board import LiveBoard
from etchwarden.installation.building import built_wheel
from etchwarden.installation.change import Change
from etchwarden.installation.errors import InstallationError, Refused
from etchwarden.installation.layout import layout_of
from etchwarden.installation.paths import Places
from etchwarden.installation.releases import Releases
from etchwarden.installation.removal import remove, removed
from etchwarden.installation.undisturbed import one_at_a_time
from etchwarden.installation.wheel import Wheel, require_newer

AFTERWARDS: Final = """\
Next, for each machine (here called “left”):
  sudo etchwarden configure left
  sudo systemctl enable --now etchwarden-daemon@left
Then let a phone in, and have the board look itself over:
  sudo etchwarden pair
  sudo etchwarden doctor"""


def main(checkout: Path, arguments: Sequence[str] | None = None) -> int:
    """Install from `checkout`, or take away; return the exit code."""
    options = _parser().parse_args(arguments)
    try:
        with ExitStack() as parts:
            _work(options, checkout, parts)
    except InstallationError as error:
        say(f"Error: {error}")
        return 1
    except OSError as error:
        say(f"Error: {error.filename or options.root}: {error.strerror}.")
        return 1
    except KeyboardInterrupt:
        say("Interrupted. Run it again to finish.")
        return 1
    return 0


def _work(options: argparse.Namespace, checkout: Path, parts: ExitStack) -> None:
    places = Places(options.root.resolve())
    if not options.dry_run and places.is_board and os.geteuid() != 0:
        raise Refused("Installing needs root. Use sudo.")
    if options.uninstall:
        _uninstall(options, places)
        return
    path = options.wheel or parts.enter_context(built_wheel(checkout, options.wheelhouse))
    wheel = Wheel.at(path)
    _install(options, places, wheel)


def _install(options: argparse.Namespace, places: Places, wheel: Wheel) -> None:
    releases = Releases(places, options.wheelhouse)
    require_newer(wheel, releases.current(), older=options.older)
    say(f"This installs Etchwarden {wheel.version} and lays these files:")
    for line in planned(places, wheel):
        say(f"  {line}")
    board = LiveBoard.here(places, say)
    if board.has_units:
        say("Users, device rules and units are made known to the system; the page is started.")
    if not _goes_on(options):
        _say_advice(places)
        return
    change = Change(
        places=places,
        releases=releases,
        board=board,
        wheel=wheel,
        say=say,
    )
    change.run()
    say("Installed.")
    _say_advice(places)
    say("To look it over: sudo etchwarden doctor" if places.machines() else AFTERWARDS)


def _say_advice(places: Places) -> None:
    for sentence in (*boot_advice(places.root), *font_advice(places.root)):
        say(f"What only you can do: {sentence}")


def _uninstall(options: argparse.Namespace, places: Places) -> None:
    say("This takes away the following; records and settings stay:")
    for path in removed(places):
        say(f"  {path}")
    if not _goes_on(options):
        return
    with one_at_a_time(places):
        board = LiveBoard.here(places, say)
        busy = board.busy()
        if busy:
            raise Refused("\n".join((*busy, "Nothing was taken away.")))
        board.disable()
        remove(places)
        board.forget()
    say(f"Taken away. The records are in {places.records}, the settings in {places.settings}.")


def planned(places: Places, wheel: Wheel) -> Iterator[str]:
    """Yield each file and folder that installing lays, sorted, without the board's root folder."""
    laid = [str(file.target) for file in layout_of(wheel.board)]
    ours = [places.current, places.files, places.command, places.lock]
    if places.current.is_symlink() and places.current.resolve().name != wheel.label:
        ours.append(places.previous)
    own = [f"/{path.relative_to(places.root)}" for path in ours]
    yield from sorted([*laid, *own, f"/opt/etchwarden/releases/{wheel.label}/"])


def _goes_on(options: argparse.Namespace) -> bool:
    if options.dry_run:
        say("A dry run: nothing was changed.")
        return False
    if options.yes:
        return True
    if not sys.stdin.isatty():
        raise Refused("Nobody is there to be asked. Use --yes.")
    if input("Go on? [y/N] ").strip().lower() in ("y", "yes"):
        return True
    say("Nothing was changed.")
    return False


def say(text: str) -> None:
    """Tell whoever stands at the board."""
    with suppress(OSError):  # the line to the board may have gone; the work goes on
        sys.stdout.write(f"{text}\n")
        sys.stdout.flush()


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="install",
        description="Install Etchwarden on this board, or bring it to the version of this folder.",
        epilog="Run twice it changes nothing; cut short, run it again.",
    )
    add = parser.add_argument
    add("--yes", action="store_true", help="do not ask")
    add("--dry-run", action="store_true", help="say what would be done, and do nothing")
    add("--uninstall", action="store_true", help="take everything away but records and settings")
    add("--older", action="store_true", help="go to an older version than the one in use")
    add(
        "--wheel", type=_file, metavar="FILE", help="install this wheel, not the one of this folder"
    )
    add(
        "--wheelhouse",
        type=_folder,
        metavar="FOLDER",
        help="take libraries from wheels in this folder, for a board without internet",
    )
    add(
        "--root",
        type=Path,
        default=Path("/"),
        metavar="FOLDER",
        help="install below this folder, as for a chroot; the system is told nothing then",
    )
    return parser


def _file(text: str) -> Path:
    path = Path(text)
    if not path.is_file():
        raise argparse.ArgumentTypeError(f"there is no file {text}")
    return path


def _folder(text: str) -> Path:
    path = Path(text)
    if not path.is_dir():
        raise argparse.ArgumentTypeError(f"there is no folder {text}")
    return path
