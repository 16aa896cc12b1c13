"""What this computer does with an output when the program that drove it has died."""

from collections.abc import Iterator
from pathlib import Path
from typing import Final

PARAMETERS: Final = "module/pinctrl_*/parameters/persist_gpio_outputs"


def warnings_of_persistence(system: Path = Path("/sys")) -> Iterator[str]:
    """Yield a sentence for each pin driver that keeps outputs on after a crash.

    Such a kernel leaves a relay closed behind a dead daemon until `etchwarden-safe` has run; on
    the boards that have it, the line `dtparam=strict_gpiod` in config.txt ends that.
    """
    for path in sorted(system.glob(PARAMETERS)):
        try:
            is_kept = path.read_text().strip() in ("Y", "1")
        except OSError:
            continue
        if is_kept:
            driver = path.parts[-3]
            yield (
                f"This kernel ({driver}) keeps outputs on when their program dies. "
                "Put “dtparam=strict_gpiod” into config.txt."
            )
