"""The shape of a robot out of a URDF: what a legged robot's drawing carries of what a robot file asks.

Any URDF will do whose legs are a coxa about a vertical axis and a femur and a tibia about level, parallel
axes at zero, whatever way its own frames and signs go: axes and feet are placed by multiplying out the
origins (http://wiki.ros.org/urdf/XML, from memory), and the lengths are the distances between them. Joint
angles of the robot file count from our own zero (:mod:`~motionhub.robot.model`), so :class:`Found` says how
a URDF's angle becomes ours.

Kept: names, hips, headings, lengths, ranges, masses, centres of mass, radii, foot spheres, the trunk's box.
Not in a URDF: servos, supply, pins, the rest stance, the radio.
"""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from motionhub.errors import InputError
from motionhub.robot.skeleton import PARTS, LegShape, Skeleton

Array = NDArray[np.float64]

MOVING = ("revolute", "continuous")
KNOWN = (*MOVING, "fixed")
_STRAIGHT = math.radians(2.0)
"""How far a coxa may lean from the vertical, or a femur's axis from level: a drawing's rounding, not a design."""


@dataclass(frozen=True)
class Found:
    """What a URDF said."""

    skeleton: Skeleton
    signs: dict[str, int]
    """Per joint: 1 where its angle grows the same way as ours."""
    offsets_deg: dict[str, float]
    """Per joint: our angle at the URDF's zero."""
    meshes: tuple[str, ...]
    """The meshes that it draws its links with, as written."""


@dataclass(frozen=True)
class _Joint:
    name: str
    kind: str
    parent: str
    child: str
    at: Array
    """(4, 4), from the parent link's frame."""
    axis: Array
    lower: float
    upper: float


@dataclass(frozen=True)
class _Link:
    name: str
    mass: float
    com: Array
    shapes: tuple[tuple[str, Array, tuple[float, ...]], ...]
    """Kind (box, sphere, cylinder), frame (4, 4), sizes."""


def read(text: str, source: str | Path) -> Found:
    """Read a URDF.

    Raises:
        InputError: naming the link or joint, and what was expected of it: broken XML, no single root, a
            loop, a kind of joint that no hobby servo is, a moving link without mass, or legs of another make.
    """
    root = _xml(text, source)
    links = {link.name: link for link in _links(root, source)}
    joints = list(_joints(root, source, links))
    children = _tree(links, joints, source)
    trunk = next(name for name in links if name not in {joint.child for joint in joints})
    return _Reader(source, links, joints, children).skeleton(str(root.get("name") or "Robot"), trunk, _meshes(root))


def _xml(text: str, source: str | Path) -> ET.Element:
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        raise InputError(source, "", "expected a URDF without a document type, which may hide entities that explode")
    try:
        root = ET.fromstring(text)
    except ET.ParseError as error:
        raise InputError(source, f"line {error.position[0]}", f"expected XML, {error.msg}") from None
    if root.tag != "robot":
        raise InputError(source, "", f"expected a URDF, whose outermost element is <robot>, found <{root.tag}>")
    return root


def _meshes(root: ET.Element) -> tuple[str, ...]:
    return tuple(dict.fromkeys(mesh.get("filename", "") for mesh in root.iter("mesh")))


def _links(root: ET.Element, source: str | Path) -> Iterator[_Link]:
    seen = set()
    for element in root.findall("link"):
        name = _name(element, "link", source)
        if name in seen:
            raise InputError(source, f"link {name}", "expected a name of its own, found it again")
        seen.add(name)
        place = f"link {name}"
        mass, com = 0.0, np.zeros(3)
        inertial = element.find("inertial")
        if inertial is not None:
            weight = inertial.find("mass")
            if weight is None:
                raise InputError(source, place, "expected a <mass> in its <inertial>")
            mass = _number(weight.get("value", ""), place, "mass", source)
            if mass < 0:
                raise InputError(source, place, f"expected a mass of 0 or more kg, found {mass:g}")
            com = _origin(inertial, place, source)[:3, 3]
        yield _Link(name, mass, com, tuple(_shapes(element, place, source)))


