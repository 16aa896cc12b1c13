"""Jigs as the command line names them: one that the machine keeps, or a file."""

from pathlib import Path

from etchphoto.errors import UnfitDesign
from etchphoto.layout.jig import Jig
from etchphoto.layout.jig_file import read_jig
from etchwarden.shared.machine_calls import daemon_at
from etchwire.calls.catalogue import Jigs


def find_jig(name: str, socket: Path | None) -> Jig:
    """Return the jig that the machine keeps under this name, or that of the file `name`.

    Raise UnfitDesign, with a sentence, where there is neither.
    """
    if Path(name).exists() or socket is None:
        return read_jig(Path(name))
    with daemon_at(socket) as daemon:
        kept = {one.name: one.jig for one in daemon.ask(Jigs()).jigs}
    if name not in kept:
        keeps = f"only {', '.join(kept)}" if kept else "none yet"
        raise UnfitDesign(
            f"there is no file {name}, and of jigs of this name the machine keeps {keeps}"
        )
    return Jig.of_record(kept[name])
