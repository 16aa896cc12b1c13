"""Building the wheel of a checkout, in an environment of its own."""

import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from etchwarden.installation.errors import StepFailed
from etchwarden.installation.releases import run


@contextmanager
def built_wheel(checkout: Path, wheelhouse: Path | None) -> Iterator[Path]:
    """Give the wheel of the sources in `checkout`; what builds it is locked by hashes, too."""
    with tempfile.TemporaryDirectory(prefix="etchwarden-build-") as made:
        folder = Path(made)
        python = folder / "venv/bin/python"
        run([sys.executable, "-m", "venv", str(folder / "venv")])
        source = ["--no-index", f"--find-links={wheelhouse}"] if wheelhouse else []
        pip = [str(python), "-m", "pip", "--disable-pip-version-check"]
        environment = {**os.environ, "PIP_CONFIG_FILE": os.devnull}
        lock = checkout / "systemd/build.lock"
        run(
            [*pip, "install", "--quiet", "--require-hashes", "--only-binary=:all:", *source,
             "--requirement", str(lock)],
            environment,
        )  # fmt: skip
        run(
            [*pip, "wheel", "--quiet", "--no-deps", "--no-build-isolation", "--wheel-dir",
             str(folder), str(checkout)],
            environment,
        )  # fmt: skip
        wheel = next(folder.glob("*.whl"), None)
        if wheel is None:
            raise StepFailed(f"No wheel came of {checkout}.")
        yield wheel
