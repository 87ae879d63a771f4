"""One line for what pydantic found: the most telling error, the nearest key, no pydantic words."""

from typing import Annotated, Literal

import pydantic
import pytest

from motionhub.errors import InputError, dotted, from_validation, unknown


class Circle(pydantic.BaseModel):
    model_config = pydantic.ConfigDict(extra="forbid")
    kind: Literal["circle"]
    radius_mm: float


class Square(pydantic.BaseModel):
    model_config = pydantic.ConfigDict(extra="forbid")
    kind: Literal["square"]
    side_mm: float


class Drawing(pydantic.BaseModel):
    model_config = pydantic.ConfigDict(extra="forbid")
    title: str
    shapes: list[Annotated[Circle | Square, pydantic.Field(discriminator="kind")]] = []
    named: dict[str, Circle] = {}
    border: Square | None = None


def line(data: object) -> str:
    with pytest.raises(pydantic.ValidationError) as caught:
        Drawing.model_validate(data)
    return str(from_validation("d.json", caught.value, Drawing))


def test_a_misspelt_key_is_told_before_the_one_that_it_leaves_missing() -> None:
    assert line({"titel": "x"}) == "d.json: titel: is not a known key here; did you mean 'title'? (and 1 more)"


def test_near_keys_are_found_in_lists_maps_unions_and_options() -> None:
    circle = {"kind": "circle", "radius_mm": 1, "radius_cm": 1}
    assert line({"title": "x", "shapes": [circle]}).endswith(
        "radius_cm: is not a known key here; did you mean 'radius_mm'?"
    )
    assert line({"title": "x", "named": {"a": circle}}) == (
        "d.json: named.a.radius_cm: is not a known key here; did you mean 'radius_mm'?"
    )
    assert line({"title": "x", "border": {"kind": "square", "side_mm": 1, "sid_mm": 1}}) == (
        "d.json: border.sid_mm: is not a known key here; did you mean 'side_mm'?"
    )


def test_values_are_shown_but_never_a_page_of_them() -> None:
    assert line({"title": 3}) == "d.json: title: expected text in quotes, found 3"
    assert line({"title": "x", "border": 3}) == "d.json: border: expected a table, found 3"
    assert len(line({"title": list(range(1000))})) < 120


def test_unknown_names() -> None:
    assert unknown("joint", "hed", ["head", "tail"]) == "expected a known joint, found 'hed'; did you mean 'head'?"
    assert unknown("joint", "zz", ["head", "tail"]) == "expected a known joint (head, tail), found 'zz'"
    assert unknown("output", "zz", []) == "expected a known output (there is none), found 'zz'"


def test_places_and_lines() -> None:
    assert dotted(("legs", 2, "femur", "length_mm")) == "legs[2].femur.length_mm"
    assert str(InputError("f", "", "a\nb\tc")) == "f: a b c"
