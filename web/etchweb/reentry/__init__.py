"""An etch that was cut short, and the rest of its picture."""
