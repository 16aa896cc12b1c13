"""What can go wrong in the daemon, and whose fault it was."""


class EtchdaemonError(Exception):
    """Anything the daemon refuses or reports; the message is a sentence for the operator."""


class PortLost(EtchdaemonError, OSError):
    """The serial port is gone, or did not take what it was given."""


class ControllerError(EtchdaemonError):
    """The controller did what its protocol does not allow."""


class UnexpectedReply(ControllerError, LookupError):
    """The controller answered a line that was never sent."""


class UnfitLine(EtchdaemonError, ValueError):
    """A line of ours may not be sent as it stands; the fault is on our side."""


class CommandRefused(EtchdaemonError):
    """A person asked for something that cannot be done now; the message says why."""


class JobRefused(EtchdaemonError, ValueError):
    """A job is not fit to be run; the message says why and what to do."""


class LogbookUnavailable(EtchdaemonError):
    """The logbook cannot be written or read."""


class BoardLost(EtchdaemonError, OSError):
    """The board with the inputs and outputs is gone, or cannot be had; the message says why."""


class GuardHangs(EtchdaemonError):
    """The thread that watches the interlocks holds its lock and does not come back."""


class BackupFailed(EtchdaemonError):
    """The logbook could not be copied or restored, or a copy of it is of no use."""


class StateTaken(EtchdaemonError):
    """Another process has the daemon's folder of records."""


class ExportRefused(EtchdaemonError, ValueError):
    """An export cannot be written, or is not one that this logbook can take in."""
