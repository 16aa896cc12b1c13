"""What can be wrong with a card, its photo or what it showed; each message says what to do."""


class EtchproofError(Exception):
    """A card or a reading that will not do; the message is a sentence for a person."""


class UnfitCard(EtchproofError, ValueError):
    """What was asked of a card makes no card, or none that this machine can etch."""


class HighDose(UnfitCard):
    """The card goes beyond the dose that any surface needs, and nobody said that it is meant."""


class CardDoesNotFit(UnfitCard):
    """The card is larger than its place; the message says what would fit."""


class NoPlaceLeft(UnfitCard):
    """The spare tile has no room for the card beside those that were etched on it."""


class UnreadableCard(EtchproofError, ValueError):
    """A card's description is not one that this program wrote."""


class PhotoRefused(EtchproofError, ValueError):
    """A photo that cannot be read truthfully: `reason` names why, the message also the remedy."""

    def __init__(self, reason: str, sentence: str) -> None:
        super().__init__(sentence)
        self.reason = reason


class NothingToChoose(EtchproofError, ValueError):
    """No patch of the card is fit to be chosen; the message says what to burn next."""


class NoToneCurve(EtchproofError, ValueError):
    """The tone card shows no tone scale from which a curve could be made."""


class NoRegister(EtchproofError, ValueError):
    """The register card does not show where rows meet."""


class NoFocus(EtchproofError, ValueError):
    """The focus card does not show where the beam is narrowest; the message says what to do."""


class NoSpacing(EtchproofError, ValueError):
    """The spacing card does not show which lines close; the message says what to do."""
