"""Bring-up as a course of steps: answers in, a calibration and the next question out. Without I/O and without time.

A change is made at once and can be taken back; the shell keeps notebook and calibration on the disk after each.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from motionhub.hub.bringup.asks import LegWay
from motionhub.hub.bringup.protractor import SCALES, Servo, fit
from motionhub.hub.bringup.wiring import Wiring, wiring
from motionhub.library.notebook import PAST, STEPS, Heights, Notebook, Past, Read, Saw, StepName, Way
from motionhub.motion.levelling import Levelling, LevelStance, Reading, level_stances, reconcile
from motionhub.motion.posing import rest_joints
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

NEAR = np.deg2rad(40.0)
"""How far from mid-travel the protractor is read first: a joint whose trim nobody knows yet stays within its range."""
FAR = np.deg2rad(80.0)
"""How far once it is roughly known: what is read at the ends of its range holds all over it. Less where there is no
room; a protractor's arm is hardly turned further."""
MARGIN = np.deg2rad(4.0)
"""How far from the ends of its range it stays."""
SURE = np.deg2rad(0.36)
"""Enough readings of a joint: one standard deviation of where it stands, at the worse end of its range."""
READINGS = 12
"""At most so many that are used: a joint with more play than that is not brought nearer by one more."""
ROUNDS = 2
"""How often each stance is measured: a millimetre of the ruler is a degree of a short femur. Once is enough where all
angles were read to :data:`FINELY` degrees."""
FINELY = 0.5
BEST_SPREAD = np.deg2rad(0.25)
"""What is known of a trim before levelling is never taken for better than this: a gear has play."""
WIGGLE = np.deg2rad(12.0)
"""How far a joint goes to be seen: more than a horn has play, less than can do harm on a stand."""
LEG_WAYS: dict[LegWay, int] = {"left": 0, "up": 1, "out": 2}
"""Which of a leg's three joints takes it which way."""
OPPOSITE: dict[Way, Way] = {"more": "less", "less": "more"}


@dataclass(frozen=True)
class Next:
    """What is to be done next."""

    step: StepName
    item: str


