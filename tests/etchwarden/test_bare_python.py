"""The installer as the system's own Python runs it: no library of ours is there yet."""

import subprocess
import sys

from support.harnesses.install_bench import ROOT

IMPORT = """
import sys
sys.path.insert(0, sys.argv[1])
import etchwarden.installation.command
print("msgspec" in sys.modules)
"""


def test_the_installer_needs_no_library():
    # -S leaves site-packages out, -I everything of the environment (python --help).
    done = subprocess.run(
        [sys.executable, "-S", "-I", "-c", IMPORT, ROOT / "daemon"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert (done.stderr, done.stdout) == ("", "False\n")
