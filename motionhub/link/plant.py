"""The machine that the simulated controller drives: servos that take time, on a supply that sags.

Good enough that what goes wrong with a real robot goes wrong here: a fast move lags, a heavy stance pulls
the rail down and slows everything, a long show empties the battery. The loads are rough: feet near the
lowest one share the weight equally. What a move really asks of the servos is the check's business.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motionhub.motion.posing import joints_for, standing_feet
from motionhub.robot.battery import open_circuit_v
from motionhub.robot.kinematics import feet, foot_jacobians, within
from motionhub.robot.mass import gravity_torques
from motionhub.robot.model import STANDARD_GRAVITY, Robot, Supply
from motionhub.robot.servo import Servo

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

CONTACT = 0.004
"""A foot within this of the lowest one carries weight, m."""
SAG_SPEED = 0.8
"""How fast a leg without pulses gives way, rad/s (practice: geared servos turn back slowly under load)."""
LOADS_EVERY = 3
"""Steps between one reckoning of loads and voltages and the next: 60 ms, slower than a regulator, faster than a leg."""

_DOWN: Array = np.array([0.0, 0.0, -1.0])


def lowered_joints(robot: Robot) -> Array:
    """The pose that puts the body on the ground, feet where they stand, or as low as the ranges allow; (J,) rad."""
    belly = robot.rest_height + float(robot.body_centre[2] - robot.body_size[2] / 2)
    body = np.zeros((65, 6))
    body[:, 2] = -np.linspace(0.0, max(belly, 0.0), len(body))
    joints, error = joints_for(robot, body, standing_feet(robot))
    fits = within(robot, joints).all(axis=-1) & (error < 1e-6).all(axis=-1)
    # The last step down before the first that does not fit.
    deepest = max(int(np.argmin(np.append(fits, False))) - 1, 0)
    return np.asarray(joints[deepest], dtype=np.float64)


def kinds_of(robot: Robot) -> list[tuple[Servo, NDArray[np.intp]]]:
    """Each class of servo with the joints that have one."""
    kinds = {id(servo): servo for servo in robot.servos}
    return [(kind, np.array([i for i, servo in enumerate(robot.servos) if servo is kind])) for kind in kinds.values()]


def standing_torques(robot: Robot, joints: Array, on: Flags) -> Array:
    """Torques in N·m that hold the links up and push the lowest feet down, (J,).

    Args:
        robot: The robot.
        joints: (J,) rad.
        on: (J,) which joints have pulses; a leg without them carries nothing.
    """
    torques = gravity_torques(robot, joints, _DOWN)
    places = feet(robot, joints)
    bottom = places[:, 2] - robot.foot_radius
    lowest = float(bottom.min())
    belly = float(robot.body_centre[2] - robot.body_size[2] / 2)
    if lowest < belly - CONTACT:  # otherwise it lies on its body
        standing = (bottom < lowest + CONTACT) & on[: 3 * robot.legs].reshape(robot.legs, 3).all(axis=1)
        if standing.any():
            force = np.where(standing, robot.mass * STANDARD_GRAVITY / standing.sum(), 0.0)
            push = foot_jacobians(robot, joints)[:, 2, :] * force[:, None]
            torques = torques.copy()
            # The ground pushes the foot up with F; the servos balance it with minus J^T F.
            torques[: 3 * robot.legs] -= push.reshape(-1)
    return np.asarray(torques, dtype=np.float64)


@dataclass
class Battery:
    """A battery, a regulator and wires, solved from one step to the next."""

    supply: Supply
    charge: float = 1.0
    """Share of the capacity that is left."""
    current_a: float = 0.0
    """Drawn from the battery."""

    def __post_init__(self) -> None:
        self.volts = self.open_circuit_v
        self.rail_v = min(self.supply.regulator_v, self.volts - self.supply.regulator_dropout_v)

    @property
    def open_circuit_v(self) -> float:
        """Without load, with the charge that is left."""
        return float(open_circuit_v(self.supply, self.charge))

    def step(self, load_a: float, dt: float) -> None:
        """Let the rail carry ``load_a`` for ``dt`` seconds; updates ``volts`` and ``rail_v``."""
        s = self.supply
        out_v = max(min(s.regulator_v, self.volts - s.regulator_dropout_v), 0.0)
        if load_a > s.regulator_a:
            # At its limit the regulator gives no more current, so the voltage falls as the load would have it.
            out_v *= s.regulator_a / load_a
            load_a = s.regulator_a
        self.rail_v = max(out_v - load_a * s.wiring_ohm, 0.0)
        self.current_a = s.electronics_a + load_a * out_v / (s.regulator_efficiency * max(self.volts, 1.0))
        self.volts = max(self.open_circuit_v - self.current_a * s.battery_ohm, 0.0)
        self.charge = max(self.charge - self.current_a * dt / s.capacity_c, 0.0)


class Plant:
    """Joints, loads and battery. ``joints`` is where the joints are, (J,) rad.

    Args:
        robot: The robot.
        charge: Share of the battery's capacity to begin with.
    """

    def __init__(self, robot: Robot, charge: float = 1.0) -> None:
        self.robot = robot
        self.battery = Battery(robot.supply, charge)
        self.lowered = lowered_joints(robot)
        self.joints: Array = self.lowered.copy()
        """It begins as a robot that was switched off: lying down."""
        self.torques: Array = np.zeros(robot.joints)
        """What each servo has to give, N·m, (J,)."""
        self.servo_a = 0.0
        """All servos and outputs together."""
        self._steps = 0
        self._travelled = np.zeros(robot.joints)
        self._elapsed = 0.0
        self._free = np.empty(robot.joints)
        self._lifting = np.empty(robot.joints)
        self._output_a = np.array([output.current_a for output in robot.outputs])
        self._legs = np.arange(robot.joints) < 3 * robot.legs
        self._kinds = kinds_of(robot)
        self._limit_speeds()

    def step(self, wanted: Array, on: Flags, outputs: ArrayLike, dt: float) -> None:
        """Let ``dt`` seconds pass.

        Args:
            wanted: (J,) rad that the pulses ask for.
            on: (J,) which joints have pulses.
            outputs: (O,) levels, 0 to 1.
            dt: Seconds; a servo period or less.
        """
        gap = wanted - self.joints
        # A servo that lifts its load is slowed by it, one that gives way to it is not.
        most = np.where(self.torques * gap > 0, self._lifting, self._free) * dt
        sagging = np.minimum(np.maximum(self.lowered - self.joints, -SAG_SPEED * dt), SAG_SPEED * dt) * self._legs
        moved = np.where(on, np.minimum(np.maximum(gap, -most), most), sagging)
        self.joints = self.joints + moved
        self._travelled += np.abs(moved)
        self._elapsed += dt
        self._steps += 1
        if self._steps % LOADS_EVERY == 0:
            self._settle(on, np.asarray(outputs, dtype=np.float64))

    def _settle(self, on: Flags, outputs: Array) -> None:
        """Work out loads, currents and voltages from what has happened since the last time."""
        self.torques = standing_torques(self.robot, self.joints, on)
        speeds = self._travelled / self._elapsed
        amps = float(self._output_a @ outputs) if len(self._output_a) else 0.0
        volts = max(self.battery.rail_v, 0.1)
        for kind, own in self._kinds:
            amps += float((kind.current(self.torques[own], speeds[own], volts) * on[own]).sum())
        self.servo_a = amps
        self.battery.step(amps, self._elapsed)
        self._travelled = np.zeros(self.robot.joints)
        self._elapsed = 0.0
        self._limit_speeds()

    def _limit_speeds(self) -> None:
        volts = max(self.battery.rail_v, 0.1)
        for kind, own in self._kinds:
            free = kind.free_speed_at(volts)
            self._free[own] = free
            self._lifting[own] = free * np.maximum(1 - np.abs(self.torques[own]) / kind.stall_torque_at(volts), 0.0)
