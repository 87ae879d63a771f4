"""Between the browser's units and the hub's: messages to commands, the hub's state to messages."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

import msgpack  # type: ignore[import-untyped]
import numpy as np

from motionhub.hub import commands
from motionhub.hub.battery import said
from motionhub.hub.bringup import asks
from motionhub.hub.steps import lift_range
from motionhub.motion.gait import gaits
from motionhub.remote import asking, bringing, making, messages, readying, telling
from motionhub.remote.parts import Message

if TYPE_CHECKING:
    from motionhub.hub.bringup.view import BringupView, JointView
    from motionhub.hub.kept import KeptView
    from motionhub.hub.live import MoveLine, RecordingLine
    from motionhub.hub.snapshot import HubState
    from motionhub.robot.model import Robot

_MM = 1e-3


def _posture(message: asking.Posture) -> commands.Posture:
    return commands.Posture(
        height=message.height_mm * _MM,
        roll=math.radians(message.roll_deg),
        pitch=math.radians(message.pitch_deg),
        yaw=math.radians(message.yaw_deg),
    )


_COMMANDS: dict[type[Message], Callable[[Any], commands.Command]] = {
    asking.Take: lambda m: commands.Take(),
    asking.Release: lambda m: commands.Release(),
    asking.Drive: lambda m: commands.Drive(forward=m.forward, left=m.left, turn=m.turn),
    asking.Posture: _posture,
    asking.Pace: lambda m: commands.Pace(share=m.share),
    asking.Gait: lambda m: commands.Gait(name=m.name),
    asking.Lift: lambda m: commands.Lift(height=m.height_mm * _MM),
    asking.Lead: lambda m: commands.Lead(on=m.on),
    asking.Play: lambda m: commands.Play(name=m.name),
    asking.Go: lambda m: commands.Go(),
    asking.Stop: lambda m: commands.Stop(),
    asking.Resume: lambda m: commands.Resume(),
    asking.Limp: lambda m: commands.Limp(sure=m.sure),
    asking.RecordStart: lambda m: commands.RecordStart(),
    asking.RecordStop: lambda m: commands.RecordStop(name=m.name),
    asking.Replay: lambda m: commands.Replay(name=m.name),
    asking.SetOutput: lambda m: commands.SetOutput(output=m.output, level=m.level),
    asking.MeterShows: lambda m: commands.MeterShows(volts=m.volts),
    asking.SendCalibration: lambda m: commands.SendCalibration(),
    asking.TakeCalibration: lambda m: commands.TakeCalibration(),
    asking.Ping: lambda m: commands.Ping(),
    bringing.BringupBegin: lambda m: asks.BringupBegin(),
    bringing.BringupLeave: lambda m: asks.BringupLeave(),
    bringing.BringupGo: lambda m: asks.BringupGo(m.step, m.item),
    bringing.BringupDone: lambda m: asks.BringupDone(m.step, m.item, m.done),
    bringing.BringupDrop: lambda m: asks.BringupDrop(),
    bringing.BringupCentre: lambda m: asks.BringupCentre(tuple(m.joints)),
    bringing.BringupTry: lambda m: asks.BringupTry(m.joint),
    bringing.BringupSaw: lambda m: asks.BringupSaw(m.joint, m.moved, m.way),
    bringing.BringupPulse: lambda m: asks.BringupPulse(m.joint, m.pulse_us),
    bringing.BringupAngle: lambda m: asks.BringupAngle(
        tuple(m.joints), tuple(math.radians(each) for each in m.angles_deg)
    ),
    bringing.BringupRead: lambda m: asks.BringupRead(m.joint, m.pulse_us, math.radians(m.angle_deg)),
    bringing.BringupProtractor: lambda m: asks.BringupProtractor(math.radians(m.read_to_deg)),
    bringing.BringupForget: lambda m: asks.BringupForget(m.joint),
    bringing.BringupTrim: lambda m: asks.BringupTrim(m.joint, math.radians(m.trim_deg)),
    bringing.BringupTurn: lambda m: asks.BringupTurn(m.joint, m.reversed),
    bringing.BringupLimit: lambda m: asks.BringupLimit(m.joint, m.which, m.pulse_us),
    bringing.BringupStand: lambda m: asks.BringupStand(m.stance),
    bringing.BringupHeights: lambda m: asks.BringupHeights(
        m.stance, tuple(None if each is None else each * _MM for each in m.heights_mm)
    ),
    bringing.BringupLevel: lambda m: asks.BringupLevel(),
    bringing.BringupLeg: lambda m: asks.BringupLeg(m.leg, m.way),
    bringing.BringupWent: lambda m: asks.BringupWent(m.leg, m.way, m.right, m.moved, m.moved_way),
    bringing.BringupBack: lambda m: asks.BringupBack(),
}


def is_making(message: Message) -> bool:
    """Whether a browser's message is about making moves, which the show does not hear of."""
    return type(message).__module__ == making.__name__


