"""What happens on the stage for each thing that the show can do: which sources, in which order, ending in what."""

from __future__ import annotations

from collections.abc import Callable

from motionhub.hub.bearing import Bearing
from motionhub.hub.sources import Array, Source
from motionhub.hub.sources.hold import Hold
from motionhub.hub.sources.path import Path
from motionhub.hub.sources.play import Play
from motionhub.hub.sources.replay import Replay
from motionhub.hub.sources.standing import Settling, Standing
from motionhub.hub.stage import Item, Stage
from motionhub.hub.states import Cause
from motionhub.hub.steps import Steps
from motionhub.link.plant import lowered_joints
from motionhub.motion.brake import brake
from motionhub.motion.handover import hand_over
from motionhub.motion.posing import rest_joints
from motionhub.robot.model import Robot


class Director:
    """Sets the stage. Everything begins from where the joints are, at whatever speed they have.

    Args:
        robot: The robot.
        dt: Seconds a tick.
        follows: Whether the robot is there and does what it is sent.
    """

    def __init__(self, robot: Robot, dt: float, follows: Callable[[], bool]) -> None:
        self._robot = robot
        self._dt = dt
        self._follows = follows
        self._rest = rest_joints(robot)
        self._lying = lowered_joints(robot)
        self.bearing = Bearing(robot)
        self.steps = Steps(robot, dt)
        self.stage = Stage(self._rest, dt)
        # What is made once and kept by others is made here, and not in the middle of a show.
        self._new_standing()
        hand_over(robot, self._lying, self._rest, dt)

    @property
    def standing(self) -> Standing | None:
        """What the driver moves, when it is what moves the joints."""
        source = self.stage.source
        return source if isinstance(source, Standing) else None

    @property
    def player(self) -> Play | Replay | None:
        """What is being played, if anything is."""
        source = self.stage.source
        return source if isinstance(source, Play | Replay) else None

    # ---------------------------------------------------------------- what the show can do

    def go_home(self) -> None:
        """Come to a standstill, step over to the rest stance, and stand ready as soon as the robot follows."""
        self.stage.run(*self._still(), self._to(self._rest), Item(self._wait, "home"), Item(self._new_standing))

    def wake(self) -> None:
        """As after power-up: the robot brings itself to the rest stance, and takes what is sent when it is there."""
        self.stage.place(self._rest)
        self.go_home()

    def play(self, first: Array, make: Callable[[], Play | Replay]) -> None:
        """Go to where it begins, (J,) rad, and play it."""
        self.stage.run(*self._still(), self._to(first, "begin"), Item(make, "over"))

    def stand(self, joints: Array) -> None:
        """Go to where these joints, (J,) rad, are, and hold there; by way of the rest stance, where all feet stand."""
        hold = Item(lambda: Hold(self.stage.joints))
        self.stage.run(*self._still(), self._to(self._rest), self._to(joints, "begin"), hold)

    def stop(self) -> None:
        """Come to a standstill and hold."""
        self.stage.run(Item(self._brake, "still"))

    def lie_down(self) -> None:
        """Lie down, feet first under the body, while the battery still can."""
        self.stage.run(*self._still(), self._to(self._lying, "lain"))

    def follow_home(self) -> None:
        """The robot eases to rest by itself, whatever it is sent: go where it goes, and hold."""
        self.stage.run(Item(self._brake), self._to(self._rest, "still"))

    def hold(self) -> None:
        """Drop everything and hold where the joints are."""
        self.stage.hold()

    # ---------------------------------------------------------------- pieces of it

    def _still(self) -> list[Item]:
        """Come to a standstill, from walking with the feet down and home."""
        source = self.stage.source
        if isinstance(source, Standing):
            return [Item(lambda: Settling(source))]
        if isinstance(source, Settling):
            return [Item(lambda: source)]
        return [Item(self._brake)]

    def _brake(self) -> Source:
        stage = self.stage
        return Path(brake(self._robot, self._dt, stage.joints, stage.velocity, stage.acceleration))

    def _to(self, goal: Array, cause: Cause | None = None) -> Item:
        return Item(lambda: Path(hand_over(self._robot, self.stage.joints, goal, self._dt)), cause)

    def _wait(self) -> Source:
        return Hold(self.stage.joints, self._follows)

    def _new_standing(self) -> Source:
        return Standing(self._robot, self._dt, self.bearing, self.steps)
