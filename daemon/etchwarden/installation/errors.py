"""What can go wrong with an installation, each as a sentence for whoever stands at the board."""


class InstallationError(Exception):
    """The installation cannot go on; the message says why and what to do."""


class NotOurs(InstallationError, ValueError):
    """A file that was given is no wheel of this program."""


class Refused(InstallationError):
    """It may not be done now, as a machine is at work or another installation is under way."""


class StepFailed(InstallationError):
    """A program that a step needs ended with an error."""
