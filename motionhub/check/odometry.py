"""Where :mod:`motionhub.motion.odometry` used to be, for those that have not followed it yet."""

from motionhub.motion.odometry import Travel as Travel
from motionhub.motion.odometry import travel as travel
