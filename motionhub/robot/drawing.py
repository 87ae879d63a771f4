"""The robot as its file has it, drawn from above and from the left, to hold beside the machine.

A maker compares shapes faster than numbers: a leg on the wrong side, a heading that points inward or a
stance too low are seen at once. The drawing is to scale, in the rest stance, and says its lengths.
"""

from __future__ import annotations

from html import escape

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.kinematics import feet, leg_angles, link_frames
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

_INK, _SOFT, _PAPER, _LEFT, _RIGHT = "#3a2f28", "#8d7f72", "#fbf6ec", "#b5532a", "#2f6673"
_ROOM = np.array([90.0, 34.0])
"""Around a view, right and down: a name of a dozen letters fits beside a foot."""
_STYLE = (
    f"text{{font:11px ui-sans-serif,system-ui,sans-serif;fill:{_INK}}}"
    f".soft{{fill:{_SOFT}}}.trunk{{fill:none;stroke:{_INK};stroke-width:1.5}}"
    f".leg{{fill:none;stroke-width:3;stroke-linecap:round;stroke-linejoin:round}}"
    f".line{{stroke:{_SOFT};stroke-width:1;stroke-dasharray:4 3}}"
)


def svg(robot: Robot) -> str:
    """An SVG of the rest stance: from above with forward up the page, and from the left with forward to the left.

    Left legs are drawn in one colour and right legs in another, and each is named as well, so that the
    colour says nothing by itself.
    """
    chains = _chains(robot)
    everything = np.concatenate([*chains.values(), _corners(robot)])
    span = everything.max(axis=0) - everything.min(axis=0)
    scale = 420 / float(max(span[0], span[1]))
    above = _View(scale, np.array([[0, -1, 0], [-1, 0, 0]]), everything)
    side = _View(scale, np.array([[-1, 0, 0], [0, 0, -1]]), np.vstack([everything, [[0, 0, -robot.rest_height]]]))
    width = max(above.width, side.width) + 40
    top = 64
    second = top + above.height + 70
    height = second + side.height + 56
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" role="img">',
        f"<title>{escape(robot.name)}, from above and from the left</title>",
        f"<style>{_STYLE}</style>",
        f'<rect width="100%" height="100%" fill="{_PAPER}"/>',
        f'<text x="20" y="24" style="font-size:15px">{escape(robot.name)}</text>',
        f'<text x="20" y="42" class="soft">{robot.legs} legs, {robot.joints} joints, {robot.mass:.2f} kg, '
        f"reference point {1e3 * robot.rest_height:.0f} mm above the ground at rest</text>",
        *_view(robot, above, chains, 20, top, "from above, forward is up", names=True),
        *_view(robot, side, chains, 20, second, "from the left, forward is left", names=False),
        *_ruler(scale, 20, height - 18),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


class _View:
    """From metres to the page: two rows that say what becomes right and down, and where the corner is."""

    def __init__(self, scale: float, rows: Array, points: Array) -> None:
        self._scale, self._rows = scale, rows.astype(float)
        flat = points @ self._rows.T * scale
        self._corner = flat.min(axis=0) - _ROOM
        self.width, self.height = (flat.max(axis=0) - flat.min(axis=0) + 2 * _ROOM).tolist()

    def at(self, points: Array) -> Array:
        """Page coordinates (…, 2) of points (…, 3)."""
        found: Array = np.asarray(points) @ self._rows.T * self._scale - self._corner
        return found


def _chains(robot: Robot) -> dict[str, Array]:
    """Points from axis to tip of every leg (4, 3) and extra joint (2, 3), in the body frame at rest."""
    legs = leg_angles(robot, robot.rest_feet).joints.ravel()
    joints = np.concatenate([legs, np.clip(0.0, robot.lower[len(legs) :], robot.upper[len(legs) :])])
    rotations, origins = link_frames(robot, joints)
    tips = feet(robot, joints)
    chains = {name: np.vstack([origins[robot.leg_joints(leg)], tips[leg]]) for leg, name in enumerate(robot.leg_names)}
    for index, extra in enumerate(robot.extra, start=3 * robot.legs):
        chains[extra.name] = np.vstack([origins[index], origins[index] + rotations[index] @ extra.tip])
    return chains


def _corners(robot: Robot) -> Array:
    half = robot.body_size / 2
    return robot.body_centre + np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * half


def _view(
    robot: Robot, view: _View, chains: dict[str, Array], left: float, top: float, title: str, names: bool
) -> list[str]:
    parts = [f'<g transform="translate({left:.1f} {top:.1f})">', f'<text x="0" y="-4" class="soft">{title}</text>']
    box = view.at(_corners(robot))
    low, size = box.min(axis=0), box.max(axis=0) - box.min(axis=0)
    parts.append(
        f'<rect class="trunk" x="{low[0]:.1f}" y="{low[1]:.1f}" width="{size[0]:.1f}" height="{size[1]:.1f}" rx="4"/>'
    )
    if not names:
        ground = view.at(np.array([[0.0, 0.0, -robot.rest_height]]))[0, 1]
        parts.append(f'<line class="line" x1="0" x2="{view.width:.1f}" y1="{ground:.1f}" y2="{ground:.1f}"/>')
        parts.append(f'<text class="soft" x="2" y="{ground + 14:.1f}">ground</text>')
    for name, chain in sorted(chains.items(), key=lambda item: item[1][0, 1]):
        at = view.at(chain)
        colour = _INK if name not in robot.leg_index else _LEFT if chain[-1, 1] > 0 else _RIGHT
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in at)
        parts.append(f'<polyline class="leg" stroke="{colour}" points="{path}"/>')
        parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.2" fill="{colour}"/>' for x, y in at[:-1]]
        if names:
            outward = at[-1] - view.at(robot.body_centre)
            anchor = "middle" if abs(outward[0]) < 30 else "start" if outward[0] > 0 else "end"
            shift = 12 * outward / (np.hypot(*outward) or 1.0)
            x, y = at[-1] + shift
            parts.append(f'<text x="{x:.1f}" y="{y + 4:.1f}" text-anchor="{anchor}">{escape(name)}</text>')
    return [*parts, "</g>"]


def _ruler(scale: float, left: float, y: float) -> list[str]:
    """A bar of 100 mm, so that a print of any size can be measured."""
    right = left + 0.1 * scale
    return [
        f'<path d="M{left} {y - 5}v5H{right:.1f}v-5" fill="none" stroke="{_INK}"/>',
        f'<text x="{right + 6:.1f}" y="{y:.1f}">100 mm</text>',
    ]
