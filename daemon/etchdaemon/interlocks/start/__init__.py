"""What a start asks of the operator and of the box: arming, checklist, confirmations."""
