"""What a test can make go wrong between the controller's parser and the host."""

from typing import Final

_OTHER_DIGIT: Final = bytes.maketrans(b"0123456789", b"3456789012")


class Faults:
    """Troubles waiting to happen to the next line or the next reply."""

    def __init__(self) -> None:
        self._refusals: list[int] = []
        self._withheld: list[str] | None = None
        self._replies_to_lose = 0
        self._garbles_line = False
        self._pauses_line = False
        self._garbles_reply = False

    def refuse_next_line(self, code: int) -> None:
        """Answer the next line with an error and do not run it."""
        self._refusals.append(code)

    def garble_next_line(self) -> None:
        """Change the last digit of the next line that has one, so that it still parses."""
        self._garbles_line = True

    def pause_next_line(self) -> None:
        """Make the next line one that stops the job until somebody goes on."""
        self._pauses_line = True

    def garble_next_reply(self) -> None:
        """Change one letter of the next reply."""
        self._garbles_reply = True

    def lose_next_reply(self) -> None:
        """Swallow the next reply."""
        self._replies_to_lose += 1

    def withhold_replies(self) -> None:
        """Run lines but keep their replies back until they are released."""
        self._withheld = [] if self._withheld is None else self._withheld

    def release_replies(self) -> list[str]:
        """Stop withholding and return what was kept back."""
        kept, self._withheld = self._withheld or [], None
        return kept

    def refusal(self) -> int | None:
        """Return the error the line now read is to be refused with."""
        return self._refusals.pop(0) if self._refusals else None

    def line(self, raw: bytes) -> bytes:
        """Return the line as it arrives."""
        if self._pauses_line:
            self._pauses_line = False
            return b"M0"
        if not self._garbles_line:
            return raw
        for at in range(len(raw) - 1, -1, -1):
            if raw[at : at + 1].isdigit():
                self._garbles_line = False
                return raw[:at] + raw[at : at + 1].translate(_OTHER_DIGIT) + raw[at + 1 :]
        return raw

    def reply(self, text: str) -> str | None:
        """Return the reply as it is sent, or None when it is not."""
        if self._withheld is not None:
            self._withheld.append(text)
            return None
        if self._replies_to_lose:
            self._replies_to_lose -= 1
            return None
        if self._garbles_reply:
            self._garbles_reply = False
            return text[:1] + "~"[: len(text) - 1] + text[2:]
        return text
