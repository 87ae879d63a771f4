"""The board on the robot: which pins it has and what they can do, and whether a robot can be wired so.

A robot file that nobody builds a program from may have any pins; :func:`misfit` is asked when one is built.
Pin numbers are those printed on the board; the analogue inputs A0 to A15 are 54 to 69 as digital pins
(practice: the numbering that boards with an ATmega2560 share).
"""

from __future__ import annotations

from collections.abc import Iterator

from motionhub.robot.model import Robot

CLOCK_HZ = 16_000_000
PINS = range(70)
FIRST_ANALOGUE = 54
UARTS = ((0, 1), (19, 18), (17, 16), (15, 14))
"""Of each serial port, the pin that receives and the one that sends."""
DIMMED = frozenset((2, 3, 5, 6, 7, 8, 9, 10, 44, 45, 46))
"""Pins whose level a timer can set; timer 1 is the pulses', and timer 0 the hobby-board editor's."""
FASTEST_BAUD = 115_200
BAUD_OFF = 0.025
"""How far apart the two ends of a wire may be: the data sheet's table of errors for 8 bits has 2 to 2.5 %."""
LONGEST_PULSE_US = 3_200


def misfit(robot: Robot) -> tuple[str, str] | None:
    """The first thing about ``robot`` that cannot be built on its board.

    Returns:
        Where in the robot file, and what was expected there and found; nothing if all fits.
    """
    return next(_misfits(robot), None)


def baud_made(baud: int) -> float:
    """The rate that comes nearest to ``baud`` of those that the board's clock can be divided to.

    f / (16 n) or f / (8 n), n from 1 to 4096: ATmega2560 data sheet, "Clock Generation".
    """
    rates = [CLOCK_HZ / (step * min(max(round(CLOCK_HZ / step / baud), 1), 4096)) for step in (16, 8)]
    return min(rates, key=lambda rate: abs(rate - baud))


def _misfits(robot: Robot) -> Iterator[tuple[str, str]]:
    controller = robot.controller
    receives, sends = UARTS[controller.uart]
    taken = {
        receives: f"what receives on serial port {controller.uart}, where the radio is",
        sends: f"what sends on serial port {controller.uart}, where the radio is",
        FIRST_ANALOGUE + controller.battery_input: f"the battery's input A{controller.battery_input}",
    }
    # Whatever hangs on these two twitches while the board is programmed through its USB socket.
    for pin, what in zip(UARTS[0], ("receives", "sends"), strict=True):
        taken.setdefault(pin, f"what {what} on serial port 0, where the board is programmed")
    owners = [
        *zip(robot.joint_names, robot.pins, strict=True),
        *((output.name, output.pin) for output in robot.outputs),
    ]
    for name, pin in owners:
        place = f"pin of {name}"
        if pin not in PINS:
            last = FIRST_ANALOGUE - 1
            yield (
                place,
                f"expected a pin of the board, 0 to {last} or {last + 1} to {PINS[-1]} for A0 to A15, found {pin}",
            )
        elif pin in taken:
            yield place, f"expected a pin of its own, found pin {pin}, which is {taken[pin]}"
        taken[pin] = f"{name}'s"

    baud, made = robot.link.baud, baud_made(robot.link.baud)
    if baud > FASTEST_BAUD:
        yield "link.baud", f"expected at most {FASTEST_BAUD}, which the board keeps up with, found {baud}"
    elif abs(made - baud) > BAUD_OFF * baud:
        yield (
            "link.baud",
            f"expected a rate that a 16 MHz board makes, such as 9600 or 57600, found {baud}; it can {made:.0f}",
        )

    top, bottom = controller.divider_ohm
    volts = robot.supply.battery_full_v * bottom / (top + bottom)
    if volts > controller.reference_v:
        yield (
            "controller.divider_ohm",
            f"expected a divider that leaves a full battery at most {controller.reference_v:g} V at the input, "
            f"found {top:g} and {bottom:g}, which leave {volts:.2f} V",
        )
    if round(controller.reference_v * 1000) * (top + bottom) / bottom >= 65_536:
        yield "controller.divider_ohm", f"expected one for less than 65 V, found {top:g} and {bottom:g}"
    for name, servo in zip(robot.joint_names, robot.servos, strict=True):
        if servo.pulse_us[1] > LONGEST_PULSE_US:
            yield f"servo of {name}", f"expected pulses of at most {LONGEST_PULSE_US} µs, found {servo.pulse_us[1]:g}"
