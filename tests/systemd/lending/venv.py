"""`python -m venv`, which unpacks pip for the first environment and lends it to all others.

Python's own takes four seconds of processor time to unpack and compile the same pip each time.
"""

import os
import shutil
import sys
from pathlib import Path

LENT = Path(os.environ["LENT_PIP"])  # a folder that is there once an environment was whole


def main(arguments):
    sys.path.remove(str(Path(__file__).parent))
    import venv  # noqa: PLC0415 - Python's own: ours is no longer on the path

    if LENT.exists():
        venv.main(["--without-pip", *arguments])
        shutil.copytree(LENT, libraries_of(arguments), copy_function=os.link, dirs_exist_ok=True)
        return
    venv.main(arguments)
    unfinished = LENT.with_suffix(f".{os.getpid()}")
    shutil.copytree(libraries_of(arguments), unfinished, copy_function=os.link)
    unfinished.rename(LENT)


def libraries_of(arguments):
    (libraries,) = Path(arguments[-1]).glob("lib/python3.*/site-packages")
    return libraries


if __name__ == "__main__":
    main(sys.argv[1:])
