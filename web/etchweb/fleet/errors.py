"""What can go wrong between a box and the shop's broker."""


class FleetFault(Exception):
    """The broker cannot be used; the message is a sentence with what to do."""
