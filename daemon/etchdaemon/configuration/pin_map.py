"""Which pin is which: all that is needed to read the inputs and to drive the outputs safe."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

from etchwire.storing import write_whole
from etchwire.transport.json_text import JsonTable

FORMAT: Final = "etchwarden-pins"


@dataclass(frozen=True, slots=True)
class Pin:
    """A line of the chip by its number, and the level that means closed or on."""

    number: int
    is_high_on: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class PinMap:
    """The pins of a box by name, and the label of the chip that has them."""

    chip_label: str
    inputs: Mapping[str, Pin]
    outputs: Mapping[str, Pin]

    def to_json(self) -> str:
        """Return the text that `outputs_in_json` reads, for the program that drives all safe."""
        outputs = {name: [pin.number, pin.is_high_on] for name, pin in self.outputs.items()}
        return json.dumps({"format": FORMAT, "chip": self.chip_label, "outputs": outputs})

    def inputs_json(self) -> str:
        """Return which pin each input has, as a text that differs where anything of it does."""
        inputs = {name: [pin.number, pin.is_high_on] for name, pin in self.inputs.items()}
        return json.dumps({"chip": self.chip_label, "inputs": inputs}, sort_keys=True)

    def write(self, path: Path) -> None:
        """Put the map at `path`, whole or not at all."""
        write_whole(path, self.to_json())

    @classmethod
    def of_outputs(cls, table: JsonTable) -> Self:
        """Read what `to_json` wrote, once it is a table; raise KeyError, TypeError, ValueError."""
        if table["format"] != FORMAT:
            raise ValueError("this is no pin map of ours")
        outputs = {
            str(name): Pin(int(number), bool(is_high_on))
            for name, (number, is_high_on) in table["outputs"].items()
        }
        return cls(chip_label=str(table["chip"]), inputs={}, outputs=outputs)
