"""The live show without its clock: commands and telemetry in, one tick's pulses out.

Nothing in here reads a clock, opens a file or waits. Times come in as arguments, in seconds of any clock
that only goes forward; what needs a file or a thread goes out as an event. So an hour's show runs in a test
in seconds, and every fault can be played again.

Who may do what is in :mod:`~motionhub.hub.lease`, what follows from what in :mod:`~motionhub.hub.states`,
what then happens to the joints in :mod:`~motionhub.hub.director`; here they meet.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from motionhub.hub import commands as ask
from motionhub.hub.acts import ACTS, RAW
from motionhub.hub.battery import WORDS, Battery, said
from motionhub.hub.bringup.workbench import Workbench
from motionhub.hub.director import Director
from motionhub.hub.draw import Draw
from motionhub.hub.events import AskCalibration, BringupChanged, Event, Notice, Prepare, Refused, Think
from motionhub.hub.faults import RobotFaults
from motionhub.hub.figure import Onlooker
from motionhub.hub.guard import Guard
from motionhub.hub.kept import RobotKeeps
from motionhub.hub.lease import Lease
from motionhub.hub.orders import ORDERS
from motionhub.hub.outputs import Outputs
from motionhub.hub.pulses import Pulses
from motionhub.hub.radio import Radio
from motionhub.hub.ready import Ready, make_ready
from motionhub.hub.recorder import RecordedTick, Recorder
from motionhub.hub.snapshot import DriverView, HubState, LinkView
from motionhub.hub.sources import Limit
from motionhub.hub.sources.play import Play
from motionhub.hub.states import HELD, Cause, Mode, after
from motionhub.library.notebook import Notebook
from motionhub.library.recording import Recording
from motionhub.link.session import InUse, Keeping
from motionhub.link.wire import Activity, Telemetry, Welcome
from motionhub.motion.frames import Frames
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

RATE_HZ = 50.0
"""The hobby servo's own 20 ms period (practice)."""

DEAD_MAN_S = 0.4
"""A walk ends when no Drive has come for this long. A held stick repeats at least 5 times a second, so one
may be lost; and at a brisk 0.2 m/s it is 8 cm further."""


@dataclass(frozen=True, eq=False)
class Tick:
    """What one tick sends."""

    pulses: Array | None
    """(J,) whole µs, or None for no pulses at all: limp."""
    enabled: bool
    """Whether there are pulses."""
    outputs: Array
    """(O,) levels 0..1."""
    joints: Array
    """(J,) rad, as commanded."""
    recorded: RecordedTick | None = None
    """What a recording keeps of it, while one is made."""
    events: tuple[Event, ...] = ()
    """What it has brought about: for everybody, or for whom they name."""


