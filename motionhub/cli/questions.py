"""What ``motionhub new`` asks: one table for the questions in a terminal and for the flags that answer them."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import click

from motionhub.errors import InputError
from motionhub.robot.quantities import number, numbers
from motionhub.robot.servo_classes import ABOUT

WRITTEN = {"mah": "mAh", "v": "V", "a": "A", "ohm": "Ω"}
"""Units as they are written, where that is not as they are looked up."""


@dataclass(frozen=True)
class Question:
    """One thing to measure. ``usual`` is offered in a terminal and taken without one; None when it has to be given."""

    key: str
    ask: str
    unit: str
    least: float = 0.0
    most: float = 0.0
    count: int = 1
    usual: str | None = None
    shape: bool = False
    """Of the robot's shape, which a URDF knows already."""

    @property
    def flag(self) -> str:
        """As it is written on a command line."""
        return "--" + self.key.replace("_", "-")

    @property
    def written(self) -> str:
        """Its unit, as people write it."""
        return WRITTEN.get(self.unit, self.unit)

    def read(self, text: str) -> Any:
        """The answer that ``text`` is.

        Raises:
            ValueError: saying what was expected.
        """
        if self.unit == "text":
            if not text.strip():
                raise ValueError("expected a name, found nothing")
            return text.strip()
        values = (number(text, self.unit),) if self.count == 1 else numbers(text, self.unit, self.count)
        for value in values:
            if not self.least <= value <= self.most:
                raise ValueError(
                    f"expected {self.least:g} to {self.most:g} {self.written}".rstrip() + f", found {text!r}"
                )
            if not self.unit and value != int(value):
                raise ValueError(f"expected a whole number, found {text!r}")
        if not self.unit:
            return int(values[0])
        return values[0] if self.count == 1 else values


QUESTIONS = (
    Question("name", "What is it called?", "text"),
    Question("legs", "How many legs (4 to 8)?", "", 4, 8, usual="6", shape=True),
    Question("body", "The trunk's length, width and height", "mm", 10, 1000, count=3, shape=True),
    Question("body_mass", "Mass of the trunk with battery, boards and the coxas' servos", "g", 20, 50_000, shape=True),
    Question("coxa", "Coxa: from its own axis to the femur's", "mm", 1, 1000, shape=True),
    Question("femur", "Femur: from its axis to the tibia's", "mm", 5, 1000, shape=True),
    Question("tibia", "Tibia: from its axis to the centre of the foot's tip", "mm", 5, 1000, shape=True),
    Question("coxa_mass", "Mass of a coxa with the servo that it carries", "g", 1, 5000, shape=True),
    Question("femur_mass", "Mass of a femur with the servo that it carries", "g", 1, 5000, shape=True),
    Question("tibia_mass", "Mass of a tibia with its foot", "g", 1, 5000, shape=True),
    Question("foot", "Radius of a foot's tip", "mm", 0.5, 100, usual="6", shape=True),
    Question("cells", "How many cells in the battery?", "", 1, 8, usual="2"),
    Question("capacity", "The battery's capacity", "mah", 50, 100_000),
    Question("regulator_v", "What the servos' regulator is set to", "v", 3, 12),
    Question("regulator_a", "What that regulator can deliver for long", "a", 0.1, 200),
    Question("wiring", "Resistance from the regulator to the servos and back", "ohm", 0, 2, usual="0.02"),
    Question("baud", "The radio's speed", "baud", 1200, 1_000_000, usual="9600"),
    Question("first_pin", "The first pin with a servo; the others follow in order", "", 0, 255, usual="22"),
)


def flags(function: Callable[..., None]) -> Callable[..., None]:
    """A click option for every question."""
    for question in reversed(QUESTIONS):
        unit = {"": "N", "text": "TEXT"}.get(question.unit, question.unit.upper())
        about = question.ask if question.usual is None else f"{question.ask.rstrip('?')} [usually {question.usual}]"
        function = click.option(
            question.flag, question.key, metavar=",".join([unit] * question.count), help=about.rstrip("?") + "."
        )(function)
    return function


def answers(given: Mapping[str, str | None], shape_known: bool, may_ask: bool) -> dict[str, Any]:
    """Every answer: from its flag, else from the terminal, else the usual one.

    Raises:
        InputError: an answer that cannot be, or one that is missing with nobody to ask.
    """
    found: dict[str, Any] = {}
    for question in QUESTIONS:
        text = given.get(question.key)
        if shape_known and (question.shape or question.key == "name") and text is None:
            continue
        if text is not None:
            try:
                found[question.key] = question.read(text)
            except ValueError as error:
                raise InputError("motionhub new", question.flag, str(error)) from None
        elif may_ask:
            try:
                found[question.key] = _asked(question)
            except click.Abort:
                click.echo(f"\n{to_go_on(found)}", err=True)
                raise
        elif question.usual is not None:
            found[question.key] = question.read(question.usual)
        else:
            raise InputError("motionhub new", question.flag, f"is missing: {question.ask.lower().rstrip('?')}")
    return found


def _asked(question: Question) -> Any:
    unit = f" [{question.written}]" if question.unit not in ("", "text") else ""
    while True:
        text = click.prompt(f"{question.ask}{unit}", default=question.usual, err=True)
        try:
            return question.read(str(text))
        except ValueError as error:
            click.echo(f"  {error}", err=True)


def to_go_on(answered: Mapping[str, Any]) -> str:
    """How to give these answers once more without typing each of them again."""
    words = []
    for question in QUESTIONS:
        if question.key in answered:
            value = answered[question.key]
            parts = value if isinstance(value, tuple) else (value,)
            text = ",".join(each if isinstance(each, str) else f"{each:.10g}" for each in parts)
            words += [question.flag, text]
    return f"To go on from here, give these and what is left: motionhub new {shlex.join(words)}"


def servo_class(may_ask: bool) -> str:
    """The class of the legs' servos, when no flag said it.

    Raises:
        InputError: with nobody to ask.
    """
    if not may_ask:
        raise InputError("motionhub new", "--servo", f"is missing: a class ({', '.join(ABOUT)}) or a data sheet's line")
    click.echo("Servos of the legs, by class (give --servo with your data sheet's numbers when you have it):", err=True)
    for name, about in ABOUT.items():
        click.echo(f"  {name:<12} {about}", err=True)
    return str(click.prompt("Class", type=click.Choice(list(ABOUT)), default="strong", show_choices=False, err=True))
