"""How the robot moves: poses, sequences, gaits, routines and transitions, and frames from any of them.

In the order of use: :mod:`~motionhub.motion.documents` reads a sequence, :mod:`~motionhub.motion.render`
turns it into :class:`~motionhub.motion.frames.Frames`. Knows nothing of hardware, clocks or sockets.
"""
