"""Building the wheel of a checkout, in an environment of its own."""

import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from etchwarden.installation.errors import StepFailed
from etchwarden.installation.programs import make_environment, pip, source_of


@contextmanager
def built_wheel(checkout: Path, wheelhouse: Path | None) -> Iterator[Path]:
    """Give the wheel of the sources in `checkout`; what builds it is locked by hashes, too."""
    with tempfile.TemporaryDirectory(prefix="etchwarden-build-") as made:
        folder = Path(made)
        venv = folder / "venv"
        make_environment(sys.executable, venv)
        pip(
            venv, "install", "--quiet", "--require-hashes", "--only-binary=:all:",
            *source_of(wheelhouse), "--requirement", str(checkout / "systemd/build.lock"),
        )  # fmt: skip
        pip(
            venv, "wheel", "--quiet", "--no-deps", "--no-build-isolation", "--wheel-dir",
            str(folder), str(checkout),
        )  # fmt: skip
        wheel = next(folder.glob("*.whl"), None)
        if wheel is None:
            raise StepFailed(f"No wheel came of {checkout}.")
        yield wheel
