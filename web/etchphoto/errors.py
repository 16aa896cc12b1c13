"""What can be wrong with a photo, or with what was asked for it; each message says what to do."""

from collections.abc import Sequence

from etchphoto.findings import PhotoFinding


class EtchphotoError(Exception):
    """A picture or an order we cannot make a job of; the message is a sentence for a person."""


class PhotoMissing(EtchphotoError, FileNotFoundError):
    """There is no such file."""


class PhotoUnreadable(EtchphotoError, OSError):
    """The file exists, but the system does not let us read it."""


class NotAPhoto(EtchphotoError, ValueError):
    """The file is not a picture of a kind we read."""


class PhotoDamaged(EtchphotoError, ValueError):
    """The file begins like a picture and does not end like one."""


class PhotoTooLarge(EtchphotoError, ValueError):
    """Decoding the picture would take more memory than a small box has."""


class DecodersNotLocked(EtchphotoError, OSError):
    """The decoders cannot be locked in on this computer, so no photo is decoded."""


class UnfitOrder(EtchphotoError, ValueError):
    """A size, spacing, place or setting that this machine cannot etch."""


class JobNotWritable(EtchphotoError, OSError):
    """The job cannot be put where it was asked for."""


class NeedsAcknowledgement(EtchphotoError):
    """Something a person must say yes to first; `findings` are those still open."""

    def __init__(self, findings: Sequence[PhotoFinding]) -> None:
        super().__init__(" ".join(finding.sentence for finding in findings))
        self.findings = tuple(findings)


class UnfitDesign(EtchphotoError, ValueError):
    """A design that cannot be read, or that the tile cannot hold."""


class NotADesign(UnfitDesign):
    """A file that does not say it is a design."""


class FontMissing(EtchphotoError, LookupError):
    """No font of that name is on this computer, or it lacks a letter of the text."""
