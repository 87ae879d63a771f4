"""What the robot keeps of its calibration beside the hub's own: compared at connection, never silently overwritten.

The robot says with its welcome what it uses, by a digest. Where that is not the hub's, the hub asks for all of it, says
what differs, and leaves both as they are until somebody says which is right: ours is sent, or the robot's is taken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from motionhub.link import kept
from motionhub.link.kept import ONE, KeptState, Record
from motionhub.link.session import InUse, Keeping
from motionhub.link.wire import Welcome
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

State = Literal["unknown", "reading", "same", "differs", "sending", "waiting", "refused", "failed"]
"""unknown: there is no link. waiting: written on the robot, and used once no servo stands beyond the new ends."""

Told = tuple[Literal["info", "warning", "error"], str]


@dataclass(frozen=True)
class Difference:
    """A joint whose calibration is another one on the robot."""

    joint: str
    ours: str
    """What differs, in words, as the hub has it: ``trim 1.2°, ends 600 to 2400 µs``."""
    theirs: str
    """The same as the robot has it."""


@dataclass(frozen=True)
class KeptView:
    """How the robot's calibration compares with the hub's."""

    state: State = "unknown"
    sent: bool = False
    """Whether what the robot uses was sent to it; else it came with its program."""
    differences: tuple[Difference, ...] = ()


class RobotKeeps:
    """Follows what one robot keeps.

    Args:
        robot: The robot.
        calibration: The hub's own.
    """

    def __init__(self, robot: Robot, calibration: Calibration) -> None:
        self._robot = robot
        self._state: State = "unknown"
        self._sent = False
        self._theirs = b""
        self._starts: tuple[bytes, Array] | None = None
        self.view = KeptView()
        self.use(calibration)

    def use(self, calibration: Calibration) -> None:
        """From now on this is the hub's own."""
        self._ours = calibration
        self.image = kept.image(self._robot, calibration)
        if self._state in ("same", "differs"):
            self._compare()
        self._show()

    @property
    def theirs(self) -> Calibration | None:
        """What the robot uses, as far as it is known and makes a calibration."""
        try:
            return kept.calibration(self._robot, self._theirs, self._ours.battery_scale)
        except ValueError:
            return None

    @property
    def starts(self) -> Array:
        """(J,) µs by connector, a copy: what the robot begins with when a servo comes on, the pulse of its rest pose.

        By this hub's calibration as long as the robot's is not known.
        """
        image = self._theirs or self.image
        if self._starts is None or self._starts[0] != image:
            used = self.theirs or self._ours
            made = kept.export(self._robot, used)
            self._starts = image, np.array(made.limits(kept.to_keep(self._robot, used)).rest, dtype=np.float64)
        return self._starts[1].copy()

    def connected(self, welcome: Welcome) -> bool:
        """The robot has answered; whether to ask for what it uses."""
        self._sent = welcome.kept
        if welcome.digest == kept.digest(self.image):
            self._theirs, self._state = self.image, "same"
        else:
            self._theirs, self._state = b"", "reading"
        self._show()
        return self._state == "reading"

    def lost(self) -> None:
        """Nobody answers any more."""
        self._theirs, self._state = b"", "unknown"
        self._show()

    def sending(self) -> None:
        """Ours is on its way."""
        self._state = "sending"
        self._show()

    def hear(self, news: Keeping | InUse) -> list[Told]:
        """The robot has said something of it; returns what to tell people."""
        told = self._read(news.image) if isinstance(news, InUse) else self._kept(news)
        self._show()
        return told

    def _read(self, image: bytes) -> list[Told]:
        self._theirs = image
        if self._state == "sending":
            return []
        self._compare()
        if self._state == "same":
            return []
        source = "keeps" if self._sent else "was built with"
        first, *more = self._differences()
        others = f", and {len(more)} more" if more else ""
        return [
            (
                "warning",
                f"The robot {source} another calibration than this hub has: {first.joint} ({first.ours} here, "
                f"{first.theirs} there){others}. Neither is changed until you say which is right",
            )
        ]

    def _kept(self, news: Keeping) -> list[Told]:
        if news.state in (KeptState.MISSING, KeptState.WRITING):
            self._state = "sending"
        elif news.state == KeptState.WAITING:
            self._state = "waiting"
            return [("info", "The robot has this calibration, and uses it once no servo stands beyond the new ends")]
        elif news.state == KeptState.REFUSED:
            self._state = "refused"
            return [("error", "The robot refused this calibration: an end in it is beyond the servo's own ends")]
        elif news.state == KeptState.FAILED:
            self._state = "failed"
            return [("error", "The robot could not keep the calibration: its memory is worn out")]
        else:
            self._sent = True
            self._theirs = self.image if news.digest == kept.digest(self.image) else b""
            self._compare()
            if self._state == "same":
                return [("info", "The robot keeps this hub's calibration now")]
        return []

    def _compare(self) -> None:
        self._state = "same" if self._theirs == self.image else "differs"

    def _show(self) -> None:
        differs = tuple(self._differences()) if self._state == "differs" else ()
        self.view = KeptView(self._state, self._sent, differs)

    def _differences(self) -> list[Difference]:
        ours, theirs = _by_joint(self.image), _by_joint(self._theirs)
        found = []
        for joint, name in enumerate(self._robot.joint_names):
            here, there = (
                self._words(joint, *record) if record is not None else {"connector": "no connector"}
                for record in (ours.get(joint), theirs.get(joint))
            )
            unlike = [what for what in here if here.get(what) != there.get(what)]
            if unlike:
                words = [", ".join(side[what] for what in unlike if what in side) for side in (here, there)]
                found.append(Difference(name, *(each or "unknown" for each in words)))
        return found

    def _words(self, joint: int, connector: int, record: Record) -> dict[str, str]:
        trim = math.degrees(record.trim / (self._robot.us_per_rad[joint] * record.scale / ONE))
        return {
            "trim": f"trim {-trim if record.reversed else trim:.1f}° ({record.trim:+d} µs)",
            "reversed": "reversed" if record.reversed else "not reversed",
            "ends": f"ends {record.low} to {record.high} µs",
            "scale": f"scale {record.scale / ONE:.3f}",
            "connector": f"connector of {self._robot.joint_names[connector]}",
        }


def _by_joint(image: bytes) -> dict[int, tuple[int, Record]]:
    """Connector and record of each joint."""
    return {record.joint: (connector, record) for connector, record in enumerate(kept.unpack(image))}