def _shapes(element: ET.Element, place: str, source: str | Path) -> Iterator[tuple[str, Array, tuple[float, ...]]]:
    for kind in ("collision", "visual"):
        for drawn in element.findall(kind):
            at = _origin(drawn, place, source)
            geometry = drawn.find("geometry")
            for shape in geometry if geometry is not None else ():
                if shape.tag == "box":
                    yield "box", at, tuple(_vector(shape.get("size", ""), place, "size", source))
                elif shape.tag == "sphere":
                    yield "sphere", at, (_number(shape.get("radius", ""), place, "radius", source),)
                elif shape.tag == "cylinder":
                    sizes = (_number(shape.get(key, ""), place, key, source) for key in ("radius", "length"))
                    yield "cylinder", at, tuple(sizes)


def _joints(root: ET.Element, source: str | Path, links: dict[str, _Link]) -> Iterator[_Joint]:
    seen = set()
    for element in root.findall("joint"):
        name = _name(element, "joint", source)
        place, kind = f"joint {name}", element.get("type", "")
        if name in seen:
            raise InputError(source, place, "expected a name of its own, found it again")
        seen.add(name)
        if kind not in KNOWN:
            raise InputError(source, place, f"expected a joint of a servo ({', '.join(KNOWN)}), found {kind!r}")
        ends = []
        for end in ("parent", "child"):
            found = element.find(end)
            link = found.get("link", "") if found is not None else ""
            if link not in links:
                raise InputError(source, place, f"expected a {end} that is a link of this file, found {link!r}")
            ends.append(link)
        lower, upper = -math.pi, math.pi
        limit = element.find("limit")
        if kind == "revolute":
            if limit is None:
                raise InputError(source, place, "expected a <limit>, which a revolute joint has to have")
            lower = _number(limit.get("lower", "0"), place, "lower", source)
            upper = _number(limit.get("upper", "0"), place, "upper", source)
            if lower >= upper:
                raise InputError(source, place, f"expected lower below upper, found {lower:g} and {upper:g}")
        drawn = element.find("axis")
        axis = _vector(drawn.get("xyz", "1 0 0"), place, "axis", source) if drawn is not None else np.array([1.0, 0, 0])
        size = float(np.linalg.norm(axis))
        if kind != "fixed" and size < 1e-9:
            raise InputError(source, place, "expected an axis with a direction, found 0 0 0")
        axis = axis / size if size else axis
        yield _Joint(name, kind, ends[0], ends[1], _origin(element, place, source), axis, lower, upper)


def _tree(links: dict[str, _Link], joints: list[_Joint], source: str | Path) -> dict[str, list[_Joint]]:
    """The joints below each link; refuses whatever is not one tree."""
    if not links:
        raise InputError(source, "", "expected links, found none")
    parent: dict[str, _Joint] = {}
    children: dict[str, list[_Joint]] = {name: [] for name in links}
    for joint in joints:
        if joint.child in parent:
            raise InputError(
                source, f"link {joint.child}",
                f"expected one joint that carries it, found {parent[joint.child].name} and {joint.name}: a loop",
            )  # fmt: skip
        parent[joint.child] = joint
        children[joint.parent].append(joint)
    roots = [name for name in links if name not in parent]
    if not roots:
        raise InputError(source, "", "expected a trunk that no joint carries, found a loop of all its links")
    if len(roots) > 1:
        raise InputError(source, f"link {roots[1]}", f"expected a joint to it; {roots[0]} is the trunk already")
    reached, open_ = set(), [roots[0]]
    while open_:
        reached.add(link := open_.pop())
        open_ += [joint.child for joint in children[link]]
    if stray := [name for name in links if name not in reached]:
        raise InputError(source, f"link {stray[0]}", "expected it to hang on the trunk, found it in a loop of its own")
    return children


