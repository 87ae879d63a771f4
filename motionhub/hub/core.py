"""The live show without its clock: commands and telemetry in, one tick's pulses out.

Nothing in here reads a clock, opens a file or waits. Times come in as arguments, in seconds of any clock
that only goes forward; what needs a file or a thread goes out as an event. So an hour's show runs in a test
in seconds, and every fault can be played again.

Who may do what is in :mod:`~motionhub.hub.lease`, what follows from what in :mod:`~motionhub.hub.states`,
what then happens to the joints in :mod:`~motionhub.hub.director`; here they meet.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from motionhub.hub import commands as ask
from motionhub.hub.battery import WORDS, Battery, said
from motionhub.hub.bringup.orders import at_once
from motionhub.hub.bringup.view import BringupView, view
from motionhub.hub.bringup.workbench import Workbench
from motionhub.hub.director import Director
from motionhub.hub.draw import EVERY, Draw
from motionhub.hub.events import AskCalibration, BringupChanged, Event, Notice, Prepare, Refused, Think
from motionhub.hub.faults import RobotFaults
from motionhub.hub.figure import Footing
from motionhub.hub.guard import Guard
from motionhub.hub.kept import RobotKeeps
from motionhub.hub.lease import Lease
from motionhub.hub.orders import ORDERS
from motionhub.hub.pulses import Pulses
from motionhub.hub.radio import Radio
from motionhub.hub.recorder import RecordedTick, Recorder
from motionhub.hub.snapshot import DriverView, HubState, LinkView
from motionhub.hub.sources import Limit
from motionhub.hub.sources.play import Play
from motionhub.hub.sources.replay import Replay, joints_of
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

LOOKED_AWAY = 8
"""Ticks between two looks after which a foot may have stepped unseen."""

FEET_TICKS = 6
"""Ticks of which a state says which feet were down: with a state every other tick, two in a row may be lost."""


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


@dataclass(frozen=True, eq=False)
class Ready:
    """Something that may be played: it has been looked at from end to end."""

    first: Array
    """(J,) rad, where it begins."""
    make: Callable[[], Play | Replay]


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
        self._recent: deque[Array] = deque(maxlen=EVERY)
        self._reckoned = 0
        self._warns = np.array([output.low_battery for output in robot.outputs], dtype=bool)
        self._radio = Radio(1 / rate_hz)
        self._robot_faults = RobotFaults()
        self.lease = Lease()
        self.ticks = 0
        self._guard = Guard(robot, 1 / rate_hz)
        self.director = Director(robot, 1 / rate_hz, lambda: self.follows)
        self.director.wake()
        self._footing = Footing(robot)
        self._figure, _ = self._footing.look(self.director.stage.joints[None])
        self._looked = 0
        self._passed: deque[Array] = deque(maxlen=LOOKED_AWAY)
        """Joints of the ticks that nobody has looked at yet."""
        self._feet: deque[tuple[bool, ...] | None] = deque(maxlen=FEET_TICKS)
        self.workbench = Workbench(robot, calibration, 1 / rate_hz, notebook)
        self._left_setup = -1
        if self.workbench.course.unfinished:
            # Half of its trims are not known: nothing moves that nobody has asked for.
            self.stay_limp("Its bring-up is not finished. Go on with it, or stand it up as it is.")
        self._pulses = Pulses(robot, calibration, 1 / rate_hz)
        self.kept = RobotKeeps(robot, calibration)
        self._sounders = np.array([output.kind == "sounder" for output in robot.outputs], dtype=bool)
        self.by_hand = np.zeros(len(robot.outputs))
        self._outputs = self.by_hand
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
        self.by_hand = np.where(self._sounders, 0.0, self.by_hand)

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
        self._pulses.use(calibration, None if self.mode in ("limp", "setup", "halted") else self.director.stage.joints)
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
        if what.rate_hz != self.rate_hz:
            return f"{name} has {what.rate_hz:g} frames a second, the hub sends {self.rate_hz:g}"
        joints = what.joints if isinstance(what, Frames) else joints_of(what, self.robot, self.calibration)
        if len(joints) == 0:
            return f"{name} is empty"
        if objection := self._guard.objection_to_all(joints):
            return f"{name} cannot be sent: {objection}"
        if isinstance(what, Frames):
            return Ready(joints[0], lambda: Play(what))
        return Ready(joints[0], lambda: Replay(name, what, joints))

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
        self._reckon()
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
        self._end_recording("the link to the robot was lost")
        self.cause("lost")

    def _empty(self) -> None:
        self.tell("error", WORDS["empty"])
        self.cause("empty", f"{WORDS['empty']}.")

    def _end_recording(self, why: str) -> None:
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
        if act := self._ACTS.get(cause):
            act(self, was)
        return ""

    def _on_go(self, was: Mode) -> None:
        if isinstance(self.director.player, Play):
            self.director.player.go()

    def _on_stop(self, was: Mode) -> None:
        self._quieten()
        if was in ("setup", "halted"):
            self.workbench.freeze()
        elif was != "limp":
            self.director.stop()

    def _on_resume(self, was: Mode) -> None:
        if was == "limp":
            self.director.wake()
        elif was != "halted":
            self.director.go_home()

    def _on_limp(self, was: Mode) -> None:
        self._quieten()
        self._clear_bench()
        self._pulses.let_go()
        self.director.hold()
        self._end_recording("the robot is limp")

    def _on_setup(self, was: Mode) -> None:
        self._clear_bench()

    def _on_leave(self, was: Mode) -> None:
        if was in ("setup", "halted"):
            self._left_setup = self.ticks  # a tick without pulses has to go out yet
            self._clear_bench()
        else:
            self.director.go_home()

    def _clear_bench(self) -> None:
        """Nothing has raw pulses any more; what comes back does so because somebody asked for it."""
        self.workbench.clear()
        self.say(BringupChanged())

    def _on_lost(self, was: Mode) -> None:
        if was in ("setup", "halted"):
            self._clear_bench()
            return
        # Where it holds, it goes on holding; but the robot eases to rest by itself, and has to be found there.
        if was in ("stopping", "stopped", "fault"):
            self.director.follow_home()
        else:
            self.director.go_home()

    def _on_empty(self, was: Mode) -> None:
        self._quieten()
        if was in ("setup", "halted"):
            self._clear_bench()
        else:
            self.director.lie_down()

    def _on_violation(self, was: Mode) -> None:
        self._quieten()
        self.director.hold()

    def _quieten(self) -> None:
        """What was to be played is not; lamps stay as they are, sounders fall silent."""
        self._preparing = None
        self.let_go_of_stick()
        self.by_hand = np.where(self._sounders, 0.0, self._outputs)

    _ACTS: ClassVar[dict[Cause, Callable[[Hub, Mode], None]]] = {
        "go": _on_go,
        "over": lambda self, was: self.director.go_home(),
        "stop": _on_stop,
        "still": lambda self, was: self.director.hold(),
        "resume": _on_resume,
        "limp": _on_limp,
        "violation": _on_violation,
        "lost": _on_lost,
        "leave": _on_leave,
        "setup": _on_setup,
        "finish": _on_limp,
        "empty": _on_empty,
        "lain": _on_limp,
    }

    # ---------------------------------------------------------------- the tick

    def tick(self, now: float) -> Tick:
        """Move the show on by one tick."""
        self.ticks += 1
        if lapsed := self.lease.lapse(now):
            self.let_go()
            self.workbench.freeze()
            self.tell("info", f"{lapsed.name or 'The driver'} has gone quiet; nobody is driving")
        if self.mode == "limp":
            self._limit, self._outputs = "", self.by_hand
            self._passed.append(self.director.stage.joints)
            return Tick(None, False, self._shown(), self.director.stage.joints, None, tuple(self._told()))
        if self.mode in ("setup", "halted"):
            return self._raw_tick()
        self._walk_on(now)
        stage = self.director.stage
        step, cause = stage.step()
        self._limit = step.limit
        objection = self._guard.objection(step.joints, stage.joints)
        if objection:
            self.tell("error", f"Held back by the guard: {objection}")
            self._outputs = self._combined(None)
            self.cause("violation", f"The guard held it back: {objection}.")
            pulses = self._pulses.of(stage.joints)
        else:
            stage.accept(step.joints)
            self._outputs = self._combined(step.outputs)
            pulses = self._pulses.of(step.joints) if step.pulses is None else step.pulses
            self._follow(cause)
        self._passed.append(stage.joints)
        self._recent.append(stage.joints)
        shown = self._shown()
        recorded = self.recorder.send(pulses, shown) if self.recorder else None
        return Tick(pulses, True, shown, stage.joints, recorded, tuple(self._told()))

    def _reckon(self) -> None:
        """Predict now and then what is drawn from the battery."""
        if self.ticks - self._reckoned < EVERY:
            return
        self._reckoned = self.ticks
        volts, recent = self.battery.view.volts, self._recent
        limp = self.mode == "limp" or not recent
        draw = self._draw
        amps = draw.limp(self._outputs, volts) if limp else draw.moving(recent, self._outputs, volts)
        self.battery.forecast.draws(amps)

    def _shown(self) -> Array:
        """Outputs, with the low-battery lamp over them: it blinks once a second, and burns when it is empty."""
        level = self.battery.view.level
        if not self._warns.any() or level not in ("low", "empty"):
            return self._outputs
        lit = level == "empty" or self.ticks / self.rate_hz % 1 < 0.5
        return np.where(self._warns, float(lit), self._outputs)

    def bringup(self) -> BringupView:
        """How the bring-up stands."""
        bench, names = self.workbench.bench, self.robot.joint_names
        wanted = bench.wanted
        return replace(
            view(self.workbench.course),
            held=tuple((names[self.calibration.joint_at[at]], pulse) for at, pulse in sorted(wanted.items())),
            still=bench.still,
            at_once=at_once(self.robot),
        )

    def _raw_tick(self) -> Tick:
        """A tick of bring-up: raw pulses for what was chosen, and none for the rest."""
        stage = self.director.stage
        pulses, joints = self.workbench.step(stage.joints)
        stage.place(joints)
        self._passed.append(joints)
        self._limit, self._outputs = "", self.by_hand
        if self.workbench.turned:
            self.say(BringupChanged())
        return Tick(pulses, bool(pulses.any()), self._shown(), joints, None, tuple(self._told()))

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

    def _combined(self, played: Array | None) -> Array:
        """What a source gives goes before what people have set by hand."""
        return self.by_hand if played is None else np.where(np.isnan(played), self.by_hand, played)

    # ---------------------------------------------------------------- what is seen of it

    def _look(self) -> None:
        """See how it stands, tick by tick since the last look."""
        if self._looked == self.ticks:
            return
        if self.ticks - self._looked > LOOKED_AWAY:
            self._footing.forget()
            self._feet.clear()
        self._looked = self.ticks
        self._figure, down = self._footing.look(np.array(self._passed))
        self._passed.clear()
        # A robot that hangs limp, is brought up, or goes home by itself does not stand as it was last told to.
        known = self.follows and self.mode not in ("limp", "setup", "halted")
        self._feet.extend(tuple(row) if known else None for row in down.tolist())

    def state(self, now: float) -> HubState:
        """The show at this moment. Cheap enough for 25 times a second, and not for every tick."""
        joints, holder, recorder = self.director.stage.joints, self.lease.holder, self.recorder
        self._look()
        figure, player, standing = self._figure, self.director.player, self.director.standing
        return HubState(
            tick=self.ticks,
            mode=self.mode,
            reason=self.reason,
            joints=joints.copy(),
            body=figure.body,
            down=figure.down,
            com=figure.com,
            margin=figure.margin,
            outputs=self._shown().copy(),
            limit=self._limit,
            gait=self.director.steps.gait,
            lift=self.director.steps.manner.lift,
            cycle_s=self.director.steps.cycle_s,
            pace=self.pace,
            posture=standing.asked if standing else (0.0, 0.0, 0.0, 0.0),
            leads=self.director.steps.leads,
            walking=standing is not None and standing.strides,
            feet=tuple(self._feet),
            link=self.link,
            battery=self.battery.view,
            kept=self.kept.view,
            driver=DriverView(holder.id, holder.name) if holder else None,
            playing=player.progress if player else None,
            recording_s=recorder.duration_s if recorder else None,
            watchers=len(self.lease.people) - (holder is not None),
        )
