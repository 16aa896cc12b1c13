"""How figures are taken and told."""

import statistics
import time
from pathlib import Path


def timed_ms(action, times):
    """Return how long `action(number)` lasted each time, sorted."""
    lasted = []
    for number in range(times):
        before_s = time.perf_counter()
        action(number)
        lasted.append((time.perf_counter() - before_s) * 1000)
    return sorted(lasted)


def heading(title):
    print(f"\n{title:<56} {'times':>6} {'p50 ms':>9} {'p99 ms':>9} {'p99.9 ms':>9} {'most ms':>9}")


def tell(title, lasted_ms):
    times = len(lasted_ms)
    figures = (
        statistics.median(lasted_ms),
        lasted_ms[int(times * 0.99)],
        lasted_ms[int(times * 0.999)],
        lasted_ms[-1],
    )
    print(f"{title:<56} {times:>6}" + "".join(f" {figure:>9.3f}" for figure in figures))


def resident_mb(pid="self"):
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * 4096 / 1e6