class _Reader:
    """Walks the tree from the trunk, and makes legs of the chains that are legs."""

    def __init__(
        self, source: str | Path, links: dict[str, _Link], joints: list[_Joint], children: dict[str, list[_Joint]]
    ) -> None:
        self._source, self._links, self._joints, self._children = source, links, joints, children
        self._signs: dict[str, int] = {}
        self._offsets: dict[str, float] = {}

    def skeleton(self, name: str, trunk: str, meshes: tuple[str, ...]) -> Found:
        body, frames = self._rigid(trunk, np.eye(4))
        legs, extras = [], []
        for joint, frame in frames:
            chain = self._chain(joint, frame)
            if len(chain) == 3 and self._is_leg(chain):
                legs.append(self._leg(chain))
            else:
                extras.append((joint, frame))
        if not 4 <= len(legs) <= 8:
            raise InputError(
                self._source, "",
                f"expected 4 to 8 legs, each of a vertical joint and two level parallel ones, found {len(legs)}",
            )  # fmt: skip
        joints = [entry for joint, frame in extras for entry in self._extra(joint, frame, "body")]
        return Found(Skeleton(name, self._body(trunk, body), legs, joints), self._signs, self._offsets, meshes)

    def _rigid(self, link: str, frame: Array) -> tuple[list[tuple[_Link, Array]], list[tuple[_Joint, Array]]]:
        """The links that are one piece with this one, and the joints that leave it, with their frames."""
        parts, leaving = [(self._links[link], frame)], []
        for joint in self._children[link]:
            at = frame @ joint.at
            if joint.kind == "fixed":
                more, further = self._rigid(joint.child, at)
                parts += more
                leaving += further
            else:
                leaving.append((joint, at))
        return parts, leaving

    def _chain(self, joint: _Joint, frame: Array) -> list[tuple[_Joint, Array, list[tuple[_Link, Array]]]]:
        """Joints one after the other, each with its frame and its link's pieces; ends where it forks."""
        chain = []
        while True:
            parts, leaving = self._rigid(joint.child, frame)
            chain.append((joint, frame, parts))
            if len(leaving) != 1:
                return chain if not leaving else [*chain, *([chain[-1]] * 3)]
            joint, frame = leaving[0]

    def _is_leg(self, chain: list[tuple[_Joint, Array, list[tuple[_Link, Array]]]]) -> bool:
        axes = [frame[:3, :3] @ joint.axis for joint, frame, _ in chain]
        level = all(abs(axis[2]) < math.sin(_STRAIGHT) for axis in axes[1:])
        parallel = abs(float(axes[1] @ axes[2])) > math.cos(_STRAIGHT)
        return abs(float(axes[0][2])) > math.cos(_STRAIGHT) and level and parallel

    def _leg(self, chain: list[tuple[_Joint, Array, list[tuple[_Link, Array]]]]) -> LegShape:
        (coxa, hip_frame, _), (femur, femur_frame, _), (tibia, tibia_frame, tip_parts) = chain
        name = _common(coxa.name, femur.name, tibia.name) or coxa.name
        hip, knee = hip_frame[:3, 3], tibia_frame[:3, 3]
        level = femur_frame[:3, :3] @ femur.axis
        foot, radius = self._foot(tibia, tibia_frame, tip_parts)
        # The plane that the leg moves in: across the level axes, and through the foot rather than away from it
        outward = np.cross([0.0, 0.0, 1.0], level)
        outward /= np.linalg.norm(outward)
        reach = (femur_frame[:3, 3] - hip) @ outward
        if reach + (foot - hip) @ outward < 0:
            outward, reach = -outward, -reach
        heading = math.atan2(outward[1], outward[0])
        ours = np.cross(outward, [0.0, 0.0, 1.0])  # the axis about which femur and tibia lift: -y of the leg's frame

        def side(vector: Array) -> float:
            return math.atan2(vector[2], float(vector @ outward))

        raised = side(knee - femur_frame[:3, 3])
        bent = side(foot - knee) - raised
        offsets = (0.0, raised, (bent + math.pi) % (2 * math.pi) - math.pi)
        signs = [1 if (hip_frame[:3, :3] @ coxa.axis)[2] > 0 else -1]
        signs += [1 if (frame[:3, :3] @ joint.axis) @ ours > 0 else -1 for joint, frame, _ in chain[1:]]
        height = femur_frame[2, 3]
        lengths = (reach, np.linalg.norm(knee - femur_frame[:3, 3]), np.linalg.norm(foot - knee))
        segments = {}
        for part, (joint, frame, parts), sign, offset, length in zip(
            PARTS, chain, signs, offsets, lengths, strict=True
        ):
            if length <= 0:
                raise InputError(self._source, f"joint {joint.name}", f"expected a {part} of some length, found none")
            turn = _leg_frame(outward, {"coxa": 0.0, "femur": raised, "tibia": side(foot - knee)}[part])
            segments[part] = {"length_mm": _mm(length)} | self._segment(joint, frame, parts, turn, sign, offset)
            self._signs[f"{name}.{part}"], self._offsets[f"{name}.{part}"] = sign, math.degrees(offset)
        at = (_mm(hip[0]), _mm(hip[1]), _mm(height))
        return LegShape(name, at, round(math.degrees(heading), 9), segments, radius)

    def _segment(
        self, joint: _Joint, frame: Array, parts: list[tuple[_Link, Array]], turn: Array, sign: int, offset: float
    ) -> dict[str, object]:
        mass, centre = self._weigh(joint, parts)
        ends = sorted((sign * joint.lower + offset, sign * joint.upper + offset))
        found: dict[str, object] = {
            "mass_g": mass,
            "com_mm": tuple(_mm(value) for value in turn.T @ (centre - frame[:3, 3])),
            "range_deg": tuple(_degrees(end) for end in ends),
        }
        radii = [sizes[0] for link, _ in parts for kind, _, sizes in link.shapes if kind == "cylinder"]
        return found | ({"radius_mm": _mm(max(radii))} if radii else {})

    def _weigh(self, joint: _Joint, parts: list[tuple[_Link, Array]]) -> tuple[float, Array]:
        """Mass in grams of what a joint moves, and its centre in the trunk's frame."""
        mass = sum(link.mass for link, _ in parts)
        if mass <= 0:
            raise InputError(self._source, f"link {joint.child}", "expected a mass in its <inertial>, found none")
        centre = sum((link.mass * (at @ [*link.com, 1.0])[:3] for link, at in parts), np.zeros(3)) / mass
        return float(f"{1000 * mass:.12g}"), np.asarray(centre)

    def _foot(self, tibia: _Joint, frame: Array, parts: list[tuple[_Link, Array]]) -> tuple[Array, float]:
        """The centre of the foot and its radius in mm: the last sphere, or else the end of the last piece."""
        spheres = [
            (at @ [*(shape[:3, 3]), 1.0], sizes[0])
            for link, at in parts
            for kind, shape, sizes in link.shapes
            if kind == "sphere"
        ]
        if spheres:
            away = [float(np.linalg.norm(centre[:3] - frame[:3, 3])) for centre, _ in spheres]
            centre, radius = spheres[int(np.argmax(away))]
            return centre[:3], _mm(radius)
        if len(parts) > 1:
            return parts[-1][1][:3, 3], 6.0
        raise InputError(
            self._source, f"link {tibia.child}", "expected a foot: a sphere on it, or a link fixed to its end"
        )

    def _body(self, trunk: str, parts: list[tuple[_Link, Array]]) -> dict[str, object]:
        mass = sum(link.mass for link, _ in parts)
        if mass <= 0:
            raise InputError(self._source, f"link {trunk}", "expected a mass in its <inertial>, found none")
        centre = sum((link.mass * (at @ [*link.com, 1.0])[:3] for link, at in parts), np.zeros(3)) / mass
        boxes = [(at @ shape, sizes) for link, at in parts for kind, shape, sizes in link.shapes if kind == "box"]
        if not boxes:
            raise InputError(self._source, f"link {trunk}", "expected a box that stands for the trunk, found none")
        box, sizes = max(boxes, key=lambda item: math.prod(item[1]))
        extent = np.abs(box[:3, :3]) @ np.array(sizes)
        return {
            "mass_g": float(f"{1000 * mass:.12g}"),
            "com_mm": tuple(_mm(value) for value in np.asarray(centre)),
            "size_mm": tuple(_mm(value) for value in extent),
            "centre_mm": tuple(_mm(value) for value in box[:3, 3]),
        }

    def _extra(self, joint: _Joint, frame: Array, parent: str) -> Iterator[dict[str, object]]:
        """A joint that is not of a leg, and those that it carries."""
        parts, leaving = self._rigid(joint.child, np.eye(4))
        straight = np.abs(joint.axis) > math.cos(_STRAIGHT)
        if not straight.any() or np.abs(frame[:3, :3] - np.eye(3)).max() > math.sin(_STRAIGHT):
            raise InputError(
                self._source, f"joint {joint.name}",
                "expected the joint of a leg, or one about x, y or z of what carries it, its frame not turned",
            )  # fmt: skip
        index = int(np.argmax(straight))
        sign = 1 if joint.axis[index] > 0 else -1
        self._signs[joint.name], self._offsets[joint.name] = sign, 0.0
        mass, centre = self._weigh(joint, parts)
        ends = sorted((sign * joint.lower, sign * joint.upper))
        tips = [(shape, sizes) for link, at in parts for kind, shape, sizes in link.shapes if kind == "cylinder"]
        found: dict[str, object] = {
            "name": joint.name,
            "parent": parent,
            "at_mm": tuple(_mm(value) for value in frame[:3, 3]),
            "axis": ("roll", "pitch", "yaw")[index],
            "mass_g": mass,
            "com_mm": tuple(_mm(value) for value in centre),
            "range_deg": tuple(_degrees(end) for end in ends),
            "tip_mm": tuple(_mm(2 * value) for value in (tips[0][0][:3, 3] if tips else centre)),
        }
        yield found | ({"radius_mm": _mm(tips[0][1][0])} if tips else {})
        for child, at in leaving:
            yield from self._extra(child, at, joint.name)


