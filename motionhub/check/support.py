"""Where :mod:`motionhub.motion.support` used to be, for those that have not followed it yet."""

from motionhub.motion.support import CONTACT as CONTACT
from motionhub.motion.support import EXACT as EXACT
from motionhub.motion.support import SLIVER as SLIVER
from motionhub.motion.support import UPRIGHT as UPRIGHT
from motionhub.motion.support import Support as Support
from motionhub.motion.support import contact_points as contact_points
from motionhub.motion.support import edge_distances as edge_distances
from motionhub.motion.support import plane_under as plane_under
from motionhub.motion.support import rest_on_ground as rest_on_ground
from motionhub.motion.support import underside as underside
from motionhub.motion.support import upright as upright
