"""`motionhub bench`: measure what is promised about speed, on this machine, in this run."""

from __future__ import annotations

import importlib
import importlib.util
import json
import os
import sys
from pathlib import Path
from types import ModuleType

import click

from motionhub.errors import InputError

PACKAGE = "motionhub._bench"


THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""How many threads linear algebra takes, as its libraries are told when they are loaded."""


def _benchmarks() -> ModuleType:
    """The benchmarks: in the wheel beside this package, in a checkout under ``tests/bench``."""
    if importlib.util.find_spec(PACKAGE) is None:
        folder = Path(__file__).resolve().parents[2] / "tests" / "bench"
        spec = importlib.util.spec_from_file_location(
            PACKAGE, folder / "__init__.py", submodule_search_locations=[str(folder)]
        )
        if spec is None or spec.loader is None or not folder.is_dir():
            raise InputError("motionhub bench", "", f"expected the benchmarks at {folder}, found nothing there")
        module = importlib.util.module_from_spec(spec)
        sys.modules[PACKAGE] = module
        spec.loader.exec_module(module)
    return importlib.import_module(PACKAGE)


@click.command()
@click.argument("names", nargs=-1, metavar="[NAME…]")
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
def bench(names: tuple[str, ...], as_json: bool) -> None:
    """Measure what is promised about speed, each figure beside a reference of the same run where there is one.

    NAME is startup, tick, touch-to-wire, wire-bytes, check, driving or editor; all of them when none is given.
    """
    for name in THREADS:  # ours and what it is held against, all on one core; unless told otherwise
        os.environ.setdefault(name, "1")
    module = _benchmarks()
    for name in names:
        if name not in module.NAMES:
            raise InputError("motionhub bench", name, f"expected one of {', '.join(module.NAMES)}")
    results = []
    for name in names or module.NAMES:
        try:
            result = module.run(name, lambda line, name=name: click.echo(f"{name}: {line}", err=True))
        except ModuleNotFoundError as error:
            raise InputError(
                "motionhub bench", name, f"needs the Python package {error.name} (pip install 'motionhub[test]')"
            ) from None
        results.append(result)
        if not as_json:
            _show(result)
    if as_json:
        click.echo(json.dumps([result.to_json() for result in results], indent=2))


def _show(result: object) -> None:
    from rich.console import Console
    from rich.table import Table

    data = result.to_json()  # type: ignore[attr-defined]
    aims: dict[str, float] = result.aims  # type: ignore[attr-defined]
    table = Table(title=data["name"], title_justify="left", show_header=True, box=None)
    for heading, justify in (("figure", "left"), ("value", "right"), ("unit", "left"), ("aim", "left")):
        table.add_column(heading, justify=justify)  # type: ignore[arg-type]
    for label, figure in data["figures"].items():
        aim = ""
        if label in aims:
            met = figure["value"] <= aims[label]
            aim = f"{'met' if met else 'MISSED'}: at most {aims[label]:g} {figure['unit']}"
        table.add_row(label, f"{figure['value']:.4g}", figure["unit"], aim)
    if data["reference"]:
        reference = data["reference"]
        table.add_row(f"reference: {reference['name']}", f"{reference['value']:.4g}", reference["unit"], "")
        table.add_row("ours over the reference's", f"{data['ratio']:.3g}", "", "below 1 is ahead")
    Console().print(table)
