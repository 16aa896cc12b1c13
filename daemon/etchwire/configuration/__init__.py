"""Files that people write to say how a box is set: read with every fault named where it stands."""
