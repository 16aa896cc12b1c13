"""What can be wrong with something one process hands another."""


class WireError(Exception):
    """Something handed over is not what it should be; the message is a sentence for a person."""


class UnreadableSheet(WireError, ValueError):
    """A job sheet, head or recipe is missing a part, or a part makes no sense."""
