"""What the broker has still to be told: of every topic the newest word, and never a queue."""

from collections.abc import Mapping


class Outbox:
    """Keeps what ought to stand at the broker, and what of it has been sent."""

    def __init__(self) -> None:
        self._wanted: dict[str, str] = {}
        self._sent: dict[str, str] = {}

    def put(self, words: Mapping[str, str]) -> None:
        """Want `words` to stand at the broker, by topic."""
        self._wanted.update(words)

    def begin_anew(self) -> None:
        """Forget what was sent: after a new connection the broker is told everything."""
        self._sent.clear()

    def next(self) -> tuple[str, str] | None:
        """Return the next topic and its word, as sent from now on, or None."""
        for topic, word in self._wanted.items():
            if self._sent.get(topic) != word:
                self._sent[topic] = word
                return topic, word
        return None
