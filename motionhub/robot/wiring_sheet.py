"""The sheet to print before the servos are plugged in: joint, pin, wires, which way is positive.

An A4 page in black on white, which says nothing by colour alone and has a box to tick for each plug. As a file it
carries its style; served by the hub it has it beside it, for the hub's pages take no style of their own.
"""

from __future__ import annotations

from html import escape

import numpy as np

from motionhub.robot.board import FIRST_ANALOGUE, PINS
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

STYLE = """\
@page { size: A4; margin: 14mm; }
body { margin: 0 auto; max-width: 182mm; padding: 4mm; background: #fff; color: #111; font: 10pt/1.3 sans-serif; }
h1 { margin: 0; font-size: 16pt; }
h2 { margin: 4mm 0 1mm; font-size: 11pt; break-after: avoid; }
p { margin: 1mm 0; }
table { width: 100%; border-collapse: collapse; break-inside: avoid; }
th, td { padding: 1mm 2mm; border: 0.3mm solid #555; text-align: left; }
th { font-weight: 600; }
td.pin { font-weight: 700; white-space: nowrap; }
td.box { width: 6mm; }
.legs { display: grid; grid-template-columns: 1fr 1fr; gap: 0 6mm; }
.legs section { break-inside: avoid; }
.before { display: grid; grid-template-columns: 1fr 58mm; align-items: center; gap: 0 6mm; }
.note { padding: 2mm 3mm; border: 0.5mm solid #111; }
svg { display: block; width: 100%; max-width: 62mm; margin: 0 auto; }
td.box::before { content: "\\2610"; }
svg path, svg rect { fill: none; stroke: #111; stroke-width: 1.6; }
svg text { font: 11px sans-serif; text-anchor: middle; }
@media (max-width: 600px) { .legs, .before { grid-template-columns: 1fr; } }
@media print { body { max-width: none; padding: 0; } }
"""

WAYS = {
    "coxa": "it turns left, seen from above",
    "femur": "the leg goes up",
    "tibia": "the foot goes up and out",
}
TURNS = {"roll": "its right side goes down", "pitch": "its front goes down", "yaw": "it turns to the left"}


def page(robot: Robot, calibration: Calibration | None = None, style_path: str = "") -> str:
    """The sheet as HTML.

    Args:
        robot: The robot.
        calibration: What is known of this machine; plugs that sit on another joint's pin are shown there.
        style_path: Where the style is served; inside the page when empty.
    """
    style = f'<link rel="stylesheet" href="{escape(style_path)}">' if style_path else f"<style>\n{STYLE}</style>"
    known = calibration or Calibration.default(robot)
    # In two columns: the left legs on the left, each beside the right one that is as far in front.
    sides = [[leg for leg in range(robot.legs) if bool(robot.hip[leg, 1] > 0) is left] for left in (True, False)]
    order = sorted(range(robot.legs), key=lambda leg: next(side.index(leg) for side in sides if leg in side))
    legs = "\n".join(_leg(robot, known, leg) for leg in order)
    extra = _extra(robot, known)
    top, bottom = robot.controller.divider_ohm
    return f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>Wiring of {escape(robot.name)}</title>
{style}
</head>
<body>
<h1>Wiring of {escape(robot.name)}</h1>
<p>{robot.joints} servos on one board ({escape(robot.controller.board)}). Tick each plug when it sits.</p>
<div class="before">
<p class="note"><strong>Before a plug goes in:</strong> the servos’ supply is off, and its switch within reach. On most
servos the middle wire is plus, the brown or black one minus, the third the signal; makers differ, so look at each data
sheet. A plug that is turned round puts the supply on a signal. Plus and minus of the servos go to the regulator
({robot.supply.regulator_v:g} V), not to the board; the two minuses are joined.</p>
{_plan(robot)}
</div>
<div class="legs">
{legs}
</div>
{extra}
<p>The radio is on serial port {robot.controller.uart}, {robot.link.baud} baud; the battery is measured at
A{robot.controller.battery_input}, behind {top:g} and {bottom:g} Ω.</p>
<p>Lithium packs: a fuse in the lead, charged with a charger made for them and watched. For anything on the mains,
local rules and qualified people come first.</p>
</body>
</html>
"""


def pin_name(pin: int) -> str:
    """As it is printed on the board."""
    return f"A{pin - FIRST_ANALOGUE}" if FIRST_ANALOGUE <= pin <= PINS[-1] else str(pin)


def _row(robot: Robot, known: Calibration, joint: int, name: str, way: str) -> str:
    pin = pin_name(robot.pins[known.connector[joint]])
    turned = " (servo turned round)" if known.direction[joint] < 0 else ""
    return (
        f'<tr><td class="box"></td><td>{escape(name)}</td><td class="pin">{pin}</td><td>{escape(way)}{turned}</td></tr>'
    )


_HEAD = "<thead><tr><th></th><th>joint</th><th>pin</th><th>positive is when</th></tr></thead>"


def _leg(robot: Robot, known: Calibration, leg: int) -> str:
    rows = "".join(_row(robot, known, 3 * leg + i, part, WAYS[part]) for i, part in enumerate(WAYS))
    title = escape(robot.leg_names[leg].replace("_", " "))
    return f"<section><h2>{title}</h2><table>{_HEAD}{rows}</table></section>"


def _extra(robot: Robot, known: Calibration) -> str:
    rows = []
    for i, joint in enumerate(robot.extra):
        axis = ("roll", "pitch", "yaw")[int(np.argmax(np.abs(joint.axis)))]
        rows.append(_row(robot, known, 3 * robot.legs + i, joint.name.replace("_", " "), TURNS[axis]))
    for output in robot.outputs:
        rows.append(
            f'<tr><td class="box"></td><td>{escape(output.name)}</td><td class="pin">{pin_name(output.pin)}</td>'
            f"<td>{escape(output.kind)}, {output.current_a:g} A from the servos’ supply, behind a driver</td></tr>"
        )
    if not rows:
        return ""
    return f"<h2>Other joints, lamps and sounders</h2><table>{_HEAD}{''.join(rows)}</table>"


def _plan(robot: Robot) -> str:
    """From above, forward up: which leg is which."""
    feet = robot.rest_feet[:, :2]
    reach = float(np.abs(feet).max()) * 1.3 or 1.0
    size = 220.0

    def at(point: np.ndarray) -> tuple[float, float]:
        return size / 2 - point[1] / reach * size / 2, size / 2 - point[0] / reach * size / 2

    length, width = robot.body_size[:2] / reach * size / 2
    x, y = at(robot.body_centre[:2])
    parts = [
        f'<svg viewBox="-40 -14 {size + 80:.0f} {size + 28:.0f}" role="img" aria-label="From above, forward is up">',
        f'<rect x="{x - width / 2:.1f}" y="{y - length / 2:.1f}" width="{width:.1f}" height="{length:.1f}" rx="6"/>',
        f'<path d="M{x:.1f} {y + 12:.1f}V{y - 12:.1f}m-5 6l5 -6l5 6"/>',
        f'<text x="{x:.1f}" y="{y + 26:.1f}">forward</text>',
    ]
    for leg, name in enumerate(robot.leg_names):
        (x1, y1), (x2, y2) = at(robot.hip[leg]), at(feet[leg])
        parts.append(f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}"/>')
        over = -5 if y2 < size / 2 else 13
        parts.append(f'<text x="{x2:.1f}" y="{y2 + over:.1f}">{escape(name.replace("_", " "))}</text>')
    return "\n".join([*parts, "</svg>"])
