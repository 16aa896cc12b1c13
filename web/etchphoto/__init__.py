"""From a photograph to rows of dots: pure."""
