"""What a start asks of people and box: arming, the checklist, rounds and looks."""
