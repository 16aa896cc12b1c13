"""What can go wrong in the daemon, and whose fault it was."""


class EtchdaemonError(Exception):
    """Anything the daemon refuses or reports; the message is a sentence for the operator."""


class PortLost(EtchdaemonError, OSError):
    """The serial port is gone, or did not take what it was given."""


class CommandRefused(EtchdaemonError):
    """A person asked for something that cannot be done now; the message says why."""


class JobRefused(EtchdaemonError, ValueError):
    """A job is not fit to be run; the message says why and what to do."""


class LogbookUnavailable(EtchdaemonError):
    """The logbook cannot be written or read."""
