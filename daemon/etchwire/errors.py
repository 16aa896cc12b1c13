"""What can be wrong with something one process hands another."""


class WireError(Exception):
    """Something handed over is not what it should be; the message is a sentence for a person."""


class UnreadableSheet(WireError, ValueError):
    """A job sheet, head or recipe is missing a part, or a part makes no sense."""


class UnreadableToml(WireError, ValueError):
    """A text is no TOML that can be used; the message names its line, or the key."""


class MalformedMessage(WireError, ValueError):
    """A line is not a message of ours; whoever wrote it is at fault."""


class LineTooLong(MalformedMessage):
    """A line is longer than the wire carries; nothing after it can be trusted."""


class DaemonAbsent(WireError, ConnectionError):
    """Nobody answers at the socket, or the answer stayed out; the connection is of no more use."""


class AnotherRelease(DaemonAbsent):
    """The other end answers, but without what this release needs to know."""


class SocketUnavailable(WireError, OSError):
    """The place for our own socket cannot be had; the message says which and why."""


class Refused(WireError):
    """The other end understood and said no.

    `kind` is refused (not now, or not like this), job (the job is unfit), busy (try again) or
    internal (a fault of the program).
    """

    def __init__(self, kind: str, message: str) -> None:
        super().__init__(message)
        self.kind = kind
        self.message = message


class UnknownMethod(Refused):
    """The other end has no such method."""


class UnfitParameters(Refused):
    """A parameter is missing, unknown or not of its type."""
