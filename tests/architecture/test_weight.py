"""What each process may load: the daemon stays small beside the serial line."""

import subprocess
import sys

import pytest

pytestmark = pytest.mark.slow

HEAVY = ("numpy", "PIL", "flask", "cv2", "waitress")


@pytest.mark.parametrize(
    "module", ["etchdaemon.assembly", "etchdaemon.service", "etchwarden.commands.daemon"]
)
def test_the_daemon_loads_nothing_heavy(module):
    script = f"import sys, {module}; print([name for name in {HEAVY} if name in sys.modules])"

    printed = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )

    assert printed.stdout.strip() == "[]"


def test_the_page_leaves_pictures_to_its_children():
    heavy = ("numpy", "PIL", "cv2")
    script = (
        "import sys, etchweb.app, etchwarden.commands.page;"
        f"print([name for name in {heavy} if name in sys.modules])"
    )

    printed = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )

    assert printed.stdout.strip() == "[]"
