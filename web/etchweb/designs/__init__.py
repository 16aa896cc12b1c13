"""*Lettering and shape*: what is added to a picture before it goes to the bench."""