class Course:
    """One robot's bring-up.

    Args:
        robot: The robot.
        calibration: What is known of it.
        notebook: What was answered before; an empty one for a new robot.
    """

    def __init__(self, robot: Robot, calibration: Calibration, notebook: Notebook | None = None) -> None:
        self.robot = robot
        self.calibration = calibration
        self.notebook = notebook or Notebook(robot=robot.name)
        self.reckoned: Levelling | None = None
        """What the heights said when they were last reckoned with."""

    @property
    def unfinished(self) -> bool:
        """Whether it was begun, and not gone through to the end."""
        return bool(self.notebook.done) and "floor" not in self.done("floor")

    # ---------------------------------------------------------------- what there is to do

    def items(self, step: StepName) -> tuple[str, ...]:
        """The items of a step, in order."""
        robot = self.robot
        if step in ("centre", "look", "angles", "ends"):
            return robot.joint_names
        if step == "level":
            return tuple(f"{i}.{turn}" for turn in range(self.rounds) for i in range(len(self.stances)))
        if step == "legs":
            return tuple(f"{leg} {way}" for leg in robot.leg_names for way in LEG_WAYS)
        return (step,)

    def done(self, step: StepName) -> tuple[str, ...]:
        """Items of a step that are done."""
        return self.notebook.done.get(step, ())

    def next(self) -> Next | None:
        """The first thing that is not done; ends are only for those who want them."""
        for step in STEPS:
            if step == "ends":
                continue
            done = self.done(step)
            for item in self.items(step):
                if item not in done:
                    return Next(step, item)
        return None

    def go(self, step: StepName, item: str) -> str:
        """People look at this now."""
        if item and item not in self.items(step):
            return f"there is no {item!r} in this step"
        self._note(step=step, item=item)
        return ""

    def mark(self, step: StepName, item: str, done: bool) -> str:
        """An item of a step is done, or not after all; empty: all of them."""
        every = self.items(step)
        if item and item not in every:
            return f"there is no {item!r} in this step"
        meant = (item,) if item else every
        now = [name for name in self.done(step) if name not in meant]
        if done:
            now += meant
        self._note(done={**self.notebook.done, step: tuple(now)})
        return ""

    # ---------------------------------------------------------------- what moves

    def saw(self, connector: str, moved: str | None, way: Way | None) -> None:
        """What moved when that connector's pulse grew longer; wiring and directions follow."""
        self._remember(f"what moved on the connector of {connector}")
        self._saw(connector, moved, way)
        self.mark("look", connector, moved is not None)

    def _saw(self, connector: str, moved: str | None, way: Way | None) -> None:
        self._note(saw={**self.notebook.saw, connector: Saw(moved=moved, way=way if moved else None)})
        found = self.wiring
        before = self.calibration
        changed = [i for i in range(self.robot.joints) if before.connector[i] != found.connector[i]]
        direction = before.direction.copy()
        for joint, sign in found.ways.items():
            # What has been mended since of a joint that nobody speaks of now stays.
            if joint in changed or self.robot.joint_names[joint] == moved:
                direction[joint] = sign
        self.calibration = replace(before, direction=direction, connector=found.connector)
        # What a protractor said of another servo says nothing of this one, and its trim is another's.
        self._forget([self.robot.joint_names[i] for i in changed])
        if changed and self.done("floor"):
            self.mark("floor", "floor", False)

    @property
    def wiring(self) -> Wiring:
        """What the answers say of the plugs."""
        return wiring(self.robot.joint_names, self.notebook.saw)

    def turn(self, joint: str, reversed_: bool) -> None:
        """The joint's servo sits mirrored, or does not."""
        self._remember(f"the direction of {joint}")
        direction = self.calibration.direction.copy()
        direction[self.robot.joint_index[joint]] = -1 if reversed_ else 1
        self.calibration = replace(self.calibration, direction=direction)
        self._fit(joint)

    # ---------------------------------------------------------------- trims and µs per degree

    def places(self, joint: str) -> tuple[float, float]:
        """The two pulses, µs, at which to read the protractor: first near mid-travel, then as far as there is room.

        Readings far apart tell µs per degree best; but only the first two say where the ends of the range are.
        """
        robot, known, i = self.robot, self.calibration, self.robot.joint_index[joint]
        own = self.notebook.read.get(joint, ())
        rough = len({each.pulse_us for each in own}) >= 2
        found = []
        for end in (-1.0, 1.0):
            if rough:
                inside = np.clip(robot.mid[i] + end * FAR, robot.lower[i] + MARGIN, robot.upper[i] - MARGIN)
                away = float((inside - robot.mid[i] + known.trim_rad[i]) * known.scale[i])
            else:
                away = float(np.clip(robot.mid[i] + end * NEAR, robot.lower[i], robot.upper[i]) - robot.mid[i])
            pulse = robot.mid_us[i] + known.direction[i] * away * robot.us_per_rad[i]
            found.append(float(np.rint(np.clip(pulse, known.low_us[i], known.high_us[i]))))
        return found[0], found[1]

    def read(self, joint: str, pulse: float, angle: float) -> None:
        """The protractor says that the joint stands at ``angle`` (rad) with this pulse (µs)."""
        self._remember(f"a reading of {joint}")
        note = self.notebook
        reading = Read(pulse_us=pulse, angle_deg=round(float(np.rad2deg(angle)), 3), to_deg=note.read_to_deg)
        odd = [i for i, _ in self.servo(joint).odd]
        before = note.read.get(joint, ())
        # Who reads again where an angle was misread means this one instead.
        kept = [each for i, each in enumerate(before) if i not in odd or each.pulse_us != pulse]
        self._note(read={**note.read, joint: (*kept, reading)[-2 * READINGS :]})
        self._fit(joint)

    def protractor(self, to: float) -> None:
        """How closely angles are read from now on, rad."""
        self._note(read_to_deg=round(float(np.rad2deg(to)), 2))

    def forget(self, joint: str) -> None:
        """Read this joint anew."""
        self._remember(f"the readings of {joint}")
        self._forget([joint])

    def servo(self, joint: str, standing: bool = False) -> Servo:
        """What its readings say; how sure that is at the worse end of its range, or where the robot stands."""
        robot, i = self.robot, self.robot.joint_index[joint]
        own = self.notebook.read.get(joint, ())
        per_rad = float(self.calibration.direction[i] * robot.us_per_rad[i])
        away = tuple((each.pulse_us - float(robot.mid_us[i])) / per_rad for each in own)
        angles = tuple(float(np.deg2rad(each.angle_deg) - robot.mid[i]) for each in own)
        low, high = (float(each[i] - robot.mid[i]) for each in (robot.lower, robot.upper))
        rest = float(self._rest[i] - robot.mid[i])
        to = tuple(float(np.deg2rad(each.to_deg)) for each in own)
        return fit(away, angles, (rest,) if standing else (low, high), to)

    def next_pulse(self, joint: str) -> float | None:
        """Where to read the protractor next, µs; None when there are enough readings."""
        servo = self.servo(joint)
        misread = [i for i, _ in servo.odd]
        own = [each for i, each in enumerate(self.notebook.read.get(joint, ())) if i not in misread]
        low, high = self.places(joint)
        if len(own) >= READINGS or (len(own) >= 2 and servo.agrees and servo.spread <= SURE):
            return None
        near_low = sum(abs(each.pulse_us - low) <= abs(each.pulse_us - high) for each in own)
        return low if near_low <= len(own) - near_low else high

    def trim(self, joint: str, trim: float) -> None:
        """Set the trim, rad, whatever readings say."""
        self._remember(f"the trim of {joint}", merge=True)
        trims = self.calibration.trim_rad.copy()
        trims[self.robot.joint_index[joint]] = np.clip(trim, -np.pi / 4, np.pi / 4)
        self.calibration = replace(self.calibration, trim_rad=trims)

    def limit(self, joint: str, which: str, pulse: float | None) -> str:
        """The joint's shortest or longest pulse, µs; None: as the data sheet says."""
        i = self.robot.joint_index[joint]
        sheet = self.robot.servos[i].pulse_us
        low, high = self.calibration.low_us.copy(), self.calibration.high_us.copy()
        ends = low if which == "low" else high
        own = sheet[0] if which == "low" else sheet[1]
        ends[i] = own if pulse is None else pulse
        if not sheet[0] <= ends[i] <= sheet[1]:
            return f"its servo takes {sheet[0]:g} to {sheet[1]:g} µs"
        if low[i] >= high[i]:
            return f"the shortest pulse has to be below the longest, found {low[i]:g} and {high[i]:g} µs"
        self._remember(f"an end of {joint}")
        self.calibration = replace(self.calibration, low_us=low, high_us=high)
        return ""

    # ---------------------------------------------------------------- level

    @cached_property
    def stances(self) -> list[LevelStance]:
        """Stances to measure in; none where a robot has no safe ones."""
        try:
            return level_stances(self.robot)
        except ValueError:
            return []

    @property
    def rounds(self) -> int:
        """How often each stance is measured."""
        read = [each.to_deg for own in self.notebook.read.values() for each in own]
        return 1 if max(read, default=self.notebook.read_to_deg) <= FINELY else ROUNDS

    def heights(self, stance: int, heights: tuple[float | None, ...]) -> str:
        """What the ruler said in this stance, m for each leg."""
        if not 0 <= stance < len(self.stances):
            return f"there are {len(self.stances)} stances"
        if len(heights) != self.robot.legs:
            return f"expected {self.robot.legs} heights, found {len(heights)}"
        read = sum(each is not None for each in heights)
        again = self._misread_heights(stance, heights)
        if read == 0 or (read < 3 and len({leg for _, leg in again}) < read):
            return "expected the heights of three hips at least"
        self._remember("the heights in a stance")
        mm = tuple(None if each is None else round(each * 1000, 2) for each in heights)
        told = list(self.notebook.heights)
        for i, leg in again:
            new = mm[leg] if read < 3 else None
            told[i] = Heights(stance=stance, mm=tuple(new if k == leg else old for k, old in enumerate(told[i].mm)))
        if read < 3:
            self._note(heights=tuple(told))
            return ""
        self._note(heights=(*told, Heights(stance=stance, mm=mm)))
        turn = sum(each.stance == stance for each in self.notebook.heights) - 1
        if turn < self.rounds:
            self.mark("level", f"{stance}.{turn}", True)
        return ""

    def _misread_heights(self, stance: int, heights: tuple[float | None, ...]) -> list[tuple[int, int]]:
        """Heights (reading, leg) of this stance that did not fit, and that these are measured in place of."""
        told, odd = self.notebook.heights, self.reckoned.odd if self.reckoned is not None else ()
        return [(i, leg) for i, leg in odd if i < len(told) and told[i].stance == stance and heights[leg] is not None]

    def levelling(self) -> Levelling | None:
        """What the heights say, with what the protractor said before; None without any."""
        if not self.notebook.heights:
            return None
        readings = [
            Reading(
                self.stances[each.stance],
                np.array([np.nan if mm is None else mm / 1000 for mm in each.mm]),
            )
            for each in self.notebook.heights
        ]
        known = np.array([max(self.servo(name, standing=True).spread, BEST_SPREAD) for name in self.robot.joint_names])
        return reconcile(self.robot, readings, known)

    def level(self, found: Levelling) -> None:
        """Take the trims that the heights lead to; heights were measured with the trims before, and are done with."""
        self._remember("the level check")
        trims = np.clip(self.calibration.trim_rad - found.trims, -np.pi / 4, np.pi / 4)
        self.calibration = replace(self.calibration, trim_rad=trims)
        self._note(heights=())
        self.reckoned = None
        self._note(done={**self.notebook.done, "level": self.items("level")})

    # ---------------------------------------------------------------- first steps

    def leg_path(self, leg: str, way: LegWay) -> tuple[Array, Array, int]:
        """Joints (J,) rad to hold a leg at, and those to take it that way; and which joint that is."""
        at = 3 * self.robot.leg_index[leg] + LEG_WAYS[way]
        start = self._rest.copy()
        robot = self.robot
        start[at] = np.clip(start[at], robot.lower[at], robot.upper[at] - WIGGLE)
        there = start.copy()
        there[at] += WIGGLE
        return start, there, at

    def went(self, leg: str, way: LegWay, right: bool, moved: str | None = "", moved_way: Way | None = None) -> None:
        """Whether it went that way. If not, that joint's servo sits mirrored; or its plug is another joint's.

        Args:
            leg: The leg.
            way: Which way it was to go.
            right: Whether it did.
            moved: Another joint that moved in its place; None: nothing did.
            moved_way: Which way that went.
        """
        i = 3 * self.robot.leg_index[leg] + LEG_WAYS[way]
        joint = self.robot.joint_names[i]
        connector = self.robot.joint_names[self.calibration.connector[i]]
        longer = bool(self.calibration.direction[i] > 0)
        self._remember(f"how {leg} went {way}")
        seen = joint if moved == "" else moved
        # Whoever sees a joint move sees on which connector; what was said of it before is forgotten.
        rest = {name: saw for name, saw in self.notebook.saw.items() if seen is None or saw.moved != seen}
        self._note(saw=rest)
        if seen != joint:
            self._saw(connector, seen, moved_way if longer or moved_way is None else OPPOSITE[moved_way])
            self.mark("look", connector, seen is not None)
            self._again(connector)
        else:
            self._note(saw={**rest, connector: Saw(moved=joint, way="more" if right == longer else "less")})
        if seen == joint and not right:
            direction = self.calibration.direction.copy()
            direction[i] = -direction[i]
            self.calibration = replace(self.calibration, direction=direction)
            self._fit(joint)
        self.mark("legs", f"{leg} {way}", right)

    def _again(self, connector: str) -> None:
        """Legs whose plugs have been found to be others are tried once more."""
        i = self.robot.joint_index[connector]
        concerned = {i, self.calibration.joint_at[i]}
        for joint in concerned:
            leg, kind = divmod(joint, 3)
            if leg < self.robot.legs:
                way = next(name for name, each in LEG_WAYS.items() if each == kind)
                self.mark("legs", f"{self.robot.leg_names[leg]} {way}", False)

    # ---------------------------------------------------------------- back

    def back(self) -> str:
        """Take the last change back."""
        if not self.notebook.past:
            return "there is nothing to take back"
        *older, last = self.notebook.past
        before = Calibration.parse(last.calibration, "what was before", self.robot)
        # A meter's value has nothing to do with what people were doing here.
        self.calibration = replace(before, battery_scale=self.calibration.battery_scale)
        self._note(saw=last.saw, read=last.read, heights=last.heights, done=last.done, past=tuple(older))
        self.reckoned = None
        return ""

    # ---------------------------------------------------------------- pieces of it

    @cached_property
    def _rest(self) -> Array:
        return rest_joints(self.robot)

    def _note(self, **changes: object) -> None:
        self.notebook = self.notebook.model_copy(update=changes)

    def _remember(self, words: str, merge: bool = False) -> None:
        """How it is now, before a change; a nudge after a nudge of the same joint is one change."""
        note = self.notebook
        if merge and note.past and note.past[-1].words == words:
            return
        page = Past(
            words=words,
            calibration=self.calibration.dump(),
            saw=note.saw,
            read=note.read,
            heights=note.heights,
            done=note.done,
        )
        self._note(past=(*note.past, page)[-PAST:])

    def _forget(self, joints: list[str]) -> None:
        self._note(read={name: own for name, own in self.notebook.read.items() if name not in joints})
        for name in joints:
            self.mark("angles", name, False)

    def _fit(self, joint: str) -> None:
        """Trim and scale of a joint from its readings, which also show when it turns the other way."""
        if not self.notebook.read.get(joint):
            return
        robot, i = self.robot, self.robot.joint_index[joint]
        own = self.notebook.read[joint]
        pulses = np.array([each.pulse_us for each in own])
        angles = np.array([each.angle_deg for each in own])
        if np.ptp(pulses) > np.deg2rad(20) * robot.us_per_rad[i]:
            sign = float(np.sign(np.polyfit(pulses, angles, 1)[0])) or 1.0
            direction = self.calibration.direction.copy()
            direction[i] = sign
            self.calibration = replace(self.calibration, direction=direction)
        found = self.servo(joint)
        trims, scales = self.calibration.trim_rad.copy(), self.calibration.scale.copy()
        trims[i] = np.clip(found.trim, -np.pi / 4, np.pi / 4)
        scales[i] = np.clip(found.scale, *SCALES)
        self.calibration = replace(self.calibration, trim_rad=trims, scale=scales)
        self.mark("angles", joint, self.next_pulse(joint) is None)