class Hub:
    """One robot's show.

    Args:
        robot: The robot.
        calibration: Of this very machine.
        rate_hz: Ticks per second; every call of :meth:`tick` moves the show on by one of them.
        notebook: How far its bring-up had come; an empty one when not given.
    """

    def __init__(
        self, robot: Robot, calibration: Calibration, rate_hz: float = RATE_HZ, notebook: Notebook | None = None
    ) -> None:
        self.robot = robot
        self.calibration = calibration
        self.rate_hz = rate_hz
        self.mode: Mode = "moving"
        self.reason = ""
        self.link = LinkView()
        self.activity: Activity | None = None
        self.telemetry: Telemetry | None = None
        """The last that came."""
        self.battery = Battery(robot.supply, calibration.battery_scale)
        self._draw = Draw(robot, 1 / rate_hz)
        self._radio = Radio(1 / rate_hz)
        self._robot_faults = RobotFaults()
        self.lease = Lease()
        self.ticks = 0
        self._guard = Guard(robot, 1 / rate_hz)
        self.director = Director(robot, 1 / rate_hz, lambda: self.follows)
        self.director.wake()
        self._onlooker = Onlooker(robot, self.director.stage.joints)
        self.kept = RobotKeeps(robot, calibration)
        self.workbench = Workbench(robot, calibration, 1 / rate_hz, lambda: self.kept.starts, notebook)
        self._left_setup = -1
        if self.workbench.course.unfinished:
            # Half of its trims are not known: nothing moves that nobody has asked for.
            self.stay_limp("Its bring-up is not finished. Go on with it, or stand it up as it is.")
        self.pulses = Pulses(robot, calibration, 1 / rate_hz)
        self.outputs = Outputs(robot)
        self._limit: Limit = ""
        self.pace = 1.0
        self.stick = ask.Drive()
        self.stick_at = -np.inf
        self._job = 0
        self._preparing: Prepare | None = None
        self.recorder: Recorder | None = None
        self._events: list[Event] = []

    def stay_limp(self, reason: str) -> None:
        """Begin without pulses, before the first tick; whoever is in control lifts that."""
        self.mode, self.reason = "limp", reason

    @property
    def follows(self) -> bool:
        """Whether the robot is there, and does what it is sent."""
        return self.link.up and self.activity is Activity.FOLLOWING

    @property
    def height_range(self) -> tuple[float, float]:
        """How far below (negative) and above the rest height the body may be carried, m."""
        return self.director.bearing.height_range

    @property
    def lean_range(self) -> tuple[float, float, float]:
        """How far the body may be turned either way by roll, pitch or yaw alone while it stands, rad."""
        return self.director.bearing.lean_range

    # ---------------------------------------------------------------- people

    def joined(self, client: str, name: str, operator: bool, now: float) -> list[Event]:
        """Somebody has connected, as an operator or a watcher."""
        self.lease.join(client, name, operator, now)
        return []

    def left(self, client: str, now: float) -> list[Event]:
        """Somebody has gone. If they were driving, the walk ends with the feet down."""
        person = self.lease.people.get(client)
        if self.lease.leave(client) and person is not None:
            self.let_go()
            self.tell("info", f"{person.name or 'The driver'} has gone; nobody is driving")
        return self._told()

    def handle(self, client: str, command: ask.Command, now: float) -> list[Event]:
        """Take a command; it shows from the next tick on. Returns what to tell whom."""
        person = self.lease.hear(client, now)
        if person is None:
            return [Refused(client, ask.name_of(command), "nobody is here by that name")]
        order = ORDERS[type(command)]
        refused = "take control first" if order.needs_control and not self.lease.holds(client) else ""
        if refused := refused or order.take(self, person, command, now):
            self._events.append(Refused(client, ask.name_of(command), refused))
        elif self.recorder is not None:
            self.recorder.ask(client, command)
        return self._told()

    def _told(self) -> list[Event]:
        events, self._events = self._events, []
        return events

    def say(self, event: Event) -> None:
        """Something that the shell is to hear of, with the next events."""
        self._events.append(event)

    def tell(self, level: Literal["info", "warning", "error"], text: str) -> None:
        """Something for everybody to know, with the next events."""
        self.say(Notice(level, text))

    def let_go(self) -> None:
        """Whoever drove is gone: nothing is held any more, neither the stick nor a sounder."""
        self.let_go_of_stick()
        self.outputs.let_go()

    def let_go_of_stick(self) -> None:
        """Nobody wants it to walk: it ends the step it is in, and stands."""
        self.stick_at = -np.inf

    def prepare(self, client: str, kind: Literal["move", "recording"], name: str) -> None:
        """Ask the shell for what is to be played next."""
        self._job += 1
        self._preparing = Prepare(self._job, client, kind, name)
        self.say(self._preparing)

    def use(self, calibration: Calibration) -> None:
        """From now on this is the calibration; pulses go over to it slowly, wherever the robot is held.

        It may be called between any two ticks, but not while a recording's pulses are replayed. Who saves it is the
        caller; whether the robot keeps it too is :attr:`kept`'s to say.
        """
        self.calibration = calibration
        self.pulses.use(calibration, None if self.mode in ("limp", "setup", "halted") else self.director.stage.joints)
        self.kept.use(calibration)
        self.workbench.use(calibration)

    def connected(self, welcome: Welcome, now: float) -> list[Event]:
        """The robot has answered, and said what it keeps."""
        if self.kept.connected(welcome):
            self.say(AskCalibration())
        return self._told()

    def robot_keeps(self, news: Keeping | InUse, now: float) -> list[Event]:
        """The robot has said what it keeps, or how far keeping it has come."""
        for level, text in self.kept.hear(news):
            self.tell(level, text)
        return self._told()

    # ---------------------------------------------------------------- what the shell brings

    def thought(self, work: Think, result: object, now: float) -> list[Event]:
        """What a :class:`Think` asked for has been worked out."""
        work.take(result)
        return self._told()

    def make_ready(self, name: str, what: Frames | Recording) -> Ready | str:
        """Look at all of a move or a recording before it is begun, or say in words why it may not be.

        It changes nothing and may take a while, so it is for the thread that prepares.
        """
        return make_ready(name, what, self.robot, self.calibration, self._guard, self.rate_hz)

    def prepared(self, job: int, result: Ready | str, now: float) -> list[Event]:
        """What a :class:`Prepare` asked for is ready, or in words why there is none.

        It is dropped without a word if something else has been asked for since, a stop for one.
        """
        asked = self._preparing
        if asked is None or asked.job != job:
            return []
        self._preparing = None
        refused = result if isinstance(result, str) else self.cause("play")
        if refused:
            self.say(Refused(asked.client, "play" if asked.kind == "move" else "replay", refused))
        elif isinstance(result, Ready):
            self.director.play(result.first, result.make)
        return self._told()

    def link_is(self, link: LinkView, now: float) -> list[Event]:
        """How the link is doing; to be told a few times a second, and as soon as it goes up or down."""
        before, self.link = self.link, link
        if link.up and not before.up:
            self.tell("info", "The robot answers")
        elif before.up and not link.up:
            self.tell("warning", "The link to the robot is quiet; the robot eases to rest by itself")
            self.activity = None
            self.kept.lost()
            self._lost()
        for words, matters in self._radio.hear(link, now):
            self.tell("warning" if matters else "info", words)
        limp = self.mode in ("limp", *RAW)
        self.battery.forecast.draws(self._draw.now(self.ticks, limp, self.outputs.levels, self.battery.view.volts))
        return self._told()

    def robot_says(self, telemetry: Telemetry, now: float) -> list[Event]:
        """Telemetry has come in."""
        self.telemetry = telemetry
        before, self.activity = self.activity, Activity(telemetry.activity)
        if self.activity in (Activity.LOWERING, Activity.ENDED):
            if before is not self.activity:
                self._empty()
        elif before is Activity.FOLLOWING and not self.follows and self.mode not in ("limp", "setup", "halted"):
            self.tell("warning", "The robot lost the link for a moment and began to ease to rest by itself")
            # Where it is held, it goes back to what it is sent, which is to hold; else the show has lost its place.
            if self.mode not in HELD:
                self._lost()
        for text in self._robot_faults.hear(telemetry, now):
            self.tell("warning", text)
        level = self.battery.hear(telemetry.battery_mv / 1000, now)
        self.director.steps.battery_is(telemetry.battery_mv / 1000 * self.battery.scale)
        if level == "empty":
            self._empty()
        elif level == "low":
            self.tell("warning", said(self.battery.view))
        return self._told()

    def leave(self) -> list[Event]:
        """The hub is about to end: whatever moves comes to rest. Done when :attr:`at_rest` says so."""
        self._preparing = None
        self.let_go_of_stick()
        self.cause("leave")
        return self._told()

    @property
    def at_rest(self) -> bool:
        """Whether nothing moves, and nothing is about to."""
        return self.mode in ("rest", "stopped", "limp", "fault") and self.ticks > self._left_setup

    def _lost(self) -> None:
        self.end_recording("the link to the robot was lost")
        self.cause("lost")

    def _empty(self) -> None:
        self.tell("error", WORDS["empty"])
        self.cause("empty", f"{WORDS['empty']}.")

    def end_recording(self, why: str) -> None:
        """A recording in the making ends here."""
        if self.recorder is not None and not self.recorder.ended:
            self.recorder.end(why)
            self.tell("warning", f"The recording ends here: {why}")

    # ---------------------------------------------------------------- modes

    def cause(self, cause: Cause, reason: str = "") -> str:
        """Let something happen, by the table. Returns why it is refused, or nothing."""
        outcome = after(self.mode, cause)
        if not outcome.taken:
            return outcome.refused
        was, self.mode = self.mode, outcome.mode
        if reason or self.mode not in ("stopping", "stopped", "limp", "fault", "halted"):
            self.reason = reason
        if act := ACTS.get(cause):
            act(self, was)
        return ""

    def drop_request(self) -> None:
        """What was to be played is not, and nobody wants it to walk."""
        self._preparing = None
        self.let_go_of_stick()

    def clear_bench(self) -> None:
        """Nothing has raw pulses any more; what comes back does so because somebody asked for it."""
        self.workbench.clear()
        self.say(BringupChanged())

    def raw_until_next(self) -> None:
        """A tick without pulses has to go out before :attr:`at_rest`."""
        self._left_setup = self.ticks

    # ---------------------------------------------------------------- the tick

    def tick(self, now: float) -> Tick:
        """Move the show on by one tick."""
        self.ticks += 1
        if lapsed := self.lease.lapse(now):
            self.let_go()
            self.workbench.freeze()
            self.tell("info", f"{lapsed.name or 'The driver'} has gone quiet; nobody is driving")
        if self.mode == "limp":
            self._limit = ""
            self.outputs.play(None)
            self._onlooker.passes(self.director.stage.joints)
            return Tick(None, False, self.outputs.levels, self.director.stage.joints, None, tuple(self._told()))
        if self.mode in RAW:
            return self._raw_tick()
        self._walk_on(now)
        stage = self.director.stage
        step, cause = stage.step()
        self._limit = step.limit
        objection = self._guard.objection(step.joints, stage.joints)
        if objection:
            self.tell("error", f"The guard held it back: {objection}")
            self.outputs.play(None)
            self.cause("violation", f"The guard held it back: {objection}.")
            pulses = self.pulses.of(stage.joints)
        else:
            stage.accept(step.joints)
            self.outputs.play(step.outputs)
            pulses = self.pulses.of(step.joints) if step.pulses is None else step.pulses
            self._follow(cause)
        self._onlooker.passes(stage.joints)
        self._draw.passes(stage.joints)
        shown = self.outputs.levels
        recorded = self.recorder.send(pulses, shown) if self.recorder else None
        return Tick(pulses, True, shown, stage.joints, recorded, tuple(self._told()))

    def _raw_tick(self) -> Tick:
        """A tick of bring-up: raw pulses for what was chosen, and none for the rest."""
        stage = self.director.stage
        pulses, joints = self.workbench.step(stage.joints)
        stage.place(joints)
        self._onlooker.passes(joints)
        self._limit = ""
        self.outputs.play(None)
        if self.workbench.turned:
            self.say(BringupChanged())
        return Tick(pulses, bool(pulses.any()), self.outputs.levels, joints, None, tuple(self._told()))

    def _walk_on(self, now: float) -> None:
        """Tell the walk what the driver wants of this tick, if they are still there to want it."""
        standing = self.director.standing
        if standing is None:
            return
        wanted = self.stick if now - self.stick_at <= DEAD_MAN_S else ask.Drive()
        standing.drive(wanted.forward * self.pace, wanted.left * self.pace, wanted.turn * self.pace)

    def _follow(self, cause: Cause | None) -> None:
        """What the tick has brought to its end, and what that leads to."""
        if cause is not None:
            self.cause(cause)
        player = self.director.player
        if self.mode == "playing" and isinstance(player, Play) and player.waits:
            self.cause("wait")
        standing = self.director.standing
        if self.mode == "driving" and standing is not None and standing.settled:
            self.cause("settled")

    # ---------------------------------------------------------------- what is seen of it

    def state(self, now: float) -> HubState:
        """The show at this moment. Cheap enough for 25 times a second, and not for every tick."""
        joints, holder, recorder = self.director.stage.joints, self.lease.holder, self.recorder
        player, standing = self.director.player, self.director.standing
        # A robot that hangs limp, is brought up, or goes home by itself does not stand as it was last told to.
        self._onlooker.look(known=self.follows and self.mode not in ("limp", *RAW))
        figure = self._onlooker.figure
        return HubState(
            tick=self.ticks,
            mode=self.mode,
            reason=self.reason,
            joints=joints.copy(),
            body=figure.body,
            down=figure.down,
            com=figure.com,
            margin=figure.margin,
            outputs=self.outputs.levels.copy(),
            limit=self._limit,
            gait=self.director.steps.gait,
            lift=self.director.steps.manner.lift,
            cycle_s=self.director.steps.cycle_s,
            pace=self.pace,
            posture=standing.asked if standing else (0.0, 0.0, 0.0, 0.0),
            leads=self.director.steps.leads,
            walking=standing is not None and standing.strides,
            feet=self._onlooker.feet,
            link=self.link,
            battery=self.battery.view,
            kept=self.kept.view,
            driver=DriverView(holder.id, holder.name) if holder else None,
            playing=player.progress if player else None,
            recording_s=recorder.duration_s if recorder else None,
            watchers=len(self.lease.people) - (holder is not None),
        )
