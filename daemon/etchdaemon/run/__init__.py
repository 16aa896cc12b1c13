"""The life of one etch: its states, its place in the picture, what was really run: pure."""
