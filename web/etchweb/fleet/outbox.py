"""What the broker has still to be told: of every topic the newest word, and never a queue."""

from collections.abc import Mapping

from etchweb.fleet.topics import INIT, STATE


class Outbox:
    """Keeps what ought to stand at the broker below `base`, and what of it has been sent.

    The state comes first and last (Homie 5, "Device Lifecycle", from memory): `init` until
    everything that is described has been said, and only then what the box is.
    """

    def __init__(self, base: str) -> None:
        self._state = f"{base}/{STATE}"
        self._base = base
        self._wanted: dict[str, str] = {}
        self._sent: dict[str, str] = {}

    def put(self, words: Mapping[str, str]) -> None:
        """Want `words` to stand at the broker, by what follows the base."""
        self._wanted |= {f"{self._base}/{path}": word for path, word in words.items()}

    def begin_anew(self) -> None:
        """Forget what was sent: after a new connection the broker is told everything."""
        self._sent.clear()

    def next(self) -> tuple[str, str] | None:
        """Return the next topic and its word, as sent from now on, or None."""
        if self._state not in self._sent:
            return self._as_sent(self._state, INIT)
        for topic, word in self._wanted.items():
            if topic != self._state and self._sent.get(topic) != word:
                return self._as_sent(topic, word)
        state = self._wanted.get(self._state, INIT)
        return None if self._sent[self._state] == state else self._as_sent(self._state, state)

    def _as_sent(self, topic: str, word: str) -> tuple[str, str]:
        self._sent[topic] = word
        return topic, word
