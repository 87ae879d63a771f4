"""Hobby servos in MuJoCo: a position loop around a geared brushed motor, on the rail that the robot's supply gives.

Every 20 ms a servo is told an angle by a pulse, and keeps it until the next one (*practice*). Its electronics drive
the motor with a share u of the rail's voltage: all of it from ``BAND`` of error on, in proportion below
(*practice*: a proportional controller that is full within a few degrees), less what damps it. The motor is
the straight line of ``robot/servo.py`` continued over all of its plane (a brushed motor's characteristic,
with u·V for V), so that it brakes where it is turned faster than it is driven::

    u = clip((told - q)/BAND - DAMPING_S·q'/BAND, ±1)
    torque = clip(stall(V)·u - stall(V)/free(V)·q', ±stall(V))

A servo therefore droops under load by BAND·torque/stall, and does 63 % of a small step in about BAND/free speed +
DAMPING_S: with a band of 8 degrees in 40 ms, which is what the check takes them to need
(:data:`motionhub.check.tracking.RESPONSE_S`). Friction in the gears is left out; it would help the servo to hold.
The rail's voltage follows, pulse by pulse, from what all servos together draw: current, regulator, wiring
and battery as the simulated robot has them (``link/plant.py``).
"""

from dataclasses import dataclass

import mujoco
import numpy as np
from check.scene import Scene
from numpy.typing import NDArray

from motionhub.link.plant import Battery

Array = NDArray[np.float64]

PULSE_S = 0.02
BAND = float(np.deg2rad(8))
"""rad of error from which on a servo gives all it has (*practice*: 3 to 10 degrees, digital ones the less)."""
DAMPING_S = 0.02
"""s: with the motor's own braking enough that a joint with a leg on it does not overshoot (*practice*)."""


@dataclass
class Worked:
    """What the servos did in one pulse."""

    at: Array
    """(J,) rad, where the joints are at its end."""
    full: Array
    """(J,) share of it in which they were driven with all the rail has."""
    load: Array
    """(J,) mean torque (as a size), as a share of stall torque."""
    volts: float
    """The rail's."""
    amps: float
    """What all servos draw, on average over it."""


class Servos:
    """Drives a scene whose joints are ``MOTORS``.

    Args:
        scene: The robot over its floor.
        band: See ``BAND``.
        charge: Share of the battery's capacity at the start.
        limits: Whether they have any. Without, the same loop goes on beyond all that the rail has, and the rail
            does not sag: where the limits make a difference is then seen by comparing.
    """

    def __init__(self, scene: Scene, band: float = BAND, charge: float = 1.0, limits: bool = True) -> None:
        self.scene, self.band, self.limits = scene, band, limits
        robot, model = scene.robot, scene.model
        self.battery = Battery(robot.supply, charge)
        self.kinds = [(kind, [i for i, s in enumerate(robot.servos) if s is kind]) for kind in set(robot.servos)]
        self.parts = round(PULSE_S / model.opt.timestep)
        self.at = np.array(scene.places)
        self.turning = np.array([int(model.joint(name).dofadr[0]) for name in robot.joint_names])
        self.stall = np.empty(robot.joints)
        model.actuator_forcelimited[:] = limits
        self._on_rail()

    def _on_rail(self) -> None:
        model, volts = self.scene.model, max(self.battery.rail_v, 0.1)
        for kind, own in self.kinds:
            stall = float(kind.stall_torque_at(volts))
            self.stall[own] = stall
            model.actuator_biasprm[own, 2] = -stall / float(kind.free_speed_at(volts))
        model.actuator_forcerange[:, 0], model.actuator_forcerange[:, 1] = -self.stall, self.stall

    def pulse(self, told: Array) -> Worked:
        """Tell the joints (J,) rad, and let the time until the next pulse pass."""
        model, data = self.scene.model, self.scene.data
        full, torque, speed = np.zeros((3, len(told)))
        for _ in range(self.parts):
            turning = data.qvel[self.turning]
            u = (told - data.qpos[self.at] - DAMPING_S * turning) / self.band
            full += np.abs(u) >= 1
            data.ctrl[:] = self.stall * (np.minimum(np.maximum(u, -1.0), 1.0) if self.limits else u)
            mujoco.mj_step(model, data)
            torque += np.abs(data.actuator_force)
            speed += np.abs(turning)
        full, torque, speed = full / self.parts, torque / self.parts, speed / self.parts
        volts, load = max(self.battery.rail_v, 0.1), torque / self.stall
        amps = sum(float(kind.current(torque[own], speed[own], volts).sum()) for kind, own in self.kinds)
        if self.limits:
            self.battery.step(amps, PULSE_S)
            self._on_rail()
        return Worked(data.qpos[self.at].copy(), full, load, volts, amps)
