"""Which fields of a status report are due: some come only every so many reports."""

from typing import Final

# Reports between two shows of a field, by whether the controller is busy.
_OFFSET_PERIOD: Final = {True: 30, False: 10}
_OVERRIDE_PERIOD: Final = {True: 20, False: 10}


class FieldsDue:
    """Counts reports; whoever changes what a field shows notes it here."""

    def __init__(self, *, shows_overrides_first: bool) -> None:
        self._shows_overrides_first = shows_overrides_first
        self.start_again()

    def start_again(self) -> None:
        """Show everything once more, as after a reset."""
        self._until_offset = int(self._shows_overrides_first)
        self._until_overrides = 0
        self._is_first = True
        self._has_new_system = False
        self._shown_accessories: str | None = None

    def note_system(self) -> None:
        """Show the work coordinate system and its offset in the next report: it changed."""
        self._has_new_system = True
        self.note_offset()

    def note_offset(self) -> None:
        """Show the work offset in the next report: it changed."""
        self._until_offset = 0

    def note_overrides(self) -> None:
        """Show overrides and accessories as soon as may be: one of them changed."""
        self._until_overrides = 0

    def take_offset(self, *, is_busy: bool, is_wanted: bool) -> bool:
        """Return whether this report shows the work offset, if `is_wanted` at all."""
        if self._until_offset > 0:
            self._until_offset -= 1
            return False
        if is_wanted:
            self._until_offset = _OFFSET_PERIOD[is_busy] - 1
            if not self._shows_overrides_first:
                self._until_overrides = max(self._until_overrides, 1)
        return is_wanted

    def take_system(self) -> bool:
        """Return whether the coordinate system is new; ask only where the offset is shown."""
        is_new, self._has_new_system = self._has_new_system, False
        return is_new

    def take_overrides(self, *, is_busy: bool) -> bool:
        """Return whether this report shows the overrides."""
        if self._until_overrides > 0:
            self._until_overrides -= 1
            return False
        self._until_overrides = _OVERRIDE_PERIOD[is_busy] - 1
        return True

    def take_accessories(self, letters: str) -> bool:
        """Return whether the accessories are others than in the report before."""
        has_changed, self._shown_accessories = letters != self._shown_accessories, letters
        return has_changed

    def take_first(self) -> bool:
        """Return whether this is the first report since a reset."""
        is_first, self._is_first = self._is_first, False
        return is_first
