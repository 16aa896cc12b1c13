"""Programs of ours as real processes, served by the processor as their units have them served."""

import subprocess
import sys

from etchwarden.practice_session.process_group import let_come_first


def started(parts, *words, **options):
    """Start `etchwarden WORDS`, to be killed when `parts` end; `options` are those of Popen.

    Daemon and practice machine come before other work, as `Nice=` of the unit says: what they are
    tried with must not be a pause of a computer that runs tests. That counts in a session of its
    own only.
    """
    child = subprocess.Popen(
        [sys.executable, "-m", "etchwarden", *words], start_new_session=True, **options
    )
    parts.callback(child.wait)
    parts.callback(child.kill)
    let_come_first(child.pid, words[0])
    return child
