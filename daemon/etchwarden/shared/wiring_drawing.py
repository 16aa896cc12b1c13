"""Where the wiring drawing lies, as commands say it."""

from pathlib import Path
from typing import Final

import etchweb

DRAWING: Final = Path(etchweb.__file__).with_name("static") / "machine" / "wiring.svg"
SEE_DRAWING: Final = f"How it is wired, for a qualified person: the Machine page, or {DRAWING}"
