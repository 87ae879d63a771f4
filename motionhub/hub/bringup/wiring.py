"""From what was seen to move to which plug is on which pin, and which servos sit mirrored."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from motionhub.library.notebook import Saw


@dataclass(frozen=True)
class Wiring:
    """What follows from the answers so far."""

    connector: tuple[int, ...]
    """(J,) for each joint the connector that moves it."""
    ways: dict[int, int]
    """For joints that were seen to move: 1, or -1 where a longer pulse turns it in its negative direction."""
    dead: tuple[int, ...]
    """Connectors on which nothing moved."""
    twice: tuple[tuple[int, int, int], ...]
    """Joints that two connectors are said to move, (joint, connector, connector): one of the two was misjudged."""
    open: tuple[int, ...]
    """Connectors without an answer whose joint is moved by another one: they have to be tried."""


def wiring(names: Sequence[str], saw: Mapping[str, Saw]) -> Wiring:
    """What the answers say.

    Args:
        names: (J,) the joints, and so the connectors.
        saw: Answers by connector.

    Connectors that have no answer are taken to be right while no answer speaks against it; what is left over is
    shared out in order.
    """
    index = {name: i for i, name in enumerate(names)}
    moves: dict[int, int] = {}  # connector to joint
    ways: dict[int, int] = {}
    dead, twice = [], []
    by_joint: dict[int, int] = {}
    for name in sorted(saw, key=index.__getitem__):
        at, answer = index[name], saw[name]
        if answer.moved is None:
            dead.append(at)
            continue
        joint = index[answer.moved]
        if joint in by_joint:
            twice.append((joint, by_joint[joint], at))
            continue
        by_joint[joint] = at
        moves[at] = joint
        if answer.way is not None:
            ways[joint] = 1 if answer.way == "more" else -1
    connector = [-1] * len(names)
    for at, joint in moves.items():
        connector[joint] = at
    free = [at for at in range(len(names)) if at not in moves]
    wanting = [joint for joint in range(len(names)) if connector[joint] < 0]
    for joint in [joint for joint in wanting if joint in free]:
        connector[joint] = joint
        free.remove(joint)
        wanting.remove(joint)
    for joint, at in zip(wanting, free, strict=True):
        connector[joint] = at
    still = tuple(at for at in free if names[at] not in saw)
    return Wiring(tuple(connector), ways, tuple(dead), tuple(twice), still)