def _leg_frame(outward: Array, raised: float) -> Array:
    """Our frame of a link in a leg's plane: x along it, z up when it is level; columns are the axes."""
    along = outward * math.cos(raised) + np.array([0.0, 0.0, math.sin(raised)])
    across = np.cross([0.0, 0.0, 1.0], outward)
    return np.column_stack([along, across, np.cross(along, across)])


def _common(*names: str) -> str:
    """What the joints of a leg have in common in their names, as a name."""
    shortest = min(names, key=len)
    shared = next((i for i in range(len(shortest)) if len({name[i] for name in names}) > 1), len(shortest))
    return shortest[:shared].rstrip("._- ")


def _name(element: ET.Element, kind: str, source: str | Path) -> str:
    name = element.get("name", "")
    if not name:
        raise InputError(source, kind, "expected a name, found one without")
    return name


def _origin(element: ET.Element, place: str, source: str | Path) -> Array:
    """The frame of an ``<origin>``: translation after fixed-axis roll, pitch, yaw."""
    frame = np.eye(4)
    origin = element.find("origin")
    if origin is None:
        return frame
    frame[:3, 3] = _vector(origin.get("xyz", "0 0 0"), place, "origin", source)
    roll, pitch, yaw = _vector(origin.get("rpy", "0 0 0"), place, "origin", source)
    cr, sr, cp, sp, cy, sy = (f(a) for a in (roll, pitch, yaw) for f in (math.cos, math.sin))
    frame[:3, :3] = [
        [cy * cp, cy * sp * sr - sy * cr, cy * sp * cr + sy * sr],
        [sy * cp, sy * sp * sr + cy * cr, sy * sp * cr - cy * sr],
        [-sp, cp * sr, cp * cr],
    ]
    return frame


def _vector(text: str, place: str, key: str, source: str | Path) -> Array:
    parts = text.split()
    if len(parts) != 3:
        raise InputError(source, place, f"expected three numbers in {key}, found {text!r}")
    return np.array([_number(part, place, key, source) for part in parts])


def _number(text: str, place: str, key: str, source: str | Path) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(source, place, f"expected a number in {key}, found {text!r}")
    return value


def _mm(metres: float) -> float:
    # To a millionth of a micrometre: beyond that is the noise of multiplying frames
    return round(1000 * float(metres), 9) + 0.0


def _degrees(radians: float) -> float:
    return round(math.degrees(radians), 9) + 0.0
