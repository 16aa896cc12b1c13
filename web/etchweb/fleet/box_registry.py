"""What the broker has told of the shop's boxes: words in, boxes out."""

import json
import re
from dataclasses import dataclass, field
from typing import Final

from etchweb.fleet.topics import AWAY, DESCRIPTION, INIT, LOST, OF_OURS, READY, ROOT, STATE

LONGEST_WORD_BYTES: Final = 16_384
MOST_BOXES: Final = 200
MOST_WORDS: Final = 60
TOPIC_ID: Final = re.compile(r"[a-z0-9-]{1,80}")  # Homie 5, "Topic IDs"
_WHY_AWAY: Final = {
    INIT: "Its control program is not running.",
    AWAY: "It signed off: the box or its page is switched off.",
    LOST: "Gone without signing off: check its power and its network.",
    "": "It has not said whether it is there.",
}


@dataclass(slots=True)
class Box:
    """One box, by what it told last; a property that was not told is missing."""

    name: str
    state: str = ""
    is_ours: bool = False
    words: dict[str, str] = field(default_factory=dict)

    @property
    def is_there(self) -> bool:
        """Whether the box is connected and its daemon answers."""
        return self.state == READY

    @property
    def absence(self) -> str:
        """Return why it cannot be believed any more, or nothing."""
        return "" if self.is_there else _WHY_AWAY.get(self.state, _WHY_AWAY[""])

    def said(self, path: str) -> str:
        """Return what it says of `path`, or nothing."""
        return self.words.get(path, "")

    def to_table(self) -> dict[str, str]:
        """Return everything as plain values."""
        return {"name": self.name, "state": self.state, **self.words}


class BoxRegistry:
    """The boxes of the shop; whatever else is told at the broker is not ours to show."""

    def __init__(self) -> None:
        self._boxes: dict[str, Box] = {}

    def take(self, topic: str, word: bytes) -> None:
        """Note a word; an empty one takes the topic back."""
        parts = topic.removeprefix(f"{ROOT}/").split("/")
        if not topic.startswith(f"{ROOT}/") or len(parts) not in (2, 3):
            return
        if len(word) > LONGEST_WORD_BYTES or not TOPIC_ID.fullmatch(parts[0]):
            return
        box = self._boxes.get(parts[0])
        if box is None:
            if not word or len(self._boxes) >= MOST_BOXES:
                return
            box = self._boxes[parts[0]] = Box(parts[0])
        _note(box, "/".join(parts[1:]), word.decode("utf-8", "replace"))

    def boxes(self) -> list[Box]:
        """Return our boxes, by name."""
        return [self._boxes[name] for name in sorted(self._boxes) if self._boxes[name].is_ours]


def _note(box: Box, path: str, word: str) -> None:
    if path == STATE:
        box.state = word
    elif path == DESCRIPTION:
        box.is_ours = _is_ours(word)
    elif path.startswith("$") or path.endswith(("/$target", "/set")):
        return
    elif not word:
        box.words.pop(path, None)
    elif len(box.words) < MOST_WORDS or path in box.words:
        box.words[path] = _shown(word)


def _shown(word: str) -> str:
    """Return a word without what would move a terminal's cursor; one zero byte is an empty text."""
    return "" if word == "\0" else "".join(one if one.isprintable() else " " for one in word)


def _is_ours(description: str) -> bool:
    try:
        return bool(json.loads(description)["nodes"]["etch"]["type"] == OF_OURS)
    except (ValueError, KeyError, TypeError, RecursionError):
        return False
