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
    print(f"\n{title:<56} {'times':>6} {'p50 ms':>9} {'p99 ms':>9} {'most ms':>9}")


def tell(title, lasted_ms):
    p99 = lasted_ms[int(len(lasted_ms) * 0.99)]
    median = statistics.median(lasted_ms)
    print(f"{title:<56} {len(lasted_ms):>6} {median:>9.3f} {p99:>9.3f} {lasted_ms[-1]:>9.3f}")


def resident_mb():
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096 / 1e6