def is_readying(message: Message) -> bool:
    """Whether a browser's message is about what comes before and after a show."""
    return type(message).__module__ == readying.__name__


def command(message: messages.FromBrowser) -> commands.Command:
    """What a browser's message asks of the hub.

    Hello is not among them, which is between browser and remote, nor is what :func:`is_making` and
    :func:`is_readying` say.

    Raises:
        KeyError: for one of those.
    """
    return _COMMANDS[type(message)](message)


def robot_info(
    robot: Robot, height_range: tuple[float, float], lean_range: tuple[float, float, float]
) -> telling.RobotInfo:
    """What a browser needs to draw the robot and name its parts.

    Args:
        robot: The robot.
        height_range: How far below (negative) and above the rest height its body may be carried, in metres.
        lean_range: How far either way it may be turned by roll, pitch and yaw, in radians.
    """
    roll, pitch, yaw = (math.floor(math.degrees(angle) * 10) / 10 for angle in lean_range)
    lowest, highest = lift_range(robot)
    return telling.RobotInfo(
        name=robot.name,
        joints=list(robot.joint_names),
        legs=[
            telling.LegInfo(
                name=name,
                hip_mm=_point(robot.hip[i]),
                heading_deg=math.degrees(robot.heading[i]),
                coxa_mm=float(robot.coxa[i]) / _MM,
                femur_mm=float(robot.femur[i]) / _MM,
                tibia_mm=float(robot.tibia[i]) / _MM,
                foot_radius_mm=float(robot.foot_radius[i]) / _MM,
            )
            for i, name in enumerate(robot.leg_names)
        ],
        extra=[
            telling.ExtraInfo(
                name=joint.name,
                # The robot counts parents over all joints, a browser over the extra ones.
                parent=joint.parent - 3 * robot.legs if joint.parent >= 0 else -1,
                at_mm=_point(joint.at),
                axis=(float(joint.axis[0]), float(joint.axis[1]), float(joint.axis[2])),
                tip_mm=_point(joint.tip),
                radius_mm=joint.radius / _MM,
            )
            for joint in robot.extra
        ],
        outputs=[
            telling.OutputInfo(name=output.name, kind="lamp" if output.kind == "lamp" else "sounder")
            for output in robot.outputs
        ],
        body_size_mm=_point(robot.body_size),
        body_centre_mm=_point(robot.body_centre),
        rest_height_mm=robot.rest_height / _MM,
        height_range_mm=(round(height_range[0] / _MM, 1), round(height_range[1] / _MM, 1)),
        lean_range_deg=(roll, pitch, yaw),
        gaits=[
            telling.GaitInfo(name=name, duty=gait.duty, touchdown=list(gait.phases))
            for name, gait in gaits(robot).items()
        ],
        lift_range_mm=(round(lowest / _MM, 1), round(highest / _MM, 1)),
        leads=any(joint.leads for joint in robot.extra),
    )


def moves(lines: Iterable[MoveLine]) -> telling.Moves:
    """The list of moves."""
    return telling.Moves(
        items=[
            telling.MoveInfo(
                name=line.name,
                kind=line.kind,
                duration_s=line.duration_s,
                verdict=line.verdict,
                reason=line.reason,
                shipped=line.shipped,
            )
            for line in lines
        ]
    )


def recordings(lines: Iterable[RecordingLine]) -> telling.Recordings:
    """The list of recordings."""
    return telling.Recordings(
        items=[telling.RecordingInfo(name=line.name, duration_s=line.duration_s, made=line.made) for line in lines]
    )


def bringup(view: BringupView) -> bringing.Bringup:
    """How the bring-up stands."""
    level = view.level
    return bringing.Bringup(
        step=view.step,
        item=view.item,
        next=None if view.next is None else bringing.BringupNext(step=view.next[0], item=view.next[1]),
        steps=[
            bringing.BringupStep(
                name=name, items=list(items), done=list(view.done[name]), minutes=round(view.minutes.get(name, 0.0), 1)
            )
            for name, items in view.items.items()
        ],
        joints=[_bringup_joint(joint) for joint in view.joints],
        held=[bringing.BringupHeld(joint=name, pulse_us=pulse) for name, pulse in view.held],
        still=view.still,
        at_once=view.at_once,
        found=list(view.found),
        problems=list(view.problems),
        stances=[list(legs) for legs in view.stances],
        told=list(view.told),
        read_to_deg=round(math.degrees(view.read_to), 2),
        level=None
        if level is None
        else bringing.BringupLevelled(
            residual_mm=round(level.residual / _MM, 2),
            trims_deg=[round(math.degrees(each), 2) for each in level.trims],
            odd=[
                bringing.BringupOdd(stance=stance, leg=leg, off_mm=round(off / _MM, 1))
                for _, stance, leg, off in level.odd
            ],
            against=[
                bringing.BringupAgainst(joint=name, off_deg=round(math.degrees(off), 1)) for name, off in level.against
            ],
        ),
        back=view.back,
        saved=view.saved,
    )


