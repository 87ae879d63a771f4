"""Bring-up: from a pile of servos to a robot that stands level. Asked and answered without I/O.

What a person has seen and read is in the :mod:`~motionhub.library.notebook`, what follows from it in
:mod:`~motionhub.hub.bringup.course`, the pulses meanwhile in :mod:`~motionhub.hub.bringup.bench`.
"""
