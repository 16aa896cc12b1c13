"""Releases on a board: made, switched to, switched back; standard library only.

`systemd/install` runs this with the system's Python, before anything of ours is installed.
"""