def _bringup_joint(joint: JointView) -> bringing.BringupJoint:
    sheet, off = math.radians(joint.us_per_rad), dict(joint.odd)
    return bringing.BringupJoint(
        name=joint.name,
        pin=joint.pin,
        connector=joint.connector,
        plugged_pin=joint.plugged,
        trim_deg=round(math.degrees(joint.trim), 2),
        reversed=joint.reversed,
        us_per_deg=round(sheet * joint.scale, 3),
        sheet_us_per_deg=round(sheet, 3),
        low_us=joint.low,
        high_us=joint.high,
        sheet_us=joint.sheet,
        mid_us=joint.mid,
        mid_deg=round(math.degrees(joint.mid_angle), 2),
        range_deg=(round(math.degrees(joint.range[0]), 1), round(math.degrees(joint.range[1]), 1)),
        readings=[
            bringing.BringupReading(
                pulse_us=pulse,
                angle_deg=round(math.degrees(angle), 2),
                off_deg=round(math.degrees(off[i]), 1) if i in off else None,
            )
            for i, (pulse, angle) in enumerate(joint.readings)
        ],
        places_us=joint.places,
        next_us=joint.next_pulse,
        spread_deg=None if joint.spread is None else round(math.degrees(joint.spread), 2),
    )


def robot_keeps(view: KeptView) -> telling.RobotKeeps:
    """What the robot keeps beside the hub's calibration."""
    return telling.RobotKeeps(
        state=view.state,
        sent=view.sent,
        differences=[
            telling.KeptDifference(joint=each.joint, ours=each.ours, theirs=each.theirs) for each in view.differences
        ],
    )


def pack(message: messages.FromHub) -> bytes:
    """A message as it goes over the wire."""
    packed: bytes = msgpack.packb(message.model_dump(mode="python"), use_bin_type=True)
    return packed


def pack_state(state: HubState) -> bytes:
    """The hub's state as a packed :class:`~motionhub.remote.telling.State`.

    Made 25 times a second from values that are the hub's own, so it is built as the map it becomes, without
    validating it; a test holds it against the model. Rounded to what can be seen: a hundredth of a degree,
    a tenth of a millimetre.
    """
    link, battery, driver, playing = state.link, state.battery, state.driver, state.playing
    packed: bytes = msgpack.packb(
        {
            "type": "state",
            "tick": state.tick,
            "mode": str(state.mode),
            "reason": state.reason,
            "joints_deg": np.round(np.degrees(state.joints), 2).tolist(),
            "body": [
                *np.round(state.body[:3] / _MM, 1).tolist(),
                *np.round(np.degrees(state.body[3:]), 2).tolist(),
            ],
            "down": state.down.tolist(),
            "com_mm": np.round(state.com / _MM, 1).tolist(),
            "margin_mm": round(state.margin / _MM, 1),
            "outputs": np.round(state.outputs, 3).tolist(),
            "limit": state.limit,
            "gait": state.gait,
            "lift_mm": round(state.lift / _MM, 1),
            "cycle_ms": round(state.cycle_s * 1000),
            "pace": round(state.pace, 3),
            "posture": [round(state.posture[0] / _MM, 1), *(round(math.degrees(a), 1) for a in state.posture[1:])],
            "leads": state.leads,
            "walking": state.walking,
            "feet": [-1 if feet is None else sum(down << i for i, down in enumerate(feet)) for feet in state.feet],
            "link": {
                "up": bool(link.up),
                "round_trip_ms": None if link.round_trip_s is None else round(link.round_trip_s * 1000, 1),
                "lost_share": round(link.lost_share, 4),
                "bytes_s": round(link.bytes_s, 1),
                "budget_bytes_s": round(link.budget_bytes_s, 1),
                "together": link.together,
                "thinned": bool(link.thinned),
            },
            "battery": {
                "volts": None if battery.volts is None else round(battery.volts, 2),
                "level": battery.level,
                "minutes_left": None if battery.minutes_left is None else round(battery.minutes_left, 1),
                "words": said(battery),
            },
            "driver": None if driver is None else {"id": driver.id, "name": driver.name},
            "playing": None
            if playing is None
            else {
                "name": playing.name,
                "at_s": round(playing.at_s, 2),
                "duration_s": round(playing.duration_s, 2),
                "waits_for_go": playing.waits_for_go,
            },
            "recording_s": None if state.recording_s is None else round(state.recording_s, 2),
            "watchers": state.watchers,
        },
        use_single_float=True,  # half the bytes; its 24 bits hold every figure above as rounded
    )
    return packed


def _point(metres: np.ndarray[Any, np.dtype[np.float64]]) -> tuple[float, float, float]:
    x, y, z = (metres / _MM).tolist()
    return x, y, z
