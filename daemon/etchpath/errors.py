"""What can be wrong with a job before the machine sees it."""


class EtchpathError(Exception):
    """A job cannot be written or read as asked; the message is a sentence for a person."""


class JobDoesNotFit(EtchpathError, ValueError):
    """The job asks for more than the machine has: travel, speed or power."""


class NoFile(EtchpathError, ValueError):
    """What is to be read is no file with an end: a device, a pipe."""


class NothingToEtch(EtchpathError, ValueError):
    """A picture without a single dot makes no job."""


class UnreadableMachine(EtchpathError, ValueError):
    """A machine description lacks an entry, or an entry makes no sense."""


class NoReentry(EtchpathError, ValueError):
    """The rest of a job cannot be written; the message says why."""


class UnfitFile(EtchpathError, ValueError):
    """Another program's file cannot be made a job; the message says why."""
