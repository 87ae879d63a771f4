"""Whether this robot can do that move: how it rests, what it bears and draws, one file per family of rule."""
