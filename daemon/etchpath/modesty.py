"""What a child process does to itself first, so that the machine's own loop never waits for it."""

import os
import resource
from typing import Final

DEFAULT_MEMORY_MB: Final = 400
_LOWER_PRIORITY: Final = 10
_BYTES_PER_MB: Final = 1024 * 1024


def be_modest(memory_mb: int) -> None:
    """Lower this process's priority and limit its address space; call before numpy is loaded."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # its threads would reserve address space each
    os.nice(_LOWER_PRIORITY)
    limit = memory_mb * _BYTES_PER_MB
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    if hard != resource.RLIM_INFINITY:
        limit = min(limit, hard)
    resource.setrlimit(resource.RLIMIT_AS, (limit, hard))
